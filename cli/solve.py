"""``stringtrue solve``: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from alignment.choices import Aim, At, Line, LineChoice

from . import output
from .options import (
    LINES,
    AimOption,
    Force,
    Full,
    Json,
    LayoutFile,
    Out,
    PrintUnits,
    SurveyFile,
    Table,
    one_of,
    section_names,
)

if TYPE_CHECKING:
    from alignment.machine.layout import Layout
    from alignment.train.solve import Solution

__all__ = ["EXAMPLE", "solve"]

EXAMPLE = "Example: stringtrue solve machine.toml as-found.csv --plot train.png"


def solve(
    layout: LayoutFile,
    survey: SurveyFile,
    line: Annotated[
        LineChoice,
        typer.Option(help=f"The line to measure from. {LINES} all: side by side.", **one_of(LineChoice)),
    ] = LineChoice.string,
    aim: AimOption = Aim.fewest,
    at: Annotated[At, typer.Option(help="Of a job log: as it is now, or as found.", **one_of(At))] = At.now,
    drop_strays: Annotated[
        bool, typer.Option("--drop-strays", help="Leave out readings that the others contradict.")
    ] = False,
    done: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME", autocompletion=section_names, help="A section that is finished. Give it once for each."
        ),
    ] = None,
    checklist: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the moves as a list to tick off: .txt or .csv.")
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw the train before and after: .svg, .png or .pdf.")
    ] = None,
    table: Table = None,
    check: Annotated[bool, typer.Option("--check", help="Exit status 1 unless the machine is OK or OK?.")] = False,
    json: Json = False,
    full: Full = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """Judge every section, and say which bolt end to move."""
    from alignment.machine.layout_file import read_layout
    from alignment.machine.survey_files import read_survey
    from alignment.show.words.solution import solution_page
    from alignment.train import solve as solution

    machine = read_layout(layout)
    _ready(machine, plot, checklist, table, out, inputs=(layout, survey), force=force)
    readings = read_survey(survey, machine)
    with output.named("--done"), output.patience("planning", solution.SECONDS) as waiting:
        tried = solution.solve_lines(
            machine.shown_in(units),
            readings,
            line,
            at=at,
            aim=aim,
            drop_strays=drop_strays,
            done=done or (),
            waiting=waiting,
        )
    found = solution.easiest(tried)
    _write(found, plot, checklist, table, force=force)
    output.say(lambda: solution_page(found, tried), lambda: _json(tried), json=json, full=full, out=out, force=force)
    if check and not found.state.passes:
        raise typer.Exit(1)


def _json(tried: dict[Line, Solution]) -> dict[str, Any]:
    from alignment.show.json.solution import lines_json

    return lines_json(tried)


def _ready(
    machine: Layout,
    plot: Path | None,
    checklist: Path | None,
    table: Path | None,
    out: Path | None,
    *,
    inputs: tuple[Path, ...],
    force: bool,
) -> None:
    """Make sure that what is asked for can be written; what shows it is loaded only where it is wanted."""
    from alignment.files import writing

    wanted: list[tuple[Path | None, tuple[str, ...] | None]] = [(out, None)]
    if plot:
        from alignment.show.pictures import train as plots

        wanted += [(path, writing.PICTURES) for path in plots.picture_paths(machine, plot).values()]
    if checklist:
        from alignment.show.words.checklist import KINDS

        wanted.append((checklist, KINDS))
    if table:
        from alignment.files import tables

        wanted.append((table, tables.KINDS))
    writing.ready(*wanted, inputs=inputs, force=force)


def _write(found: Solution, plot: Path | None, checklist: Path | None, table: Path | None, *, force: bool) -> None:
    """Pictures, checklist and tables, each where it is wanted."""
    from alignment.files import writing

    if plot:
        from alignment.show.pictures import train as plots

        for path, picture in plots.train_pictures(found, plot):
            writing.write_whole(path, picture, force=force)
    if checklist:
        from alignment.show.words import checklist as ticked

        if checklist.suffix.lower() == ".csv":
            writing.write_whole(checklist, ticked.checklist_rows(found), force=force)
        else:
            output.show(ticked.checklist_page(found), out=checklist, force=force)
    if table:
        from alignment.show.tables.solution import as_tables

        output.save_table(table, as_tables, found, found.layout.units, force=force)
