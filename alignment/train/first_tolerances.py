"""Tolerances for a first layout: none finer than its tape can set and prove."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final

from alignment.machine.first_layout import layout_text
from alignment.machine.layout import Layout, Tolerance
from alignment.machine.layout_file import parse_layout
from alignment.train.budget import PROVED, Means, chance_proved, expected, promises
from alignment.train.state import Measurand

__all__ = ["READ", "fair_tolerances", "first_layout", "readings"]

READ: Final = 3
"""Readings of each point that a first layout's tolerances may take to be proved: as often as a person puts up with."""


def first_layout(told: Mapping[str, str]) -> str:
    """
    Text of a first layout from answers, with tolerances that its tape can set and prove.

    Parameters
    ----------
    told : mapping
        Answers to `alignment.machine.first_layout.ASKED`.

    Raises
    ------
    InputError
        With every answer that cannot be used.
    """
    return layout_text(told, fair_tolerances(parse_layout(layout_text(told), "the layout made of these answers")))


def fair_tolerances(layout: Layout) -> Tolerance:
    """
    The layout's tolerances, each widened to whole marks until its tape can set and prove it.

    Set: not less than one mark, since a bolt end is stopped at a mark or halfway. Prove: something dead true is proved
    in nine surveys of ten that read each point `READ` times. A taper of the opening is twice a step: two faces make it.
    """
    us = expected(layout, Means(tape=layout.tape, repeats=READ))
    mark, known = layout.tape.mark, layout.tolerance

    def widened(tolerance: float, u: float | None) -> float:
        if u is not None:
            while chance_proved(u, tolerance) < PROVED:
                tolerance = (math.floor(tolerance / mark + 1e-6) + 1) * mark
        return max(tolerance, mark)

    step = widened(known.step, us.get(Measurand.step))
    return Tolerance(
        square=widened(known.square, us[Measurand.square]),
        offset=widened(known.offset, us[Measurand.offset]),
        step=step,
        opening=max(known.opening, 2 * step),
    )


def readings(layout: Layout) -> int:
    """How often each point is to be read at least so that the tolerances of a first layout can be proved."""
    counts = range(1, READ)
    kept = (n for n in counts if all(p.proved for p in promises(layout, Means(tape=layout.tape, repeats=n))))
    return next(kept, READ)
