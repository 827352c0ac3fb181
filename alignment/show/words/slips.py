"""Usual slips of reading a tape, as nouns."""

from __future__ import annotations

from typing import Final

from alignment.lengths import INCH
from alignment.machine.slips import LikelySlip, SlipKind

__all__ = ["slip_words"]

IN = float(INCH)
_NAMES: Final = {
    12 * IN: "a whole foot",
    2 * IN: "two inches",
    IN: "a whole inch",
    IN / 2: "a half inch",
    IN / 4: "a quarter inch",
    IN / 8: "an eighth",
    IN / 16: "a sixteenth",
}


def slip_words(slip: LikelySlip) -> str:
    """The slip as a noun: ``a whole inch too much``."""
    if slip.kind is SlipKind.length:
        name = next((n for size, n in _NAMES.items() if abs(size - abs(slip.size)) < 1e-6), f"{abs(slip.size):.0f} mm")
        return f"{name} too {'much' if slip.size > 0 else 'little'}"
    return {
        SlipKind.digits: "two digits changed places",
        SlipKind.whole: "the whole inches were left out",
        SlipKind.ends: "the ends were swapped",
    }[slip.kind]
