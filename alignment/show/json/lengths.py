"""The one place where lengths leave millimetres for another program."""

from __future__ import annotations

import math
from typing import Final

from alignment.lengths import Units

__all__ = ["Lengths"]

PLACES: Final = 6
"""Decimals of a unit: a millionth, far below any tape."""


class Lengths:
    """
    Turns millimetres into the units of a file, rounded to a millionth of the unit.

    Parameters
    ----------
    units : Units
        Of the file.
    """

    def __init__(self, units: Units) -> None:
        self.units = units

    def __call__(self, length: float) -> float:
        """A length in the units. [mm]"""
        # minus nothing would read as a sign
        return round(self.units.of(length), PLACES) + 0.0

    def or_none(self, length: float | None) -> float | None:
        """A length in the units; None where it is not known, NaN included. [mm]"""
        return None if length is None or math.isnan(length) else self(length)
