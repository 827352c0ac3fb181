"""``stringtrue demo``: the whole job on the shipped sample."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from alignment.lengths import Units

from . import output
from .options import Force, one_of

__all__ = ["EXAMPLE", "demo"]

EXAMPLE = "Example: stringtrue demo --units mm"


def demo(
    folder: Annotated[Path | None, typer.Argument(metavar="[FOLDER]", help="Where to leave the files.")] = None,
    units: Annotated[
        Units, typer.Option(help="Units of the sample machine and its tape.", **one_of(Units))
    ] = Units.inch,
    force: Force = False,
) -> None:
    """
    Do the whole job on the shipped sample.

    Its files, pictures and report are left in a folder, to be tried again.
    """
    from alignment.show import demo as story

    output.show(*story.tell(folder, units, force=force))
