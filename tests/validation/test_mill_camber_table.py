"""
A strip mill's published camber table: 1/4 in in 8 ft, scaling with length squared.

Rows 4, 6, 8 and 10 ft: 0.0625, 0.141, 0.25, 0.391 in. Read in a text that reproduces it; half of the last digit.
"""

from __future__ import annotations

import pytest

from alignment.fitting.arcs import fit_arc, height_of
from alignment.panel.limits import catalogue

ROWS = [(4, 0.0625, 0.00005), (6, 0.141, 0.0005), (8, 0.25, 0.005), (10, 0.391, 0.0005)]


@pytest.mark.parametrize(("feet", "inches", "half_digit"), ROWS)
def test_rows(feet, inches, half_digit):
    allowed, over = catalogue()["mill-table"].for_arc(10 * 304.8)
    # the circle through both ends of the chord and the height in its middle
    curvature = fit_arc([0, over / 2, over], [allowed, 0, allowed], [1, 1, 1]).curvature
    assert height_of(curvature, feet * 304.8) / 25.4 == pytest.approx(inches, abs=half_digit)


def test_radius_and_edge_difference():
    """1/4 in in 8 ft is a radius of 4,608 in; over 24 in of width one edge is 0.50 in longer over the 8 ft."""
    radius = 1 / fit_arc([0, 48, 96], [0.25, 0, 0.25], [1, 1, 1]).curvature
    assert radius == pytest.approx(4608, abs=0.5)
    assert 24 / radius * 96 == pytest.approx(0.50, abs=0.005)
