"""``stringtrue panel`` and ``stringtrue causes``: the test panel, and what its faults may come from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli import output
from cli.options import Force, Json, LayoutFile, Out, PrintUnits, SurveyFile

__all__ = ["CAUSES_EXAMPLE", "PANEL_EXAMPLE", "causes", "panel"]

PANEL_EXAMPLE = "Example: stringtrue panel tray.toml --plot tray.png"
CAUSES_EXAMPLE = "Example: stringtrue causes machine.toml as-found.csv tray.toml"

PanelFile = Annotated[Path, typer.Argument(metavar="PANEL", help="The panel: a .toml file.")]


def panel(
    panel: PanelFile,
    plot: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw the panel as measured: .svg, .png or .pdf.")
    ] = None,
    check: Annotated[bool, typer.Option("--check", help="Exit status 1 unless the panel is in or in?.")] = False,
    json: Json = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """
    Judge a test panel.

    Square, camber, bow, twist, waves and widths, each against its limit.
    """
    from alignment import files, panel_json, panel_plots, panel_wording, writing
    from alignment.panel import measure

    writing.ready((plot, writing.PICTURES), (out, None), force=force)
    found = measure(files.read_panel(panel).shown_in(units))
    output.save_picture(plot, panel_plots.panel_sheet, found, force=force)
    output.show(panel_wording.panel_text, panel_json.as_json, found, json=json, out=out, force=force)
    if check and not (found.verdict and found.verdict.is_in):
        raise typer.Exit(1)


def causes(
    layout: LayoutFile,
    survey: SurveyFile,
    panel: PanelFile,
    turned: Annotated[
        Path | None,
        typer.Option(metavar="PANEL", help="A second panel of the same coil, its strip turned as its file says."),
    ] = None,
    json: Json = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """
    Say what the faults of a panel may come from.

    Each cause is supported, contradicted or not tested by the survey and the panel.
    """
    from alignment import causes as table
    from alignment import causes_wording, files, writing
    from alignment.panel import measure
    from alignment.solution import solve

    writing.ready((out, None), force=force)
    read = files.read_layout(layout)
    readings = files.read_survey(survey, read)
    machine = read.shown_in(units)
    first = measure(files.read_panel(panel).shown_in(machine.units))
    second = measure(files.read_panel(turned).shown_in(machine.units)) if turned else None
    found = table.find_causes(solve(machine, readings), first, turned=second)
    output.show(causes_wording.causes_text, table.as_json, found, json=json, out=out, force=force)
