"""``stringtrue compare``: what really moved between two surveys."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from alignment.choices import Aim, Line

from . import output
from .options import LINES, AimOption, Force, Full, Json, LayoutFile, Out, PrintUnits, Table, one_of

__all__ = ["EXAMPLE", "compare"]

EXAMPLE = "Example: stringtrue compare machine.toml job.csv"


def compare(
    layout: LayoutFile,
    before: Annotated[Path, typer.Argument(metavar="BEFORE", help="The first survey, or a job log.")],
    after: Annotated[
        Path | None, typer.Argument(metavar="AFTER", help="The second survey; not needed for a job log.")
    ] = None,
    same_string: Annotated[bool, typer.Option("--same-string", help="The string stayed up in between.")] = False,
    line: Annotated[
        Line, typer.Option(help=f"The line that the moves were planned from. {LINES}", **one_of(Line))
    ] = Line.string,
    aim: AimOption = Aim.fewest,
    plot: Annotated[Path | None, typer.Option(metavar="FILE", help="Draw both states: .svg, .png or .pdf.")] = None,
    table: Table = None,
    full: Full = False,
    json: Json = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """
    Tell what really moved between two surveys.

    And what became of each planned move.
    """
    from alignment.change import comparison
    from alignment.files import tables, writing
    from alignment.machine.layout_file import read_layout
    from alignment.machine.survey_files import read_pair, read_survey
    from alignment.show.json import comparison as plain
    from alignment.show.pictures import comparison as comparison_plots
    from alignment.show.tables import comparison as sheets
    from alignment.show.words import comparison as wording

    writing.ready(
        (plot, writing.PICTURES), (table, tables.KINDS), (out, None), inputs=(layout, before, after), force=force
    )
    machine = read_layout(layout)
    surveys = read_pair(before, after, machine) if after else (read_survey(before, machine),)
    found = comparison.compare(machine.shown_in(units), *surveys, same_string=same_string, line=line, aim=aim)
    output.save_picture(plot, comparison_plots.comparison_sheet, found, force=force)
    output.save_table(table, sheets.as_tables, found, found.layout.units, force=force)
    output.say(wording.comparison_page, plain.as_json, found, json=json, full=full, out=out, force=force)
