"""
Names of any length in any script, on paper and in pictures.

They stand as they are where a font has their letters, else in Latin ones, and never turn the words about them round.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Collection, Iterable, Sequence
from functools import lru_cache
from itertools import groupby, takewhile
from typing import Final

__all__ = ["MARK", "cut", "lacking", "latin", "left_to_right", "shortened", "width_of"]

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


def shortened(name: str, family: tuple[str, ...], letters: int) -> str:
    """
    A name in about so many letters, such that it is still told from the others of its family.

    Of ``forming pass no. 4, north side`` among others of its kind the beginning stays, and what is its own with the
    word before: ``forming…no. 4…``. A family whose members share nothing loses middles.

    Parameters
    ----------
    name : str
    family : tuple of str
        Names of its row, this one among them.
    letters : int
    """
    before, after = _shared(family)
    if len(name) <= letters or not before:
        return cut(name, letters)
    stem, own, rest = name[:before], name[before : len(name) - after], name[len(name) - after :]
    word = re.split(r"(?<=[\s_-])(?=\S)", stem.rstrip(" _-"))[-1] + stem[len(stem.rstrip(" _-")) :]
    tail = (word if len(word) + len(own) + 3 <= letters else stem[len(stem.rstrip(" _-")) :]) + own
    room = letters - len(tail) - 1 - bool(rest)
    if room < 2:
        return cut(name, letters)
    head = stem[:room]
    whole = re.match(r".*\S(?=\s)", head)
    return f"{whole[0] if whole else head.rstrip(' _-')}…{tail}{'…' * bool(rest)}"


@lru_cache(maxsize=64)
def _shared(family: tuple[str, ...]) -> tuple[int, int]:
    """How many letters all names of a family begin with alike, and then end with."""
    if len(family) < 2:
        return 0, 0
    before = _alike(family)
    # a number is not parted: 10 and 12 differ by more than their last digit
    while before and any(
        name[before - 1 : before].isdigit() and name[before : before + 1].isdigit() for name in family
    ):
        before -= 1
    return before, _alike([name[before:][::-1] for name in family])


def _alike(names: Sequence[str]) -> int:
    return sum(1 for _ in takewhile(lambda letters: len(set(letters)) == 1, zip(*names, strict=False)))


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
