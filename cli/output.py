"""What commands print, and where errors go."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import typer

from alignment.errors import LengthError, NameUnknownError, printable
from alignment.lengths import Units

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure

    from alignment.show.page import Page

    Tables = dict[str, pd.DataFrame]

__all__ = ["echo", "fail", "named", "patience", "progress", "save_picture", "save_table", "say", "show"]

PATIENCE: Final = 2
"""Seconds after which a wait is told."""
LONG: Final = 50
"""From so many things on, their progress is shown."""


def progress(things: Sequence[Path], label: str) -> AbstractContextManager[Iterable[Path]]:
    """Run through many files, with a bar on standard error where that is a terminal."""
    if len(things) < LONG or not sys.stderr.isatty() or _no_color():
        return nullcontext(things)
    return typer.progressbar(things, label=label, file=sys.stderr)


@contextmanager
def named(option: str) -> Iterator[None]:
    """Name the option from which a name or a length comes that cannot be used."""
    try:
        yield
    except (LengthError, NameUnknownError) as error:
        raise type(error)(f"{option}: {error}") from None


@contextmanager
def patience(what: str, most: float) -> Iterator[Callable[[], None] | None]:
    """
    Tell on standard error how long something takes, once it takes long, where that is a terminal.

    Parameters
    ----------
    what : str
        What is going on.
    most : float
        How long it takes at the most. [s]

    Yields
    ------
    callable or None
        To be called now and then.
    """
    if not sys.stderr.isatty():
        yield None
        return
    begun, told = time.monotonic(), [0]

    def waiting() -> None:
        gone = int(time.monotonic() - begun)
        if gone >= PATIENCE and gone > told[0]:
            told[0] = gone
            typer.echo(f"\r{what}: {gone} s of at most {most:.0f} s, Ctrl-C to stop ", err=True, nl=False)

    try:
        yield waiting
    finally:
        if told[0]:
            typer.echo("\r" + " " * 60 + "\r", err=True, nl=False)


def save_picture(path: Path | None, draw: Callable[..., Figure], *found: object, force: bool) -> None:
    """Draw what was found into a file, where one is wanted."""
    if path is not None:
        from alignment.files import writing
        from alignment.show.pictures import train as plots

        writing.write_whole(path, plots.render(draw(*found), path.suffix), force=force)


def save_table(path: Path | None, make: Callable[..., Tables], found: object, units: Units, *, force: bool) -> None:
    """Write what was found as tables into a file, where one is wanted."""
    if path is not None:
        from alignment.files import tables, writing

        writing.write_whole(path, tables.render(make(found), path.suffix, units), force=force)


def say(
    page: Callable[..., Page],
    data: Callable[..., dict[str, Any]],
    *found: object,
    json: bool,
    full: bool = False,
    out: Path | None = None,
    force: bool = False,
) -> None:
    """Print what was found as a page or as one JSON object, or write it to a file."""
    if not json:
        show(page(*found), full=full, out=out, force=force)
        return
    import json as jsons

    whole = jsons.dumps(data(*found), indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    # what does not print, and may be an order to a terminal, by its number; half a character is none
    whole = re.sub(r"[^\n -~]", lambda m: m[0] if m[0].isprintable() else _by_number(m[0]), whole)
    if out is None:
        typer.echo(whole, nl=False)
    else:
        from alignment.files.writing import write_whole

        write_whole(out, whole, force=force)


def _by_number(character: str) -> str:
    """A character as JSON may hold it in letters that all print."""
    import json as jsons

    return "?" if "\ud800" <= character <= "\udfff" else jsons.dumps(character)[1:-1]


def show(*pages: Page, full: bool = False, out: Path | None = None, force: bool = False) -> None:
    """Print pages, headings in bold on a terminal and no wider than it is, or write them to a file."""
    from alignment.show import terminal
    from alignment.show.page import Degree

    screen = out is None and sys.stdout.isatty()
    strong = partial(typer.style, bold=True) if screen and not _no_color() else str
    columns = shutil.get_terminal_size((terminal.WIDTH, 24)).columns if screen else terminal.WIDTH
    width = max(terminal.NARROWEST, min(columns, terminal.WIDTH))
    degree = Degree.full if full else Degree.first
    whole = "\n".join(terminal.render(page, degree, width=width, strong=strong) for page in pages)
    if out is None:
        typer.echo(whole, nl=False)
    else:
        from alignment.files.writing import write_whole

        write_whole(out, whole, force=force)


def echo(text: str) -> None:
    """Print a text as it is."""
    typer.echo(text, nl=False)


def _no_color() -> bool:
    """Whether the user wants no codes, or the terminal takes none."""
    return bool(os.environ.get("NO_COLOR")) or os.environ.get("TERM") == "dumb"


def fail(error: object) -> int:
    """Print one message on standard error; the exit status that goes with it."""
    with contextlib.suppress(OSError):  # nobody is there to be told
        print("stringtrue:", printable(error, "\n"), file=sys.stderr)
    return 2
