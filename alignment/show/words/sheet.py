"""What is said on a sheet for the machine, and of it: the columns to write in, what to do, in which order."""

from __future__ import annotations

from typing import Final

import numpy as np

from alignment.lengths import Units, show
from alignment.machine.entry import Ask
from alignment.machine.layout import Layout
from alignment.show.page import Page, Part, items
from alignment.show.words import cautions
from alignment.show.words.phrases import counted
from alignment.show.words.stops import mark_words
from alignment.train.faces import corrections
from alignment.train.sheet import Sheet
from alignment.uncertainty import SAME

__all__ = ["CLOSING", "FIELDS", "columns", "instructions", "title", "told_page", "wanted"]

FIELDS: Final = ("taken", "by", "tape", "mark", "string", "temperature", "place")
"""Lines of a survey's record, as they are typed into its file."""
CLOSING: Final = "closing reading: read once more, last of all"
ROUNDS: Final = 2
"""Times that a section can be moved and read again on one sheet."""
HOW: Final = "Hold the tape square to the string. Rock it: the least reading counts."
STRONG: Final = "Circle + if the line is over the mark (strong), - if it is under (shy)."


def columns(sheet: Sheet) -> list[str]:
    """Heads of the boxes to write in."""
    if sheet.work:
        return ["found", *["stop", "left"] * ROUNDS]
    return ["reading"] if sheet.repeats == 1 else [str(k) for k in range(1, sheet.repeats + 1)]


def instructions(sheet: Sheet) -> list[str]:
    """What to do with the sheet, in order."""
    units = sheet.layout.units.plural
    if sheet.work:
        return [
            f"One section at a time, entry to exit. Read both ends, in {units}. Write them under 'found'. {HOW} "
            f"{STRONG}",
            f"If an end is off by {_off(sheet.layout)} or more: loosen that bolt end only. The other one is the pivot. "
            "Swing until the tape reads what is wanted. Write that under 'stop'. Tighten.",
            "Tightening moves the section: read both ends again. Write them under 'left'.",
            "Still off: once more in the next two columns. Then the next section.",
            "Last of all take the closing readings. If one differs from its first by more than a mark, the string "
            "moved: say so on the sheet.",
        ]
    order = f" Fill all of column 1 before column 2, up to {sheet.repeats}." if sheet.repeats > 1 else ""
    finer = " Take a finer rule if there is one." if sheet.finer else ""
    return [
        f"Read from the face to the string, in {units}. {HOW} {STRONG}",
        f"Read down the list.{order}{finer}",
        "Move nothing. Closing readings last: they show a string that moved.",
    ]


def wanted(layout: Layout, ask: Ask) -> str:
    """The reading that is wanted at a point; empty where the layout has no number for it."""
    at = layout.index[ask.section]
    section = layout.sections[at]
    target = layout.rows[section.row].target
    if target is None:
        return ""
    sag = corrections(layout, np.array([at]), np.array([section.start + ask.place]))
    reading, mark = target + section.setback - float(sag[0]), layout.tape.mark
    on_mark = abs(reading - round(reading / mark) * mark) < SAME
    return mark_words(reading, mark, layout.units) if on_mark else show(reading, layout.units)


def _off(layout: Layout) -> str:
    """How far off an end is moved: what is not allowed, but no less than the tape shows."""
    least = max(min(layout.tolerance.offset, layout.tolerance.square), layout.tape.mark)
    return f'{show(least, layout.units)}"' if layout.units is Units.inch else f"{show(least, layout.units)} mm"


def title(sheet: Sheet) -> str:
    """Which sheet it is."""
    return f"{'Work sheet' if sheet.work else 'Survey sheet'}: {sheet.layout.name}"


def told_page(sheet: Sheet, file: str) -> Page:
    """What to say of a sheet that was written."""
    points = f"{counted(len(sheet.points), 'point')}, {counted(len(sheet.closing), 'closing reading')}"
    return Page(
        title=f"{file}. {title(sheet)}, {points}", parts=(Part(blocks=(cautions.short(), *items(instructions(sheet)))),)
    )
