"""How every page opens: what is known in a line or two, the cautions, the first thing to do."""

from __future__ import annotations

from collections.abc import Sequence

from alignment.show.page import Block, Part, Text
from alignment.show.words import cautions

__all__ = ["opening"]


def opening(said: Sequence[str], act: str, *, sends: bool, after: Sequence[str] = ()) -> Part:
    """
    The first part of a page.

    Parameters
    ----------
    said : sequence of str
        The verdict, and what little comes before anything is done.
    act : str
        The first thing to do; empty: nothing.
    sends : bool
        Whether the page sends a person to the machine, to read again too. The cautions stand above that.
    after : sequence of str
        What else is told in the first lines.
    """
    blocks: list[Block] = [Text(words=text, strong=k == 0) for k, text in enumerate(said)]
    if sends:
        blocks.append(cautions.short())
    if act:
        blocks.append(Text(words=f"First: {act}"))
    return Part(blocks=(*blocks, *(Text(words=text) for text in after)))
