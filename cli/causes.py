"""``stringtrue causes``: what the faults of a panel may come from."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from . import output
from .options import Force, Full, Json, LayoutFile, Out, PanelFile, PrintUnits, SurveyFile

__all__ = ["EXAMPLE", "causes"]

EXAMPLE = "Example: stringtrue causes machine.toml as-found.csv tray.toml"


def causes(
    layout: LayoutFile,
    survey: SurveyFile,
    panel: PanelFile,
    turned: Annotated[
        Path | None,
        typer.Option(metavar="PANEL", help="A second panel of the same coil, its strip turned as its file says."),
    ] = None,
    json: Json = False,
    full: Full = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """
    Say what the faults of a panel may come from.

    Each cause is supported, contradicted or not tested by the survey and the panel.
    """
    from alignment.causes.causes import find_causes
    from alignment.files import writing
    from alignment.machine.layout_file import read_layout
    from alignment.machine.survey_files import read_survey
    from alignment.panel.panel import measure
    from alignment.panel.panel_file import read_panel
    from alignment.show.json import causes as causes_json
    from alignment.show.words import causes as causes_wording
    from alignment.train.solve import solve

    writing.ready((out, None), inputs=(layout, survey, panel, turned), force=force)
    read = read_layout(layout)
    readings = read_survey(survey, read)
    machine = read.shown_in(units)
    first = measure(read_panel(panel).shown_in(machine.units))
    second = measure(read_panel(turned).shown_in(machine.units)) if turned else None
    found = find_causes(solve(machine, readings), first, turned=second)
    output.say(causes_wording.causes_page, causes_json.as_json, found, json=json, full=full, out=out, force=force)
