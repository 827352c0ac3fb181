"""Usual slips of reading a tape that would explain by how much a reading is off. Hints, never more."""

from __future__ import annotations

import enum
import re
from fractions import Fraction
from typing import Final, NamedTuple

from alignment.errors import LengthError
from alignment.lengths import INCH, Units, parse

__all__ = ["LikelySlip", "SlipKind", "likely_slip", "tape_units", "whole_sizes"]

IN = float(INCH)
WHOLE: Final = {Units.inch: (12 * IN, 2 * IN, IN), Units.mm: (100.0, 10.0)}
"""Slips that no section that is merely out of place makes: whole feet and inches, whole numbers of a tape. [mm]"""
_PARTS: Final = {Units.inch: (IN / 2, IN / 4, IN / 8, IN / 16), Units.mm: (50.0, 20.0, 5.0)}
NEAR, CLEAR = 2.5, 4.0
"""A slip is named when it lies within ``NEAR`` standard uncertainties and no other within ``CLEAR``."""


class SlipKind(enum.StrEnum):
    """What may have been done wrong with the tape."""

    length = "length"
    """A usual length too much or too little."""
    digits = "digits"
    """Two neighbouring digits changed places."""
    whole = "whole"
    """The whole inches were left out: '3/16' for '18 3/16'."""
    ends = "ends"
    """What belongs to one end of a section was written at the other."""


class LikelySlip(NamedTuple):
    """A slip that fits: its kind, and by how much it makes a reading too long (+) or too short. [mm]"""

    kind: SlipKind
    size: float = 0.0


def tape_units(mark: float) -> Units:
    """Units of a tape, by its marks: binary or decimal parts of an inch, or else of a millimetre. [mm]"""
    parts = (mark * n / IN for n in (64, 100))
    return Units.inch if any(part > 0.5 and abs(part - round(part)) < 1e-6 for part in parts) else Units.mm


def whole_sizes(units: Units) -> tuple[float, ...]:
    """Lengths that a tape is misread by and that hardly any section is out by. [mm]"""
    return WHOLE[units]


def likely_slip(text: str, value: float, slip: float, u: float, units: Units) -> LikelySlip | None:
    """
    Find the slip that fits, where one does and no other.

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
    LikelySlip or None
        None where nothing fits, or more than one thing.
    """
    left_out = round(-slip / IN)
    if units is Units.inch and 0 < value < IN and left_out >= 1 and abs(-slip - left_out * IN) <= NEAR * u:
        return LikelySlip(kind=SlipKind.whole, size=-left_out * IN)
    found: dict[float, LikelySlip] = {}
    for size in (*WHOLE[units], *_PARTS[units]):
        for signed in (size, -size):
            found[signed] = LikelySlip(kind=SlipKind.length, size=signed)
    for other in _transposed(text, units):
        found.setdefault(value - other, LikelySlip(kind=SlipKind.digits, size=value - other))
    near = [what for off, what in found.items() if abs(slip - off) <= NEAR * u]
    clear = [off for off in found if abs(slip - off) <= CLEAR * u]
    return near[0] if len(near) == 1 and len(clear) == 1 else None


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
