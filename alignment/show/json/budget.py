"""A budget as plain numbers."""

from __future__ import annotations

import math
from typing import Any

from alignment import __version__
from alignment.train.budget import Budget

__all__ = ["as_json"]


def as_json(budget: Budget) -> dict[str, Any]:
    """The budget as plain numbers, lengths in its layout's units."""
    layout = budget.layout
    of = layout.units.of

    def number(length: float | None) -> float | None:
        return None if length is None or not math.isfinite(length) else of(length)

    return {
        "stringtrue": __version__,
        "machine": layout.name,
        "units": str(layout.units),
        "mark": of(budget.means.tape.mark),
        "repeats": budget.means.repeats,
        "sources": [
            {"source": s.kind, "u": of(s.u), "in_offset": s.in_offset, "in_skew": s.in_skew} for s in budget.sources
        ],
        "u": {"offset": of(budget.offset), "skew": of(budget.skew), "step": number(budget.step)},
        "smallest_skew": of(budget.smallest_skew),
        "smallest_slip": number(budget.smallest_slip),
        "tolerances": [
            {
                "tolerance": p.what,
                "where": p.where,
                "value": of(p.tolerance),
                "u": of(p.u),
                "can_be_proved": p.proved,
                "chance": p.chance,
                "repeats": p.repeats,
                "mark": number(p.mark),
                "mark_repeats": p.mark_repeats,
                "apart": number(p.apart),
            }
            for p in budget.promises
        ],
    }
