"""
JCGM 101:2008 (GUM supplement 1): propagation of distributions by Monte Carlo, against the linear uncertainties.

200,000 surveys of one section are drawn from the tape's own errors, rounding to marks included. The stated u has to
agree with the simulated root mean square to the simulation's own error: a tilted tape always reads long, which counts
about nothing in an offset and cancels in a skew.
"""

from __future__ import annotations

import numpy as np
import pytest

from alignment.train.train import fit_train
from alignment.uncertainty import reading_u
from tests.tools.machines import machine, readings
from tests.tools.rates import monte_carlo

COUNT = 200_000


@pytest.fixture(scope="module")
def simulated():
    return monte_carlo(COUNT)


@pytest.mark.parametrize("what", ["skew", "offset"])
def test_u_agrees(simulated, what):
    """4 sigma: u / sqrt(2 n) each."""
    rms, u = simulated[what]
    assert u == pytest.approx(rms, rel=4 / np.sqrt(2 * COUNT))


@pytest.mark.parametrize("points", [("0", "450"), ("50", "225", "400"), ("0", "100", "225", "350", "450")])
def test_ends_and_skew_of_any_points(points):
    """Without tilt the linear u of a face is exact but for rounding's shape: 4 sigma, by plain polynomial fits."""
    layout = machine(
        [{"name": "a-1", "row": "a", "start": "0", "length": "450", "points": list(points)}],
        rows={"a": "target = '600'"},
    )
    train = fit_train(layout, readings(layout, [("a-1", point, "600") for point in points]))
    rng = np.random.default_rng(2)
    x = np.array([float(p) for p in points])
    true = 600 + rng.uniform(0, 1, (COUNT, 1)) + np.outer(rng.uniform(-3, 3, COUNT), x / 450)
    zero = rng.normal(0, 0.4, (COUNT, 1))
    error = np.round(true + zero + rng.normal(0, 0.4, true.shape)) - true
    slope, at_entry = np.polyfit(x, error.T, 1)
    for found, u in (
        (slope * 450, train.skew.u[0]),
        (at_entry, train.ends[0].u[0]),
        (at_entry + slope * 450, train.ends[1].u[0]),
        (at_entry + slope * 225, train.offset.u[0]),
    ):
        assert np.sqrt(np.mean(found**2)) == pytest.approx(u, rel=4 / np.sqrt(2 * COUNT))


@pytest.mark.parametrize("placing", [0.0, 0.05, 0.1, 0.25, 0.5])
@pytest.mark.parametrize("repeats", [1, 4, 31])
def test_mean_of_repeats_keeps_part_of_the_rounding(placing, repeats):
    """Repeats at one place between marks, the place drawn at random: rms of their mean, over placings in marks."""
    layout = machine(
        [{"name": "a-1", "row": "a", "start": "0", "length": "450"}],
        tape=f"mark = '1'\nset = '{placing}'\ntilt = 0\nzero = '0.4'",
        rows={"a": "target = '600'"},
    )
    rng = np.random.default_rng(int(100 * placing) + repeats)
    count = 20_000
    true = 600 + rng.uniform(0, 1, (count, 1))
    mean = np.mean(np.round(true + rng.normal(0, placing, (count, repeats))) - true, axis=1)
    u = float(layout.tape.mean_u(600.0, repeats))
    # 4 sigma, and half a percent that the series' end takes off
    assert u == pytest.approx(np.sqrt(np.mean(mean**2)), rel=4 / np.sqrt(2 * count) + 0.005)


def test_one_reading_is_worth_what_the_budget_says():
    tape = machine([{"name": "a-1", "row": "a", "start": "0", "length": "450"}]).tape
    one = float(reading_u(600.0, mark=tape.mark, set_u=tape.set_u, tilt=tape.tilt))
    assert float(tape.mean_u(600.0, 1)) == pytest.approx(one, rel=1e-12)
