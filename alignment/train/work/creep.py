"""What tightening does to a bolt end, learned from a log: the first reading after it less the stop."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from alignment.quantiles import student_point
from alignment.train.work.standing import Crept

__all__ = ["Creep", "learn"]

FEWEST: Final = 3
"""From so many bolt ends on their mean says something."""
ENOUGH: Final = 10
"""From so many on their scatter stands in place of the layout's creep."""
SURE: Final = 0.95


@dataclass(frozen=True, kw_only=True)
class Creep:
    """
    What tightening does to a bolt end, away from the string positive. [mm]

    Attributes
    ----------
    u : float
        Standard uncertainty to reckon with: the layout's, or as found here.
    count : int
        Bolt ends that told of it.
    mean : float
        NaN where none did.
    scatter : float
        Standard deviation of what was found, what reading adds to it included; NaN for fewer than two.
    drifts : bool
        Whether the mean differs from nothing (Student's t, 5 %, from three on).
    """

    u: float
    count: int
    mean: float
    scatter: float
    drifts: bool

    def lead(self, mark: float) -> float:
        """How much nearer to the string to stop, to the nearest half mark. [mm]"""
        return round(self.mean / (mark / 2)) * mark / 2 if self.drifts else 0.0


def learn(crept: Sequence[Crept], layout_creep: float) -> Creep:
    """Learn from all bolt ends that were read again after they were tightened."""
    values = np.array([c.value for c in crept])
    count = len(values)
    mean = float(np.mean(values)) if count else math.nan
    scatter = float(np.std(values, ddof=1)) if count > 1 else math.nan
    drifts = False
    if count >= FEWEST:
        ratio = abs(mean) * math.sqrt(count) / max(scatter, 1e-9)
        drifts = ratio > student_point((1 + SURE) / 2, count - 1)
    u = layout_creep
    if count >= ENOUGH:
        # both readings, the one at the stop and the one after it, scatter too
        reading = float(np.mean([c.u**2 for c in crept]))
        u = math.sqrt(max(scatter**2 - reading, (layout_creep / 4) ** 2))
    return Creep(u=u, count=count, mean=mean, scatter=scatter, drifts=drifts)
