"""``stringtrue start``: the first layout of a machine."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from alignment.lengths import Units

from . import output, prompts
from .options import Force, one_of

__all__ = ["EXAMPLE", "start"]

EXAMPLE = "Example: stringtrue start machine.toml --sections 5 --length 18 --spacing 20"
Text = str | None


def start(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The layout to write: a .toml file.")],
    units: Annotated[
        Units | None, typer.Option(help="Of lengths without a unit [default: in].", **one_of(Units))
    ] = None,
    rows: Annotated[Text, typer.Option(metavar="NAMES", help="[default: operator,drive]")] = None,
    sections: Annotated[Text, typer.Option(metavar="N,N", help="How many in each row.")] = None,
    length: Annotated[Text, typer.Option(metavar="L,L", help="Of a section.")] = None,
    spacing: Annotated[Text, typer.Option(metavar="L,L", help="From one entry end to the next.")] = None,
    bolts: Annotated[Text, typer.Option(metavar="L,L", help="How far in from its ends [default: 0].")] = None,
    target: Annotated[Text, typer.Option(metavar="L,L", help="Reading wanted, face to string.")] = None,
    name: Annotated[Text, typer.Option(help="Of the machine.")] = None,
    panel: Annotated[bool, typer.Option("--panel", help="A file for a test panel instead.")] = False,
    settings: Annotated[bool, typer.Option("--settings", help="A file for guides, dies and gaps instead.")] = False,
    force: Force = False,
) -> None:
    """
    Write a first layout, from a few questions or options alone.

    Every key has a comment. One answer serves for all rows; for rows that differ, give one for each with commas
    between.
    """
    from alignment.files import writing
    from alignment.machine import first_layout as starting
    from alignment.machine.layout_file import read_layout
    from alignment.train import budget as preanalysis

    writing.ready((file, writing.TOML), force=force)
    if panel and settings:
        raise typer.BadParameter("--panel and --settings are two files. Write one at a time.")
    if panel or settings:
        from alignment.panel import panel_file
        from alignment.settings import settings_file

        template = panel_file.template if panel else settings_file.template
        writing.write_whole(file, template(units or Units.inch), force=force)
        then = "panel" if panel else "settings"
        output.show_text(f"Wrote {file}. Fill it in, then: stringtrue {then} {file}\n")
        return
    options = {"rows": rows, "sections": sections, "length": length, "spacing": spacing, "bolts": bolts}
    options |= {"units": None if units is None else str(units), "target": target, "name": name}
    told = {key: value for key, value in options.items() if value is not None}
    if not told.keys() >= set(starting.NEEDED):
        told = prompts.fill(told, starting.QUESTIONS, starting.wrong)
    writing.write_whole(file, starting.layout_text(told), force=force)
    prompts.say([f"Wrote {file}. Look through it beside the machine.", f"Then: stringtrue enter {file} as-found.csv"])
    if not all(promise.proved for promise in preanalysis.work_out(read_layout(file)).promises):
        prompts.say([f"This tape cannot prove every tolerance. What could: stringtrue budget {file}"])
