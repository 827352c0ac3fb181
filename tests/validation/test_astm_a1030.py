"""
ASTM A1030 I-units: 1/8 in over 18 in gives 12 (published, rounded; read in a text that reproduces it).

And the exact arc length of a sine of that height and pitch, by quadrature.
"""

from __future__ import annotations

from math import cos, pi

import numpy as np
import pytest
from GTC import uncertainty, ureal
from scipy.integrate import quad

from alignment.panel.waves import i_units, i_units_u, steepness


def test_worked_value():
    assert i_units(0.125, 18) == pytest.approx(12, abs=0.5)
    assert i_units(0.125, 18) == pytest.approx(11.899, abs=0.0005)
    assert steepness(0.125, 18) == pytest.approx(0.00694, abs=0.000005)


@pytest.mark.parametrize(("height", "pitch"), [(0.125, 18), (0.25, 12), (3, 450)])
def test_length_of_a_sine(height, pitch):
    """The formula is the second order of the exact length: they part by the fourth, 3/4 of the strain squared."""

    def along(x):
        return np.sqrt(1 + (pi * height / pitch * cos(2 * pi * x / pitch)) ** 2)

    exact = (quad(along, 0, pitch, epsabs=1e-13, epsrel=1e-13)[0] / pitch - 1) * 1e5
    strain = exact / 1e5
    assert i_units(height, pitch) == pytest.approx(exact, rel=2 * strain, abs=1e-6)


def test_uncertainty_by_simulation():
    """Normal height and pitch: standard deviation of a million I-units."""
    rng = np.random.default_rng(5)
    sample = i_units_array(rng.normal(2.5, 0.3, 1_000_000), rng.normal(400, 4, 1_000_000))
    assert i_units_u(2.5, 400, height_u=0.3, pitch_u=4) == pytest.approx(sample.std(), rel=0.01)


def i_units_array(height, pitch):
    return (pi * height / (2 * pitch)) ** 2 * 1e5


@pytest.mark.parametrize(("height_u", "pitch_u"), [(1e-6, 5.0), (1e-2, 5.0), (1e-2, 1e-6)])
def test_uncertainty_by_gtc(height_u, pitch_u):
    """To the first order by the GUM Tree Calculator, where height is so sure that the second adds nothing."""
    height, pitch = ureal(3.0, height_u), ureal(450.0, pitch_u)
    known = uncertainty((pi * height / (2 * pitch)) ** 2 * 1e5)
    assert i_units_u(3.0, 450.0, height_u=height_u, pitch_u=pitch_u) == pytest.approx(known, rel=1e-5)
