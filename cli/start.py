"""``stringtrue start``: the first layout of a machine."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from alignment.lengths import Units

from . import prompts
from .options import Force, one_of

__all__ = ["EXAMPLE", "start"]

EXAMPLE = "Example: stringtrue start machine.toml --sections 6,3 --length 15,31 --gap 1"
Text = str | None


def start(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The file to write: .toml.")],
    units: Annotated[
        Units | None, typer.Option(help="Unit of numbers typed without one [default: in].", **one_of(Units))
    ] = None,
    rows: Annotated[Text, typer.Option(metavar="NAMES", help="Names of the rows [default: operator,drive].")] = None,
    mark: Annotated[
        Text, typer.Option(metavar="L", help="Smallest mark of the tape [default: 1/16 in or 1 mm].")
    ] = None,
    sections: Annotated[Text, typer.Option(metavar="N,N", help="How many sections in each row.")] = None,
    length: Annotated[Text, typer.Option(metavar="L:L,L", help="Length of a section.")] = None,
    gap: Annotated[Text, typer.Option(metavar="L:L,L", help="Gap from one section to the next.")] = None,
    begin: Annotated[Text, typer.Option("--start", metavar="L,L", help="Where each row begins [default: 0].")] = None,
    bolts: Annotated[
        Text, typer.Option(metavar="L:L,L", help="Bolts, how far in from a section's ends [default: 0].")
    ] = None,
    setback: Annotated[
        Text, typer.Option(metavar="L:L,L", help="How far a face is behind its row's [default: 0].")
    ] = None,
    target: Annotated[Text, typer.Option(metavar="L,L", help="Wanted reading, face to string.")] = None,
    name: Annotated[Text, typer.Option(metavar="NAME", help="Name of the machine.")] = None,
    panel: Annotated[bool, typer.Option("--panel", help="Ask for a panel instead: its sizes and limits.")] = False,
    settings: Annotated[
        bool, typer.Option("--settings", help="Ask for settings instead: guides, dies and gaps.")
    ] = False,
    blank: Annotated[
        bool, typer.Option("--blank", help="With --panel or --settings: a form to fill in by hand.")
    ] = False,
    force: Force = False,
) -> None:
    """
    Write a first layout, from a few questions or options alone.

    One answer is for all rows. Where rows differ, give one for each with commas between: 15,31. Where the sections of a
    row differ, give one for each with colons between: 15:15:18,31.
    """
    from alignment.errors import StringtrueError
    from alignment.files import writing
    from alignment.files.disk import read_if_there
    from alignment.machine import first_layout as starting
    from alignment.machine.layout_file import read_layout
    from alignment.show.words import starting as words
    from alignment.train import first_tolerances as tolerances

    if panel and settings:
        raise typer.BadParameter("--panel and --settings are two files. Write one at a time.")
    if panel or settings:
        _fill(file, units, panel=panel, blank=blank, force=force)
        return
    if blank:
        raise typer.BadParameter("--blank goes with --panel or --settings.")
    writing.ready((file, writing.TOML), force=force)
    options = {"rows": rows, "mark": mark, "sections": sections, "length": length, "gap": gap, "start": begin}
    options |= {"bolts": bolts, "setback": setback, "target": target, "name": name}
    options |= {"units": None if units is None else str(units)}
    told = {key: value for key, value in options.items() if value is not None}
    left: list[str] = []
    if told.keys() >= set(starting.NEEDED):
        writing.write_whole(file, tolerances.first_layout(told), force=force)
    else:
        writing.ready_to_renew(file)
        done = prompts.converse(words.begin(told), file, read_if_there(file))
        if not done.text:
            raise StringtrueError(f"no answer for --{done.at}, so nothing was written.")
        left = done.left
    prompts.say(words.begun(file, read_layout(file), left))


def _fill(file: Path, units: Units | None, *, panel: bool, blank: bool, force: bool) -> None:
    """Ask what a panel or the settings should be."""
    from alignment.files import writing
    from alignment.files.disk import read_if_there
    from alignment.panel import panel_file
    from alignment.settings import settings_file
    from alignment.show.words import ask_panel, ask_settings, filling

    writing.ready((file, writing.TOML), force=force or not blank)
    if blank:
        writing.write_whole(file, (panel_file if panel else settings_file).template(units or Units.inch), force=force)
        prompts.say([f"Wrote {file}. Fill it in, then: stringtrue {'panel' if panel else 'settings'} {file}"])
        return
    writing.ready_to_renew(file)
    text = None if force else read_if_there(file)
    step = filling.fill(
        text,
        file.name,
        begun=ask_panel.first_panel(units) if panel else ask_settings.first_settings(units),
        ask=ask_panel.profile if panel else ask_settings.wanted,
        read=panel_file.parse_panel if panel else settings_file.parse_settings,
    )
    step = prompts.converse(step, file, read_if_there(file))
    prompts.say(step.ended())
    if step.complete:
        prompts.say([f"Then: stringtrue enter {file}"])
