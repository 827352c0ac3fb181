"""
The best options of sections that follow one another, joint by joint: dynamic programming, exact.

What a plan costs is compared in order: first what must be as little as can be (what is missed, then bolt ends or
movement), summed over sections and joints; among the plans that are least in that, the largest sum of logarithms of
the chances of sections and steps. A plan's cost is a sum over sections and over pairs of neighbours, so the best plan
of a chain is its shortest path.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["Joined", "best_path"]

Floats = NDArray[np.float64]
NEAR: Final = 1e-9


@dataclass(frozen=True, kw_only=True, eq=False)
class Joined:
    """Costs of each pair of options of a section (rows) and the next (columns), (m, n) each."""

    first: Floats
    then: Floats


def best_path(first: Sequence[Floats], then: Sequence[Floats], joined: Sequence[Joined]) -> list[int]:
    """
    Options, one of each section, of least cost.

    Parameters
    ----------
    first, then : sequence of (m_i,) arrays
        Cost of each option of each section: what is compared first, and what decides among the least in that. Whole
        numbers in `first` keep sums of it exact.
    joined : sequence of Joined
        Costs of pairs, one fewer than sections.

    Returns
    -------
    list of int
    """
    count = len(first)
    ahead: list[Floats] = [np.zeros(0)] * count
    ahead[-1] = first[-1]
    for k in range(count - 2, -1, -1):
        ahead[k] = first[k] + np.min(joined[k].first + ahead[k + 1], axis=1)
    # of the pairs on a path of least cost, the cheapest by the second cost
    least = float(ahead[0].min())
    value: list[Floats] = [np.zeros(0)] * count
    value[-1] = then[-1]
    for k in range(count - 2, -1, -1):
        through = joined[k].first + ahead[k + 1]
        kept = through <= through.min(axis=1, keepdims=True) + NEAR * np.maximum(1.0, np.abs(through))
        pair = np.where(kept, joined[k].then + value[k + 1], np.inf)
        value[k] = then[k] + pair.min(axis=1)
    path = [int(np.argmin(np.where(ahead[0] <= least + NEAR * max(1.0, abs(least)), value[0], np.inf)))]
    for k in range(count - 1):
        through = joined[k].first[path[-1]] + ahead[k + 1]
        kept_now = through <= through.min() + NEAR * np.maximum(1.0, np.abs(through))
        path.append(int(np.argmin(np.where(kept_now, joined[k].then[path[-1]] + value[k + 1], np.inf))))
    return path
