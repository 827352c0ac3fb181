"""
Names of any length in any script, on paper and in pictures.

They stand as they are where a font has their letters, else in Latin ones, and never turn the words about them round.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Collection, Iterable
from itertools import groupby
from typing import Final

__all__ = ["MARK", "cut", "lacking", "latin", "left_to_right", "width_of"]

MARK: Final = "\u200e"
"""A character without width that is read from left to right."""
WIDTHS: Final = dict.fromkeys("ilj.,:;'|!", 0.34) | dict.fromkeys(" -/()", 0.4) | dict.fromkeys("mwMW@%", 1.02)
"""Letters that are much wider or narrower than others, in parts of their size."""
RIGHT: Final = ("R", "AL")
"""Kinds of letters that are read from right to left (Unicode Standard Annex 9, table 4)."""


def latin(text: str, missing: Collection[str]) -> str:
    """
    A text with each of the characters that are missing written in plain Latin letters, so that none is an empty box.

    A name is then still told from others and read aloud, if with an accent. What has no sound and no shape of its own,
    as what joins two letters, is left out; what nobody has written in Latin letters becomes a question mark.
    """
    if not missing or not any(c in missing for c in text):
        return text
    from anyascii import anyascii

    # a whole run at once: some letters only lengthen or join others
    runs = ((lost, "".join(run)) for lost, run in groupby(text, lambda c: c in missing))
    return "".join(_written(run, anyascii) if lost else run for lost, run in runs)


def _written(run: str, written: Callable[[str], str]) -> str:
    heard = any(unicodedata.category(c) not in ("Mn", "Me", "Cf", "Cc") for c in run)
    return written(run) or "?" * heard


def lacking(characters: Iterable[str], shown: Callable[[str], bool]) -> set[str]:
    """
    Those of some characters that cannot be shown.

    Parameters
    ----------
    characters : iterable of str
    shown : callable
        Whether all characters of a text can be shown. It is asked about halves, so of thousands that can be shown, and
        a few that cannot, only a few times.
    """
    these = sorted(set(characters))
    if not these or shown("".join(these)):
        return set()
    if len(these) == 1:
        return set(these)
    half = len(these) // 2
    return lacking(these[:half], shown) | lacking(these[half:], shown)


def left_to_right(text: str) -> str:
    """
    A text whose lines run from left to right, whatever is named in them.

    Words that are read from right to left are so still. A mark after each keeps the numbers that follow it in their
    place, and one before the line keeps a name at its beginning from turning all of it round.
    """
    if text.isascii() or not any(unicodedata.bidirectional(c) in RIGHT for c in text):
        return text
    lines = []
    for line in text.split("\n"):
        done = [MARK]
        for here, after in zip(line, f"{line[1:]} ", strict=True):
            done.append(here)
            ends = unicodedata.bidirectional(here) in RIGHT and not after.isalpha() and not unicodedata.combining(after)
            done.append(MARK * ends)
        lines.append("".join(done))
    return "\n".join(lines)


def cut(name: str, letters: int) -> str:
    """A name in no more than so many letters: of a longer one its beginning and its end, where names differ."""
    if len(name) <= letters:
        return name
    left = max(letters - 1, 2) // 2
    return f"{name[:left]}…{name[len(name) - max(letters - 1, 2) + left :]}"


def width_of(text: str, *, bold: bool = False) -> float:
    """
    Room that a line of text takes in a usual sans-serif face, in parts of its size; rather too much than too little.

    Letters of east Asia are as wide as they are high (Unicode Standard Annex 11).
    """
    wide = 0.0
    for letter in text:
        if unicodedata.east_asian_width(letter) in "WF":
            wide += 1.02
        elif not unicodedata.combining(letter):
            wide += WIDTHS.get(letter, 0.76 if letter.isupper() else 0.64)
    return wide * (1.09 if bold else 1.0)
