"""``stringtrue history``: many surveys of one machine over time."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from alignment.choices import Line

from . import output
from .options import Force, Full, Json, LayoutFile, LineOption, Out, PrintUnits, Table

__all__ = ["EXAMPLE", "history"]

EXAMPLE = "Example: stringtrue history machine.toml before-move.csv job.csv"


def history(
    layout: LayoutFile,
    surveys: Annotated[
        list[Path],
        typer.Argument(metavar="SURVEY", help="Surveys and job logs, each with a '# taken:' line, or folders of them."),
    ],
    line: LineOption = Line.string,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw every section over time: .svg, .png or .pdf.")
    ] = None,
    table: Table = None,
    full: Full = False,
    json: Json = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """
    Follow a machine through many surveys.

    What drifts, and what moved between which dates.
    """
    from alignment.change import history as following
    from alignment.files import tables, writing
    from alignment.machine.layout_file import read_layout
    from alignment.machine.survey_files import read_surveys, survey_paths
    from alignment.show.json import history as plain
    from alignment.show.pictures import history as history_plots
    from alignment.show.tables import history as sheets
    from alignment.show.words import history as wording

    paths = survey_paths(surveys)
    writing.ready((plot, writing.PICTURES), (table, tables.KINDS), (out, None), inputs=(layout, *paths), force=force)
    machine = read_layout(layout)
    with output.progress(paths, "surveys") as shown:
        found = following.follow(machine.shown_in(units), read_surveys(shown, machine), line=line)
    output.save_picture(plot, history_plots.history_sheet, found, force=force)
    output.save_table(table, sheets.as_tables, found, found.layout.units, force=force)
    output.say(wording.history_page, plain.as_json, found, json=json, full=full, out=out, force=force)
