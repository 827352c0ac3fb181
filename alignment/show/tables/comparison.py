"""A comparison of two surveys as tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

from alignment.show.json.comparison import as_json

if TYPE_CHECKING:
    import pandas as pd

    from alignment.change.comparison import Comparison

__all__ = ["as_tables"]


def as_tables(comparison: Comparison) -> dict[str, pd.DataFrame]:
    """Sections, strings and planned moves; lengths in the layout's units, away from the string positive."""
    from alignment.files.tables import listed

    data = as_json(comparison)
    for string in data["strings"]:
        string["entry"], string["exit"] = string.pop("ends")
        string["moved_otherwise"] = " or ".join(
            ", ".join(answer["moved_otherwise"]) or "none" for answer in string.pop("answers")
        )
    return listed(data, "sections", "strings", "moves")
