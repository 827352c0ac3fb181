"""
Taking the readings of a survey one by one: which point is next, what an answer does, and the file after it.

An `Entry` is a moment of that work. A reading makes the next one; nothing here waits for a person or touches a disk,
so whoever does can keep each moment's text before going on, and stay at the last one where that fails.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from alignment.errors import AtRow, InputError, LengthError, Problem, check_names
from alignment.files.rows import is_note, split_rows, tidy
from alignment.instruments import check_mark
from alignment.lengths import Units, show_exact
from alignment.machine.layout import Layout, Section
from alignment.machine.survey import JOINT, Kind, Reading, Survey
from alignment.machine.survey_text import LONG, parse_survey

__all__ = ["Ask", "Entry", "Taken", "begin", "point_text"]

COLUMNS: Final = ("section", "point", "reading", "kind", "when", "note")


@dataclass(frozen=True, kw_only=True)
class Ask:
    """One reading to be taken: the `repeat`-th at a point, or a string's closing one where that is 0."""

    section: str
    place: float
    repeat: int


@dataclass(frozen=True, kw_only=True)
class Taken:
    """One reading that was accepted: its row of the file, and what was asked."""

    ask: Ask
    cells: Mapping[str, str]
    reading: Reading


@dataclass(frozen=True, kw_only=True)
class Entry:
    """
    A moment of taking readings.

    Attributes
    ----------
    head : tuple of tuple of str
        Lines of the survey's record and notes, as cells.
    asks : tuple of Ask
        All that is to be read, in the order of reading; closing readings last.
    taken : tuple of Taken
        The readings accepted so far.
    kept : tuple of mapping
        Rows of a file taken up that hold no tape reading: steps at joints, and notes on points not read.
    at, furthest : int
        Which of them is asked, and how far the work has come.
    begun : str
        When a survey that is taken up was begun, as its file says; empty for a new one.
    """

    layout: Layout
    source: str
    units: Units
    delimiter: str
    columns: tuple[str, ...]
    head: tuple[tuple[str, ...], ...]
    asks: tuple[Ask, ...]
    taken: tuple[Taken, ...] = ()
    kept: tuple[Mapping[str, str], ...] = ()
    at: int = 0
    furthest: int = 0
    begun: str = ""

    @property
    def text(self) -> str:
        """The survey file as it stands; empty while nothing has been accepted."""
        return self._render([*(t.cells for t in self.taken), *self.kept]) if self.taken else ""

    @property
    def complete(self) -> bool:
        """Whether every point has been asked."""
        return self.at >= len(self.asks)

    @property
    def done(self) -> int:
        """How many of the readings asked for are taken."""
        return sum(self._taken_for(i) is not None for i in range(len(self.asks)))

    @property
    def asked(self) -> Ask:
        """What is asked now."""
        return self._ask(self.at) or self.asks[self.at]

    @property
    def stands(self) -> Taken | None:
        """What was taken already for what is asked."""
        return None if self.complete else self._taken_for(self.at)

    @property
    def wanted(self) -> float | None:
        """Reading wanted at the point that is asked; None where the layout does not say. [mm]"""
        section = self.section(self.asked)
        target = self.layout.rows[section.row].target
        return None if target is None else target + section.setback

    @property
    def others(self) -> list[Reading]:
        """The readings taken, without the one that stands for what is asked."""
        return [t.reading for t in self.taken if t is not self.stands]

    def read(self, word: str, when: str) -> Taken:
        """
        Row and reading that a text makes at the point that is asked.

        Raises
        ------
        InputError
            The text is no reading.
        """
        ask = self.asked
        cells = {
            "section": ask.section,
            "point": point_text(self.section(ask), ask.place, self.units),
            "reading": word,
            "kind": "" if ask.repeat else Kind.close,
            "when": when,
        }
        # read as the file will be, so that nothing is accepted that could not be read back
        survey = parse_survey(self._render([cells]), self.layout, self.source)
        return Taken(ask=ask, cells=cells, reading=survey.readings[0])

    def accept(self, new: Taken, note: str = "") -> Entry:
        """The moment after a reading for what is asked is accepted, with a note beside it."""
        new = replace(new, cells={**new.cells, "note": note})
        now = self.stands
        taken = tuple(new if t is now else t for t in self.taken) if now else (*self.taken, new)
        return replace(self, taken=taken).after()

    def after(self) -> Entry:
        """At the first point not read yet, no nearer than the work has come."""
        furthest = max(self.furthest, self.at + 1)
        at = next(
            (i for i in range(furthest, len(self.asks)) if self._ask(i) and not self._taken_for(i)), len(self.asks)
        )
        return replace(self, at=at, furthest=at)

    def back(self) -> Entry:
        """At the point before; the same moment at the first."""
        at = next((i for i in range(self.at - 1, -1, -1) if self._ask(i) is not None), self.at)
        return replace(self, at=at)

    def section(self, ask: Ask) -> Section:
        """The section of what is asked."""
        return self.layout.sections[self.layout.index[ask.section]]

    def _ask(self, i: int) -> Ask | None:
        """What is asked; a closing reading is of the point of its string that was read first, None before any."""
        ask = self.asks[i]
        if ask.repeat:
            return ask
        first = next((t.ask for t in self._on_string(ask) if t.ask.repeat), None)
        return None if first is None else replace(first, repeat=0)

    def _taken_for(self, i: int) -> Taken | None:
        """The reading taken for what is asked; a closing one counts only while nothing was read after it."""
        ask = self.asks[i]
        if ask.repeat:
            return self._by_ask.get(_key(ask))
        last = self._on_string(ask)[-1:]
        return last[0] if last and last[0].ask.repeat == 0 else None

    def _on_string(self, ask: Ask) -> list[Taken]:
        """Readings taken on the string of what is asked."""
        string = self._string(ask.section)
        return [t for t in self.taken if self._string(t.ask.section) == string]

    @cached_property
    def _by_ask(self) -> dict[tuple[str, float, int], Taken]:
        return {_key(t.ask): t for t in self.taken}

    def _string(self, section: str) -> str:
        return self.layout.rows[self.layout.sections[self.layout.index[section]].row].string

    def _render(self, rows: Sequence[Mapping[str, str]]) -> str:
        out = io.StringIO()
        writer = csv.writer(out, delimiter=self.delimiter, lineterminator="\n")
        writer.writerows(self.head)
        writer.writerow(self.columns)
        writer.writerows([row.get(name, "") for name in self.columns] for row in rows)
        return out.getvalue()


def begin(
    layout: Layout,
    text: str | None,
    source: str,
    *,
    record: Mapping[str, str] | None = None,
    repeats: int = 1,
    sections: Sequence[str] = (),
) -> Entry:
    """
    Begin a survey, or take one up where it was left.

    Parameters
    ----------
    layout : Layout
        The machine.
    text : str or None
        What the survey's file holds already; None where there is none.
    source : str
        Its name, for messages.
    record : mapping
        Lines for the head of the survey (``taken``, ``by``, ``tape``, ``mark``); those it has already stay.
    repeats : int
        How many times every point is to be read.
    sections : sequence of str
        Sections to read; all where empty.

    Returns
    -------
    Entry

    Raises
    ------
    InputError
        What the file or the record holds cannot be used.
    NameUnknownError
        A section that the layout lacks.
    """
    check_names(sections, layout.index, layout.source)
    delimiter, rows = split_rows(text or "", source)
    if text is None or not text.strip():
        delimiter = "\t" if source.lower().endswith(".tsv") else ","
    head, body = [], []
    for number, row in rows:
        cells = [tidy(cell) for cell in row]
        if cells and is_note(cells[0]):
            head.append(tuple(cells))
        elif any(cells):
            body.append((number, cells))
    columns = _columns(body[0][1], source, body[0][0]) if body else COLUMNS
    told = {line[0].lstrip(' "#').partition(":")[0].strip().lower() for line in head}
    own = {key: " ".join(value.split()) for key, value in (record or {}).items() if key not in told}
    head += [(f"# {key}: {value}",) for key, value in own.items() if value]
    entry = Entry(
        layout=layout,
        source=source,
        units=layout.units,
        delimiter=delimiter,
        columns=columns,
        head=tuple(head),
        asks=tuple(_asks(layout, sections, repeats)),
        kept=tuple(row for row in (dict(zip(columns, cells, strict=False)) for _, cells in body[1:]) if _aside(row)),
    )
    # one reading made up for the purpose shows whether what stands above the readings can be used
    first = {"section": layout.sections[0].name, "point": "entry", "reading": "1"}
    survey = parse_survey(entry._render([first]), layout, source)
    entry = replace(entry, units=Units(survey.record.get("units", layout.units).lower()))
    if own.get("mark"):
        try:
            check_mark(survey.tape.mark, own["mark"])
        except LengthError as error:
            raise InputError(source, "this survey cannot be used", [Problem("# mark", str(error))]) from None
    blank = {"section", "point", "note"}
    filled = [at for at, name in enumerate(columns) if name not in blank]
    if text is None or not any("".join(cells[at : at + 1]) for _, cells in body[1:] for at in filled):
        return entry
    survey = parse_survey(text, layout, source)
    if survey.moves:
        where, what = AtRow(survey.moves[0].row), "there is a move in it: this is a job log. Go on with: work."
        raise InputError(source, "readings cannot be added to this survey", [Problem(where, what)])
    return _taken_up(entry, survey, body)


def _columns(header: Sequence[str], source: str, number: int) -> tuple[str, ...]:
    names = [name.lower() for name in header]
    while names and not names[-1]:
        names.pop()
    if "reading" not in names or not set(names) <= set(LONG):
        what = f"this one does not have a reading on each row ({','.join(LONG[:4])}). Give the new survey a file."
        raise InputError(source, "readings cannot be added to this survey", [Problem(AtRow(number), what)])
    return (*names, *(name for name in COLUMNS if name not in names))


def _aside(row: Mapping[str, str]) -> bool:
    """Whether a row of a file has something in it, and no tape reading."""
    read = row.get("reading", "")
    return bool(read) if row.get("point", "").lower() == JOINT else bool(row.get("note")) and not read


def _taken_up(entry: Entry, survey: Survey, body: Sequence[tuple[int, Sequence[str]]]) -> Entry:
    """An entry with the readings of a file, at the first point that is not read."""
    rows = dict(body)
    taken: list[Taken] = []
    used: set[tuple[str, float, int]] = set()
    for reading in survey.readings:
        cells = dict(zip(entry.columns, rows[reading.row], strict=False))
        told = cells.get("repeat", "")
        repeat = 0 if reading.closing else max(int(told or 1), 1)
        ask = Ask(section=reading.section, place=reading.place, repeat=repeat)
        while repeat and (ask.repeat == 0 or _key(ask) in used):
            ask = replace(ask, repeat=ask.repeat + 1)
        used.add(_key(ask))
        taken.append(Taken(ask=ask, cells=cells, reading=reading))
    return replace(entry, taken=tuple(taken), begun=survey.record.get("taken", ""), at=-1).after()


def _asks(layout: Layout, sections: Sequence[str], repeats: int) -> list[Ask]:
    """Row by row, entry to exit, every point; the same again for repeats; then each string's closing reading."""
    wanted = [s for s in layout.sections if not sections or s.name in sections]
    asks = [Ask(section=s.name, place=p, repeat=k) for k in range(1, repeats + 1) for s in wanted for p in s.points]
    firsts = {layout.rows[s.row].string: s for s in reversed(wanted)}
    strings = dict.fromkeys(layout.rows[s.row].string for s in wanted)
    return asks + [Ask(section=firsts[name].name, place=firsts[name].points[0], repeat=0) for name in strings]


def _key(ask: Ask) -> tuple[str, float, int]:
    return ask.section, round(ask.place, 6), ask.repeat


def point_text(section: Section, place: float, units: Units) -> str:
    """Name of a point, or its place in a form that reads back to it."""
    name = section.point_name(place, units)
    return name if name[0].isalpha() else show_exact(place, units)
