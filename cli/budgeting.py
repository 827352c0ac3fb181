"""``stringtrue budget``: what the tape can tell, before going to the machine."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli import output
from cli.options import Force, Json, LayoutFile, Out, PrintUnits

__all__ = ["EXAMPLE", "budget"]

EXAMPLE = "Example: stringtrue budget machine.toml --repeats 3 --mark 1/32"


def budget(
    layout: LayoutFile,
    repeats: Annotated[int, typer.Option(min=1, max=50, help="Readings at each point.")] = 1,
    mark: Annotated[str | None, typer.Option(metavar="LENGTH", help="Another tape's smallest mark.")] = None,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw U against readings: .svg, .png or .pdf.")
    ] = None,
    json: Json = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """Say what this tape and these points can tell, before going to the machine."""
    from alignment import budget_wording, files, preanalysis
    from alignment.lengths import option

    machine = files.read_layout(layout)
    files.ready((plot, files.PICTURES), (out, None), force=force)
    marks = None if mark is None else option("--mark", mark, machine.units)
    found = preanalysis.work_out(machine.shown_in(units), repeats=repeats, mark=marks)
    if plot is not None:
        from alignment import budget_plots, plots

        figure = budget_plots.draw_budget(machine.shown_in(units), found)
        files.write_whole(plot, plots.render(figure, plot.suffix), force=force)
    if json:
        output.show_json(preanalysis.as_json(found, machine.shown_in(units)), out, force=force)
    else:
        output.show_text(budget_wording.budget_text(found, machine.shown_in(units)), out, force=force)
