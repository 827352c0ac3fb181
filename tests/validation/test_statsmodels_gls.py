"""
Change of a machine between two surveys against generalised least squares of statsmodels.

The reference fits every reading of both surveys at once: two numbers for each section's face, shift and slope of each
string in the second survey, and two numbers for each section that moved; the covariance holds each survey's common
zero. Ours goes through the fitted sections. Both are exact algebra: agreement to 1e-7 of the values.
"""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import chi2

from alignment.change.motion import compare_trains
from alignment.change.strings import Status
from alignment.train.train import fit_train
from tests.tools.machines import machine, readings

MOVED = {"a-2": (5.0, -7.0), "c-3": (-4.0, -4.0)}
"""Sections that moved: by how much at entry and exit. [mm]"""
ROWS = {
    # rows a and b see one string from its two sides, row c has its own
    "a": "string = 'middle'\nstring_side = 'right'\ntarget = '400'",
    "b": "string = 'middle'\nstring_side = 'left'\ntarget = '500'",
    "c": "target = '600'",
}
SIGN = {"a": 1.0, "b": -1.0, "c": 1.0}
STRING = {"a": "middle", "b": "middle", "c": "c"}
HUNG = {"middle": (6.0, 0.004), "c": (-3.0, 0.001)}
"""Shift at the zero mark and slope of each string as hung anew. [mm]"""


@pytest.fixture(scope="module")
def pair():
    """Two surveys with repeats and a third point on some sections."""
    rng = np.random.default_rng(11)
    sections = [
        {"name": f"{row}-{k + 1}", "row": row, "start": f"{520 * k}", "length": "480", "points": [0, 200, 480]}
        for row in ROWS
        for k in range(4)
    ]
    layout = machine(sections, rows=ROWS)
    face = {s.name: rng.normal(0, 1, 2) for s in layout.sections}

    def survey(after: bool):
        rows = []
        for number, s in enumerate(layout.sections):
            places = (0.0, 200.0, 480.0) if number % 3 == 0 else (0.0, 480.0)
            for place in places:
                share = place / s.length
                true = 500.0 + face[s.name] @ (1 - share, share)
                if after:
                    shift, slope = HUNG[STRING[s.row]]
                    true += SIGN[s.row] * (shift + slope * (s.start + place))
                    true += np.array(MOVED.get(s.name, (0.0, 0.0))) @ (1 - share, share)
                for _ in range(1 + number % 2):
                    u = 0.3 if number % 2 else 0.5
                    rows.append((s.name, f"{place:g}", f"{true + rng.normal(0, 0.2):.6f}", u))
        return readings(layout, rows, header="section,point,reading,u")

    return layout, survey(False), survey(True)


def reference(layout, before, after, *, free: bool, only: str = ""):
    """
    Fit of all readings; the names of its parameters, and the fit.

    With ``free`` every section has faces of its own in both surveys, which is the model without any congruency. With
    ``only`` the readings are those from one string.
    """
    sections = [s for s in layout.sections if only in ("", STRING[s.row])]
    names = [f"{s.name}.{p}" for s in sections for p in ("c", "s")]
    if free:
        names += [f"{name}.after" for name in names]
    else:
        names += [f"{string}.{p}" for string in HUNG if only in ("", string) for p in ("shift", "slope")]
        moved = [s.name for s in sections if s.name in MOVED]
        names += [f"{name}.moved.{p}" for name in moved for p in ("c", "s")]
    at = {name: k for k, name in enumerate(names)}
    rows, y, u, survey_of = [], [], [], []
    for number, survey in enumerate((before, after)):
        for r in survey.fitted:
            s = layout.sections[layout.index[r.section]]
            if s not in sections:
                continue
            lever = (r.place - s.length / 2) / s.length
            row = np.zeros(len(names))
            tail = ".after" if free and number else ""
            row[at[f"{s.name}.c{tail}"]], row[at[f"{s.name}.s{tail}"]] = 1.0, lever
            if number and not free:
                string = STRING[s.row]
                row[at[f"{string}.shift"]] = SIGN[s.row]
                row[at[f"{string}.slope"]] = SIGN[s.row] * (s.start + r.place)
                if s.name in MOVED:
                    row[at[f"{s.name}.moved.c"]], row[at[f"{s.name}.moved.s"]] = 1.0, lever
            rows.append(row)
            y.append(r.value)
            u.append(r.u)
            survey_of.append(number)
    same = np.equal.outer(survey_of, survey_of)
    sigma = np.diag(np.square(u)) + 0.4**2 * same
    return at, sm.GLS(np.array(y), np.array(rows), sigma=sigma).fit()


@pytest.fixture(scope="module")
def motion(pair):
    layout, before, after = pair
    trains = [fit_train(layout, survey) for survey in (before, after)]
    # readings that scatter would have their u grown, which the reference does not know of
    assert all((train.birge == 1).all() for train in trains)
    return compare_trains(*trains)


def test_the_moved_are_found(pair, motion):
    layout = pair[0]
    named = {s.name for s, status in zip(layout.sections, motion.status, strict=True) if status is Status.moved}
    assert named == set(MOVED)


def test_moved_sections(pair, motion):
    """Change of offset and skew of each moved section, with its covariance."""
    layout, before, after = pair
    at, fit = reference(layout, before, after, free=False)
    for name in MOVED:
        k = [at[f"{name}.moved.{p}"] for p in ("c", "s")]
        i = layout.index[name]
        assert motion.change[i] == pytest.approx(fit.params[k], rel=1e-7)
        assert motion.covariance[i] == pytest.approx(fit.normalized_cov_params[np.ix_(k, k)], rel=1e-7)


def test_strings(pair, motion):
    """Shift and slope of each string at both ends of its sections, with their u; two rows see one of them."""
    layout, before, after = pair
    for string in motion.strings:
        # each string is taken by itself
        at, fit = reference(layout, before, after, free=False, only=string.string)
        k = [at[f"{string.string}.{p}"] for p in ("shift", "slope")]
        ends = np.array([[1.0, x] for x in string.places])
        assert string.change == pytest.approx(ends @ fit.params[k], rel=1e-7)
        variance = np.diag(ends @ fit.normalized_cov_params[np.ix_(k, k)] @ ends.T)
        assert string.u == pytest.approx(np.sqrt(variance), rel=1e-6)
        assert string.changed


def test_still_section(pair, motion):
    """A still section's test, and what could have gone unseen of it, are those of a fit in which it, too, is free."""
    layout, before, after = pair
    name = "b-2"
    MOVED[name] = (0.0, 0.0)
    try:
        at, fit = reference(layout, before, after, free=False)
    finally:
        del MOVED[name]
    k = [at[f"{name}.moved.{p}"] for p in ("c", "s")]
    i = layout.index[name]
    assert motion.covariance[i] == pytest.approx(fit.normalized_cov_params[np.ix_(k, k)], rel=1e-6)
    (string,) = [s for s in motion.strings if i in s.members]
    assert string.answers[0].fit.statistic[string.members.index(i)] == pytest.approx(
        fit.params[k] @ np.linalg.solve(fit.normalized_cov_params[np.ix_(k, k)], fit.params[k]), rel=1e-6
    )


def test_congruency(pair, motion):
    """Overall chi-square is what the common model loses against one with every face free in both surveys."""
    layout, before, after = pair
    moved = dict(MOVED)
    MOVED.clear()
    try:
        _, tied = reference(layout, before, after, free=False)
    finally:
        MOVED.update(moved)
    _, free = reference(layout, before, after, free=True)
    lost = np.sum(tied.wresid**2) - np.sum(free.wresid**2)
    assert motion.chi2 == pytest.approx(lost, rel=1e-6)
    assert motion.dof == tied.df_resid - free.df_resid
    assert motion.chi2_limit == pytest.approx(chi2.ppf(0.99, motion.dof), rel=1e-9)
    assert not motion.congruent
