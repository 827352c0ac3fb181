"""Fits of numbers that a model takes in any way, against fits that need no iteration."""

from __future__ import annotations

import numpy as np
import pytest

from alignment.errors import NotEnoughReadingsError
from alignment.fitting import nonlinear

PLACES = np.arange(8.0)
READ = np.array([1.1, 1.9, 3.2, 3.8, 5.1, 6.2, 6.8, 8.1])
U = np.linspace(0.1, 0.3, 8)


@pytest.mark.parametrize("unit", [1.0, 1e-6, 1e6])
def test_a_line_in_any_unit_of_its_slope(unit):
    """numpy.polyfit; a slope per millimetre or per kilometre is the same line, as well known."""
    found = nonlinear.fit(lambda p: p[0] + unit * p[1] * PLACES, [0.0, 1 / unit], READ, U)
    (slope, start), covariance = np.polyfit(PLACES, READ, 1, w=1 / U, cov="unscaled")
    assert found.unknowns == pytest.approx([start, slope / unit])
    scale = np.array([1, 1 / unit])
    assert found.covariance == pytest.approx(covariance[::-1, ::-1] * np.outer(scale, scale), rel=1e-5)
    assert found.u_of(lambda p: p[0] + 10 * unit * p[1]) == pytest.approx(
        np.sqrt(np.array([10, 1]) @ covariance @ np.array([10, 1])), rel=1e-5
    )


def test_what_readings_do_not_fix():
    with pytest.raises(NotEnoughReadingsError, match="do not fix"):
        nonlinear.fit(lambda p: (p[0] + p[1]) * PLACES, [1.0, 1.0], READ, U)
    with pytest.raises(NotEnoughReadingsError, match="do not fix"):
        nonlinear.fit(lambda p: p[0] + 0 * p[1] * PLACES, [1.0, 1.0], READ, U)
