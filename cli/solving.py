"""``stringtrue solve``: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from alignment.choices import Aim, LineChoice
from cli import output
from cli.options import Force, Json, LayoutFile, Out, PrintUnits, SurveyFile, Table, section_names

__all__ = ["EXAMPLE", "solve"]

EXAMPLE = "Example: stringtrue solve machine.toml as-found.csv --plot train.png"


def solve(
    layout: LayoutFile,
    survey: SurveyFile,
    line: Annotated[
        LineChoice, typer.Option(help="What deviations are taken from; all: side by side.")
    ] = LineChoice.string,
    aim: Annotated[Aim, typer.Option(help="What makes one plan better than another.")] = Aim.fewest,
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
    check: Annotated[bool, typer.Option("--check", help="Exit status 1 unless the machine is in or in?.")] = False,
    json: Json = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """Fit every section and say which bolt end to move."""
    from alignment import checklist as lists
    from alignment import files, solution, tables, wording

    machine = files.read_layout(layout)
    readings = files.read_survey(survey, machine)
    files.ready((plot, files.PICTURES), (checklist, lists.KINDS), (table, tables.KINDS), (out, None), force=force)
    tried = solution.solve_lines(
        machine.shown_in(units), readings, line, aim=aim, drop_strays=drop_strays, done=done or ()
    )
    found = solution.easiest(tried)
    if plot is not None:
        from alignment import plots

        for path, picture in plots.train_pictures(found, plot):
            files.write_whole(path, picture, force=force)
    if checklist is not None:
        files.write_whole(checklist, lists.checklist(found, checklist.suffix), force=force)
    if table is not None:
        states = {"sections": found.state, "after": found.plan.state}
        sheets = {name: solution.as_table(state, found.layout) for name, state in states.items()}
        sheets |= tables.listed(solution.as_json(found), "joints", "openings", "moves.steps", "flags")
        files.write_whole(table, tables.render(sheets, table.suffix, found.layout.units), force=force)
    if json:
        output.show_json(solution.lines_json(tried), out, force=force)
    else:
        output.show_text(wording.lines_text(tried) + wording.solution_text(found), out, force=force)
    if check and not found.verdict.is_in:
        raise typer.Exit(1)
