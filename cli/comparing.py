"""``stringtrue compare``: what really moved between two surveys."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from alignment.choices import Aim, Line
from cli import output
from cli.options import Force, Json, LayoutFile, Out, PrintUnits, Table

__all__ = ["EXAMPLE", "compare"]

EXAMPLE = "Example: stringtrue compare machine.toml as-found.csv as-left.csv"


def compare(
    layout: LayoutFile,
    before: Annotated[Path, typer.Argument(metavar="BEFORE", help="The first survey.")],
    after: Annotated[Path, typer.Argument(metavar="AFTER", help="The second survey of the same machine.")],
    same_string: Annotated[
        bool, typer.Option("--same-string", help="The string stayed up in between: take nothing off for it.")
    ] = False,
    line: Annotated[Line, typer.Option(help="The line from which the moves were planned.")] = Line.string,
    aim: Annotated[Aim, typer.Option(help="The aim with which the moves were planned.")] = Aim.fewest,
    plot: Annotated[Path | None, typer.Option(metavar="FILE", help="Draw both states: .svg, .png or .pdf.")] = None,
    table: Table = None,
    json: Json = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """Tell what really moved between two surveys, and what became of each planned move."""
    from alignment import comparison, comparison_wording, files, tables

    machine = files.read_layout(layout)
    surveys = [files.read_survey(path, machine) for path in (before, after)]
    files.ready((plot, files.PICTURES), (table, tables.KINDS), (out, None), force=force)
    found = comparison.compare(machine.shown_in(units), *surveys, same_string=same_string, line=line, aim=aim)
    if plot is not None:
        from alignment import comparison_plots, plots

        files.write_whole(plot, plots.render(comparison_plots.comparison_sheet(found), plot.suffix), force=force)
    if table is not None:
        sheets = comparison.as_tables(found)
        files.write_whole(table, tables.render(sheets, table.suffix, found.layout.units), force=force)
    if json:
        output.show_json(comparison.as_json(found), out, force=force)
    else:
        output.show_text(comparison_wording.comparison_text(found), out, force=force)
