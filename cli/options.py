"""Options that commands share."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from alignment.lengths import Units

__all__ = ["Force", "Json", "LayoutFile", "Out", "PrintUnits", "SurveyFile", "Table", "section_names"]

LayoutFile = Annotated[Path, typer.Argument(metavar="LAYOUT", help="The machine: a .toml file.")]


def _pasted(ctx: typer.Context, survey: Path) -> Path:
    """Say how to end what is pasted at a terminal, which would otherwise wait without a word."""
    if str(survey) == "-" and not ctx.resilient_parsing and sys.stdin.isatty():
        end = "Ctrl-Z, then Enter" if os.name == "nt" else "Ctrl-D"
        typer.echo(f"Paste the readings with their header, then press {end} on a line of its own.", err=True)
    return survey


SurveyFile = Annotated[
    Path,
    typer.Argument(metavar="SURVEY", callback=_pasted, help="The readings: .csv, .tsv or .xlsx; - to paste them."),
]
Json = Annotated[bool, typer.Option("--json", help="One JSON object, and nothing else, on standard output.")]
Out = Annotated[Path | None, typer.Option("--out", "-o", metavar="FILE", help="Write there what would be printed.")]
Force = Annotated[bool, typer.Option("--force", help="Write over files that are there already.")]
PrintUnits = Annotated[Units | None, typer.Option("--units", help="Print in these units [default: the layout's].")]
Table = Annotated[
    Path | None,
    typer.Option("--table", metavar="FILE", help="Write the table, too: .csv, or .xlsx with every table on a sheet."),
]


def section_names(ctx: typer.Context, incomplete: str) -> list[str]:
    """Names of the layout's sections, for the shell to complete; none where the layout cannot be read."""
    from alignment import files
    from alignment.errors import StringtrueError

    # an option still without its value leaves the arguments before it unassigned
    named = ctx.params.get("layout") or next(iter(ctx.args), None)
    try:
        layout = files.read_layout(named) if named else None
    except StringtrueError:
        return []
    if layout is None:
        return []
    return [section.name for section in layout.sections if section.name.startswith(incomplete)]
