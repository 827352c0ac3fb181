"""The options of a row that cost least together, against every combination of them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from alignment.train.moves.chain import best_path


def costs(path, first, then, pairs):
    """What a path costs: what is compared first, and what decides."""
    own = [(first[k][o], then[k][o]) for k, o in enumerate(path)]
    between = [(one[a, b], two[a, b]) for (one, two), (a, b) in zip(pairs, itertools.pairwise(path), strict=True)]
    return tuple(sum(each) for each in zip(*own, *between, strict=True))


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("sections", [1, 2, 5])
def test_no_combination_costs_less(sections, seed):
    """Whole numbers from a few are compared first, so that many combinations are alike in them."""
    rng = np.random.default_rng([seed, sections])
    counts = rng.integers(1, 5, sections)
    first = [rng.integers(0, 3, n).astype(float) for n in counts]
    then = [rng.normal(0, 1, n) for n in counts]
    pairs = [(rng.integers(0, 3, shape).astype(float), rng.normal(0, 1, shape)) for shape in itertools.pairwise(counts)]
    every = {path: costs(path, first, then, pairs) for path in itertools.product(*map(range, counts))}

    def second(k, up, down):
        return np.array([pairs[one][1][a, b] for one, a, b in zip(k, up, down, strict=True)])

    best, cost = best_path(first, then, [one for one, _ in pairs], second)
    assert every[tuple(best)] == pytest.approx(min(every.values()))
    assert cost == pytest.approx(min(every.values())[1])
