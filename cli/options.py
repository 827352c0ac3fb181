"""Options that commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from alignment.lengths import Units

__all__ = ["Force", "Json", "LayoutFile", "Out", "PrintUnits", "SurveyFile"]

LayoutFile = Annotated[Path, typer.Argument(metavar="LAYOUT", help="The machine: a .toml file.")]
SurveyFile = Annotated[Path, typer.Argument(metavar="SURVEY", help="The readings: .csv, .tsv or .xlsx.")]
Json = Annotated[bool, typer.Option("--json", help="One JSON object, and nothing else, on standard output.")]
Out = Annotated[Path | None, typer.Option("--out", "-o", metavar="FILE", help="Write there what would be printed.")]
Force = Annotated[bool, typer.Option("--force", help="Write over files that are there already.")]
PrintUnits = Annotated[Units | None, typer.Option("--units", help="Print in these units [default: the layout's].")]
