"""What commands print, and where errors go."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import Any, Final

import typer

__all__ = ["fail", "progress", "show_json", "show_text"]

HEADING = re.compile(r"^[A-Z][A-Z' ]{4,}[A-Z](?=[ ,:(\n]|$).*$", re.MULTILINE)

LONG: Final = 50
"""From so many things on, their progress is shown."""


def progress(things: Sequence[Path], label: str) -> AbstractContextManager[Iterable[Path]]:
    """Run through many files, with a bar on standard error where that is a terminal."""
    if len(things) < LONG or not sys.stderr.isatty():
        return nullcontext(things)
    return typer.progressbar(things, label=label, file=sys.stderr)


def show_text(text: str, out: Path | None = None, *, force: bool = False) -> None:
    """Print a text, headings in bold on a terminal, or write it to a file."""
    if out is not None:
        from alignment.files import write_whole

        write_whole(out, text, force=force)
        return
    # typer leaves the codes out where standard output is no terminal; NO_COLOR is the user's wish
    bold = HEADING.sub(lambda match: typer.style(match[0], bold=True), text)
    typer.echo(bold, nl=False, color=False if _no_color() else None)


def show_json(data: dict[str, Any], out: Path | None = None, *, force: bool = False) -> None:
    """Print one JSON object, or write it to a file."""
    text = json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    if out is not None:
        show_text(text, out, force=force)
    else:
        typer.echo(text, nl=False)


def _no_color() -> bool:
    import os

    return bool(os.environ.get("NO_COLOR"))


def fail(error: Exception) -> int:
    """Print one message on standard error; the exit status that goes with it."""
    print(f"stringtrue: {error}", file=sys.stderr)
    return 2
