"""``stringtrue panel``: the test panel."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from . import output
from .options import Force, Full, Json, Out, PanelFile, PrintUnits

__all__ = ["EXAMPLE", "panel"]

EXAMPLE = "Example: stringtrue panel tray.toml --plot tray.png"


def panel(
    panel: PanelFile,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw the panel as measured: .svg, .png or .pdf.")
    ] = None,
    check: Annotated[bool, typer.Option("--check", help="Exit status 1 unless the panel is OK or OK?.")] = False,
    json: Json = False,
    full: Full = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """
    Judge a test panel.

    Square, camber, bow, twist, waves and widths, each against its limit.
    """
    from alignment.files import writing
    from alignment.panel.panel import measure
    from alignment.panel.panel_file import read_panel
    from alignment.show.json import panel as panel_json
    from alignment.show.pictures import panel as panel_plots
    from alignment.show.words import panel as panel_wording

    writing.ready((plot, writing.PICTURES), (out, None), inputs=(panel,), force=force)
    found = measure(read_panel(panel).shown_in(units))
    output.save_picture(plot, panel_plots.panel_sheet, found, force=force)
    output.say(panel_wording.panel_page, panel_json.as_json, found, json=json, full=full, out=out, force=force)
    if check and not (found.verdict and found.verdict.accepted):
        raise typer.Exit(1)
