"""Readings as the tape shows them: on a mark, or halfway between two."""

from __future__ import annotations

from alignment.lengths import Units, decimal, show

__all__ = ["mark_words", "stop_words"]


def mark_words(reading: float, mark: float, units: Units) -> str:
    """A reading at the mark of the tape nearest to it, without its unit. [mm]"""
    at = round(reading / mark) * mark
    if units is Units.inch:
        return show(at, units, to=mark)
    whole = abs(mark - round(mark)) < 1e-9
    return decimal(at, units, places=0 if whole else 1)


def stop_words(stop: float, mark: float, units: Units) -> str:
    """
    A stop: ``18 3/8``, or ``halfway between 18 5/16 and 18 3/8``.

    Parameters
    ----------
    stop : float
        On a mark, or halfway between two. [mm]
    mark : float
        Smallest mark of the tape. [mm]
    """
    half = round(stop / (mark / 2))
    if half % 2 == 0:
        return mark_words(stop, mark, units)
    below, above = ((half + k) // 2 * mark for k in (-1, 1))
    return f"halfway between {mark_words(below, mark, units)} and {mark_words(above, mark, units)}"
