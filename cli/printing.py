"""``stringtrue sheet`` and ``stringtrue report``: paper to write on, and the record to sign."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from alignment.choices import Aim, Line
from alignment.typesetting import Paper
from cli import output
from cli.options import AimOption, Force, LayoutFile, LineOption, PrintUnits, one_of, whole

__all__ = ["REPORT_EXAMPLE", "SHEET_EXAMPLE", "report", "sheet"]

SHEET_EXAMPLE = "Example: stringtrue sheet machine.toml -o sheet.pdf"
REPORT_EXAMPLE = "Example: stringtrue report machine.toml as-found.csv --after as-left.csv -o report.pdf"

Pdf = Annotated[Path, typer.Option("--out", "-o", metavar="FILE.pdf", help="Write it there.")]
PaperSize = Annotated[
    Paper | None, typer.Option("--paper", help="[default: letter for inches, a4 for millimetres].", **one_of(Paper))
]


def sheet(
    layout: LayoutFile,
    out: Pdf,
    repeats: Annotated[
        int | None,
        typer.Option(help="Boxes for each point [default: what the budget asks for, at most 5].", **whole(1, 5)),
    ] = None,
    paper: PaperSize = None,
    units: PrintUnits = None,
    force: Force = False,
) -> None:
    """
    Print a sheet to write readings on.

    A drawing shows the points in the order of reading.
    """
    from alignment import files, typesetting, writing
    from alignment import sheet as sheets

    writing.ready((out, writing.PDF), force=force)
    machine = files.read_layout(layout).shown_in(units)
    found = sheets.plan_sheet(machine, repeats=repeats)
    pages = sheets.render(found, paper or typesetting.paper_for(machine.units), typesetting.today())
    writing.write_whole(out, pages, force=force)
    output.show_text(sheets.told(found, out.name))


def report(
    layout: LayoutFile,
    survey: Annotated[Path, typer.Argument(metavar="SURVEY", help="The readings: .csv, .tsv or .xlsx.")],
    out: Pdf,
    after: Annotated[Path | None, typer.Option(metavar="SURVEY", help="The survey as left.")] = None,
    panel: Annotated[Path | None, typer.Option(metavar="PANEL", help="A test panel.")] = None,
    settings: Annotated[Path | None, typer.Option(metavar="SETTINGS", help="Guide, die and gap settings.")] = None,
    line: LineOption = Line.string,
    aim: AimOption = Aim.fewest,
    drop_strays: Annotated[
        bool, typer.Option("--drop-strays", help="Leave out readings that the others contradict, and mark them.")
    ] = False,
    same_string: Annotated[
        bool, typer.Option("--same-string", help="The string stayed up between the two surveys.")
    ] = False,
    paper: PaperSize = None,
    units: PrintUnits = None,
    force: Force = False,
) -> None:
    """
    Print the record of a job, to be signed.

    As found, what was done, as left, and what it rests on.
    """
    from alignment import job, typesetting, writing
    from alignment import report as reports

    writing.ready((out, writing.PDF), force=force)
    papers = job.Papers(layout=layout, survey=survey, after=after, panel=panel, settings=settings)
    whole = job.gather(papers, units=units, line=line, aim=aim, drop_strays=drop_strays, same_string=same_string)
    pages = reports.render(whole, paper or typesetting.paper_for(whole.layout.units), typesetting.today())
    writing.write_whole(out, pages, force=force)
    output.show_text(reports.told(whole, out.name))
