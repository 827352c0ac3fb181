"""``stringtrue phone``: the page at the machine, served to a phone or tablet."""

from __future__ import annotations

from typing import Annotated

import typer

from . import output
from .options import LayoutFile, LogFile, job_log, whole

__all__ = ["EXAMPLE", "phone"]

EXAMPLE = "Example: stringtrue phone machine.toml job.csv --share"


def phone(
    layout: LayoutFile,
    log: LogFile = None,
    share: Annotated[
        bool, typer.Option("--share", help="Open it to the local network too, not to this computer alone.")
    ] = False,
    port: Annotated[
        int,
        typer.Option(
            help="Port of this computer [default: 8471, or the next free one].", show_default=False, **whole(0, 65535)
        ),
    ] = 0,
) -> None:
    """
    Work at the machine with a phone.

    Serves the next act as a page: read, move, read again. Every answer is on disk before the page says so.
    """
    from alignment.machine.layout_file import read_layout
    from alignment.phone import serve

    serve.serve(layout, log or job_log(read_layout(layout)), share=share, port=port, say=output.echo)
