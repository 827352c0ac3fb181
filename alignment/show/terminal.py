"""Plain text for a terminal: 80 columns, lists, counts and columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from typing import Final, Protocol

from alignment.show.words.cautions import CAUTIONS, LIMITS
from alignment.uncertainty import Verdict

__all__ = ["WIDTH", "caution_lines", "counted", "headed", "in_list", "short", "verdict_words", "wrap"]

WIDTH: Final = 80


def wrap(text: str, first: str = "", rest: str | None = None) -> list[str]:
    """Lines of at most 80 columns; ``first`` stands before the first, ``rest`` (or as many blanks) before others."""
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=" " * len(first) if rest is None else rest,
        break_on_hyphens=False,
        break_long_words=False,
    )


def headed(heading: str, texts: Iterable[str]) -> list[str]:
    """A heading, each text under it behind a dash, and a blank line; nothing where there is no text."""
    lines = [line for text in texts for line in wrap(text, "  - ")]
    return [heading, *lines, ""] if lines else []


def in_list(words: Sequence[str], last: str = "and") -> str:
    """Words in a row: ``a``, ``a and b``, ``a, b and c``."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}" if words else ""


def counted(number: int, one: str) -> str:
    """Number and noun: ``1 section``, ``2 sections``."""
    return f"{number} {one}{'' if number == 1 else 's'}"


def short(text: str, width: int) -> str:
    """Text padded to a column; a longer one is cut in its middle, since names differ at their ends."""
    tail = (width - 2) // 2
    return f"{text if len(text) <= width else text[: width - 2 - tail] + '..' + text[-tail:]:<{width}}"


def caution_lines() -> list[str]:
    """The cautions, wrapped."""
    return wrap(" ".join((*CAUTIONS, LIMITS)), "  ")


class Verdictable(Protocol):
    """Something that was judged, or could not be."""

    @property
    def verdict(self) -> Verdict | None: ...
    @property
    def p_in(self) -> float | None: ...


def verdict_words(judged: Verdictable) -> str:
    """Verdict, with the probability of being in where it is not sure; a dash where nothing was judged."""
    if judged.verdict is None or judged.p_in is None:
        return "-"
    return str(judged.verdict) if judged.verdict.sure else f"{judged.verdict!s:<4} {100 * judged.p_in:3.0f}%"
