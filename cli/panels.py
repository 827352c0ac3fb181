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
    """Square, camber, bow, twist, waves and widths of a test panel, each against its limit."""
    from alignment import files, panel_json, panel_wording
    from alignment.panel import measure

    found = measure(files.read_panel(panel).shown_in(units))
    files.ready((plot, files.PICTURES), (out, None), force=force)
    if plot is not None:
        from alignment import panel_plots, plots

        files.write_whole(plot, plots.render(panel_plots.panel_sheet(found), plot.suffix), force=force)
    if json:
        output.show_json(panel_json.as_json(found), out, force=force)
    else:
        output.show_text(panel_wording.panel_text(found), out, force=force)
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
    """What the faults of a panel may come from: supported, contradicted or not tested."""
    from alignment import causes as table
    from alignment import causes_wording, files
    from alignment.panel import measure
    from alignment.solution import solve

    layout_ = files.read_layout(layout)
    readings = files.read_survey(survey, layout_)
    machine = layout_.shown_in(units)
    first = measure(files.read_panel(panel).shown_in(machine.units))
    second = measure(files.read_panel(turned).shown_in(machine.units)) if turned else None
    files.ready((out, None), force=force)
    found = table.find_causes(solve(machine, readings), first, turned=second)
    if json:
        output.show_json(table.as_json(found), out, force=force)
    else:
        output.show_text(causes_wording.causes_text(found), out, force=force)
