"""``stringtrue report``: the record to sign."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from alignment.choices import Aim, Line

from . import output
from .options import AimOption, Force, LayoutFile, LineOption, PaperSize, Pdf, PrintUnits

__all__ = ["EXAMPLE", "report"]

EXAMPLE = "Example: stringtrue report machine.toml job.csv -o report.pdf"


def report(
    layout: LayoutFile,
    survey: Annotated[Path, typer.Argument(metavar="LOG", help="The job's log; or the survey as found.")],
    out: Pdf,
    after: Annotated[
        Path | None, typer.Option(metavar="SURVEY", help="The survey as left, where there is no log.")
    ] = None,
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
    from alignment.files import writing
    from alignment.show.paper import job, typesetting
    from alignment.show.paper import record as records
    from alignment.show.words.record import told_page

    writing.ready((out, writing.PDF), inputs=(layout, survey, after, panel, settings), force=force)
    papers = job.Papers(layout=layout, survey=survey, after=after, panel=panel, settings=settings)
    whole = job.gather(papers, units=units, line=line, aim=aim, drop_strays=drop_strays, same_string=same_string)
    pages = records.render(whole, paper or typesetting.paper_for(whole.layout.units), typesetting.today())
    writing.write_whole(out, pages, force=force)
    output.show(told_page(whole, out.name))
