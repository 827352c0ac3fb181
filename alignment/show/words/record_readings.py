"""Every row of a job's files as it was written: readings, steps, moves and photographs, in the order of the file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from alignment.lengths import Units, decimal
from alignment.machine.layout import Layout
from alignment.machine.survey import JOINT, Reading, Survey
from alignment.show.page import Part, Table
from alignment.show.words.phrases import counted
from alignment.train.moves.stops import ENDS
from alignment.train.solve import Solution
from alignment.uncertainty import SAME

__all__ = ["as_written"]

HEAD: Final = ("row", "when", "section", "point", "reading", "kind", "u", "note")
ALWAYS: Final = {"row", "section", "point", "reading"}
AGAIN: Final = {1: "", 2: "2nd", 3: "3rd"}
DAY: Final = len("2026-10-02")


@dataclass(frozen=True, kw_only=True)
class Row:
    """One row of a file, in the words of the table."""

    row: int
    when: str
    cells: tuple[str, ...]
    """From the section on."""


def as_written(name: str, survey: Survey, solutions: Sequence[Solution], units: Units) -> Part:
    """
    The rows of one file.

    Parameters
    ----------
    name : str
        What the file is to the job; nothing where there is but one.
    survey : Survey
        The file whole, a job log with its moves.
    solutions : sequence of Solution
        What was made of it: they know which readings were left out.
    units : Units
        Of the file's bare numbers.
    """
    layout = solutions[0].layout
    dropped = {r.row for solution in solutions for r in solution.dropped}
    rows = sorted([*_read(survey, layout, dropped), *_done(survey)], key=lambda row: row.row)
    days = {row.when[:DAY] for row in rows if row.when}
    one_day = len(days) == 1 and all(len(row.when) > DAY for row in rows if row.when)
    table = [(str(row.row), row.when[DAY:].strip() if one_day else row.when, *row.cells) for row in rows]
    kept = [k for k, head in enumerate(HEAD) if head in ALWAYS or any(cells[k] for cells in table)]
    bare = Units(survey.record["units"]) if survey.record.get("units") in list(Units) else units
    note = f"As written in {survey.source}, {bare.plural} where no unit stands."
    note += f" Times are of {days.pop()}." if one_day else ""
    note += f" {counted(len(dropped), 'reading')} left out of the fit, as told." if dropped else " None was left out."
    note += f" u: as the file says, {layout.units.plural}." if any(row.cells[4] for row in rows) else ""
    block = Table(
        head=tuple(HEAD[k] for k in kept),
        rows=tuple(tuple(cells[k] for k in kept) for cells in table),
        align="".join("rlllllrl"[k] for k in kept),
        note=note,
    )
    return Part(heading=f"Readings, {name.lower()}" if name else "", blocks=(block,))


def _read(survey: Survey, layout: Layout, dropped: set[int]) -> list[Row]:
    """Readings of the tape; which repeat each is, and its own u where it has one."""
    seen, rows = Counter[tuple[str, float]](), []
    for r in survey.readings:
        point = layout.sections[layout.index[r.section]].point_name(r.place, layout.units)
        seen[r.section, r.place] += not r.closing
        again = seen[r.section, r.place]
        kind = "closing" if r.closing else AGAIN.get(again, f"{again}th")
        own = "" if _by_tape(r, survey) else decimal(r.u, layout.units, places=3)
        note = "; ".join(filter(None, ("left out: the others contradict it" * (r.row in dropped), r.note)))
        rows.append(Row(row=r.row, when=r.when, cells=(r.section, point, r.text, kind, own, note)))
    return rows


def _done(survey: Survey) -> list[Row]:
    """What was done between the readings: bolt ends moved; steps read at joints, photographs taken."""
    rows = [
        Row(row=m.row, when=m.when, cells=(m.section, ENDS[m.end], m.text or "nobody looked", "moved to", "", m.note))
        for m in survey.moves
    ]
    rows += [
        Row(row=s.row, when="", cells=(f"{s.upstream} / {s.downstream}", JOINT, s.text, "feeler gauge", "", ""))
        for s in survey.steps
    ]
    return rows + [
        Row(row=p.row, when=p.when, cells=(p.section, p.point, "", "photograph", "", p.name)) for p in survey.photos
    ]


def _by_tape(reading: Reading, survey: Survey) -> bool:
    """Whether a reading is worth what the tape makes it, and not what the file says beside it."""
    return bool(abs(reading.u - survey.tape.reading_u(reading.value)) < SAME)
