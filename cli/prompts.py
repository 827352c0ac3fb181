"""The only place that asks a person something."""

from __future__ import annotations

import contextlib
import datetime
import io
import shutil
import sys
import textwrap
from collections.abc import Iterable
from pathlib import Path
from typing import Protocol, Self, TypeVar

import typer

from alignment.errors import printable

__all__ = ["Step", "ask", "converse", "now", "say", "who", "yes"]

WIDEST = 80


class Step(Protocol):
    """A moment of a conversation; an answer makes the next one."""

    @property
    def text(self) -> str:
        """The file that it writes, as it stands."""

    @property
    def prompt(self) -> str:
        """The question to ask."""

    @property
    def says(self) -> tuple[str, ...]:
        """What to tell the person before it."""

    @property
    def over(self) -> bool:
        """Whether nothing more is asked."""

    def answer(self, typed: str | None, when: str = "") -> Self:
        """Take what was typed, None where there is no more input."""

    def told_so(self, what: str) -> Self:
        """Stay, with something to tell the person first."""

    def rebased(self, text: str | None, said: str) -> Self:
        """Go on with a file that something else has changed."""


S = TypeVar("S", bound=Step)


def converse(step: S, file: Path, kept: str | None) -> S:
    """
    Ask until it is done or the person has had enough, with every answer on disk before the next question.

    Parameters
    ----------
    step : Step
        Where to begin.
    file : Path
        What holds the answers.
    kept : str or None
        What stands in it; None where it is not there yet.
    """
    from alignment.errors import FileError, InputError
    from alignment.files import writing
    from alignment.files.disk import read_if_there

    say(step.says)
    while not step.over:
        after = step.answer(ask(step.prompt), now())
        try:
            if after.text and after.text != step.text:
                writing.renew_text(file, kept, after.text)
                kept = after.text
            step = after
        except writing.ChangedError:
            # theirs is kept, and the answer is asked for again
            try:
                theirs = read_if_there(file)
                step = step.rebased(theirs, f"NOT SAVED: {file.name} was changed elsewhere. It is read anew.")
                kept = theirs
            except (FileError, InputError) as error:
                step = step.told_so(f"NOT SAVED: {file.name} was changed elsewhere. {error}")
        except FileError as error:
            step = step.told_so(f"NOT SAVED. {error}")
        say(step.says)
    return step


def ask(prompt: str) -> str | None:
    """What is typed after a prompt; None where there is no more input, or Ctrl-C was pressed: as good as q."""
    try:
        return _typed(prompt)
    except KeyboardInterrupt:
        typer.echo()
        return None


def _typed(prompt: str) -> str | None:
    """What is typed after a prompt; None where there is no more input."""
    from alignment.errors import FileError

    with contextlib.suppress(AttributeError, io.UnsupportedOperation):  # once something was read, it is done
        # a stray byte of a slow line is a typing mistake, not the end of the job
        sys.stdin.reconfigure(errors="replace")  # type: ignore[union-attr]
    try:
        return input(printable(prompt, "\n"))
    except EOFError:
        typer.echo()
        return None
    except OSError as error:
        # if it was the prompt that could not be written, the system says so again
        sys.stdout.flush()
        why = error.strerror or error
        raise FileError(f"standard input: cannot be read: {why}. Run this where you can type.") from None


def who(record: dict[str, str]) -> None:
    """Ask who reads and with which tape, as far as it was not told; Ctrl-C ends it here, where nothing is read yet."""
    for key, question in (("by", "Your name: "), ("tape", "Tape, its number or name: ")):
        record[key] = record[key] or _typed(question) or ""


def now() -> str:
    """Date and time, as files hold it."""
    return f"{datetime.datetime.now().astimezone():%Y-%m-%d %H:%M}"


def yes(question: str) -> bool:
    """Whether the answer is yes, as Enter and the end of input are; anything else than y and n is asked again."""
    answers = {"": True, "y": True, "yes": True, "n": False, "no": False}
    while (told := (_typed(question) or "").strip().lower()) not in answers:
        say(["Type y or n."])
    return answers[told]


def say(lines: Iterable[str]) -> None:
    """Print lines, wrapped to the width of the terminal."""
    width = min(shutil.get_terminal_size((WIDEST, 24)).columns, WIDEST)
    for line in lines:
        indent = " " * (len(line) - len(line.lstrip()))
        for part in textwrap.wrap(
            line, max(width, 20), subsequent_indent=indent, break_on_hyphens=False, break_long_words=False
        ) or [""]:
            typer.echo(printable(part))
