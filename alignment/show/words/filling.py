"""
The conversation of filling in a file of settings or of a panel: the question, what an answer does, and what is told.

A `Filling` is a moment of it. An answer makes the next one; nothing here waits for a person or touches a disk, so
whoever does can keep each moment's text before going on, and stay at the last one where that fails. The file alone
decides what is asked: taken up again, the conversation goes on behind the last thing that is in it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import tomlkit

from alignment.errors import InputError, quote

__all__ = ["Filling", "Question", "fill", "held", "put", "question"]

BACK, HELP, QUIT, NONE = ("b", "back"), ("?", "h", "help"), ("q", "quit"), "-"
KEYS: Final = "Enter takes what is in brackets, or leaves it out. b back, - takes it away, ? help, q stop."

Place = tuple[str | int, ...]
"""Keys and numbers that lead to a value of the file."""
Doc = Any
"""A file of TOML being filled in, its remarks kept."""


@dataclass(frozen=True, kw_only=True)
class Question:
    """
    One thing that is asked.

    Attributes
    ----------
    name : str
        What tells it from all others; stays the same whatever else is answered.
    words : str
        The question.
    stands : str
        What the file holds for it already.
    default : str
        What Enter gives; empty where it leaves the thing out.
    needed : bool
        Whether an answer is needed.
    keep : callable
        Puts an answer into the file; raises `ValueError` with a sentence where it cannot be used.
    drop : callable
        Takes it away again.
    help : str
        What ``?`` tells.
    """

    name: str
    words: str
    stands: str = ""
    default: str = ""
    needed: bool = False
    keep: Callable[[Doc, str], None] = field(repr=False)
    drop: Callable[[Doc], None] = field(repr=False)
    help: str = ""


def question(
    doc: Mapping[str, Any],
    place: Place,
    words: str,
    *,
    name: str = "",
    default: str = "",
    needed: bool = False,
    several: bool = False,
    only: Sequence[str] = (),
    also: Mapping[Place, Any] | None = None,
    help: str = "",  # noqa: A002  # the key that asks for it
) -> Question:
    """
    The usual question: its answer is one value of the file.

    Parameters
    ----------
    doc : mapping
        The file as it stands.
    place : tuple
        Where the value belongs.
    words, name, default, needed, help
        See `Question`. Without a name it is known by its place.
    several : bool
        Whether the value is a list, its items typed with commas between.
    only : sequence of str
        Words that alone can be answered; empty: anything.
    also : mapping, optional
        What is written beside it.
    """

    def answered(into: Doc, typed: str) -> None:
        if only and typed not in only:
            raise ValueError(f"{quote(typed)} is not a choice. Type {', '.join(only)}.")
        parts = [part.strip() for part in typed.split(",")]
        put(into, place, parts if several else typed)
        for beside, value in (also or {}).items():
            put(into, beside, value)

    value = held(doc, place)
    shown = ", ".join(map(str, value)) if isinstance(value, list) else "" if value is None else str(value)
    return Question(
        name=name or ".".join(map(str, place)), words=words, stands=shown, default=default, needed=needed,
        keep=answered, drop=lambda into: _drop(into, place), help=help,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Filling:
    """
    A moment of filling in a file.

    Attributes
    ----------
    text : str
        The file as it stands; empty while nothing has been answered.
    begun : str
        Text that the first answer is put into.
    source : str
        The file's name, for messages.
    ask : callable
        All questions in their order, from what the file holds.
    read : callable
        Reads the file, or raises `InputError` with all that is wrong in it.
    at : str
        Name of the question that is asked; empty where none is left.
    says : tuple of str
        What to tell the person before the next question.
    over : bool
        Whether the conversation has ended, by its last answer or by the person.
    """

    text: str
    begun: str
    source: str
    ask: Callable[[Mapping[str, Any]], Sequence[Question]]
    read: Callable[[str, str], object]
    at: str = ""
    says: tuple[str, ...] = ()
    over: bool = False

    @property
    def complete(self) -> bool:
        """Whether nothing is left to be asked."""
        return not self.at

    def ended(self) -> list[str]:
        """What is said when the conversation has ended."""
        if not self.text:
            return [f"Nothing was answered, so {self.source} was not written."]
        return [f"All in {self.source}.{'' if self.complete else ' The same command goes on.'}"]

    @property
    def lacking(self) -> list[str]:
        """What the file needs before it can be judged."""
        return [f"{problem.where}: {problem.what}" for problem in self._problems(self.text)] if self.text else []

    @property
    def prompt(self) -> str:
        """The question to ask."""
        asked = self._asked
        shown = asked.stands or asked.default
        return f"{asked.words}{f' [{shown}]' if shown else ''}: "

    def answer(self, typed: str | None, when: str = "") -> Filling:  # noqa: ARG002  # as in every conversation
        """
        Take what was typed.

        Parameters
        ----------
        typed : str or None
            An answer or one of the keys; None where there is no more input.
        when : str
            Date and time of the answer.

        Returns
        -------
        Filling
            The next moment. Its `text` differs from this one's where something was accepted.
        """
        word = " ".join((typed or "").split())
        if typed is None or word in QUIT:
            return replace(self, says=(), over=True)
        asked = self._asked
        if word in HELP:
            return replace(self, says=tuple(filter(None, (asked.help, KEYS))))
        if word in BACK:
            return self._back()
        if word == NONE:
            if asked.needed:
                return replace(self, says=("This one is needed.",))
            return self._next(self._with(asked.drop)) if asked.stands else self._next(self.text)
        if not word and asked.stands:
            return self._next(self.text)
        word = word or asked.default
        if not word:
            return replace(self, says=("This one is needed.",)) if asked.needed else self._next(self.text)
        return self._keep(asked, word)

    def told_so(self, what: str) -> Filling:
        """The same moment, with something to tell the person first."""
        return replace(self, says=(what,))

    def rebased(self, text: str | None, said: str) -> Filling:
        """The same on a file that something else has changed; what was typed is to be typed again."""
        after = replace(self, text=text or "")
        names = [q.name for q in after._questions]
        return replace(after, at=self.at if self.at in names else names[-1], says=(said,))

    def _keep(self, asked: Question, word: str) -> Filling:
        try:
            after = self._with(lambda doc: asked.keep(doc, word))
        except ValueError as error:
            return replace(self, says=(str(error),))
        before = {problem.what for problem in self._problems(self.text or self.begun)}
        wrong = [p.what for p in self._problems(after) if not p.lacking and p.what not in before]
        return replace(self, says=(wrong[0],)) if wrong else self._next(after)

    def _with(self, change: Callable[[Doc], None]) -> str:
        doc = tomlkit.parse(self.text or self.begun)
        change(doc)
        # an empty line above each table
        return re.sub(r"(?m)^([^#\n].*)\n(?=\[)", r"\1\n\n", tomlkit.dumps(doc))

    def _problems(self, text: str) -> tuple[Any, ...]:
        try:
            self.read(text, self.source)
        except InputError as error:
            return error.problems
        return ()

    @property
    def _questions(self) -> Sequence[Question]:
        return self.ask(tomlkit.parse(self.text or self.begun))

    @property
    def _asked(self) -> Question:
        return next(q for q in self._questions if q.name == self.at)

    def _next(self, text: str) -> Filling:
        """To the question behind this one that is not answered."""
        after = replace(self, text=text, says=())
        rest = iter(after._questions)
        for q in rest:
            if q.name == self.at:
                break
        at = next((q.name for q in rest if not q.stands), "")
        return replace(after, at=at, over=not at)

    def _back(self) -> Filling:
        names = [q.name for q in self._questions]
        k = names.index(self.at)
        return replace(self, at=names[k - 1], says=()) if k else replace(self, says=("This is the first question.",))


def fill(
    text: str | None,
    source: str,
    *,
    begun: str,
    ask: Callable[[Mapping[str, Any]], Sequence[Question]],
    read: Callable[[str, str], object],
) -> Filling:
    """
    Begin to fill in a file, or take one up where it was left.

    Parameters
    ----------
    text : str or None
        What the file holds already; None where there is none.
    source : str
        Its name, for messages.
    begun : str
        What a new one begins with.
    ask, read
        See `Filling`.

    Raises
    ------
    InputError
        What the file holds cannot be used, apart from what is not answered yet.
    """
    made = Filling(text=text or "", begun=begun, source=source, ask=ask, read=read)
    wrong = [problem for problem in made._problems(made.text or begun) if not problem.lacking]
    if wrong:
        raise InputError(source, "this file cannot be gone on with", wrong)
    questions = made._questions
    last = max((k for k, q in enumerate(questions) if q.stands), default=-1) if text else -1
    rest = [q.name for q in questions[last + 1 :] if not q.stands]
    going_on = (f"Going on with {source}.",) if text else ()
    return replace(made, at=rest[0] if rest else "", says=(*going_on, KEYS), over=not rest)


def held(doc: Mapping[str, Any], place: Place) -> Any:
    """What stands at a place of a file; None where nothing does."""
    value: Any = doc
    for key in place:
        if isinstance(key, int):
            if not isinstance(value, list) or key >= len(value):
                return None
        elif not isinstance(value, Mapping) or key not in value:
            return None
        value = value[key]
    return value


def put(doc: Doc, place: Place, value: object) -> None:
    """Write a value at a place of a file, with the tables and lists on the way to it."""
    table = doc
    for k, key in enumerate(place[:-1]):
        then, leaf = place[k + 1], k + 2 == len(place)
        if isinstance(key, int):
            while len(table) <= key:
                table.append(tomlkit.table())
        elif key not in table:
            listed = isinstance(then, int)
            table[key] = tomlkit.table() if not listed else tomlkit.array() if leaf else tomlkit.aot()
        table = table[key]
    last = place[-1]
    if isinstance(last, int) and last >= len(table):
        table.append(value)
    else:
        table[last] = value


def _drop(doc: Doc, place: Place) -> None:
    table = held(doc, place[:-1])
    if table is not None and held(doc, place) is not None:
        del table[place[-1]]
