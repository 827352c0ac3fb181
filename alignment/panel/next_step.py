"""What to do next with a test panel, by what was found on it."""

from __future__ import annotations

import enum

from alignment.panel.found import PanelResult
from alignment.panel.parts import Part

__all__ = ["Next", "next_step"]


class Next(enum.StrEnum):
    """The next step, most urgent first."""

    read_again = "read again"
    """Lengths contradict one another: nothing else counts before they are read again."""
    measure_strip = "measure the strip"
    """The panel sweeps out of its limit, and its strip was not measured: the cheapest test there is."""
    find_cause = "find the cause"
    """Something is out of its limit."""
    read_finer = "read finer"
    """Nothing is out, but not all of it is proved."""
    choose_limits = "choose limits"
    """Nothing was judged."""
    keep = "keep the record"


def next_step(result: PanelResult) -> Next:
    """What to do next."""
    square = result.square
    if square and (square.corners.slip or square.contradicts):
        return Next.read_again
    out = {where.part for where, f in result.judged if f.verdict and not f.verdict.inside}
    if Part.camber in out and result.strip is None:
        return Next.measure_strip
    if out:
        return Next.find_cause
    if any(f.verdict and not f.verdict.sure for _, f in result.judged):
        return Next.read_finer
    return Next.keep if result.judged else Next.choose_limits
