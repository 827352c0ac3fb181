"""
The log of one job as the page sees it: what to do next, and what an answer adds.

The file is the only memory. Every look reads it, every answer is a row more under the writer's lock, each with an id of
its own, so that one that is sent again is not taken twice.
"""

from __future__ import annotations

import enum
import hashlib
import secrets
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Final

from alignment.errors import StringtrueError
from alignment.files.disk import read_begun
from alignment.files.rows import tidy
from alignment.files.writing import ChangedError, renew_text
from alignment.lengths import Units, show
from alignment.machine.layout import Layout, Section
from alignment.machine.layout_file import read_layout
from alignment.machine.log_text import added, begun, rows_of, without_last
from alignment.machine.survey import Kind, Survey
from alignment.machine.survey_text import parse_survey
from alignment.phone import photos
from alignment.show.words import phone as words
from alignment.show.words.phrases import DIRECTIONS
from alignment.train.work.next_act import Act, Next, next_act

__all__ = ["Ask", "Job", "Key", "Move", "Saved", "Stop", "Told", "open_job"]

ENDS: Final = ("entry", "exit")
TRIES: Final = 20
"""Another program may write between a look and an answer; so often it is tried again."""


class Saved(enum.StrEnum):
    """What became of an answer."""

    saved = "saved"
    again = "again"
    """It was sent before, and is on disk."""
    conflict = "conflict"
    """Somebody else answered meanwhile. Nothing was written."""
    refused = "refused"
    """It could not be used. Nothing was written."""


@dataclass(frozen=True, kw_only=True)
class Told:
    """What became of an answer: in words if it was not simply saved, and the fields to send if it is still wanted."""

    saved: Saved
    version: str = ""
    message: str = ""
    again: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Key:
    """A key to tap."""

    value: str
    label: str
    usual: bool = False


@dataclass(frozen=True, kw_only=True)
class Ask:
    """One reading to take, with the keys for it."""

    section: str
    point: str
    wanted: str
    kind: Kind
    id: str
    bases: tuple[Key, ...]
    marks: tuple[Key, ...]
    parts: tuple[Key, ...]


@dataclass(frozen=True, kw_only=True)
class Stop:
    """
    One bolt end to loosen and where to stop it.

    Attributes
    ----------
    way : str
        In words.
    arrow : str
        The way on the page, the strip running down it: ``left`` or ``right``, for heights ``up`` or ``down``.
    reading : str
        What the tape reads there.
    """

    end: str
    way: str
    arrow: str
    reading: str


@dataclass(frozen=True, kw_only=True)
class Move:
    """A move that is asked for, and what is sent when it was made."""

    section: str
    pivot: str
    """The end that stays tight; empty where both are loosened."""
    stops: tuple[Stop, ...]
    fields: Mapping[str, str]


class Job:
    """
    One machine and its log.

    Parameters
    ----------
    layout : Layout
    path : path
        The log.
    """

    def __init__(self, layout: Layout, path: Path) -> None:
        self.layout = layout
        self.path = path
        # which page sent which answer: what one page sends twice is no conflict with itself
        self._pages: dict[str, str] = {}

    def text(self) -> str:
        """What the log holds now."""
        return self._or_begun(read_begun(self.path))

    def _or_begun(self, found: str | None) -> str:
        delimiter = "\t" if self.path.suffix.lower() == ".tsv" else ","
        return begun({}, delimiter=delimiter) if found is None else found

    def look(self, skip: Sequence[str] = ()) -> tuple[Next, str]:
        """The next act, some sections put off, and the version of the log that asks for it."""
        text = self.text()
        known = [name for name in skip if name in self.layout.index]
        return next_act(self.layout, self._parsed(text), skip=known), _version(text, self.path.name)

    def version(self) -> str:
        """Version of the log: how many rows, and of which content."""
        return _version(self.text(), self.path.name)

    def _parsed(self, text: str) -> Survey:
        return parse_survey(text, self.layout, self.path.name, begun=True)

    def asks(self, found: Next) -> list[Ask]:
        """Readings that the next act wants, in order."""
        if found.act not in (Act.read, Act.close) or found.section is None:
            return []
        kind = Kind.close if found.act is Act.close else Kind.read
        return [self._ask(found, found.section, place, kind) for place in found.points]

    def _ask(self, found: Next, section: Section, place: float, kind: Kind) -> Ask:
        work, units = found.sections[self.layout.index[section.name]], self.layout.units
        share = (place - section.points[0]) / ((section.points[-1] - section.points[0]) or 1.0)
        wanted = work.wanted[0] + share * (work.wanted[1] - work.wanted[0])
        known = wanted == wanted
        mark = found.log.tape.mark
        return Ask(
            section=section.name,
            point=section.point_name(place, units),
            wanted=show(wanted, units, to=mark) if known else "",
            kind=kind,
            id=secrets.token_hex(8),
            bases=_bases(wanted if known else 0.0, units),
            marks=(Key(value="-", label=words.LABELS["shy"]), Key(value="", label=words.LABELS["on"], usual=True),
                   Key(value="+", label=words.LABELS["strong"])),
            parts=_parts(wanted if known else 0.0, mark, units),
        )  # fmt: skip

    def move(self, found: Next) -> Move | None:
        """The move that the next act wants."""
        if found.act is not Act.move or found.section is None:
            return None
        mark, units = found.log.tape.mark, self.layout.units
        decision, row = (
            found.sections[self.layout.index[found.section.name]].decision,
            self.layout.rows[found.section.row],
        )
        # where the string is, seen from the faces, on a page down which the strip runs
        near, far = {"right": ("right", "left"), "above": ("up", "down"), "below": ("down", "up")}.get(
            row.side or "left", ("left", "right")
        )
        stops = []
        for stop in found.stops:
            toward = float(decision.move[stop.end]) > 0
            stops.append(
                Stop(
                    end=ENDS[stop.end],
                    way=DIRECTIONS[row.direction(1 if toward else -1)],
                    arrow=near if toward else far,
                    reading=show(stop.reading, units, to=mark / 2),
                )
            )
        sent = {"kind": "move", "section": found.section.name, "id": secrets.token_hex(8)}
        sent |= {f"stop-{stop.end}": stop.reading for stop in stops}
        pivot = ENDS[1 - found.stops[0].end] if len(stops) == 1 else ""
        return Move(section=found.section.name, pivot=pivot, stops=tuple(stops), fields=sent)

    def take(self, said: Mapping[str, str]) -> Told:
        """Take an answer: a reading, a move, or the last row back; on disk when this returns `Saved.saved`."""
        # as a row holds it: on one line, and nothing that a file of text cannot have
        said = {key: str(tidy(value)) for key, value in said.items()}
        told = self._write(lambda before: self._answer(self._or_begun(before), said))
        if told.saved is Saved.saved:
            self._pages[said.get("id", "")] = said.get("page", "")
        return told

    def _write(self, make: Callable[[str | None], tuple[Told, str | None]]) -> Told:
        """Write what is made of the log as it stands; made anew where another writer was quicker."""
        for _ in range(TRIES):
            before = read_begun(self.path)
            told, after = make(before)
            if after is None:
                return told
            with suppress(ChangedError):
                renew_text(self.path, before, after)
                return told
        return Told(saved=Saved.refused, message=words.BUSY)

    def _answer(self, text: str, said: Mapping[str, str]) -> tuple[Told, str | None]:
        """What to say of an answer, and the text of the log with it; None where nothing is to be written."""
        rows = rows_of(text, self.path.name)
        now = _version(text, self.path.name)
        own = said.get("id", "")
        if own and any(row.get("id") == own for row in rows):
            return Told(saved=Saved.again, version=now), None
        try:
            new = self._rows(said)
        except StringtrueError as error:
            return Told(saved=Saved.refused, version=now, message=str(error)), None
        if not said.get("anyway"):
            others = self._meanwhile(said, rows)
            if others:
                section = said.get("section") or others[0].get("section", "")
                shown = [words.row_told(row) for row in others]
                mine = words.row_told(new[0]) if new else words.LABELS["back"]
                message = words.conflict(section, shown, mine)
                kept = {**{key: value for key, value in said.items() if key != "version"}, "anyway": "1"}
                return Told(saved=Saved.conflict, version=now, message=message, again=kept), None
        back = said.get("kind") == "back"
        try:
            after = without_last(text, self.path.name) if back else added(text, new, self.path.name)
            # nothing is accepted that could not be read back
            self._parsed(after)
        except StringtrueError as error:
            return Told(saved=Saved.refused, version=now, message=str(error)), None
        return Told(saved=Saved.saved, version=_version(after, self.path.name)), after

    def _rows(self, said: Mapping[str, str]) -> list[dict[str, str]]:
        """Rows of an answer, as the file will have them; none for the last row taken back."""
        kind, section = said.get("kind", ""), said.get("section", "")
        common = {"section": section, "when": f"{datetime.now().astimezone():%Y-%m-%d %H:%M}", "id": said.get("id", "")}
        if kind == "back":
            return []
        if kind == "move":
            ends = [end for end in ENDS if f"stop-{end}" in said]
            if not ends:
                raise StringtrueError(words.NO_END)
            return [{**common, "kind": "move", "point": end, "reading": said[f"stop-{end}"]} for end in ends]
        if kind not in ("read", "close"):
            raise StringtrueError(words.NO_KIND)
        reading = _reading(said, self.layout.units)
        return [{**common, "kind": "" if kind == "read" else kind, "point": said.get("point", ""), "reading": reading}]

    def _meanwhile(self, said: Mapping[str, str], rows: Sequence[Mapping[str, str]]) -> list[Mapping[str, str]]:
        """Rows that somebody else wrote since the page was drawn, and that bear on this answer."""
        seen = said.get("version", "").partition("-")[0]
        if not seen.isdecimal():
            return []
        page = said.get("page", "")
        since = [row for row in rows[int(seen) :] if not (page and self._pages.get(row.get("id", "")) == page)]
        if said.get("kind") == "back":
            return since
        own = [row for row in since if row.get("section") == said.get("section")]
        if said.get("kind") == "move":
            return own
        return [row for row in own if row.get("kind") == "move" or row.get("point") == said.get("point")]

    def photograph(self, data: bytes, own: str) -> Told:
        """Keep a photograph of what was read last, and a row that names it."""
        last = next((row for row in reversed(rows_of(self.text(), self.path.name)) if row.get("section")), None)
        if last is None:
            return Told(saved=Saved.refused, message=words.NO_READING)
        try:
            photo = photos.keep(data, self.path)
        except StringtrueError as error:
            return Told(saved=Saved.refused, message=str(error))
        row = {
            "section": last["section"],
            "point": last.get("point", ""),
            "kind": Kind.photo,
            "when": f"{datetime.now().astimezone():%Y-%m-%d %H:%M}",
            "id": str(tidy(own)),
            "photo": photo.name,
            "sha256": photo.sha256,
        }

        def make(before: str | None) -> tuple[Told, str | None]:
            text = self._or_begun(before)
            now = _version(text, self.path.name)
            if row["id"] and any(there.get("id") == row["id"] for there in rows_of(text, self.path.name)):
                return Told(saved=Saved.again, version=now), None
            try:
                after = added(text, [row], self.path.name)
                self._parsed(after)
            except StringtrueError as error:
                return Told(saved=Saved.refused, version=now, message=str(error)), None
            return Told(saved=Saved.saved, version=_version(after, self.path.name)), after

        return self._write(make)


def open_job(layout: Path, log: Path) -> Job:
    """
    A job ready to be served: layout and log are read once, so that what is wrong with them is said before.

    Raises
    ------
    StringtrueError
        One of the files cannot be used.
    """
    from alignment.files.writing import ready_to_renew

    job = Job(read_layout(layout), log)
    ready_to_renew(log)
    job.look()
    return job


def _version(text: str, source: str) -> str:
    return f"{len(rows_of(text, source))}-{hashlib.sha256(text.encode()).hexdigest()[:12]}"


def _reading(said: Mapping[str, str], units: Units) -> str:
    """A reading from the keys that were tapped, as a person would write it."""
    part, typed = said.get("part", ""), said.get("typed", "").strip()
    if part == "typed" or not part:
        if not typed:
            raise StringtrueError(words.NO_READING_TYPED)
        return typed
    base, mark = said.get("base", ""), said.get("mark", "")
    if units is Units.inch:
        whole = " ".join(word for word in (base, "" if part == "0" and base else part) if word)
    else:
        whole = f"{base[:-1]}{part}" if base else part
    return whole + (mark if mark in ("+", "-") else "")


def _bases(wanted: float, units: Units) -> tuple[Key, ...]:
    """Whole inches, or tens of millimetres, about the wanted reading."""
    step = 1 if units is Units.inch else 10
    nearest = int(units.of(wanted) // step) * step
    found = [nearest + k * step for k in (-1, 0, 1) if nearest + k * step >= 0]
    return tuple(Key(value=str(n), label=str(n), usual=n == nearest) for n in found)


def _parts(wanted: float, mark: float, units: Units) -> tuple[Key, ...]:
    """The parts of an inch that the tape has, or the ten millimetres of a base."""
    if units is Units.mm:
        usual = round(units.of(wanted)) % 10
        return tuple(Key(value=str(n), label=str(n), usual=n == usual) for n in range(10))
    count = max(1, round(25.4 / mark))
    usual = round((units.of(wanted) % 1) * count) % count
    labels = [show(25.4 * k / count, units, to=mark) for k in range(count)]
    return tuple(Key(value=label, label=label, usual=k == usual) for k, label in enumerate(labels))
