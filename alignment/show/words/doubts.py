"""What is said at once of a reading that should be taken again."""

from __future__ import annotations

from collections.abc import Sequence

from alignment.lengths import Units, show
from alignment.machine.layout import Layout
from alignment.machine.plausible import Against, Doubt, doubt
from alignment.machine.survey import Reading
from alignment.show.words.phrases import unit_mark
from alignment.show.words.slips import slip_words

__all__ = ["doubt_words"]


def doubt_words(layout: Layout, before: Sequence[Reading], new: Reading, units: Units) -> str:
    """One to three short sentences on why a reading should be taken again; empty where nothing speaks against it."""
    found = doubt(layout, before, new, units)
    if found is None:
        return ""
    which = "more" if found.off > 0 else "less"
    said = [f"{show(abs(found.off), units)}{unit_mark(units)} {which} than {_than(found, layout, units)}."]
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
