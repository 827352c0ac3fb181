"""
What a job log says of the machine at a time: as found, as left, now.

A log goes on through the moves. A section's readings before its first move are as found, those after its last one are
as left; a section that was never moved is as it was found.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import replace

from alignment.choices import At
from alignment.machine.survey import BoltMove, Reading, Survey
from alignment.uncertainty import SAME

__all__ = ["found", "left", "now", "parts", "seen"]


def found(log: Survey) -> Survey:
    """Readings of each section before its first move; the log itself where it has no moves."""
    first: dict[str, int] = {}
    for move in log.moves:
        first.setdefault(move.section, move.row)
    return _part(log, "as found", lambda section, row: row < first.get(section, row + 1))


def left(log: Survey) -> Survey:
    """
    Readings of each section after its last move; the log itself where it has no moves.

    After one bolt end was swung, a point that was not read again still counts: its reading from before the move, with
    what the swing did to it, as the point at the loosened end shows. Its u is grown by that.
    """
    part = _part(log, "as left", _after(log.moves))
    if not log.moves:
        return part
    moved = dict.fromkeys(move.section for move in log.moves)
    carried = [reading for name in moved for reading in _carried(log, name)]
    return replace(part, readings=tuple(sorted([*part.readings, *carried], key=lambda r: r.row)))


def _carried(log: Survey, name: str) -> list[Reading]:
    """Readings of a section from before its last move that still tell of it, as they would be now."""
    events: list[Reading | BoltMove] = [r for r in log.fitted if r.section == name]
    events += [m for m in log.moves if m.section == name]
    before: list[Reading] = []
    own: list[Reading] = []
    moves: list[BoltMove] = []
    for event in sorted(events, key=lambda e: e.row):
        if isinstance(event, Reading):
            own.append(event)
            continue
        if own or not moves:
            before, own, moves = [*_swung(before, own, moves), *own], [], []
        moves = [*(m for m in moves if m.end != event.end), event]
    return _swung(before, own, moves)


def _swung(before: list[Reading], own: list[Reading], moves: list[BoltMove]) -> list[Reading]:
    """Readings before one bolt end was swung, of points that were not read after it, as they would be after it."""
    if len(moves) != 1:
        return []
    (move,) = moves
    old, new = ([r for r in some if abs(r.place - move.place) < SAME] for some in (before, own))
    if not old or not new:
        return []
    change = sum(r.value for r in new) / len(new) - sum(r.value for r in old) / len(old)
    u = math.sqrt(sum(r.u**2 for r in new) / len(new) ** 2 + sum(r.u**2 for r in old) / len(old) ** 2)
    read = {round(r.place, 6) for r in own}
    found = []
    for reading in before:
        if round(reading.place, 6) not in read:
            lever = (reading.place - move.pivot) / (move.place - move.pivot)
            note = "before the move, as it is after it"
            value, grown = reading.value + lever * change, math.hypot(reading.u, lever * u)
            found.append(replace(reading, value=value, u=grown, note=note))
    return found


def now(log: Survey) -> Survey:
    """Readings that say how things stand now; see `left`."""
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
