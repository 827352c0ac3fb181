"""The cheapest way to settle a verdict that ends in a question mark."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from alignment.instruments import MARKS, Tape
from alignment.train.state import SectionState, State
from alignment.train.train import Train
from alignment.uncertainty import COVERAGE, Judged

__all__ = ["AT_THE_LIMIT", "Way", "ways_to_settle"]


class Way(NamedTuple):
    """How often to read each point, and with what mark; None: with the tape that was used. [mm]"""

    repeats: int
    mark: float | None = None


AT_THE_LIMIT = Way(3, 0.0)
"""Nothing settles what is just at its limit: three readings with the finest rule at hand, then decide."""


def ways_to_settle(train: Train, state: State) -> dict[Way, list[str]]:
    """
    Sections whose verdict is unsure, under the cheapest way that would make it sure if the estimate stays.

    Ways are tried from the cheapest: another reading or two with the same tape, a finer mark, more readings.

    Returns
    -------
    dict
        Ways, cheapest first, with the names of the sections that each would settle.
    """
    found: dict[Way, list[str]] = {}
    shared = train.shared_u(train.start), train.shared_u(train.start + train.length)
    for i, section in enumerate(state.sections):
        if section.measured and not section.verdict.sure:
            own = shared[0 if section.entry and section.worse_end is section.entry.deviation else 1]
            found.setdefault(_cheapest(train, section, i, float(own[i])), []).append(section.name)
    order = [*(way for way, _ in _ways(train, 1)), AT_THE_LIMIT]
    return dict(sorted(found.items(), key=lambda item: order.index(item[0]) if item[0] in order else 0))


def _ways(train: Train, now: int) -> list[tuple[Way, Tape]]:
    """Ways to read better than now, cheapest first."""
    tape, units = train.survey.tape, train.layout.units
    finer = [replace(tape, mark=mark) for mark in MARKS[units] if mark < tape.mark * 0.999]
    plain = [(tape, n) for n in (2, 3) if n > now]
    plain += [(fine, n) for n in (1, 3) for fine in finer]
    plain += [(tape, n) for n in (5, 8) if n > now] + [(fine, 8) for fine in finer]
    return [(Way(n, None if t is tape else t.mark), t) for t, n in plain]


def _cheapest(train: Train, section: SectionState, i: int, shared: float) -> Way:
    """Cheapest way for one section; ``shared`` is what of its worse end's u does not shrink with readings. [mm]"""
    points = len({r.place for r in train.survey.fitted if r.section == section.name})
    now = max(round(section.readings / points), 1)
    reading = float(train.reading_at(train.middle[i])[i])
    own = float(train.survey.tape.mean_u(reading, now))
    parts: list[tuple[Judged, float]] = []
    if section.skew and section.worse_end:
        parts = [(section.skew, 0.0), (section.worse_end, shared)]
    for way, tape in _ways(train, now):
        ratio = float(tape.mean_u(reading, way.repeats)) / own
        if all(_settles(judged, common, ratio) for judged, common in parts):
            return way
    return AT_THE_LIMIT


def _settles(judged: Judged, shared: float, ratio: float) -> bool:
    u = math.hypot(shared, ratio * float(np.sqrt(max(judged.u**2 - shared**2, 0.0))))
    return abs(abs(judged.value) - judged.tolerance) >= COVERAGE * u
