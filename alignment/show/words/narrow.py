"""What stands on a picture of one row."""

from __future__ import annotations

from typing import Final

from alignment.show.words.pictures import wanted_words

__all__ = ["NOTE", "row_title", "section_words"]

NOTE: Final = "The strip runs down the page. Deviations are drawn {factor} times larger. Hatched: not done yet."


def row_title(row: str, wanted: str) -> str:
    """Which row, and what is to be read along it, if that is one reading."""
    return f"Row {row}, {wanted_words(wanted)}" if wanted else f"Row {row}, from above"


def section_words(state: str, wanted: str) -> str:
    """How a section is, and what is to be read there, if that is not the same all along."""
    return f"{state}\n{wanted_words(wanted)}" if wanted else state
