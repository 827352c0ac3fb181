"""The label of a section: its name in as many lines as let it be set largest between its bolts."""

from __future__ import annotations

import textwrap

import numpy as np

from alignment.machine.layout import Section

__all__ = ["fitted"]


def fitted(section: Section, along: float, depth: float) -> tuple[list[str], float]:
    """
    Lines and size of a label.

    Parameters
    ----------
    section : Section
    along : float
        Paper for each millimetre along the machine. [inches]
    depth : float
        Paper that the label has across. [inches]

    Returns
    -------
    lines : list of str
        The name; a verdict goes after the last line.
    size : float
        [points]
    """
    room = (section.bolts[1] - section.bolts[0]) * along - 0.3
    best: tuple[list[str], float] = ([section.name], 0.0)
    for count in range(1, 5):
        wide = -(-len(section.name) // count) + 2 * (count > 1)
        lines = textwrap.wrap(section.name, wide, break_on_hyphens=wide > 9, break_long_words=wide > 15)
        for verdict_below in (False, True):
            set_ = [*lines, " " * 4] if verdict_below else [*lines[:-1], lines[-1] + " " * 6]
            size = min(room * 72 / (0.68 * max(map(len, set_))), 72 * depth / (1.2 * len(set_)))
            if size > best[1] * 1.001:
                best = ([*lines, ""] if verdict_below else lines, size)
    return best[0], float(np.clip(best[1], 4.5, 10.5))
