"""``stringtrue settings``: guides, dies, gaps and cross level against what is wanted."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from . import output
from .options import Force, Full, Json, Out, PrintUnits, Table

__all__ = ["EXAMPLE", "settings"]

EXAMPLE = "Example: stringtrue settings settings.toml"


def settings(
    file: Annotated[Path, typer.Argument(metavar="SETTINGS", help="The settings: a .toml file.")],
    check: Annotated[bool, typer.Option("--check", help="Exit status 1 unless all are OK or OK?.")] = False,
    table: Table = None,
    json: Json = False,
    full: Full = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """
    Judge guide, die and gap settings and cross levels.

    Each against its wanted value.
    """
    from alignment.files import tables, writing
    from alignment.settings import judging
    from alignment.settings.settings_file import read_settings
    from alignment.show.json import settings as settings_json
    from alignment.show.tables import settings as settings_tables
    from alignment.show.words import settings as settings_wording

    writing.ready((table, tables.KINDS), (out, None), inputs=(file,), force=force)
    found = judging.judge_settings(read_settings(file).shown_in(units))
    output.save_table(table, settings_tables.as_tables, found, found.settings.units, force=force)
    output.say(settings_wording.settings_page, settings_json.as_json, found, json=json, full=full, out=out, force=force)
    if check and not found.verdict.accepted:
        raise typer.Exit(1)
