"""
The conversation of a first layout: the questions that no option has answered, one by one.

A `Starting` is a moment of it. An answer makes the next one; nothing here waits for a person or touches a disk.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Final

from alignment.machine.first_layout import ASKED, NEEDED, wrong
from alignment.machine.layout import Layout
from alignment.show.words.cautions import SHORT
from alignment.show.words.phrases import times
from alignment.train.first_tolerances import first_layout, readings

__all__ = ["Starting", "begin", "begun"]

BACK, QUIT = ("b", "back"), ("q", "quit")
QUESTIONS: Final = {
    "units": "Units of bare numbers, in or mm",
    "name": "Name of the machine",
    "rows": "Names of the rows",
    "mark": "Smallest mark of the tape, if not 1/16 in or 1 mm",
    "sections": "Sections in each row, as 6 or 6,3",
    "length": "Length of a section, as 15 or 15,31 or 15:15:18,31",
    "gap": "Gap from one section to the next, as 1 or 1,2 or 1:2,1",
    "start": "Where each row begins, from the first entry end",
    "bolts": "Bolts, how far in from a section's ends",
    "setback": "Setback of a face behind its row's",
    "target": "Wanted reading of each row, if you know it",
}


@dataclass(frozen=True, kw_only=True)
class Starting:
    """
    A moment of writing a first layout.

    Attributes
    ----------
    told : mapping
        Answers so far, those of options among them.
    options : mapping
        Answers that options gave and nobody has looked at yet.
    at : str
        What is asked; empty where nothing is left.
    asked : tuple of str
        What was asked before it, in order.
    says : tuple of str
        What to tell the person before the next question.
    over : bool
        Whether it has ended, by its last answer or by the person.
    """

    told: Mapping[str, str]
    options: Mapping[str, str]
    at: str
    asked: tuple[str, ...] = ()
    says: tuple[str, ...] = ()
    over: bool = False

    @cached_property
    def text(self) -> str:
        """The layout, defaults in place of what was not answered; empty while something needed is missing."""
        return first_layout(self.told) if self.told.keys() >= set(NEEDED) else ""

    @property
    def left(self) -> list[str]:
        """What was not answered."""
        return [key for key in ASKED if key not in self.told]

    @property
    def prompt(self) -> str:
        """The question to ask."""
        words, default = QUESTIONS[self.at], ASKED[self.at]
        return f"{words}{f' [{default}]' if default else ''}: "

    def answer(self, typed: str | None, when: str = "") -> Starting:  # noqa: ARG002  # as in every conversation
        """Take what was typed; None where there is no more input."""
        word = (typed or "").strip()
        if typed is None or word.lower() in QUIT:
            return replace(self, says=(), over=True)
        if word.lower() in BACK:
            return self._back()
        return self._take(word or ASKED[self.at])

    def told_so(self, what: str) -> Starting:
        """The same moment, with something to tell the person first."""
        return replace(self, says=(what,))

    def rebased(self, text: str | None, said: str) -> Starting:  # noqa: ARG002  # what is there is not ours
        """The same; what something else has written is left to the person."""
        return replace(self, says=(said,))

    def _take(self, answer: str) -> Starting:
        faults = wrong(self.at, answer, self.told)
        if faults:
            return replace(self, says=tuple(faults))
        return replace(self, told={**self.told, self.at: answer}, asked=(*self.asked, self.at), says=())._next()

    def _next(self) -> Starting:
        """To the first question that nothing answers, with the answers of options looked at on the way."""
        step = self
        for key in ASKED:
            if key in step.told:
                continue
            answer = step.options.get(key)
            faults = [] if answer is None else wrong(key, answer, step.told)
            if answer is None or faults:
                return replace(step, at=key, says=(*step.says, *faults))
            step = replace(step, told={**step.told, key: answer})
        return replace(step, at="", over=True)

    def _back(self) -> Starting:
        if not self.asked:
            return replace(self, says=("This is the first question.",))
        at = self.asked[-1]
        # answers of options that come behind it are looked at again
        order = list(ASKED)
        told = {key: text for key, text in self.told.items() if order.index(key) < order.index(at)}
        return replace(self, told=told, at=at, asked=self.asked[:-1], says=())


def begin(options: Mapping[str, str]) -> Starting:
    """Begin with the answers that options gave."""
    return Starting(told={}, options=options, at="")._next()


def begun(file: Path, layout: Layout, left: list[str]) -> list[str]:
    """A first layout was written; its tolerances can be proved with so many readings of each end."""
    missing = [f"Not answered, so defaults are used: {', '.join(left)}."] if left else []
    often = readings(layout)
    repeated = f" --repeats {often}" if often > 1 else ""
    return [
        f"Wrote {file}. Compare it with the machine.",
        *missing,
        " ".join(SHORT),
        f"Its tolerances are the finest that this tape can set and prove. Read each end {times(often)}.",
        f"Then, section by section: stringtrue work {file}",
        f"Or all of them first: stringtrue enter {file} as-found.csv{repeated}",
    ]
