"""What is said on pictures of a train beside what is drawn."""

from __future__ import annotations

from alignment.machine.layout import Layout, Plane
from alignment.show.words.phrases import VIEWS
from alignment.train.across import rows_of

__all__ = ["other_sheet"]


def other_sheet(layout: Layout, plane: Plane, file: str = "") -> str:
    """Where the rows of the other plane are drawn, empty where there are none; `file` is the other sheet's, if any."""
    (other,) = (p for p in Plane if p is not plane)
    rows = rows_of(layout, other)
    if not rows:
        return ""
    named = f"Row{'s' * (len(rows) > 1)} {', '.join(rows)}"
    return f"{named}: see the other sheet, {VIEWS[other]}{f' ({file})' if file else ''}."
