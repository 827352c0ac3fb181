"""``stringtrue start``: the first layout of a machine."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from alignment.lengths import Units

from . import output, prompts
from .options import Force, one_of

__all__ = ["EXAMPLE", "start"]

EXAMPLE = "Example: stringtrue start machine.toml --sections 6,3 --length 15,31 --gap 1"
Text = str | None


def start(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The layout to write: a .toml file.")],
    units: Annotated[
        Units | None, typer.Option(help="Of lengths without a unit [default: in].", **one_of(Units))
    ] = None,
    rows: Annotated[Text, typer.Option(metavar="NAMES", help="[default: operator,drive]")] = None,
    mark: Annotated[Text, typer.Option(metavar="L", help="Of the tape [default: 1/16 in or 1 mm].")] = None,
    sections: Annotated[Text, typer.Option(metavar="N,N", help="How many in each row.")] = None,
    length: Annotated[Text, typer.Option(metavar="L:L,L", help="Of a section.")] = None,
    gap: Annotated[Text, typer.Option(metavar="L:L,L", help="From one section to the next.")] = None,
    begin: Annotated[Text, typer.Option("--start", metavar="L,L", help="Where a row begins [default: 0].")] = None,
    bolts: Annotated[Text, typer.Option(metavar="L:L,L", help="How far in from its ends [default: 0].")] = None,
    setback: Annotated[Text, typer.Option(metavar="L:L,L", help="Of a face behind its row's [default: 0].")] = None,
    target: Annotated[Text, typer.Option(metavar="L,L", help="Wanted reading, face to string.")] = None,
    name: Annotated[Text, typer.Option(help="Of the machine.")] = None,
    panel: Annotated[bool, typer.Option("--panel", help="A file for a test panel instead.")] = False,
    settings: Annotated[bool, typer.Option("--settings", help="A file for guides, dies and gaps instead.")] = False,
    force: Force = False,
) -> None:
    """
    Write a first layout, from a few questions or options alone.

    One answer is for all rows. Where rows differ, give one for each with commas between: 15,31. Where the sections of a
    row differ, give one for each with colons between: 15:15:18,31.
    """
    from alignment.files import writing
    from alignment.machine import first_layout as starting
    from alignment.show.words import start as words
    from alignment.train import first_tolerances as tolerances

    writing.ready((file, writing.TOML), force=force)
    if panel and settings:
        raise typer.BadParameter("--panel and --settings are two files. Write one at a time.")
    if panel or settings:
        from alignment.panel import panel_file
        from alignment.settings import settings_file

        template = panel_file.template if panel else settings_file.template
        writing.write_whole(file, template(units or Units.inch), force=force)
        then = "panel" if panel else "settings"
        output.echo(f"Wrote {file}. Fill it in, then: stringtrue {then} {file}\n")
        return
    options = {"rows": rows, "mark": mark, "sections": sections, "length": length, "gap": gap, "start": begin}
    options |= {"bolts": bolts, "setback": setback, "target": target, "name": name}
    options |= {"units": None if units is None else str(units)}
    told = {key: value for key, value in options.items() if value is not None}
    if not told.keys() >= set(starting.NEEDED):
        told = prompts.fill(told, starting.QUESTIONS, starting.wrong)
    writing.write_whole(file, tolerances.first_layout(told), force=force)
    prompts.say(words.begun(file, tolerances.READ))
