"""
Plane geometry of quadrilaterals and circles: Euclid's right triangle, the parallelogram law, the sagitta.

Textbook identities; the sagitta figures (chord 8, height 2: radius 5; chord 10, height 3: 5.67) are the usual worked
examples of ``R = c^2 / (8 h) + h / 2``. Tolerance 1e-9, or half of the last printed digit.
"""

from __future__ import annotations

from math import cos, hypot, radians, sin, sqrt

import numpy as np
import pytest

from alignment.fitting.arcs import fit_arc, height_of
from alignment.panel.corners import fit_corners


def shown(**lengths: float):
    return {name: (length,) for name, length in lengths.items()}


def test_three_four_five_is_square():
    """A 3 by 4 rectangle has diagonals of 5; 30 by 40 of 50."""
    for k in (1, 10):
        six = shown(left=4 * k, right=4 * k, lead=3 * k, tail=3 * k, from_left=5 * k, from_right=5 * k)
        found = fit_corners(six, length=4 * k, width=3 * k, u=0.01)
        for known in (found.lead, found.tail, found.both, found.edges, found.taper, found.misclosure):
            assert known.value == pytest.approx(0, abs=1e-9)


def test_three_four_five_from_one_corner():
    """Two sides and the diagonal between their ends: a right angle when it reads 5."""
    found = fit_corners(shown(left=4, lead=3, from_right=5), length=4, width=3, u=0.01)
    assert found.lead.value == pytest.approx(0, abs=1e-6)
    assert found.tail is None


@pytest.mark.parametrize("angle", [0.05, -0.5, 3.0])
def test_parallelogram_by_its_diagonals(angle):
    """Both diagonals and nominal sizes: D1^2 - D2^2 = 4 L W cos(angle between the sides) (law of cosines)."""
    length, width = 3000.0, 400.0
    off, high = width * sin(radians(angle)), width * cos(radians(angle))
    one, other = hypot(length + off, high), hypot(length - off, high)
    assert one**2 - other**2 == pytest.approx(4 * length * width * sin(radians(angle)))
    found = fit_corners(shown(from_left=one, from_right=other), length=length, width=width, u=0.5)
    assert found.both.value == pytest.approx(off, abs=1e-4)
    assert found.lead is None
    assert found.tail is None


@pytest.mark.parametrize("angle", [0.05, -0.5, 3.0])
def test_parallelogram_by_six_lengths(angle):
    length, width = 3000.0, 400.0
    off, high = width * sin(radians(angle)), width * cos(radians(angle))
    six = shown(
        left=length, right=length, lead=width, tail=width,
        from_left=hypot(length + off, high), from_right=hypot(length - off, high),
    )  # fmt: skip
    found = fit_corners(six, length=length, width=width, u=0.5)
    assert found.lead.value == pytest.approx(off, abs=1e-6)
    assert found.tail.value == pytest.approx(off, abs=1e-6)
    assert found.misclosure.value == pytest.approx(0, abs=1e-6)


def lengths_between(corners):
    """Six distances between tail left, lead left, tail right and lead right."""
    tail_left, lead_left, tail_right, lead_right = corners
    pairs = {
        "left": (tail_left, lead_left), "right": (tail_right, lead_right), "lead": (lead_left, lead_right),
        "tail": (tail_left, tail_right), "from_left": (lead_left, tail_right), "from_right": (lead_right, tail_left),
    }  # fmt: skip
    return {name: float(hypot(*(a - b))) for name, (a, b) in pairs.items()}


@pytest.mark.parametrize(("left", "right", "lead", "tail"), [(3005, 2995, 401, 398), (2990, 3004, 396, 400)])
def test_differences_without_a_diagonal(left, right, lead, tail):
    """Plain subtraction: left less right, lead less tail; two readings of one u are worth u root 2."""
    found = fit_corners(shown(left=left, right=right, lead=lead, tail=tail), length=3000, width=400, u=0.5)
    assert (found.edges.value, found.taper.value) == (left - right, lead - tail)
    assert found.edges.u == pytest.approx(0.5 * sqrt(2), rel=1e-12)
    assert (found.lead, found.tail, found.both) == (None, None, None)


def test_any_five_lengths_fix_the_sixth():
    """Ptolemy's inequality apart, five lengths fix a quadrilateral: each subset of five gives the shape of all six."""
    corners = np.array([[0.0, 0.0], [3001.0, 2.0], [-4.0, 399.0], [2996.0, 402.0]])
    tail_left, lead_left, tail_right, lead_right = corners
    six = {name: (length,) for name, length in lengths_between(corners).items()}
    whole = fit_corners(six, length=3000, width=400, u=0.5)
    assert whole.misclosure.value == pytest.approx(0, abs=1e-6)
    edges = [(b - a) / hypot(*(b - a)) for a, b in ((tail_left, lead_left), (tail_right, lead_right))]
    axis = (edges[0] + edges[1]) / hypot(*(edges[0] + edges[1]))
    assert whole.lead.value == pytest.approx((lead_left - lead_right) @ axis, abs=1e-6)
    assert whole.tail.value == pytest.approx((tail_left - tail_right) @ axis, abs=1e-6)
    for name, exact in six.items():
        five = {other: values for other, values in six.items() if other != name}
        found = fit_corners(five, length=3000, width=400, u=0.5)
        again = lengths_between(found.corners)
        assert again[name] == pytest.approx(exact[0], abs=1e-8)
        assert found.lead.value == pytest.approx(whole.lead.value, abs=1e-9)
        assert found.tail.value == pytest.approx(whole.tail.value, abs=1e-9)
        assert found.both.value == pytest.approx((whole.lead.value + whole.tail.value) / 2, abs=1e-9)


@pytest.mark.parametrize(("chord", "height", "radius"), [(8, 2, 5.0), (10, 3, 5.67)])
def test_sagitta(chord, height, radius):
    exact = chord**2 / (8 * height) + height / 2
    assert exact == pytest.approx(radius, abs=0.005)
    assert height_of(1 / exact, chord) == pytest.approx(height, abs=1e-9)


def test_arc_through_exact_points_of_a_circle():
    """Offsets of a circle of radius 81,000 mm from a line laid askew, to rounding."""
    radius, tilt = 81_000.0, 0.004
    angle = np.linspace(-0.02, 0.02, 9)
    x, y = radius * np.sin(angle), radius * (1 - np.cos(angle))
    turned_x, turned_y = x * cos(tilt) - y * sin(tilt), x * sin(tilt) + y * cos(tilt)
    arc = fit_arc(turned_x + 1600, turned_y + 5, np.full(9, 0.1))
    assert 1 / arc.curvature == pytest.approx(radius, rel=1e-7)
    chord = float(turned_x[-1] - turned_x[0])
    assert height_of(arc.curvature, arc.over) == pytest.approx(radius - sqrt(radius**2 - chord**2 / 4), rel=1e-7)


def rectangle(**read: tuple[float, ...]) -> dict[str, tuple[float, ...]]:
    """Lengths of a rectangle of 400 by 300, diagonals 500 (3, 4, 5), some of them read otherwise."""
    sides = {"left": (400.0,), "right": (400.0,), "lead": (300.0,), "tail": (300.0,)}
    return sides | {"from_left": (500.0,), "from_right": (500.0,)} | read


@pytest.mark.parametrize("name", ["left", "right", "lead", "tail", "from_left", "from_right"])
@pytest.mark.parametrize("by", [5.0, -5.0])
def test_a_length_that_slipped_by_itself(name, by):
    """Without it the panel is the rectangle that it was made: by how much it was read too long is known exactly."""
    true = rectangle()[name][0]
    slip = fit_corners(rectangle(**{name: (true + by,)}), length=400, width=300, u=0.2).slip
    assert slip is not None
    assert (slip.name, slip.alone) == (name, False)
    # angles change by some thousandths: linear to that
    assert slip.by == pytest.approx(by, rel=0.02)


def test_a_repeat_that_slipped_is_singled_out():
    """Two of three readings of one edge agree with all the rest: no panel bends to the third."""
    slip = fit_corners(rectangle(left=(400.0, 400.0, 405.0)), length=400, width=300, u=0.2).slip
    assert slip is not None
    assert (slip.name, slip.alone) == ("left", True)
    assert slip.by == pytest.approx(5.0, rel=0.02)


def test_misclosure_of_a_diagonal():
    """500.5 where five lengths make it 500: the difference, and a slip only beyond what u allows."""
    found = fit_corners(rectangle(from_left=(500.5,)), length=400, width=300, u=0.5)
    assert found.misclosure.value == pytest.approx(0.5, rel=0.01)
    assert found.slip is None
    sure = fit_corners(rectangle(from_left=(500.5,)), length=400, width=300, u=0.05)
    assert sure.misclosure.value == pytest.approx(0.5, rel=0.01)
    assert sure.slip is not None


def square(off: float, u: float):
    """A square of 100 with one diagonal read too long by so much."""
    sides = dict.fromkeys(("left", "right", "lead", "tail"), (100.0,))
    diagonals = {"from_left": (100 * sqrt(2) + off,), "from_right": (100 * sqrt(2),)}
    return fit_corners(sides | diagonals, length=100, width=100, u=u)


def test_u_of_what_six_lengths_of_a_square_contradict():
    """Of one diagonal less what the others make it: its own u, the other's, and 1 / root 2 of each side (by hand)."""
    assert square(0, 0.5).misclosure.u == pytest.approx(0.5 * sqrt(1 + 1 + 4 * 0.5), rel=1e-6)


def test_contradicting_lengths_are_worth_less():
    """A contradiction of 0.5 where its u is 2 x 0.05: chi-square 25 with one degree of freedom, so u grows by 5."""
    fits, contradicts = square(0, 0.05), square(0.5, 0.05)
    for name in ("edges", "taper", "lead", "both"):
        assert getattr(contradicts, name).u == pytest.approx(5 * getattr(fits, name).u, rel=0.02)


def test_a_panel_of_another_width_than_its_drawing_is_no_slip():
    """Edges and diagonals of 400 by 330 where 300 was drawn: no end was measured, and nothing contradicts."""
    diagonal = hypot(400, 330)
    read = shown(left=400, right=400, from_left=diagonal, from_right=diagonal)
    found = fit_corners(read, length=400, width=300, u=0.5)
    assert found.slip is None
    assert found.edges.value == pytest.approx(0, abs=1e-6)
    assert found.edges.u == pytest.approx(0.5 * sqrt(2), rel=1e-3)
