"""``stringtrue settings``: guides, dies, gaps and cross level against what is wanted."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from cli import output
from cli.options import Force, Json, Out, PrintUnits, Table

__all__ = ["EXAMPLE", "settings"]

EXAMPLE = "Example: stringtrue settings settings.toml"


def settings(
    file: Annotated[Path, typer.Argument(metavar="SETTINGS", help="The settings: a .toml file.")],
    check: Annotated[bool, typer.Option("--check", help="Exit status 1 unless all are in or in?.")] = False,
    table: Table = None,
    json: Json = False,
    units: PrintUnits = None,
    out: Out = None,
    force: Force = False,
) -> None:
    """Judge guide, die and gap settings and cross levels against their wanted values."""
    from alignment import files, settings_wording, tables
    from alignment import settings as judging

    found = files.read_settings(file).shown_in(units)
    files.ready((table, tables.KINDS), (out, None), force=force)
    if table is not None:
        sheets = judging.as_tables(found)
        files.write_whole(table, tables.render(sheets, table.suffix, found.units), force=force)
    if json:
        output.show_json(judging.as_json(found), out, force=force)
    else:
        output.show_text(settings_wording.settings_text(found), out, force=force)
    if check and not judging.overall(judging.judge_settings(found)).is_in:
        raise typer.Exit(1)
