"""
A published levelling network of four points in two epochs: which point moved, by the congruency test of `compare`.

Proceedings of the XXXIV International Symposium (Sbornik s dokladi ot XXXIV Mezhdunaroden simpozium), section 1.1,
tables 1 and 2, page 119: six height differences in each epoch, their lengths, 0.8 mm for a kilometre, and the truth,
point 10 lower by 2.4 mm. Both epochs are adjusted by `fitting.network`. Two points are taken as the ends of one
section, in all three ways to pair four; the common shift is that of the string, which has no slope here. Chi-square is
worked out anew from the twelve observations with numpy's least squares and scipy's distribution.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from alignment.change.congruency import Changes, congruent
from alignment.change.search import fewest_moved
from alignment.fitting.network import fit_network

FILE = Path(__file__).parent / "data" / "two_epoch_levelnet.csv"
ROWS = list(csv.DictReader(line for line in FILE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")))
POINTS = ["10", "11", "12", "13"]
MOVED, ERROR = -2.4, 0.01
SIGMA = np.array([0.8 * np.sqrt(float(row["length_m"]) / 1000) for row in ROWS])
EPOCHS = [np.array([1000 * float(row[name]) for row in ROWS]) for name in ("first_m", "second_m")]
ENDS = [(POINTS.index(row["from"]), POINTS.index(row["to"])) for row in ROWS]
PAIRS = [((0, 1), (2, 3)), ((0, 2), (1, 3)), ((0, 3), (1, 2))]
"""Points as ends of two sections: that of point 10 first, point 10 at its entry end."""


def heights() -> tuple[np.ndarray, np.ndarray]:
    """Changes of the four heights against point 13, and their covariance. [mm]"""
    found = []
    for observed in EPOCHS:
        # point 13 is fixed at nothing: an end there is a coefficient of nothing
        index = [[min(end, 2) for end in ends] for ends in ENDS]
        coefficient = [[sign * (end < 3) for end, sign in zip(ends, (-1.0, 1.0), strict=True)] for ends in ENDS]
        found.append(fit_network(index, coefficient, observed, SIGMA, 3))
    covariance = np.zeros((4, 4))
    covariance[:3, :3] = sum(network.covariance_times(np.eye(3)) for network in found)
    return np.append(found[1].value - found[0].value, 0.0), covariance


def design() -> np.ndarray:
    rows = np.zeros((len(ENDS), 4))
    for row, (a, b) in zip(rows, ENDS, strict=True):
        row[a], row[b] = -1, 1
    return rows / SIGMA[:, None]


def changes(pairing: tuple[tuple[int, int], ...]) -> Changes:
    """The network's changes as those of two sections: mean and difference of two points each."""
    value, covariance = heights()
    turn = np.zeros((4, 4))
    for k, (entry, exit_) in enumerate(pairing):
        turn[2 * k, [entry, exit_]] = 0.5
        turn[2 * k + 1, [entry, exit_]] = -1, 1
    # a shift of all points is the string's; what is added to it changes nothing, and no height is without doubt
    tied = turn @ (covariance + 1.0) @ turn.T
    shift = np.array([[1.0], [0.0]])
    return Changes(
        y=(turn @ value).reshape(2, 2),
        covariance=np.stack([tied[:2, :2], tied[2:, 2:]]),
        design=np.stack([shift, shift]),
        string=1,
        tied=tied,
    )


def misfit(standing: list[int]) -> float:
    """Growth of the weighted sum of squares of all twelve observations where some points keep their height."""
    one = design()
    second = np.zeros((4, 8))
    column = 4
    for k in range(4):
        if k in standing:
            second[k, k] = 1
        else:
            second[k, column] = 1
            column += 1
    # height differences say nothing of a shift of all points
    together = np.block([[one, np.zeros((6, 4))], [one @ second]])
    apart = np.block([[one, np.zeros((6, 4))], [np.zeros((6, 4)), one]])
    observed = np.concatenate([epoch / SIGMA for epoch in EPOCHS])
    left = [observed - m @ np.linalg.lstsq(m, observed, rcond=None)[0] for m in (together, apart)]
    return float(left[0] @ left[0] - left[1] @ left[1])


@pytest.mark.parametrize("pairing", PAIRS)
def test_the_section_of_the_point_that_moved_is_named(pairing):
    """Alone, and in each pairing; its own end by 2.4 mm down, its other end and the rest not beyond U."""
    found = changes(pairing)
    standing, clear = fewest_moved(found, ERROR)
    assert clear
    assert standing.tolist() == [[False, True]]
    fit = found.fit(standing[0])
    to_ends = np.array([[1, -0.5], [1, 0.5]])
    ends = to_ends @ fit.change[0]
    u = np.sqrt(np.diag(to_ends @ fit.covariance[0] @ to_ends.T))
    assert ends[0] == pytest.approx(MOVED, abs=2 * u[0])
    assert abs(ends[0]) > 4 * u[0]
    assert abs(ends[1]) < 2 * u[1]


@pytest.mark.parametrize("pairing", PAIRS)
def test_chi_square_of_the_congruency_test(pairing):
    """Of all points, and of either pair alone, as the twelve observations give it; and what the test makes of it."""
    found = changes(pairing)
    sets = np.array([[True, True], [False, True], [True, False]])
    points = [[0, 1, 2, 3], list(pairing[1]), list(pairing[0])]
    worked_out = [misfit(standing) for standing in points]
    assert found.chi2(sets) == pytest.approx(worked_out, rel=1e-6, abs=1e-6)
    assert found.dof(sets).tolist() == [3, 1, 1]
    passes = [stats.chi2.sf(value, dof) >= ERROR for value, dof in zip(worked_out, (3, 1, 1), strict=True)]
    assert passes == [False, True, False]
    assert congruent(found, sets, ERROR).tolist() == passes
