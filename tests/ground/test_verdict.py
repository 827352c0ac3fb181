"""Verdicts: in or out by the best estimate, a question mark where the tape cannot prove it, the worst of the parts."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alignment.train.state import judge
from alignment.train.train import fit_train
from alignment.uncertainty import COVERAGE, Verdict, conformance_probability, verdict, worst
from tests.tools.machines import machine, readings


@pytest.mark.parametrize(
    ("value", "u", "expected"),
    [
        (0.0, 0.4, "ok"),
        (0.0, 0.5, "ok"),
        (0.0, 0.51, "ok?"),
        (0.9, 0.04, "ok"),
        (0.9, 0.06, "ok?"),
        (1.0, 0.1, "ok?"),
        (1.0, 0.0, "ok"),
        # right at its limit is not below one half; with u as wide as the tolerance it is
        (1.0, 0.2, "ok?"),
        (1.0, 1.0, "?"),
        (0.0, 1.4, "ok?"),
        (0.0, 1.5, "?"),
        (1.01, 0.1, "out?"),
        (1.2, 0.1, "out"),
        (1.19, 0.1, "out?"),
        (5.0, 0.1, "out"),
    ],
)
@pytest.mark.parametrize("sign", [1, -1])
def test_guard_band(value, u, expected, sign):
    """Tolerance 1: sure where the magnitude is 2 u or more off the limit (JCGM 106:2012, 8.3; ISO 14253-1)."""
    assert verdict(sign * value, u, 1.0) == expected


lengths = st.floats(-100, 100)
sizes = st.floats(0.001, 100)


@given(lengths, sizes, sizes)
def test_verdict_and_probability_agree(value, u, tolerance):
    """A sure ok is at least as likely as a normal quantity two standard uncertainties inside, and so on."""
    found = verdict(value, u, tolerance)
    p = conformance_probability(value, u, lower=-tolerance, upper=tolerance)
    assert 0 <= p <= 1
    if found is Verdict.ok:
        assert p >= 0.954
    if found is Verdict.out:
        assert p <= 0.023
    if found is Verdict.ok_unsure:
        assert p >= 0.499
    if found is Verdict.unknown:
        assert p < 0.5
    assert found.inside == (abs(value) <= tolerance + 1e-6)
    assert found.sure == (abs(abs(value) - tolerance) >= COVERAGE * u - 1e-6)


def test_nothing_but_the_value_where_u_is_nothing():
    assert conformance_probability(0.5, 0.0, lower=-1, upper=1) == 1
    assert conformance_probability(1.5, 0.0, lower=-1, upper=1) == 0


def test_as_people_read_them():
    assert [v.printed for v in Verdict] == ["OK", "OK?", "?", "OUT?", "OUT"]
    assert [v.accepted for v in Verdict] == [True, True, False, False, False]


def test_worst():
    """In the order out, out?, ?, ok?, ok."""
    order = list(Verdict)
    assert [str(v) for v in order] == ["ok", "ok?", "?", "out?", "out"]
    for k, v in enumerate(order):
        assert worst(order[: k + 1]) is v
        assert v.rank == k
    assert worst([]) is Verdict.ok


def state(taken, **how):
    parts = [{"name": n, "row": "r", "start": 500 * k, "length": 400} for k, n in enumerate("ab")]
    layout = machine(parts, rows={"r": "target = '600'"}, **how)
    return judge(fit_train(layout, readings(layout, taken)))


FINE = "mark = '0.01'\nset = '0.01'\ntilt = 0\nzero = '0.01'"
RULES = "offset = '1'\nsquare = '1'\nstep = '1'"


def test_offset_is_judged_at_the_worse_end():
    """Its value is that of mid-length, its verdict that of the end that is farther out."""
    taken = [("a", "entry", 600), ("a", "exit", 601.9), ("b", "entry", 600), ("b", "exit", 600)]
    a = state(taken, tape=FINE, tolerance=RULES.replace("square = '1'", "square = '3'")).sections[0]
    assert a.offset.value == pytest.approx(0.95)
    assert a.worse_end is a.exit.deviation
    assert a.worse_end.verdict is Verdict.out
    assert a.skew.verdict is Verdict.ok
    assert a.verdict is Verdict.out


def test_square_is_over_the_sections_own_length():
    taken = [("a", "entry", 599.4), ("a", "exit", 600.6), ("b", "entry", 600), ("b", "exit", 600)]
    a = state(taken, tape=FINE, tolerance=RULES).sections[0]
    assert a.worse_end.verdict is Verdict.ok
    assert a.skew.value == pytest.approx(1.2)
    assert a.verdict is Verdict.out


def test_machine_is_as_good_as_its_worst_part():
    """Sections in, their joint out of step."""
    taken = [("a", "entry", 599.2), ("a", "exit", 599.2), ("b", "entry", 600.8), ("b", "exit", 600.8)]
    found = state(taken, tape=FINE, tolerance=RULES, joints=[("a", "b")])
    assert all(s.verdict is Verdict.ok for s in found.sections)
    assert found.joints[0].step.verdict is Verdict.out
    assert found.verdict is Verdict.out


def test_what_was_not_measured_leaves_it_unknown():
    taken = [("a", "entry", 600), ("b", "entry", 600), ("b", "exit", 600)]
    found = state(taken, tape=FINE, tolerance=RULES, joints=[("a", "b")])
    assert found.sections[1].verdict is Verdict.ok
    assert found.sections[0].skew is None
    assert found.joints[0].step is None
    assert found.verdict is Verdict.unknown
    assert not found.passes


def test_coarse_tape_proves_nothing():
    taken = [("a", "entry", 600), ("a", "exit", 600), ("b", "entry", 600), ("b", "exit", 600)]
    assert state(taken, tolerance=RULES).verdict is Verdict.ok_unsure


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("value", "p"), [(0.3, 1), (0.30001, 0), (0.1 + 0.2, 1)])
def test_probability_without_uncertainty(value, p, sign):
    """Certain: 1 up to the limit, however its last bit was rounded, and 0 beyond."""
    assert conformance_probability(sign * value, 0.0, lower=-0.3, upper=0.3) == p


@pytest.mark.parametrize("probability", [1e-6, 0.02, 0.5, 0.9, 0.975, 0.9999])
def test_points_against_scipy(probability):
    """Normal and Student points that are found without scipy, against scipy.stats."""
    from scipy import stats

    from alignment.quantiles import normal_point, student_point

    assert normal_point(probability) == pytest.approx(stats.norm.ppf(probability), rel=1e-8, abs=1e-9)
    for dof in (1, 2, 3, 4, 5, 8, 15, 16, 101, 2.5, 1000):
        assert student_point(probability, dof) == pytest.approx(stats.t.ppf(probability, dof), rel=1e-6, abs=1e-8)


@pytest.mark.parametrize("probability", [0.01, 0.5, 0.95, 0.99, 0.9999])
def test_chi_square_points_against_scipy(probability):
    from scipy import stats

    from alignment.quantiles import chi_square_point

    dof = [1, 2, 3, 4, 5, 6, 7, 15, 16, 101]
    assert chi_square_point(dof, probability) == pytest.approx(stats.chi2.ppf(probability, dof), rel=1e-7, abs=1e-9)
