"""Usual slips of reading a tape that would explain by how much a reading is off. Hints, never more."""

from __future__ import annotations

import re
from fractions import Fraction

from alignment.errors import LengthError
from alignment.lengths import INCH, Units, parse

__all__ = ["likely_slip", "tape_units"]

IN = float(INCH)
_SLIPS = {
    Units.inch: (
        (12 * IN, "a whole foot"),
        (2 * IN, "two inches"),
        (IN, "a whole inch"),
        (IN / 2, "a half inch"),
        (IN / 4, "a quarter inch"),
        (IN / 8, "an eighth"),
        (IN / 16, "a sixteenth"),
    ),
    Units.mm: ((100.0, "100 mm"), (50.0, "50 mm"), (20.0, "20 mm"), (10.0, "10 mm"), (5.0, "5 mm")),
}
NEAR, CLEAR = 2.5, 4.0
"""A slip is named when it lies within ``NEAR`` standard uncertainties and no other within ``CLEAR``."""


def tape_units(mark: float) -> Units:
    """Units of a tape, by its marks: binary or decimal parts of an inch, or else of a millimetre. [mm]"""
    parts = (mark * n / IN for n in (64, 100))
    return Units.inch if any(part > 0.5 and abs(part - round(part)) < 1e-6 for part in parts) else Units.mm


def likely_slip(text: str, value: float, slip: float, u: float, units: Units) -> str:
    """
    Name the slip that fits, where one does and no other.

    Parameters
    ----------
    text : str
        The reading as it was written.
    value, slip, u : float
        The reading, by how much it is too long by what the others say, and the standard uncertainty of that. [mm]
    units : Units
        Of the tape.

    Returns
    -------
    str
        For example ``a whole inch too many``; empty where nothing fits, or more than one thing.
    """
    found: dict[float, str] = {}
    for size, name in _SLIPS[units]:
        for sign, way in ((1, "much"), (-1, "little")):
            found[sign * size] = f"{name} too {way}"
    for other in _transposed(text, units):
        found.setdefault(value - other, "two digits changed places")
    near = {what for off, what in found.items() if abs(slip - off) <= NEAR * u}
    clear = {off for off in found if abs(slip - off) <= CLEAR * u}
    return near.pop() if len(near) == 1 and len(clear) == 1 else ""


def _transposed(text: str, units: Units) -> set[float]:
    """Readings that the text would give with two neighbouring digits of its whole number changed about. [mm]"""
    match = re.match(r"\D*(\d{2,})", text)
    if match is None:
        return set()
    digits = match[1]
    found = set()
    for k in range(len(digits) - 1):
        if digits[k] != digits[k + 1]:
            turned = digits[:k] + digits[k + 1] + digits[k] + digits[k + 2 :]
            try:
                length = parse(text[: match.start(1)] + turned + text[match.end(1) :], units, mark=Fraction(0))
            except LengthError:
                continue
            found.add(float(length))
    return found
