"""
The fewest sections that must have moved, by trying every set, for judging the comparison.

Written from the rule alone and on the readings themselves: what each point reads more in the second survey is a
straight line along the string for every section that stood still. Each set of standing sections is fitted with numpy's
least squares, and its sum of squares tested with scipy's chi-square at 1 %.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from scipy.stats import chi2

ERROR = 0.01


def answers(
    x: Sequence[np.ndarray], change: Sequence[np.ndarray], u: Sequence[np.ndarray], *, hung: bool = True
) -> list[set[int]]:
    """
    Every smallest set of moved sections.

    Parameters
    ----------
    x, change, u : sequence of arrays
        For each section: where its points are, how much more each reads in the second survey, and the standard
        uncertainty of that difference.
    hung : bool
        Whether the string was hung anew in between.
    """
    count = len(x)
    for moved in range(count + 1):
        found = [
            set(out)
            for out in itertools.combinations(range(count), moved)
            if _stand([k for k in range(count) if k not in out], x, change, u, hung=hung)
        ]
        if found:
            return found
    return []


def _stand(
    still: list[int], x: Sequence[np.ndarray], change: Sequence[np.ndarray], u: Sequence[np.ndarray], *, hung: bool
) -> bool:
    if not still:
        return True
    place, value, scale = (np.concatenate([of[k] for k in still]) for of in (x, change, u))
    unknown = 2 if hung else 0
    dof = len(value) - unknown
    if dof <= 0:
        return True
    left = value / scale
    if hung:
        design = np.stack([np.ones_like(place), place], axis=1) / scale[:, None]
        left = left - design @ np.linalg.lstsq(design, left, rcond=None)[0]
    return float(left @ left) <= float(chi2.ppf(1 - ERROR, dof))
