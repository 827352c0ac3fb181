"""``stringtrue next``: the one next act of a job."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from . import output
from .options import Full, Json, LayoutFile, PrintUnits

__all__ = ["EXAMPLE", "next"]

EXAMPLE = "Example: stringtrue next machine.toml job.csv"


def next(
    layout: LayoutFile,
    log: Annotated[Path, typer.Argument(metavar="LOG", help="The job's readings and moves so far.")],
    json: Json = False,
    full: Full = False,
    units: PrintUnits = None,
) -> None:
    """
    Say the next thing to do.

    For people with paper, and for programs. Write what you did into the log, then run it again.
    """
    from alignment.machine.layout_file import read_layout
    from alignment.machine.survey_files import read_survey
    from alignment.show.json.work import as_json
    from alignment.show.words.work import next_page
    from alignment.train.work.next_act import next_act

    machine = read_layout(layout)
    output.say(
        next_page,
        as_json,
        next_act(machine.shown_in(units), read_survey(log, machine, begun=True)),
        json=json,
        full=full,
    )
