"""
The best options of sections that follow one another, joint by joint: dynamic programming, exact.

What a plan costs is compared in order: first what must be as little as can be (what is missed, then bolt ends or
movement), summed over sections and joints; among the plans that are least in that, the largest sum of logarithms of
the chances of sections and steps. A plan's cost is a sum over sections and over pairs of neighbours, so the best plan
of a chain is its shortest path.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["best_path"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
NEAR: Final = 1e-9


def best_path(
    first: Sequence[Floats],
    then: Sequence[Floats],
    joined: Sequence[Floats],
    joined_then: Callable[[Ints, Ints, Ints], Floats],
) -> tuple[list[int], float]:
    """
    Options, one of each section, of least cost.

    Parameters
    ----------
    first, then : sequence of (m_i,) arrays
        Cost of each option of each section: what is compared first, and what decides among the least in that. Whole
        numbers in `first` keep sums of it exact.
    joined : sequence of (m_i, m_j) arrays
        First cost of each pair of options of a section (rows) and the next (columns), one fewer than sections.
    joined_then : callable
        Second cost of some pairs: of the k-th and the next section, and their options, (p,) int arrays.

    Returns
    -------
    path : list of int
    cost : float
        Its second cost.
    """
    ahead, kept = [first[-1]], []
    for own, pair in zip(first[-2::-1], joined[::-1], strict=True):
        through = pair + ahead[-1]
        kept.append(_least(through))
        ahead.append(own + through.min(axis=1))
    # of the pairs on a path of least cost, the cheapest by the second cost
    cost, onward = then[-1], []
    for own, pairs, more in zip(then[-2::-1], kept, _of_pairs(kept, joined_then), strict=True):
        both = np.full(pairs.shape, np.inf)
        both[pairs] = more
        both += cost
        onward.append(both.argmin(axis=1))
        cost = own + both.min(axis=1)
    cost = np.where(_least(ahead[-1]), cost, np.inf)
    path = [int(cost.argmin())]
    for best in reversed(onward):
        path.append(int(best[path[-1]]))
    return path, float(cost.min())


def _least(cost: Floats) -> NDArray[np.bool_]:
    """Which are as good as the least along the last axis."""
    return np.asarray(cost <= cost.min(axis=-1, keepdims=True) + NEAR * np.maximum(1.0, np.abs(cost)))


def _of_pairs(kept: Sequence[NDArray[np.bool_]], cost: Callable[[Ints, Ints, Ints], Floats]) -> list[Floats]:
    """The second cost of the pairs kept, last joint first as they are, asked for at once."""
    if not kept:
        return []
    places = [np.nonzero(pairs) for pairs in kept]
    count = [len(up) for up, _ in places]
    found = cost(np.repeat(np.arange(len(kept))[::-1], count), *np.concatenate(places, axis=1))
    return np.split(found, np.cumsum(count)[:-1])
