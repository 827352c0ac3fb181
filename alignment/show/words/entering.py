"""
The conversation of taking readings one by one: the question, what an answer does, and what is told.

An `Entering` is a moment of it. An answer makes the next one; nothing here waits for a person or touches a disk.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from alignment.errors import InputError
from alignment.lengths import Units, show
from alignment.machine.entry import Ask, Entry, Taken, begin, point_text
from alignment.machine.layout import Layout
from alignment.show.words.doubts import doubt_words
from alignment.show.words.phrases import on_tape
from alignment.uncertainty import SAME

__all__ = ["Entering", "enter"]

BACK, HELP, KEEP, QUIT = ("b", "back"), ("?", "h", "help"), ("k", "keep"), ("q", "quit")


@dataclass(frozen=True, kw_only=True)
class Entering:
    """
    A moment of taking readings at the prompt.

    Attributes
    ----------
    entry : Entry
        What was taken, and what is asked.
    pending : Taken or None
        A reading that is in doubt and not accepted.
    says : tuple of str
        What to tell the person before the next question.
    over : bool
        Whether the person has ended it.
    """

    entry: Entry
    pending: Taken | None = None
    says: tuple[str, ...] = ()
    over: bool = False

    @property
    def text(self) -> str:
        """The survey file as it stands; empty while nothing has been accepted."""
        return self.entry.text

    @property
    def prompt(self) -> str:
        """The question to ask."""
        if self.pending:
            return "Read it again (k keeps it): "
        if self.entry.complete:
            return "Enter for the answer, b to go back: "
        ask, now = self.entry.asked, self.entry.stands
        again = "closing" if ask.repeat == 0 else f"again ({ask.repeat})" if ask.repeat > 1 else ""
        stands = f" [{now.reading.text}]" if now else ""
        return f"{self.entry.at + 1}/{len(self.entry.asks)} {_name(self.entry, ask)}{again and ', ' + again}{stands}: "

    def answer(self, typed: str | None, when: str = "") -> Entering:
        """
        Take what was typed.

        Parameters
        ----------
        typed : str or None
            A reading or one of the keys; None where there is no more input.
        when : str
            Date and time of the answer, for the file.

        Returns
        -------
        Entering
            The next moment. Its `text` differs from this one's where a reading was accepted.
        """
        word = " ".join((typed or "").split())
        key = word.lower()
        if typed is None or key in QUIT:
            return replace(self, says=(), pending=None, over=True)
        if key in HELP:
            return replace(self, says=self._help())
        if key in BACK:
            before = self.entry.back()
            says = ("This is the first point.",) if before.at == self.entry.at else ()
            return Entering(entry=before, says=says)
        if self.pending and key in KEEP:
            return self._accept(self.pending, "in doubt, kept")
        if self.pending and not word:
            return replace(self, says=("Dropped.",), pending=None)
        if self.entry.complete:
            return replace(self, says=(), over=True) if not word else replace(self, says=("All points are read.",))
        if not word:
            after = self.entry.after()
            said = () if self.entry.stands else ("  skipped",)
            return Entering(entry=after, says=(*said, *_wanted(after, self.entry)))
        return self._take(word, when)

    def told_so(self, what: str) -> Entering:
        """The same moment, with something to tell the person first."""
        return replace(self, says=(what,))

    def rebased(self, text: str | None, said: str) -> Entering:
        """The same on a survey that something else has changed; what was typed is to be typed again."""
        asks = self.entry.asks
        again = enter(
            self.entry.layout, text, self.entry.source, repeats=max(ask.repeat for ask in asks),
            sections=list(dict.fromkeys(ask.section for ask in asks)),
        )  # fmt: skip
        # one that is gone is written anew, with all that was taken
        return replace(again if text else self, says=(said,))

    def _take(self, word: str, when: str) -> Entering:
        """Take a reading: accept it, ask for it again, or say why it is none."""
        try:
            new = self.entry.read(word, when)
        except InputError as error:
            return replace(self, says=(error.problems[-1].what,))
        if self.pending and abs(self.pending.reading.value - new.reading.value) < SAME:
            return self._accept(new, "in doubt, read twice")
        why = doubt_words(self.entry.layout, self.entry.others, new.reading, self.entry.units)
        return replace(self, says=(f"? {why}",), pending=new) if why else self._accept(new)

    def _accept(self, new: Taken, note: str = "") -> Entering:
        plain, written = show(new.reading.value, self.entry.units), new.reading.text
        if plain not in (written, written.replace("-", " "), f"{written}.0"):
            written = f"{written} = {plain}"
        after = self.entry.accept(new, note)
        said = f"  {_name(self.entry, new.ask)} {written} saved"
        return Entering(entry=after, says=(said, *_wanted(after, self.entry)))

    def _help(self) -> tuple[str, ...]:
        forms = "18 3/8, 18-3/8, 18.375" if self.entry.units is Units.inch else "467, 467.5, 18 3/8 in"
        return (
            f"Type what the tape shows from the face to the string, square to the string: {forms}.",
            "A + or - after it: a quarter of a mark over or under.",
            "Enter: skip this point. b: back to the one before. q: stop.",
            f"All that was saved is in {self.entry.source}. The same command goes on from there.",
        )


def enter(
    layout: Layout,
    text: str | None,
    source: str,
    *,
    record: Mapping[str, str] | None = None,
    repeats: int = 1,
    sections: Sequence[str] = (),
) -> Entering:
    """
    Begin taking a survey, or take one up where it was left; parameters and errors as of `machine.entry.begin`.

    Returns
    -------
    Entering
    """
    entry = begin(layout, text, source, record=record, repeats=repeats, sections=sections)
    if not entry.taken:
        return Entering(entry=entry, says=_wanted(entry))
    begun, last = entry.begun, entry.taken[-1]
    return Entering(
        entry=entry,
        says=(
            f"Going on with {source}{begun and f', begun {begun}'}.",
            f"{entry.done} of {len(entry.asks)} read. Last: {_name(entry, last.ask)} {last.reading.text}",
            *_wanted(entry),
        ),
    )


def _wanted(entry: Entry, before: Entry | None = None) -> tuple[str, ...]:
    """The reading wanted where one is asked, told when it is another than before; nothing where it is not known."""
    if entry.complete or entry.wanted is None or (before and before.wanted == entry.wanted):
        return ()
    return (f"Wanted {on_tape(entry.wanted, entry.layout.tape.mark, entry.units)}.",)


def _name(entry: Entry, ask: Ask) -> str:
    point = point_text(entry.section(ask), ask.place, entry.units)
    return f"{ask.section} {point if point[0].isalpha() else f'at {point}'}"
