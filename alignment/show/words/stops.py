"""Readings as the tape shows them: on a mark, strong or shy of it, or halfway between two."""

from __future__ import annotations

from alignment.lengths import Units, decimal, show

__all__ = ["mark_words", "reading_words", "stop_words"]


def mark_words(reading: float, mark: float, units: Units) -> str:
    """A reading at the mark of the tape nearest to it, without its unit. [mm]"""
    at = round(reading / mark) * mark
    if units is Units.inch:
        return show(at, units, to=mark)
    return decimal(at, units, places=0 if _whole(mark) else 1)


def _whole(mark: float) -> bool:
    """Whether the marks are whole millimetres."""
    return abs(mark - round(mark)) < 1e-9


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


def reading_words(reading: float, mark: float, units: Units) -> str:
    """
    Any reading, a mean too, in parts of the tape's own mark: ``18 3/8``, ``18 3/8+``, ``18 7/16-``.

    A quarter of a mark over or under is strong (+) or shy (-); half is written as between: ``18 3/8 to 7/16``.
    Millimetres are written to a tenth, whole ones without it where the tape shows no tenths.
    """
    if units is not Units.inch:
        text = decimal(reading, units, places=1)
        return text.removesuffix(".0") if _whole(mark) else text
    quarter = round(reading / (mark / 4))
    at, rest = divmod(quarter, 4)
    if rest == 2:
        low, high = mark_words(at * mark, mark, units), mark_words((at + 1) * mark, mark, units)
        whole, _, part = high.partition(" ")
        return f"{low} to {part if part and low.split(' ')[0] == whole else high}"
    return mark_words((at + (rest == 3)) * mark, mark, units) + ("", "+", "", "-")[rest]
