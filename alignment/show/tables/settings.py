"""Settings as a table for spreadsheets and notebooks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from alignment.files.tables import listed
from alignment.settings.judging import SettingsResult
from alignment.show.json.settings import as_json

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["as_tables"]


def as_tables(result: SettingsResult) -> dict[str, pd.DataFrame]:
    """The settings, a row for each; lengths in the file's units, U = 2 u."""
    return listed(as_json(result), "settings")
