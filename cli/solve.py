"""``stringtrue solve``: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from alignment.choices import Aim, At, LineChoice

from . import output
from .options import (
    LINES,
    AimOption,
    Force,
    Json,
    LayoutFile,
    Out,
    PrintUnits,
    SurveyFile,
    Table,
    one_of,
    section_names,
)

__all__ = ["EXAMPLE", "solve"]

EXAMPLE = "Example: stringtrue solve machine.toml as-found.csv --plot train.png"


def solve(
    layout: LayoutFile,
    survey: SurveyFile,
    line: Annotated[
        LineChoice,
        typer.Option(help=f"What deviations are taken from. {LINES} all: side by side.", **one_of(LineChoice)),
    ] = LineChoice.string,
    aim: AimOption = Aim.fewest,
    at: Annotated[
        At, typer.Option(help="Of a job log: as things stand now, or as they were found.", **one_of(At))
    ] = At.now,
    drop_strays: Annotated[
        bool, typer.Option("--drop-strays", help="Leave out readings that the others contradict.")
    ] = False,
    done: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME", autocompletion=section_names, help="A section that is finished; may be given again."
        ),
    ] = None,
    checklist: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the moves as a list to tick off: .txt or .csv.")
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw the train before and after: .svg, .png or .pdf.")
    ] = None,
    table: Table = None,
    check: Annotated[bool, typer.Option("--check", help="Exit status 1 unless the machine is ok or ok?.")] = False,
    json: Json = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """Fit every section and say which bolt end to move."""
    from alignment.files import tables, writing
    from alignment.machine.layout_file import read_layout
    from alignment.machine.survey_files import read_survey
    from alignment.show.pictures import train as plots
    from alignment.show.words import checklist as lists
    from alignment.show.words import solution as wording
    from alignment.train import solve as solution

    machine = read_layout(layout)
    pictures = plots.picture_paths(machine, plot).values() if plot else ()
    wanted = [(path, writing.PICTURES) for path in pictures]
    writing.ready(
        *wanted, (checklist, lists.KINDS), (table, tables.KINDS), (out, None), inputs=(layout, survey), force=force
    )
    readings = read_survey(survey, machine)
    with output.named("--done"):
        tried = solution.solve_lines(
            machine.shown_in(units), readings, line, at=at, aim=aim, drop_strays=drop_strays, done=done or ()
        )
    found = solution.easiest(tried)
    for path, picture in plots.train_pictures(found, plot) if plot else ():
        writing.write_whole(path, picture, force=force)
    if checklist is not None:
        writing.write_whole(checklist, lists.checklist(found, checklist.suffix), force=force)
    output.save_table(table, solution.as_tables, found, found.layout.units, force=force)
    output.show(
        lambda: wording.lines_text(tried) + wording.solution_text(found),
        lambda: solution.lines_json(tried),
        json=json,
        out=out,
        force=force,
    )
    if check and not found.state.passes:
        raise typer.Exit(1)
