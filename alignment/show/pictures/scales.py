"""Scales of drawings: round factors, and the axis along a machine or a panel."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.lengths import Units

__all__ = ["places_along", "round_down"]

ROUND: Final = (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8)
STEPS: Final = {Units.inch: (6, 12, 24, 48, 96, 192, 384), Units.mm: (100, 200, 250, 500, 1000, 2000, 5000)}


def round_down(factor: float) -> float:
    """
    Largest round number that is not above a factor, by which a drawing is said to be stretched.

    Examples
    --------
    >>> round_down(19.2)
    15.0
    """
    power = 10.0 ** np.floor(np.log10(factor))
    return float(max(n for n in ROUND if n * power <= factor * 1.0001) * power)


def places_along(units: Units, low: float, high: float, most: int = 14) -> NDArray[np.float64]:
    """Places to be marked along a machine or a panel, whole steps of its unit and no more than so many. [mm]"""
    steps = STEPS[units]
    step = next((s for s in steps if units.of(high - low) / s <= most), steps[-1]) * float(units.size)
    first, last = np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9)
    return np.asarray(np.arange(int(first), int(last) + 1) * step)
