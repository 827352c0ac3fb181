"""Small turns of phrase that many sentences share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Protocol

from alignment.lengths import Units, show, show_exact
from alignment.machine.layout import Direction, Plane
from alignment.uncertainty import Verdict

__all__ = ["DIRECTIONS", "SHORTLY", "VIEWS", "counted", "in_list", "on_tape", "times", "unit_mark", "verdict_words"]

DIRECTIONS: Final = {
    Direction.toward: "toward the string",
    Direction.away: "away from the string",
    Direction.up: "up",
    Direction.down: "down",
}
SHORTLY: Final = {direction: direction.value for direction in Direction}
"""The same where there is room for one word."""
VIEWS: Final = {Plane.side: "seen from above", Plane.height: "seen from the side"}
"""From where the rows of a plane are seen in a drawing."""


def unit_mark(units: Units) -> str:
    """What stands behind a length: ``"`` or `` mm``."""
    return '"' if units is Units.inch else " mm"


def in_list(words: Sequence[str], last: str = "and") -> str:
    """Words in a row: ``a``, ``a and b``, ``a, b and c``."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}" if words else ""


def counted(number: int, one: str) -> str:
    """Number and noun: ``1 section``, ``2 sections``."""
    return f"{number} {one}{'' if number == 1 else 's'}"


def times(count: int) -> str:
    """How often: ``once``, ``twice``, ``3 times``."""
    return "once" if count == 1 else "twice" if count == 2 else f"{count} times"


class Verdictable(Protocol):
    """Something that was judged, or could not be."""

    @property
    def verdict(self) -> Verdict | None: ...
    @property
    def p_in(self) -> float | None: ...


def verdict_words(judged: Verdictable) -> str:
    """Verdict, with the probability of being in where it is not sure; a dash where nothing was judged."""
    if judged.verdict is None or judged.p_in is None:
        return "-"
    return judged.verdict.printed if judged.verdict.sure else f"{judged.verdict.printed:<4} {100 * judged.p_in:3.0f}%"


def on_tape(length: float, mark: float, units: Units) -> str:
    """
    A reading in parts of the tape's own mark: ``18 3/8``, ``18 3/8+``, ``halfway between 18 5/16 and 18 3/8``. [mm]

    A plus is strong, a minus shy: a quarter of a mark over or under the line.
    """
    whole, quarter = divmod(round(length / (mark / 4)), 4)
    lines = [_line(k * mark, units) for k in (whole, whole + 1)]
    if quarter == 2:
        return f"halfway between {lines[0]} and {lines[1]}"
    return lines[0] + "+" * (quarter == 1) if quarter < 3 else f"{lines[1]}-"


def _line(length: float, units: Units) -> str:
    text = show_exact(round(length, 9), units) if units is Units.mm else show(length, units)
    return text.removesuffix(".0")
