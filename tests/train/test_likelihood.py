"""Readings weighed beside target, neighbours and own section at once: against scipy, and what must not be doubted."""

from __future__ import annotations

import time

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import brentq

from alignment.train.flags.likelihood import FALSE, FREE, HUNG, OUT, SWAPPED, improbable, statistics
from alignment.train.train import fit_train
from tests.tools import flag_rates
from tests.tools.machines import machine, readings

IN = 25.4
ROW = {"a": "target = '600'"}


def sections(count: int, row: str = "a", **keys: object) -> list[dict[str, object]]:
    return [
        {"name": f"{row}-{k + 1}", "row": row, "start": str(500 * k), "length": "450", **keys} for k in range(count)
    ]


def trained(layout, values):
    """A survey of one reading a point, or more where a point has several, in mm off 600."""
    rows = [(name, point, 600 + off) for name, point, offs in values for off in np.atleast_1d(offs)]
    return fit_train(layout, readings(layout, rows))


def pairs(ends: np.ndarray, row: str = "a"):
    return [
        (f"{row}-{k}", p, v) for k, pair in enumerate(ends, 1) for p, v in zip(("entry", "exit"), pair, strict=True)
    ]


def deviations(train) -> np.ndarray:
    return np.array([r.value for r in train.survey.fitted]) - 600


def doubted(train, leaning: frozenset[str] = frozenset()) -> list[str]:
    d = deviations(train)
    found = improbable(train, d, np.ones(len(d), dtype=bool), set(leaning))
    return [train.survey.fitted[k].section for k in found]


@pytest.mark.parametrize("count", [1, 2, 4])
@pytest.mark.parametrize("leaning", [False, True])
def test_likelihood_ratio_by_scipy(count, leaning):
    """
    The squared statistic is the likelihood ratio of one slip, maximised by trying sizes, but for its scale.

    The scale is such that it is standard normal where the string hangs as it should: by the covariance, element by
    element, of what the model says of two readings.
    """
    rng = np.random.default_rng(count)
    layout = machine(sections(count, points=["0", "200", "450"]), rows=ROW)
    values = [(f"a-{k + 1}", p, rng.normal(0, 4, 1 + (p == 200))) for k in range(count) for p in (0, 200, 450)]
    train = trained(layout, values)
    d, read = deviations(train), train.survey.fitted
    own = [int(r.section[2:]) - 1 for r in read]
    x = np.array([500 * k + r.place for k, r in zip(own, read, strict=True)])
    clean, whole = np.zeros((2, len(read), len(read)))
    t, hung = (x - x.min()) / np.ptp(x), FREE if leaning else HUNG
    for i, a in enumerate(read):
        for j, b in enumerate(read):
            s, v = a.place / 450, b.place / 450
            clean[i, j] = train.survey.tape.zero**2 + (a.u**2 if i == j else 0)
            clean[i, j] += OUT**2 * ((1 - s) * (1 - v) + s * v) * (own[i] == own[j])
            whole[i, j] = clean[i, j] + hung**2 * ((1 - t[i]) * (1 - t[j]) + t[i] * t[j])
    told = statistics(train, d, np.arange(len(d)), {"a"} if leaning else set())
    model = stats.multivariate_normal(np.zeros(len(d)), whole, allow_singular=True)
    pull = np.linalg.solve(whole, np.eye(len(d)))
    for k in range(len(d)):
        tried = np.linspace(-40, 40, 16001)
        slipped = d - tried[:, None] * np.eye(len(d))[k]
        ratio = 2 * (model.logpdf(slipped).max() - model.logpdf(d))
        scale = float(pull[k] @ clean @ pull[k]) / pull[k, k]
        assert told[k] ** 2 * scale == pytest.approx(ratio, abs=2e-3)


def test_a_leaning_string_takes_its_line_along():
    rng = np.random.default_rng(5)
    layout = machine(sections(5), rows=ROW)
    ends = rng.normal(0, 3, (5, 2))
    slope = np.array([[500 * k, 500 * k + 450] for k in range(5)]) * 30 / 2450 - 9
    flat, leaning = (trained(layout, pairs(e)) for e in (ends, ends + slope))
    part = np.arange(10)
    one, other = (statistics(t, deviations(t), part, {"a"}) for t in (flat, leaning))
    assert one == pytest.approx(other, abs=1e-3)
    assert np.abs(statistics(leaning, deviations(leaning), part, set())).max() > 3
    assert doubted(leaning, frozenset({"a"})) == []


def test_a_row_whose_wanted_reading_nobody_tells():
    """What its first section stands at is no slip; a reading a hundred off the others is."""
    layout = machine(sections(3), rows={"a": ""})
    ends = np.full((3, 2), 40.0)
    assert doubted(trained(layout, pairs(ends))) == []
    ends[1, 1] += 100
    assert doubted(trained(layout, pairs(ends))) == ["a-2"]


@pytest.mark.parametrize("count", [2, 3, 5, 8, 16])
@pytest.mark.parametrize(("entry", "exit_"), [(IN / 4, IN / 4), (-IN / 4, -IN / 4), (IN / 4, -IN / 4), (0, IN / 4)])
def test_a_string_hung_off_sends_nobody_to_a_section(count, entry, exit_):
    """By 1/4 in at one end or both, or leaning by 1/2 in, on a true machine."""
    line = np.linspace(entry, exit_, 2 * count).reshape(count, 2)
    assert doubted(trained(machine(sections(count), rows=ROW), pairs(line))) == []


@pytest.mark.parametrize("count", [1, 2, 3, 5, 8, 16])
def test_half_an_inch_on_a_true_machine_is_one_doubt(count):
    for end in np.ndindex(count, 2):
        ends = np.zeros((count, 2))
        ends[end] = IN / 2
        assert doubted(trained(machine(sections(count), rows=ROW), pairs(ends))) == [f"a-{end[0] + 1}"]


def test_two_slips_do_not_hide_each_other():
    """A foot too much and an inch too little: both, the larger first, and no good reading for their sake."""
    ends = np.zeros((5, 2))
    ends[1, 0], ends[3, 1] = 12 * IN, -IN
    assert doubted(trained(machine(sections(5), rows=ROW), pairs(ends))) == ["a-2", "a-4"]


def test_sections_out_of_line_are_no_slips():
    """One end of five out by 5/16 in where the others are true; and sections out as one block."""
    ends = np.zeros((5, 2))
    ends[2, 0] = 5 / 16 * IN
    assert doubted(trained(machine(sections(5), rows=ROW), pairs(ends))) == []
    ends[1:4] = 5 / 16 * IN
    assert doubted(trained(machine(sections(5), rows=ROW), pairs(ends))) == []


def test_a_machine_farther_out_is_judged_by_its_own_scatter():
    """Sixteen sections out by 1/4 in: without it most surveys would have something to read again."""
    rng = np.random.default_rng(8)
    layout = machine(sections(16), rows=ROW)
    surveys = [trained(layout, pairs(rng.normal(0, IN / 4, (16, 2)))) for _ in range(40)]
    assert sum(bool(doubted(train)) for train in surveys) <= 8


@pytest.mark.parametrize("count", [3, 5])
@pytest.mark.parametrize(("of_limit", "found"), [(0.98, []), (1.02, ["a-2"])])
def test_limit_on_a_machine_farther_out(count, of_limit, found):
    """
    The normal point for all readings together, times how far the readings scatter.

    That is their median absolute deviation from their median as a standard deviation (0.6745), over what is usual.
    """
    layout = machine(sections(count), rows=ROW)
    ends = (np.tile([9.0, -9.0], count) + np.linspace(0, 1, 2 * count)).reshape(count, 2)

    def at(slip: float):
        own = ends.copy()
        own[1, 0] = slip
        train = trained(layout, pairs(own))
        d = deviations(train)
        w = statistics(train, d, np.arange(2 * count), set())[2]
        off = np.abs(d - np.median(d)) / np.hypot(OUT, train.survey.fitted[0].u)
        grown = np.median(off) / stats.norm.ppf(0.75)
        return train, w / (stats.norm.ppf(1 - (FALSE - SWAPPED) / (2 * 2 * count)) * grown)

    slip = brentq(lambda by: at(by)[1] - of_limit, 15.0, 400.0, xtol=1e-3)
    train, reached = at(slip)
    assert reached == pytest.approx(of_limit, abs=2e-3)
    assert doubted(train) == found


def test_a_long_train_is_weighed_in_parts():
    """Five hundred sections; of 900 that stand elsewhere along it nothing is said, of a slip among them it is."""
    ends = np.zeros((500, 2))
    ends[300:] = 5
    ends[77, 1], ends[400, 0] = 2 * IN, 5 + 2 * IN
    layout = machine(sections(500), rows=ROW)
    train = trained(layout, pairs(ends))
    began = time.process_time()
    assert sorted(doubted(train)) == ["a-401", "a-78"]
    assert time.process_time() - began < 2


def test_rows_on_both_sides_see_a_string_the_other_way():
    """A string 1/4 in nearer to one side is as much farther from the other."""
    both = {side[0]: f"target = '600'\nstring = 's'\nstring_side = '{side}'" for side in ("left", "right")}
    layout = machine([*sections(4, "l"), *sections(4, "r")], rows=both)
    shifted = [*pairs(np.full((4, 2), IN / 4), "l"), *pairs(np.full((4, 2), -IN / 4), "r")]
    assert doubted(trained(layout, shifted)) == []
    part = np.arange(16)
    train = trained(layout, shifted)
    alike = trained(layout, [*pairs(np.full((4, 2), IN / 4), "l"), *pairs(np.full((4, 2), IN / 4), "r")])
    one, other = (np.abs(statistics(t, deviations(t), part, set())).max() for t in (train, alike))
    assert one < 0.6 * other


def test_nothing_may_be_doubted():
    train = trained(machine(sections(2), rows=ROW), pairs(np.full((2, 2), 100.0)))
    assert improbable(train, deviations(train), np.zeros(4, dtype=bool), set()) == []
    assert improbable(train, np.full(4, np.nan), np.ones(4, dtype=bool), set()) == []


@pytest.mark.parametrize("count", [2, 5])
def test_nearly_as_many_slips_are_found_as_can_be(count):
    """Half an inch on machines badly out, beside the likelihood ratio that knows the string: four standard errors."""
    kind = flag_rates.Kind(sections=count, out="out 1/8", tape="1/64")
    most, price = flag_rates.bound(kind, IN / 2)
    assert price > 5
    assert flag_rates.rates(kind, 150)["half"] >= most - 4 - 4 * (most * (100 - most) / 150) ** 0.5
