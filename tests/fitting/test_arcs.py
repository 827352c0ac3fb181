"""Where an arc ends to be one: too deep, too few places, readings that scatter; figures by plane geometry."""

from __future__ import annotations

import numpy as np
import pytest

from alignment.errors import NotEnoughReadingsError
from alignment.fitting.arcs import fit_arc, height_of


@pytest.mark.parametrize(("chord", "height"), [(6, 1.0), (8, 2.0), (10, 5.0), (12, 5.0)])
@pytest.mark.parametrize("sign", [1, -1])
def test_height_over_a_chord_of_a_circle_of_five(chord, height, sign):
    """Radius less the leg of the right triangle: 5 - 4, 5 - 3; a half circle is as high as its radius, and no more."""
    assert height_of(sign / 5, chord) == pytest.approx(sign * height, rel=1e-12)


def on_circle(radius: float, reach: float, count: int = 7) -> tuple[np.ndarray, np.ndarray]:
    x = np.linspace(-reach, reach, count)
    return x, radius - np.sqrt(radius**2 - x**2)


def test_an_arc_that_is_deep_and_one_that_is_none():
    """A parabola of 0.4 of the half length is taken for an arc; of 0.6 it is no panel."""
    t = np.linspace(-1, 1, 5)
    assert fit_arc(1000 * t, 400 * t**2, np.ones(5)).curvature > 0
    with pytest.raises(NotEnoughReadingsError, match="no arc of a panel"):
        fit_arc(1000 * t, 600 * t**2, np.ones(5))
    with pytest.raises(NotEnoughReadingsError, match="no arc of a panel"):
        fit_arc(1000 * t, -600 * t**2, np.ones(5))


def test_places_that_are_one_are_told_from_places_that_are_three():
    with pytest.raises(NotEnoughReadingsError, match="three places"):
        fit_arc([0, 0, 3000, 3000], [0, 1, 0, 1], np.ones(4))
    arc = fit_arc([0, 1500, 3000], [0, -5, 0], np.ones(3))
    # h = 5 over a chord of 3000: R = 3000^2 / 40 + 2.5, and no reading to spare
    assert 1 / arc.curvature == pytest.approx(3000**2 / 40 + 2.5, rel=1e-9)
    assert (arc.over, arc.dof, arc.scattered) == (3000, 0, False)
    assert arc.ripple == pytest.approx(0, abs=1e-9)


def test_u_of_three_offsets_by_hand():
    """Curvature is 8 h / c^2, h = middle less the mean of the ends: u(h) = u sqrt(1 + 1/2)."""
    arc = fit_arc([0, 1500, 3000], [0.0, -1e-4, 0.0], np.full(3, 0.2))
    assert arc.u == pytest.approx(8 * 0.2 * np.sqrt(1.5) / 3000**2, rel=1e-6)


def test_ripple_is_the_largest_distance_from_the_arc():
    """A ripple that no slope or bend can follow: +1 -3 +3 -1 at even places is left as it is (third difference)."""
    x = np.array([0.0, 1000, 2000, 3000])
    ripple = np.array([1.0, -3, 3, -1])
    arc = fit_arc(x, ripple * 1e-3, np.ones(4))
    assert arc.ripple == pytest.approx(3e-3, rel=1e-4)
    assert not arc.scattered
    wild = fit_arc(x, ripple * 1e-3, np.full(4, 1e-3))
    # chi-square 1 + 9 + 9 + 1 = 20 with one degree of freedom
    assert wild.scattered
    assert wild.u / arc.u == pytest.approx(1e-3 * np.sqrt(20), rel=1e-3)
