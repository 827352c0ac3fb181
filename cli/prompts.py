"""The only place that asks a person something."""

from __future__ import annotations

import contextlib
import io
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable, Mapping

import typer

from alignment.errors import StringtrueError

__all__ = ["ask", "fill", "say"]

WIDEST = 80


def ask(prompt: str) -> str | None:
    """What is typed after a prompt; None where there is no more input, or Ctrl-C was pressed."""
    with contextlib.suppress(AttributeError, io.UnsupportedOperation):  # once something was read, it is done
        # a stray byte of a slow line is a typing mistake, not the end of the job
        sys.stdin.reconfigure(errors="replace")  # type: ignore[union-attr]
    try:
        return input(prompt)
    except (EOFError, KeyboardInterrupt):
        typer.echo()
        return None


def say(lines: Iterable[str]) -> None:
    """Print lines, wrapped to the width of the terminal."""
    width = min(shutil.get_terminal_size((WIDEST, 24)).columns, WIDEST)
    for line in lines:
        indent = " " * (len(line) - len(line.lstrip()))
        for part in textwrap.wrap(line, max(width, 20), subsequent_indent=indent, break_on_hyphens=False) or [""]:
            typer.echo(part)


def fill(
    told: Mapping[str, str],
    questions: Mapping[str, tuple[str, str]],
    wrong: Callable[[str, str, Mapping[str, str]], list[str]],
) -> dict[str, str]:
    """
    Ask what was not told, each question until its answer can be used.

    Parameters
    ----------
    told : mapping
        Answers that are there already.
    questions : mapping
        Question and default of each key, in the order of asking. An empty answer takes the default.
    wrong : callable
        Sentences on what is wrong with an answer, by key, answer and the answers before it.
    """
    answers: dict[str, str] = {}
    for key, (question, default) in questions.items():
        answer = told.get(key)
        while answer is None or (faults := wrong(key, answer, answers)):
            if answer is not None:
                say(faults)
            typed = ask(f"{question}{f' [{default}]' if default else ''}: ")
            if typed is None:
                raise StringtrueError(f"no answer for --{key}, so nothing was written.")
            answer = typed.strip() or default
        answers[key] = answer
    return answers
