"""One section from two readings: is it square, and if not, which bolt end to swing. Without files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

from alignment.errors import InputError, LengthError, Problem, quote
from alignment.instruments import check_mark
from alignment.lengths import FINEST_U, LARGEST, TAPE_FINEST, Units, parse
from alignment.machine.first_layout import defaults
from alignment.machine.survey import Reading, Survey
from alignment.train.solve import Solution, solve

__all__ = ["Question", "square"]

FARTHEST: Final = 10_000.0
"""No string hangs this far from a section, and no section is this long: millimetres taken for inches. [mm]"""


@dataclass(frozen=True, kw_only=True)
class Question:
    """Two readings of one section and what goes with them, as they were written; empty where nothing was said."""

    entry: str
    exit: str
    length: str
    target: str = ""
    """Reading wanted at both ends."""
    bolts: str = ""
    """Places of entry and exit bolt end from the entry end, a comma between."""
    tolerance: str = ""
    mark: str = ""
    units: Units | None = None


def square(question: Question) -> Solution:
    """
    Fit, judge and plan one section read at its two ends.

    With the reading wanted both ends are judged, and the end that is off is moved. Without it only square is judged,
    and either end may be moved.

    Parameters
    ----------
    question : Question
        Lengths as they were written: ``18 3/8``, ``467``.

    Returns
    -------
    Solution
        Of a machine with this one section. Lengths are in millimetres.

    Raises
    ------
    InputError
        With everything in the question that cannot be used.

    Examples
    --------
    >>> import alignment
    >>> from alignment.train.square import Question
    >>> found = alignment.square(Question(entry="18 3/8", exit="18 5/8", length="15"))
    >>> round(found.state.sections[0].skew.value / 25.4, 4)
    0.25
    """
    metric = any(
        text.strip().lower().endswith("m") for text in (question.entry, question.exit, question.length, question.target)
    )
    units = question.units or (Units.mm if metric else Units.inch)
    layout = defaults(units)
    problems: list[Problem] = []

    def length(where: str, text: str, *, finest: int = TAPE_FINEST, positive: bool = True) -> float:
        try:
            found = float(parse(text, units, finest=finest))
            if where == "--mark":
                check_mark(found, text)
        except LengthError as error:
            problems.append(Problem(where, str(error)))
            return 1.0
        if positive and found <= 0:
            problems.append(Problem(where, f"{quote(text)} is not more than nothing."))
        if found > FARTHEST:
            mend = "Give --units mm for millimetres." if units is Units.inch else "Check the unit."
            problems.append(Problem(where, f"{quote(text)} would be {found / 1000:.1f} m. {mend}"))
        return found

    long = length("--length", question.length)
    values = length("A", question.entry), length("B", question.exit)
    bolts = _bolts(question.bolts, long, length, problems) if question.bolts else (0.0, long)
    wanted = length("--target", question.target) if question.target else 0.0
    tape, tolerance = layout.tape, layout.tolerance
    if question.mark:
        tape = replace(tape, mark=length("--mark", question.mark, finest=FINEST_U))
    if question.tolerance:
        tolerance = replace(tolerance, square=length("--tolerance", question.tolerance))
    if problems:
        raise InputError("square", "this cannot be used", problems)
    (section,) = layout.sections
    section = replace(section, length=long, points=(0.0, long), bolts=bolts)
    (row,) = layout.rows.values()
    if question.target:
        row = replace(row, target=wanted)
    else:
        tolerance = replace(tolerance, offset=float(LARGEST))
    layout = replace(layout, sections=(section,), rows={row.name: row}, tape=tape, tolerance=tolerance, assumed=())
    readings = tuple(
        Reading(
            section=section.name,
            place=place,
            value=value,
            u=float(tape.reading_u(value)),
            text=text,
            row=0,
        )
        for place, value, text in zip(section.points, values, (question.entry, question.exit), strict=True)
    )
    return solve(layout, Survey(source="stringtrue square", readings=readings, tape=tape, record={}))


def _bolts(text: str, long: float, length: Callable[..., float], problems: list[Problem]) -> tuple[float, float]:
    before = len(problems)
    found = [length("--bolts", part, positive=False) for part in text.split(",")]
    if len(problems) == before and not (len(found) == 2 and found[0] < found[1] <= long + 1e-6):
        what = f"{quote(text)} is not two places on the section, entry bolt end first. Write for example 2,16."
        problems.append(Problem("--bolts", what))
    return found[0], found[-1]
