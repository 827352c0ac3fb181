"""Commented files to fill in, shipped with the package: one text for both systems of units."""

from __future__ import annotations

import re
from importlib.resources import files

from alignment.lengths import Units

__all__ = ["filled_in"]


def filled_in(package: str, units: Units) -> str:
    """
    The text of a package's ``template.toml`` in inches or in millimetres.

    What hangs on the units stands there as ``<<inches|millimetres>>``; remarks behind a key are brought in line.
    """
    text = files(package).joinpath("template.toml").read_text(encoding="utf-8")
    part = 1 if units is Units.inch else 2
    text = re.sub(r"<<(.*?)\|(.*?)>>", lambda match: match[part], text)
    return re.sub(r"(?m)^(\S.*?) {2,}(?=# )", lambda match: f"{match[1]:<31} ", text)
