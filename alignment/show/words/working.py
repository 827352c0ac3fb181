"""
The conversation at the machine: what is asked, what an answer does, and the log after it.

A `Working` is a moment of it. An answer makes the next one; nothing here waits for a person or touches a disk, so
whoever does can keep each moment's text before going on, and stay at the last one where that fails.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from alignment.errors import InputError, LengthError
from alignment.lengths import Units, parse, show_exact
from alignment.machine.layout import Layout
from alignment.machine.log import now
from alignment.machine.log_text import added, rows_of, without_last
from alignment.machine.survey import Kind, Reading, Survey
from alignment.machine.survey_text import parse_survey
from alignment.show.words.cautions import SHORT
from alignment.show.words.doubts import doubt_words
from alignment.show.words.phrases import counted, in_list, on_tape
from alignment.show.words.work import (
    accepted,
    act_lines,
    creep_line,
    point_name,
    reasons,
    section_line,
    string_doubts,
    wanted_at,
)
from alignment.train.work.next_act import Act, Next, State, next_act

__all__ = ["Working", "take_up"]

BACK, SKIP, WHY = ("b", "back"), ("s", "skip"), ("?", "why", "h", "help")
LIST, KEEP, QUIT = ("l", "list"), ("k", "keep"), ("q", "quit")
KEYS: Final = "b back, s skip, ? why, l list, q quit."
ENDS: Final = ("entry", "exit")
FINISHED: Final = (State.done, State.stuck, State.kept)


@dataclass(frozen=True, kw_only=True)
class Working:
    """
    A moment of the work.

    Attributes
    ----------
    text : str
        The log as it stands.
    told : Next
        What it asks for.
    skipped : tuple of str
        Sections put off; they come after the others.
    pending : str
        A reading in doubt that was not accepted, as typed; empty where there is none.
    says : tuple of str
        What to tell the person before the next question.
    over : bool
        Whether the work has ended, for now or for good.
    """

    layout: Layout
    source: str
    text: str
    told: Next
    skipped: tuple[str, ...] = ()
    pending: str = ""
    says: tuple[str, ...] = ()
    over: bool = False

    @property
    def prompt(self) -> str:
        """The question to ask."""
        told = self.told
        if self.pending:
            return "Read it again (k keeps it): "
        if told.act is Act.move:
            return "Enter when done, or the reading: "
        assert told.section is not None  # noqa: S101  # when it is done nothing is asked
        return f"{told.section.name} {point_name(told, told.points[0])}: "

    def answer(self, typed: str | None, when: str = "") -> Working:
        """
        Take what was typed.

        Parameters
        ----------
        typed : str or None
            A reading or one of the keys; None where there is no more input.
        when : str
            Date and time, for the log.

        Returns
        -------
        Working
            The next moment. Its `text` differs from this one's where a row was added or taken off.
        """
        word = " ".join((typed or "").split())
        key = word.lower()
        if typed is None or key in QUIT:
            return replace(self, says=(), pending="", over=True)
        if key in WHY:
            return replace(self, says=(*reasons(self.told), KEYS))
        if key in LIST:
            return replace(self, says=tuple(section_line(work) for work in self.told.sections))
        if key in BACK:
            return self._back()
        if key in SKIP:
            return self._put_off()
        try:
            return self._move(word, when) if self.told.act is Act.move else self._read(word, when)
        except LengthError as error:
            return replace(self, says=(str(error),))
        except InputError as error:
            return replace(self, says=(error.problems[-1].what,))

    def rebased(self, text: str | None, said: str) -> Working:
        """The same on a log that somebody else has added to; what was typed is to be typed again."""
        after = self._go(text or self.text, self.skipped, "")
        return replace(after, says=(said, *after.says))

    def told_so(self, said: str) -> Working:
        """The same moment, with something to tell the person first."""
        return replace(self, says=(said,))

    def _put_off(self) -> Working:
        """To the next section; this one comes after the others."""
        name = self.told.section.name if self.told.section is not None else ""
        after = self._go(self.text, (*(s for s in self.skipped if s != name), name), "")
        same = after.told.section is not None and after.told.section.name == name
        said = f"{name} is all that is left. q quits." if same else f"{name} put off: it comes after the others."
        return replace(after, says=(said, *after.says))

    def _back(self) -> Working:
        if self.pending:
            return replace(self, says=("Dropped.",), pending="")
        text = without_last(self.text, self.source)
        if text == self.text:
            return replace(self, says=("There is nothing to go back to.",))
        gone = rows_of(self.text, self.source)[len(rows_of(text, self.source)) :]
        said = in_list([f"{row.get('section', '')} {row.get('point', '')} {row.get('reading', '')}" for row in gone])
        return self._go(text, self.skipped, f"Taken off: {said}.")

    def _read(self, word: str, when: str) -> Working:
        """Take a reading: accept it, ask for it again, or say why it is none."""
        place = self.told.points[0]
        if not word:
            return replace(self, says=(f"Type what the tape reads. {KEYS}",))
        twice: tuple[Mapping[str, str], ...] = ()
        if self.pending and word.lower() in KEEP:
            word = self.pending
        else:
            word = self._whole(word, place)
            new = self._reading(word, place)
            if self.pending and abs(new.value - self._reading(self.pending, place).value) < new.u:
                # read alike twice: both count
                twice = (self._row(self.pending, place, when),)
            elif why := self._doubt(new):
                return replace(self, says=(f"? {why}",), pending=word)
        kept = self._row(word, place, when)
        return self._go(added(self.text, (*twice, kept), self.source), self.skipped, f"{word} saved.")

    def _row(self, word: str, place: float, when: str) -> Mapping[str, str]:
        told = self.told
        assert told.section is not None  # noqa: S101
        name = point_name(told, place)
        point = name if name[0].isalpha() else show_exact(place, self.layout.units)
        kind = Kind.close if told.act is Act.close else ""
        return {"section": told.section.name, "point": point, "reading": word, "kind": kind, "when": when}

    def _reading(self, word: str, place: float) -> Reading:
        """The reading that a text makes, read as the file will be."""
        text = added(self.text, [self._row(word, place, "")], self.source)
        return parse_survey(text, self.layout, self.source).readings[-1]

    def _doubt(self, new: Reading) -> str:
        """Why a reading should be taken again, or nothing."""
        told, work = self.told, self.told.work
        assert work is not None  # noqa: S101
        if told.act is not Act.close and work.standing.known.complete and work.standing.moves:
            # after a move what the stop says is the best there is
            return ""
        return doubt_words(self.layout, now(told.log).readings, new, self.layout.units)

    def _whole(self, word: str, place: float) -> str:
        """A fraction alone, or the last digits of millimetres, made whole by the wanted reading."""
        work, units = self.told.work, self.layout.units
        wanted = math.nan if work is None else wanted_at(work, place)
        short = re.fullmatch(r"(\d{1,2}/\d{1,2})\s*([+-]?)", word) if units is Units.inch else None
        few = re.fullmatch(r"(\d{1,2}(?:[.,]\d*)?)\s*([+-]?)", word) if units is Units.mm and wanted >= 200 else None
        if math.isnan(wanted) or not (short or few):
            return word
        match = short or few
        assert match is not None  # noqa: S101
        size = float(units.size) if short else 100.0
        part = float(parse(match[1], units, mark=Fraction(0)))
        whole = round((wanted - part) / size)
        if abs(whole * size + part - wanted) > 0.4 * size:
            raise LengthError("Which whole number goes with it is not plain. Type it in full.")
        return f"{whole} {match[1]}{match[2]}" if short else f"{whole}{match[1]:0>2}{match[2]}"

    def _move(self, word: str, when: str) -> Working:
        """The move is made; with readings typed, one for each end, the stops are these."""
        decision, work = self.told.decision, self.told.work
        assert decision is not None and work is not None  # noqa: S101, PT018  # every move has them
        mark = self.told.log.tape.mark
        stops = [_stop_text(stop.reading, mark, self.layout.units) for stop in decision.stops]
        if word:
            parts = [part.strip() for part in word.split(",")]
            if len(parts) != len(stops):
                raise LengthError("Type one reading for each end, with a comma between, or Enter as told.")
            stops = [self._whole(part, stop.place) for part, stop in zip(parts, decision.stops, strict=True)]
        rows = [
            {"section": work.section.name, "point": ENDS[stop.end], "reading": text, "kind": Kind.move, "when": when}
            for stop, text in zip(decision.stops, stops, strict=True)
        ]
        return self._go(added(self.text, rows, self.source), self.skipped, "")

    def _go(self, text: str, skipped: Sequence[str], said: str) -> Working:
        """To the next act that a text of the log asks for."""
        log = parse_survey(text, self.layout, self.source, begun=True)
        told = next_act(self.layout, log, skip=skipped)
        says = [said] if said else []
        before, after = self.told.work, None
        if before is not None:
            after = told.sections[self.layout.index[before.section.name]]
        if before is not None and after is not None and after.state in FINISHED and before.state not in FINISHED:
            says = accepted(told, after)
        return replace(
            self, text=text, told=told, skipped=tuple(skipped), pending="", says=(*says, *asked(told)),
            over=told.act is Act.done,
        )  # fmt: skip


def asked(told: Next) -> list[str]:
    """The next act in words, with the short cautions above a move."""
    above = [" ".join(SHORT)] if told.act is Act.move else []
    above += string_doubts(told) if told.act is Act.move else []
    creep = creep_line(told) if told.act is Act.move else ""
    return [*above, *act_lines(told), *([creep] if creep else [])]


def _stop_text(reading: float, mark: float, units: Units) -> str:
    """A stop as a reading that the file takes: halfway between two marks in the next finer parts."""
    text = on_tape(reading, mark, units)
    return show_exact(reading, units) if " and " in text else text


def take_up(layout: Layout, text: str, source: str) -> Working:
    """
    Begin the work on a log, or take it up where it was left.

    Raises
    ------
    InputError
        What the log holds cannot be used.
    """
    log: Survey = parse_survey(text, layout, source, begun=True)
    added(text, [], source)
    told = next_act(layout, log)
    rows = len(log.readings) + len(log.moves)
    says = (f"Going on with {source}: {counted(rows, 'row')}.",) if rows else ()
    return Working(
        layout=layout, source=source, text=text, told=told, says=(*says, *asked(told)), over=told.act is Act.done
    )
