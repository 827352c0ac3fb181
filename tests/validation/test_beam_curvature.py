"""
The bend between two sections against a clamped beam: slope-deflection equations of structural mechanics.

A uniform beam without load, its ends held at given places and slopes: M = 2EI/L (2 theta_near + theta_far - 3 psi),
with psi the chord's slope (textbook; from memory), and independently against scipy's cubic Hermite spline.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline

from alignment.causes.strip_path import bends
from alignment.machine.layout_file import parse_layout
from alignment.machine.survey_text import parse_survey
from alignment.train.train import fit_train

LAYOUT = """
[machine]
name = "two"
units = "mm"
strip_width = "500"
[row.a]
string_side = "{side}"
target = "600"
[[section]]
name = "a-1"
row = "a"
start = "0"
length = "400"
[[section]]
name = "a-2"
row = "a"
start = "450"
length = "400"
"""


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("ends", [(0, 2, -1, 3), (0, 0, 1, 1), (1, -1, 1, -1), (0, 1, 1.125, 2.125)])
def test_bend(side, ends):
    layout = parse_layout(LAYOUT.format(side=side))
    text = "section,entry,exit\n" + "".join(
        f"a-{k + 1},{600 + ends[2 * k]},{600 + ends[2 * k + 1]}\n" for k in range(2)
    )
    (bend,) = bends(fit_train(layout, parse_survey(text, layout)))
    slopes = (ends[1] - ends[0]) / 400, (ends[3] - ends[2]) / 400
    middles = (ends[0] + ends[1]) / 2, (ends[2] + ends[3]) / 2
    span = 450
    chord = (middles[1] - middles[0]) / span
    moments = [2 / span * (2 * slopes[k] + slopes[1 - k] - 3 * chord) for k in (0, 1)]
    assert abs(bend.curvature.value) == pytest.approx(max(map(abs, moments)), abs=1e-12)
    spline = CubicHermiteSpline([0, span], middles, slopes)
    second = [float(spline(x, 2)) for x in (0, span)]
    largest = max(second, key=abs)
    if abs(abs(second[0]) - abs(second[1])) > 1e-9:
        assert bend.curvature.value == pytest.approx(largest * (1 if side == "left" else -1), abs=1e-12)
    assert bend.strain.value == pytest.approx(250 * abs(largest), abs=1e-9)


def test_a_leaning_string_bends_nothing():
    layout = parse_layout(LAYOUT.format(side="left"))
    found = []
    for lean in (0.0, 0.01):
        rows = [(k, 600 + lean * start, 600 + lean * (start + 400)) for k, start in ((1, 0), (2, 450))]
        text = "section,entry,exit\n" + "".join(f"a-{k},{a},{b}\n" for k, a, b in rows)
        found.append(bends(fit_train(layout, parse_survey(text, layout)))[0].curvature.value)
    np.testing.assert_allclose(found, 0, atol=1e-12)


JOINT = """
[[joint]]
sections = ["a-1", "a-2"]
"""


@pytest.mark.parametrize("step", [False, True])
def test_u_of_a_bend_with_a_step_measured_at_its_joint(step):
    """
    The law of propagation reading by reading (GUM 5.1.2), its sensitivities by moving each reading in turn.

    A measured step ties the two faces, so that their errors are no longer independent.
    """
    layout = parse_layout(LAYOUT.format(side="left").replace('units = "mm"', 'units = "mm"', 1) + JOINT)
    places = [("a-1", "entry"), ("a-1", "exit"), ("a-2", "entry"), ("a-2", "exit")]

    def fitted(moved: int = -1, by: float = 0.0):
        readings = [600.0, 602.0, 599.0, 603.0, -3.0]
        readings = [value + by * (k == moved) for k, value in enumerate(readings)]
        rows = [f"{s},{p},{r:.6f}" for (s, p), r in zip(places, readings, strict=False)]
        rows += [f"a-1,joint,{readings[4]:.6f}"] if step else []
        return fit_train(layout, parse_survey("section,point,reading\n" + "\n".join(rows) + "\n", layout))

    train = fitted()
    us = [*(float(r.u) for r in train.survey.readings), *(float(s.u) for s in train.survey.steps)]
    (bend,) = bends(train)
    parts = [
        (bends(fitted(k, 0.5))[0].curvature.value - bends(fitted(k, -0.5))[0].curvature.value) * u
        for k, u in enumerate(us)
    ]
    assert len(us) == 4 + step
    assert bend.curvature.u == pytest.approx(float(np.linalg.norm(parts)), rel=1e-4)
