"""What is said on pictures of a machine beside what is drawn."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from alignment.change.comparison import Comparison
from alignment.choices import Line
from alignment.lengths import Units, show
from alignment.machine.layout import Layout, Plane
from alignment.show.words.phrases import SHORTLY, VIEWS, counted
from alignment.train.across import rows_of
from alignment.train.solve import Solution
from alignment.train.state import State

__all__ = [
    "AFTER", "CANNOT_TELL", "MOVED", "STRIP_RUNS", "UNREAD", "UNREAD_SHORT", "asked_again", "before_moving",
    "comparison_key", "deviation_words", "hung_words", "more_doubts", "more_moves", "other_sheet",
    "part_words", "place_words", "row_words", "rows_words", "step_words", "string_words", "train_key",
    "verdict_title", "wanted_words",
]  # fmt: skip

STRIP_RUNS: Final = "strip runs"
UNREAD: Final = "not measured enough"
UNREAD_SHORT: Final = "not read"
AFTER: Final = "After the moves, as the tape should then read"
MOVED: Final = "moved"
CANNOT_TELL: Final = "cannot be told"


def other_sheet(layout: Layout, plane: Plane, file: str = "") -> str:
    """Where the rows of the other plane are drawn, empty where there are none; `file` is the other sheet's, if any."""
    (other,) = (p for p in Plane if p is not plane)
    rows = rows_of(layout, other)
    if not rows:
        return ""
    named = f"Row{'s' * (len(rows) > 1)} {', '.join(rows)}"
    return f"{named}: see the other sheet, {VIEWS[other]}{f' ({file})' if file else ''}."


def place_words(units: Units) -> str:
    """What stands below an axis along the machine."""
    return f"{units.plural} from the zero mark, downstream to the right"


def deviation_words(units: Units) -> str:
    """What stands beside an axis across the machine."""
    return f"deviation ({units.plural})"


def step_words(step: str) -> str:
    """What stands beside a joint that is out of step."""
    return f"step {step}"


def string_words(name: str, wanted: str = "") -> str:
    """What stands at a string; with the reading wanted all along it, if there is one."""
    return f"string {name}{f', {wanted_words(wanted)}' if wanted else ''}"


def wanted_words(reading: str) -> str:
    """What stands beside readings."""
    return f"wanted {reading}"


def row_words(row: str, plane: Plane) -> str:
    """What stands above one row."""
    return f"Row {row}{' (heights)' if plane is Plane.height else ''}"


def part_words(k: int, count: int) -> str:
    """Which part of a drawing this is, where there are several."""
    return f", part {k + 1} of {count}" if count > 1 else ""


def rows_words(rows: Sequence[str]) -> str:
    """Which rows a drawing shows, in their order, and where the entry is."""
    order = f"From the top: row {', row '.join(rows)}. " if len(rows) > 1 else f"Row {rows[0]}. "
    return f"{order}The entry end of the machine is at the left."


def before_moving(flag: str) -> str:
    """A doubt about readings, above the moves."""
    return f"Before moving: {flag}"


def asked_again(words: str) -> str:
    """What to read again, above the moves."""
    return f"Read again: {words}"


def more_doubts(count: int) -> str:
    """That not all doubts are on a sheet."""
    return f"and {count} more to read again: the printed list has them all."


def more_moves(count: int) -> str:
    """That not all moves are on a sheet."""
    return f"and {counted(count, 'more section')}: the printed list has them all."


def verdict_title(state: State, rows: Sequence[str], room: int) -> str:
    """Which sections are out, or how many where their names take more letters than there is room for."""
    shown = [s for s in state.sections if s.row in rows]
    out = [s.name for s in shown if not s.verdict.inside]
    if not out:
        return "Every section in tolerance" + ("" if state.verdict.sure else ", not all proved")
    names = f"Out: {', '.join(out)}"
    return names if len(names) <= room else f"{len(out)} of {len(shown)} sections out"


def train_key(solution: Solution, factor: float, *, moving: bool, ghost: bool = False) -> str:
    """
    What a drawing of a train shows.

    Parameters
    ----------
    solution : Solution
    factor : float
        By which deviations are drawn larger than lengths along the machine.
    moving : bool
        Whether moves are drawn.
    ghost : bool
        Whether moved faces are drawn where they were.
    """
    layout = solution.layout
    t, units = layout.tolerance, layout.units
    told = (
        f"Deviations are drawn {factor:.0f} times larger than lengths along the machine. Grey band: offset tolerance "
        f"{show(t.offset, units)} {units.plural}, about the wanted reading. Heavy line: fitted face. Shade: its "
        "uncertainty U. Diamond: a reading. Hatched: OUT or OUT?. Dashed outline: not proved. "
        "Distance to the string and depth of the sections are not to scale."
    )
    if solution.train.line is not Line.string:
        told += " Deviations are taken from a line laid beside the string; the string is drawn as it hangs beside it."
    if moving:
        told += (
            " Numbered disc: bolt end to loosen, as numbered in the list. Arrow: which way it goes. Triangle: pivot."
        )
    return told + " Dashed line: where a moved face was." * ghost


def comparison_key(comparison: Comparison) -> str:
    """What a drawing of two states shows."""
    units = comparison.layout.units
    hung = any(answer.hung for string in comparison.motion.strings for answer in string.answers)
    string = ", less what the string did in between" if hung else ""
    return (
        f"Dashed: face in the first survey. Solid: in the second{string}. Orange, hatched and with an arrow: moved; "
        "the shade is U of its change. Blue: no change that this tape can see. Amounts: at the bolt ends, in "
        f"{units.plural}; those without room are in the list. Grey band: offset tolerance. Deviations are drawn much "
        "larger than lengths along the machine."
    )


def hung_words(comparison: Comparison, row: str) -> str:
    """What stands at a string in a drawing of two states: which way toward is, and how it was hung anew."""
    layout, units = comparison.layout, comparison.layout.units
    told = layout.rows[row]
    said = f"{string_words(told.string)} ({SHORTLY[told.direction(1)]} is this way)"
    sections = {layout.index[s.name] for s in layout.row_sections(row)}
    found = next((s for s in comparison.motion.strings if sections & set(s.members)), None)
    if found is None or not found.changed:
        return said
    ends = [show(float(v), units, signed=True) for v in found.change]
    return f"{said}: hung {ends[0]} at the entry, {ends[1]} at the exit (+ farther off)"
