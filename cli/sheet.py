"""``stringtrue sheet``: paper to write readings on."""

from __future__ import annotations

from typing import Annotated

import typer

from . import output
from .options import Force, LayoutFile, PaperSize, Pdf, PrintUnits, whole

__all__ = ["EXAMPLE", "sheet"]

EXAMPLE = "Example: stringtrue sheet machine.toml -o sheet.pdf"


def sheet(
    layout: LayoutFile,
    out: Pdf,
    work: Annotated[
        bool, typer.Option("--work", help="A sheet for the work, section by section: found, stop, left.")
    ] = False,
    repeats: Annotated[
        int | None,
        typer.Option(help="Boxes for each point [default: as many as the budget needs, at most 5].", **whole(1, 5)),
    ] = None,
    paper: PaperSize = None,
    units: PrintUnits = None,
    force: Force = False,
) -> None:
    """
    Print a sheet to write readings on.

    For a survey, or with --work for squaring section by section. A drawing shows the points in the order of reading.
    """
    from alignment.files import writing
    from alignment.machine.layout_file import read_layout
    from alignment.show.paper import sheet as sheets
    from alignment.show.paper import typesetting
    from alignment.show.words.sheet import told_page
    from alignment.train.sheet import plan_sheet

    writing.ready((out, writing.PDF), inputs=(layout,), force=force)
    machine = read_layout(layout).shown_in(units)
    found = plan_sheet(machine, repeats=repeats, work=work)
    pages = sheets.render(found, paper or typesetting.paper_for(machine.units), typesetting.today())
    writing.write_whole(out, pages, force=force)
    output.show(told_page(found, out.name))
