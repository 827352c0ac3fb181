"""Options that commands share."""

from __future__ import annotations

import datetime
import os
import re
import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer
from typer.core import TyperCommand

from alignment.choices import Aim, Line, Paper
from alignment.errors import nearest, quote
from alignment.lengths import Units

if TYPE_CHECKING:
    from alignment.machine.layout import Layout

__all__ = [
    "LINES",
    "AimOption",
    "FolderCommand",
    "Force",
    "Full",
    "Json",
    "LayoutFile",
    "LineOption",
    "LogFile",
    "Out",
    "PanelFile",
    "PaperSize",
    "Pdf",
    "PrintUnits",
    "SurveyFile",
    "Table",
    "job_log",
    "named_by_date",
    "one_of",
    "section_names",
    "whole",
]


def one_of(kind: type[StrEnum]) -> dict[str, Any]:
    """How an option takes one of a few words: read, shown in the help, completed by the shell."""
    words = [str(word) for word in kind]

    def read(text: str) -> StrEnum:
        if text not in words:
            raise typer.BadParameter(f"{quote(text)} is not a choice.{nearest(text, words)}")
        return kind(text)

    def complete(incomplete: str) -> list[str]:
        return [word for word in words if word.startswith(incomplete)]

    return {"parser": read, "metavar": "|".join(words), "autocompletion": complete}


def whole(least: int, most: int) -> dict[str, Any]:
    """How an option takes a whole number."""

    def read(text: object) -> int:
        if not re.fullmatch("-?[0-9]{1,9}", str(text)):
            raise typer.BadParameter(f"{quote(text)} is not a whole number. Write one from {least} to {most}.")
        if not least <= int(str(text)) <= most:
            raise typer.BadParameter(f"{text} is not from {least} to {most}.")
        return int(str(text))

    return {"parser": read, "metavar": "N"}


MACHINE: Final = "machine.toml"


class FolderCommand(TyperCommand):
    """A command whose LAYOUT and LOG may be left out in a folder that holds a ``machine.toml`` and logs by date."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Put in the folder's files where none were named, and say so."""
        needed = [str(p.name) for p in self.params if p.param_type_name == "argument" and p.required]
        helped = not set(args).isdisjoint(ctx.help_option_names)
        taken = []
        if not helped and needed[:1] == ["layout"] and Path(MACHINE).is_file():
            if not str(self._given(ctx, args)["layout"] or "").lower().endswith(".toml"):
                taken, args = [f"Layout: {MACHINE}"], [MACHINE, *args]
            given, newest = self._given(ctx, args), newest_log()
            if newest and [name for name in needed if not given[name]] in (["survey"], ["log"], ["before"]):
                taken, args = [*taken, f"Log: {newest}"], [*args, str(newest)]
        rest = super().parse_args(ctx, args)
        # a line that cannot be used gets its own message, and no other
        if taken and not ctx.resilient_parsing:
            typer.echo("\n".join(taken), err=True)
        return rest

    def _given(self, ctx: Any, args: list[str]) -> dict[str, Any]:
        """What was named: which words are arguments depends on which options take a value."""
        found: dict[str, Any] = dict.fromkeys(p.name for p in self.params if p.name)
        return found | self.make_parser(ctx).parse_args(args=list(args))[0]


LINES: Final = "string: as it hangs; fitted: through the sections; free: whichever needs fewest moves."
AIMS: Final = "fewest: bolt ends to loosen; least: movement; true: what is off, every end goes to its target."
LineOption = Annotated[Line, typer.Option("--line", help=f"The line to measure from. {LINES}", **one_of(Line))]
AimOption = Annotated[Aim, typer.Option("--aim", help=f"What the plan minimises. {AIMS}", **one_of(Aim))]

LayoutFile = Annotated[Path, typer.Argument(metavar="LAYOUT", help="The machine: a .toml file.")]


LogFile = Annotated[
    Path | None,
    typer.Argument(metavar="LOG", help="The job's log [default: the one begun last, or a new one named by its date]."),
]


def named_by_date(what: str, ending: str) -> Path:
    """A file that is begun today and has no other name."""
    return Path(f"{what}-{datetime.datetime.now().astimezone():%Y-%m-%d}{ending}")


def newest_log() -> Path | None:
    """The newest log of this folder that has no other name than its day."""
    return max(Path().glob("job-[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9].csv"), default=None)


def job_log(machine: Layout) -> Path:
    """The newest log of this folder where its job is not done, or else one of today."""
    from alignment.machine.survey_files import read_survey
    from alignment.train.work.next_act import Act, next_act

    newest = newest_log()
    if newest is not None and next_act(machine, read_survey(newest, machine, begun=True)).act is not Act.done:
        typer.echo(f"Log: {newest}", err=True)
        return newest
    return named_by_date("job", ".csv")


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
PanelFile = Annotated[Path, typer.Argument(metavar="PANEL", help="The panel: a .toml file.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object instead, for other programs.")]
Full = Annotated[bool, typer.Option("--full", help="Print everything that is known.")]
Out = Annotated[Path | None, typer.Option("--out", "-o", metavar="FILE", help="Write the answer to a file.")]
Force = Annotated[bool, typer.Option("--force", help="Write over files that are there already.")]
PrintUnits = Annotated[
    Units | None, typer.Option("--units", help="Print in these units [default: the file's].", **one_of(Units))
]
Table = Annotated[
    Path | None,
    typer.Option("--table", metavar="FILE", help="Write the table too: .csv, or .xlsx with all tables."),
]


Pdf = Annotated[Path, typer.Option("--out", "-o", metavar="FILE.pdf", help="The file to write.")]
PaperSize = Annotated[
    Paper | None,
    typer.Option("--paper", help="Size of paper [default: letter for inches, a4 for millimetres].", **one_of(Paper)),
]


def section_names(ctx: typer.Context, incomplete: str) -> list[str]:
    """Names of the layout's sections, for the shell to complete; none where the layout cannot be read."""
    from alignment.errors import StringtrueError
    from alignment.machine.layout_file import read_layout

    # an option still without its value leaves the arguments before it unassigned
    named = ctx.params.get("layout") or next(iter(ctx.args), None)
    try:
        layout = read_layout(named) if named else None
    except StringtrueError:
        return []
    if layout is None:
        return []
    return [section.name for section in layout.sections if section.name.startswith(incomplete)]
