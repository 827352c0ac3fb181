"""
What a job log says of the machine at a time: as found, as left, now.

A log goes on through the moves. A section's readings before its first move are as found, those after its last one are
as left; a section that was never moved is as it was found.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from alignment.choices import At
from alignment.machine.survey import BoltMove, Survey

__all__ = ["found", "left", "now", "parts", "seen"]


def found(log: Survey) -> Survey:
    """Readings of each section before its first move; the log itself where it has no moves."""
    first: dict[str, int] = {}
    for move in log.moves:
        first.setdefault(move.section, move.row)
    return _part(log, "as found", lambda section, row: row < first.get(section, row + 1))


def left(log: Survey) -> Survey:
    """Readings of each section after its last move; the log itself where it has no moves."""
    return _part(log, "as left", _after(log.moves))


def now(log: Survey) -> Survey:
    """Readings that say how things stand now: those of each section after its last move."""
    return replace(left(log), source=log.source) if log.moves else log


def seen(log: Survey, at: At) -> Survey:
    """The readings of a log that tell of one time; a survey is the same at any."""
    return found(log) if at is At.found else now(log)


def parts(log: Survey) -> tuple[Survey, ...]:
    """As found and as left where there are moves between; else the survey itself."""
    return (found(log), left(log)) if log.moves else (log,)


def _after(moves: tuple[BoltMove, ...]) -> Callable[[str, int], bool]:
    last = {move.section: move.row for move in moves}
    return lambda section, row: row > last.get(section, 0)


def _part(log: Survey, name: str, of: Callable[[str, int], bool]) -> Survey:
    """Readings and steps of the rows that are of a part of the log; a step is of both its sections."""
    if not log.moves:
        return log
    readings = tuple(r for r in log.readings if of(r.section, r.row))
    steps = tuple(s for s in log.steps if of(s.upstream, s.row) and of(s.downstream, s.row))
    dates = [r.when for r in readings if re.match(r"\d{4}-", r.when)]
    record = dict(log.record)
    if dates:
        record["taken"] = dates[-1] if name == "as left" else record.get("taken", dates[0])
    return replace(log, source=f"{log.source}, {name}", readings=readings, steps=steps, moves=(), record=record)
