"""``stringtrue history``: many surveys of one machine over time."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from alignment.choices import Line
from cli import output
from cli.options import Force, Json, LayoutFile, Out, PrintUnits, Table

__all__ = ["EXAMPLE", "history"]

EXAMPLE = "Example: stringtrue history machine.toml as-found.csv as-left.csv"


def history(
    layout: LayoutFile,
    surveys: Annotated[
        list[Path],
        typer.Argument(metavar="SURVEY", help="Surveys, each with a '# taken:' line, or folders of them."),
    ],
    line: Annotated[Line, typer.Option(help="What deviations are taken from.")] = Line.string,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw every section over time: .svg, .png or .pdf.")
    ] = None,
    table: Table = None,
    json: Json = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """Follow a machine through many surveys: what drifts, and what moved between which dates."""
    from alignment import files, history_wording, tables
    from alignment import history as following

    machine = files.read_layout(layout)
    paths = files.survey_paths(surveys)
    files.ready((plot, files.PICTURES), (table, tables.KINDS), (out, None), force=force)
    with output.progress(paths, "surveys") as shown:
        found = following.follow(machine.shown_in(units), files.read_surveys(shown, machine), line=line)
    if plot is not None:
        from alignment import history_plots, plots

        files.write_whole(plot, plots.render(history_plots.history_sheet(found), plot.suffix), force=force)
    if table is not None:
        sheets = following.as_tables(found)
        files.write_whole(table, tables.render(sheets, table.suffix, found.layout.units), force=force)
    if json:
        output.show_json(following.as_json(found), out, force=force)
    else:
        output.show_text(history_wording.history_text(found), out, force=force)
