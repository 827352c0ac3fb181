"""
GTC, the GUM Tree Calculator: a whole train recomputed with uncertain numbers, on random surveys.

Every reading is an uncertain number of its own plus what is common to all: the tape's zero and the mean of its tilt,
which is larger the longer the tape hangs out. Faces,
targets and lines are written out in plain arithmetic of uncertain numbers, so that every correlation comes from GTC.
Exact algebra: agreement to nine digits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from GTC import uncertainty, ureal, value
from scipy import stats

from alignment.choices import Line
from alignment.machine.layout import Layout
from alignment.machine.survey import Survey
from alignment.train.train import Train, fit_train
from tests.tools.machines import machine, readings

SIDES = {"near": 1, "far": -1}
"""The far row sees the string from the other side."""


def random_case(seed: int, *, targets: dict[str, str], hold: tuple[str, ...] = (), tilt: float = 2.0):
    """Two rows on one string with setbacks, ragged readings and repeats."""
    rng = np.random.default_rng(seed)
    sections, rows = [], []
    for row in SIDES:
        x = float(rng.integers(0, 50))
        for number in range(1, 5):
            name, length = f"{row}-{number}", float(rng.integers(300, 600))
            setback = float(rng.integers(-20, 20))
            sections.append(
                {"name": name, "row": row, "start": x, "length": length, "setback": setback, "hold": name in hold}
            )
            x += length + 20
            places = [0.0, length, *rng.uniform(0, length, int(rng.integers(0, 4))).round(1)]
            rows += [(name, p, round(600 + setback + rng.normal(0, 2), 2)) for p in places]
    layout = machine(
        sections,
        tape=f"mark = '1'\nset = '0.3'\ntilt = {tilt}\nzero = '0.5'",
        rows={
            "near": f"string = 'one'\nstring_side = 'left'\n{targets.get('near', '')}",
            "far": f"string = 'one'\nstring_side = 'right'\n{targets.get('far', '')}",
        },
        joints=[(f"{row}-{n}", f"{row}-{n + 1}") for row in SIDES for n in (1, 2, 3)],
    )
    return layout, readings(layout, rows)


@dataclass
class Recomputed:
    """The train in uncertain numbers, by section name: deviation at any x, and slope."""

    deviation: dict
    slope: dict


def straight(points):
    """Weighted least-squares line through (x, uncertain y, weight): value at zero and slope, by normal equations."""
    s = sum(w for _, _, w in points)
    sx = sum(w * x for x, _, w in points)
    sxx = sum(w * x * x for x, _, w in points)
    sy = sum(w * y for _, y, w in points)
    sxy = sum(w * x * y for x, y, w in points)
    slope = (s * sxy - sx * sy) / (s * sxx - sx * sx)
    return (sy - slope * sx) / s, slope


def own_u(reading, tape) -> float:
    """What one reading is worth by itself: marks (GUM 4.3.7), placing, and the spread of a uniform tilt's length."""
    tilt = np.radians(tape.tilt)
    return float(np.sqrt(tape.mark**2 / 12 + tape.set_u**2 + (reading.value * tilt**2) ** 2 / 45))


def scatter(readings, tape, length: float) -> float:
    """Birge ratio of one section: its line by numpy's polyfit, chi-square and its 95 % point from scipy.stats."""
    x, y = (np.array([getattr(r, name) for r in readings]) for name in ("place", "value"))
    u = np.array([own_u(r, tape) for r in readings])
    dof = len(x) - 2
    if dof < 1:
        return 1.0
    chi2 = float(np.sum(((y - np.polyval(np.polyfit(x / length, y, 1, w=1 / u), x / length)) / u) ** 2))
    return float(np.sqrt(chi2 / dof)) if chi2 > stats.chi2.ppf(0.95, dof) else 1.0


def recompute(layout: Layout, survey: Survey, *, fitted: bool) -> Recomputed:
    """Build the train in GTC; what each reading is worth is worked out here, and not taken from the program."""
    us = {id(r): own_u(r, survey.tape) for r in survey.readings}
    birge = {
        s.name: scatter([r for r in survey.readings if r.section == s.name], survey.tape, s.length)
        for s in layout.sections
    }
    assert max(birge.values()) > 1, "the case is meant to have readings that scatter"
    zero, leaning = ureal(0.0, survey.tape.zero), ureal(0.0, np.radians(survey.tape.tilt) ** 2 / 6)
    bare: dict[str, list] = {s.name: [] for s in layout.sections}
    for r in survey.readings:
        bare[r.section].append((r.place, r.value, us[id(r)] ** -2.0))
    # the reading at mid-length, a plain number
    out = {s.name: np.dot(straight(bare[s.name]), (1.0, s.length / 2)) for s in layout.sections}
    points: dict[str, list] = {s.name: [] for s in layout.sections}
    for r in survey.readings:
        section = layout.sections[layout.index[r.section]]
        own = ureal(r.value, us[id(r)] * birge[r.section]) + zero + leaning * float(out[r.section])
        points[r.section].append((section.start + r.place, own, us[id(r)] ** -2.0))
    faces = {name: straight(found) for name, found in points.items()}

    def face(name, x):
        a, b = faces[name]
        return a + b * x

    target = {}
    for row_name, row in layout.rows.items():
        members = layout.row_sections(row_name)
        if row.target is not None:
            wanted = row.target
        else:
            held = [s for s in members if s.hold] or members[:1]
            wanted = sum(face(s.name, s.start + s.length / 2) - s.setback for s in held) / len(held)
        target |= {s.name: wanted + s.setback for s in members}
    shift = slope = 0.0
    if fitted:
        # the line through all readings of the sections on hold, or of all, seen from the near side
        held = [s for s in layout.sections if s.hold]
        through = held if len(held) > 1 else list(layout.sections)
        shift, slope = straight(
            [(x, SIDES[s.row] * (y - target[s.name]), w) for s in through for x, y, w in points[s.name]]
        )
    if fitted and len(held) == 1:
        # one alone says where the line lies; which way it runs is for all
        (one,) = held
        middle = one.start + one.length / 2
        shift = SIDES[one.row] * (face(one.name, middle) - target[one.name]) - slope * middle
    deviation = {
        s.name: lambda x, s=s: face(s.name, x) - target[s.name] - SIDES[s.row] * (shift + slope * x)
        for s in layout.sections
    }
    return Recomputed(deviation, {s.name: faces[s.name][1] - SIDES[s.row] * slope for s in layout.sections})


def compare(train: Train, layout: Layout, ours: Recomputed) -> None:
    """Every value and uncertainty of a train against GTC's."""
    entry, exit_ = train.ends
    steps = train.steps
    for i, s in enumerate(layout.sections):
        for found, x in ((train.offset, s.start + s.length / 2), (entry, s.start), (exit_, s.start + s.length)):
            expected = ours.deviation[s.name](x)
            assert found.value[i] == pytest.approx(value(expected), rel=1e-9, abs=1e-9)
            # where the section itself is the reference, nothing is left but rounding
            assert found.u[i] == pytest.approx(uncertainty(expected), rel=1e-9, abs=1e-7)
        skew = ours.slope[s.name] * s.length
        assert train.skew.value[i] == pytest.approx(value(skew), rel=1e-9, abs=1e-9)
        assert train.skew.u[i] == pytest.approx(uncertainty(skew), rel=1e-9, abs=1e-9)
    for j, joint in enumerate(layout.joints):
        up, down = (layout.sections[layout.index[name]] for name in (joint.upstream, joint.downstream))
        step = ours.deviation[down.name](down.start) - ours.deviation[up.name](up.start + up.length)
        assert steps.value[j] == pytest.approx(value(step), rel=1e-9, abs=1e-9)
        assert steps.u[j] == pytest.approx(uncertainty(step), rel=1e-9, abs=1e-9)


CASES = [
    ({"near": "target = '600'", "far": "target = '601'"}, ()),
    ({"near": "target = '600'"}, ()),
    ({}, ()),
    ({}, ("near-2", "near-4", "far-3")),
    ({"far": "target = '600'"}, ("near-3", "far-1", "far-2")),
    ({"near": "target = '600'", "far": "target = '601'"}, ("near-2",)),
    ({}, ("far-3",)),
]


@pytest.mark.parametrize("fitted", [False, True], ids=["string", "fitted"])
@pytest.mark.parametrize("case", range(len(CASES)))
@pytest.mark.parametrize("seed", [1, 2])
def test_train(case, seed, fitted):
    """Offsets, ends, skews and steps, with absolute and relative targets, with and without sections on hold."""
    targets, hold = CASES[case]
    layout, survey = random_case(seed, targets=targets, hold=hold)
    train = fit_train(layout, survey, line=Line.fitted if fitted else Line.string)
    compare(train, layout, recompute(layout, survey, fitted=fitted))


def test_tapes_zero_enters_absolute_targets_alone():
    """An absolute target's offsets carry all of the tape's zero; skews, steps and relative offsets none of it."""
    for targets, absolute in (({"near": "target = '600'", "far": "target = '600'"}, True), ({}, False)):
        layout, survey = random_case(5, targets=targets)
        with_zero = fit_train(layout, survey)
        tape = survey.tape.__class__(mark=1.0, placing=0.3, tilt=2.0, zero=0.0)
        without = fit_train(layout, Survey(source="", readings=survey.readings, tape=tape, record={}))
        more = 0.5**2 if absolute else 0.0
        assert with_zero.offset.u**2 == pytest.approx(without.offset.u**2 + more, rel=1e-9, abs=1e-9)
        assert with_zero.skew.u == pytest.approx(without.skew.u, rel=1e-9)
        assert with_zero.steps.u == pytest.approx(without.steps.u, rel=1e-9)
