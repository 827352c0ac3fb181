"""
Sets of sections that can have stood still, against plain least squares.

Chi-square of a set is the least sum of squares of its whitened equations by numpy.linalg.lstsq, a common error one more
equation of its own; what a section is worth is what chi-square gains with it, or loses without it.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy.linalg import block_diag

from alignment.change.congruency import Changes
from alignment.change.search import fewest_moved

COUNT = 4


def case(seed: int, string: int, hang: str) -> Changes:
    """Random changes of four sections with one common error; alone, said to hang together, or hanging together."""
    rng = np.random.default_rng(seed)
    design = rng.normal(size=(COUNT, 2, string + 1))
    root = rng.normal(size=(COUNT, 2, 3))
    own = root @ root.transpose(0, 2, 1)
    tied = None
    if hang != "alone":
        tied = block_diag(*own)
    if hang == "together":
        wide = rng.normal(size=(2 * COUNT, 3))
        tied = tied + wide @ wide.T
        own = np.array([tied[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] for i in range(COUNT)])
    return Changes(y=rng.normal(size=(COUNT, 2)), covariance=own, design=design, string=string, tied=tied)


def least(changes: Changes, standing: tuple[bool, ...]) -> float:
    pick = np.repeat(standing, 2)
    whole = block_diag(*changes.covariance) if changes.tied is None else changes.tied
    root = np.linalg.cholesky(whole[np.ix_(pick, pick)])
    k = changes.design.shape[2]
    common = np.eye(k)[changes.string :]
    matrix = np.vstack([np.linalg.solve(root, changes.design.reshape(-1, k)[pick]), common])
    right = np.concatenate([np.linalg.solve(root, changes.y.ravel()[pick]), np.zeros(len(common))])
    line = np.linalg.lstsq(matrix, right, rcond=None)[0]
    return float(np.sum((matrix @ line - right) ** 2))


SETS = [mask for mask in product((True, False), repeat=COUNT) if any(mask)]


@pytest.mark.parametrize("hang", ["alone", "said", "together"])
@pytest.mark.parametrize("string", [0, 2])
def test_every_set_by_lstsq(string, hang):
    for seed in range(3):
        changes = case(seed, string, hang)
        tested = changes.chi2(np.array(SETS))
        for standing, together in zip(SETS, tested, strict=True):
            found = changes.fit(np.array(standing))
            chi2 = least(changes, standing)
            assert found.chi2 == pytest.approx(chi2, abs=1e-8)
            if changes.dof(np.array(standing)) > 0:
                assert together == pytest.approx(chi2, abs=1e-8)
            for i in range(COUNT):
                other = tuple(stands != (i == j) for j, stands in enumerate(standing))
                rest = min(sum(standing), sum(other))
                if 2 * rest < string:
                    # nothing is left that would fix the string's line
                    assert np.isnan(found.statistic[i])
                    assert np.isnan(found.covariance[i]).all()
                elif rest:
                    gained = abs(least(changes, other) - chi2)
                    assert found.statistic[i] == pytest.approx(gained, rel=1e-6, abs=1e-8)


def test_what_was_expected_is_taken_off_and_its_doubt_added():
    """The same whether the sections are said to hang together or not."""
    rng = np.random.default_rng(9)
    expected, root = rng.normal(size=(COUNT, 2)), rng.normal(size=(COUNT, 2, 2))
    extra = root @ root.transpose(0, 2, 1)
    for hang in ("alone", "said"):
        less = case(1, 2, hang).less(expected, extra)
        plain = case(1, 2, "alone")
        known = Changes(
            y=plain.y - expected, covariance=plain.covariance + extra, design=plain.design, string=plain.string
        )
        for standing in SETS:
            assert less.fit(np.array(standing)).chi2 == pytest.approx(least(known, standing), abs=1e-8)


@pytest.mark.parametrize("where", ["first", "last"])
def test_among_many_sections_those_that_stand_are_found(where):
    """Forty on a string hung anew, ten side by side moved by 3 to 12 mm, each its own way: these and no others."""
    count, apart = 40, 400.0
    rng = np.random.default_rng(4)
    at = apart * np.arange(count)
    design = np.stack(
        [np.stack([np.ones(count), at / 1000], 1), np.stack([np.zeros(count), np.full(count, 0.38)], 1)], 1
    )
    y = design @ np.array([2.0, -0.5]) + rng.normal(scale=0.2, size=(count, 2))
    moved = np.zeros(count, dtype=bool)
    moved[:10] = True
    moved = moved if where == "first" else moved[::-1]
    y[moved] += rng.uniform(3, 12, size=(10, 2)) * rng.choice([-1, 1], size=(10, 2))
    covariance = np.tile(0.04 * np.eye(2), (count, 1, 1))
    standing, clear = fewest_moved(Changes(y=y, covariance=covariance, design=design, string=2), 0.01)
    assert clear
    assert len(standing) == 1
    assert (standing[0] == ~moved).all()
