"""``stringtrue budget``: what the tape can tell, before going to the machine."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from . import output
from .options import Force, Full, Json, LayoutFile, Out, PrintUnits, whole

__all__ = ["EXAMPLE", "budget"]

EXAMPLE = "Example: stringtrue budget machine.toml --repeats 3 --mark 1/32"


def budget(
    layout: LayoutFile,
    repeats: Annotated[int, typer.Option(help="Readings at each point.", **whole(1, 50))] = 1,
    mark: Annotated[str | None, typer.Option(metavar="LENGTH", help="Another tape's smallest mark.")] = None,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw U against readings: .svg, .png or .pdf.")
    ] = None,
    full: Full = False,
    json: Json = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """
    Say what your tape can prove.

    Before you go to the machine: which tolerances it can prove, and how to prove the others.
    """
    from alignment.files import writing
    from alignment.instruments import check_mark
    from alignment.lengths import option
    from alignment.machine.layout_file import read_layout
    from alignment.show.json import budget as plain
    from alignment.show.pictures import budget as budget_plots
    from alignment.show.words import budget as wording
    from alignment.train import budget as preanalysis

    writing.ready((plot, writing.PICTURES), (out, None), inputs=(layout,), force=force)
    read = read_layout(layout)
    with output.named("--mark"):
        marks = None if mark is None else check_mark(option(mark, read.units), mark)
    machine = read.shown_in(units)
    found = preanalysis.work_out(machine, repeats=repeats, mark=marks)
    output.save_picture(plot, budget_plots.draw_budget, found, force=force)
    output.say(wording.budget_page, plain.as_json, found, json=json, full=full, out=out, force=force)
