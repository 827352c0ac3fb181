"""What stands on a picture of one row."""

from __future__ import annotations

from typing import Final

__all__ = ["NOTE", "row_title"]

NOTE: Final = "The strip runs down the page. Deviations are drawn {factor} times larger. Hatched: not done yet."


def row_title(row: str) -> str:
    """Which row, and how it is seen."""
    return f"Row {row}, from above"
