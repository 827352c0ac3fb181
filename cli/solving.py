"""``stringtrue solve``: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from alignment.choices import Aim, Line
from cli import output
from cli.options import Force, Json, LayoutFile, Out, PrintUnits, SurveyFile

__all__ = ["solve"]


def solve(
    layout: LayoutFile,
    survey: SurveyFile,
    line: Annotated[Line, typer.Option(help="What deviations are taken from.")] = Line.string,
    aim: Annotated[Aim, typer.Option(help="What makes one plan better than another.")] = Aim.fewest,
    drop_strays: Annotated[
        bool, typer.Option("--drop-strays", help="Leave out readings that the others contradict.")
    ] = False,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw the train before and after: .svg, .png or .pdf.")
    ] = None,
    check: Annotated[bool, typer.Option("--check", help="Exit status 1 unless the machine is in or in?.")] = False,
    json: Json = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """
    Fit every section and say which bolt end to move.

    Example: stringtrue solve machine.toml as-found.csv --plot train.png
    """
    from alignment import files, solution, wording

    machine = files.read_layout(layout)
    readings = files.read_survey(survey, machine)
    files.ready((plot, files.PICTURES), (out, None), force=force)
    found = solution.solve(machine.shown_in(units), readings, line=line, aim=aim, drop_strays=drop_strays)
    if plot is not None:
        from alignment import plots

        files.write_whole(plot, plots.render(plots.train_sheet(found), plot.suffix), force=force)
    if json:
        output.show_json(solution.as_json(found), out, force=force)
    else:
        output.show_text(wording.solution_text(found), out, force=force)
    if check and not found.verdict.is_in:
        raise typer.Exit(1)
