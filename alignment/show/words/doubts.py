"""What is said at once of a reading that should be taken again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from alignment.lengths import INCH, Units, show
from alignment.machine.layout import Layout
from alignment.machine.plausible import Against, Doubt, doubt
from alignment.machine.slips import LikelySlip, SlipKind
from alignment.machine.survey import Reading

__all__ = ["doubt_words", "slip_words"]

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


def doubt_words(layout: Layout, before: Sequence[Reading], new: Reading, units: Units) -> str:
    """One to three short sentences on why a reading should be taken again; empty where nothing speaks against it."""
    found = doubt(layout, before, new, units)
    if found is None:
        return ""
    which = "more" if found.off > 0 else "less"
    said = [f"{show(abs(found.off), units)} {units} {which} than {_than(found, layout, units)}."]
    if found.slip:
        said.append(f"Perhaps {slip_words(found.slip)}?")
    if found.against is Against.first:
        said.append("If it reads the same again, the string has moved.")
    if found.wanted is not None:
        said.append(f"But the target is {show(found.wanted, units)}: look at {_point(found, layout, units)} too.")
    return " ".join(said)


def _than(found: Doubt, layout: Layout, units: Units) -> str:
    expected = show(found.expected, units)
    if found.other is None:
        return (
            f"its target ({expected})"
            if found.against is Against.target
            else f"its section's other points say ({expected})"
        )
    name = {Against.before: "before", Against.first: "at first"}.get(found.against) or _point(found, layout, units)
    return f"{name} ({found.other.text})"


def _point(found: Doubt, layout: Layout, units: Units) -> str:
    """The point of the other reading, with its section's name where that is another's."""
    other = found.other
    assert other is not None  # noqa: S101  # points and sections have one
    point = layout.sections[layout.index[other.section]].point_name(other.place, units)
    return f"{other.section} {point}" if found.against is Against.section else point
