"""
How each section stands by a job log: every reading and every move taken in, in the order in which they happened.

A section's state is its deviations at both ends with their covariance, and nothing is known of them at first. Readings
between two moves are taken in together, repeats of a point as their mean. A move of one bolt end to a stop sets the
deviation at the watched point, leaves the pivot where it was, and tightening adds its creep. So a reading before a move
still counts, by way of the pivot.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.fitting.filter import Known
from alignment.machine.layout import Layout, Section
from alignment.machine.log import found
from alignment.machine.survey import BoltMove, Reading, Survey
from alignment.train.faces import corrections, string_sags
from alignment.train.moves.stops import at_place, levers
from alignment.uncertainty import SAME

__all__ = ["UNLIKELY", "Crept", "Point", "Standing", "Targets", "creeps", "stand", "targets"]

Floats = NDArray[np.float64]
UNLIKELY: Final = 5.0
"""Standard uncertainties from what was known before, beyond which a reading is doubted until it is read alike again."""
FARTHEST: Final = 12.0
"""A deviation beyond this is a doubted reading first, where the layout tells no travel. [mm]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Targets:
    """
    What is wanted of each section. Arrays run over the layout's sections.

    Attributes
    ----------
    value : (n,) array
        Target with setback; NaN where a row takes it from a section that was not read yet. [mm]
    common : (n,) array
        Standard uncertainty that all deviations of a row share: of the tape's zero, or of a target that was read. [mm]
    """

    value: Floats
    common: Floats


@dataclass(frozen=True, kw_only=True)
class Point:
    """Readings of one point since the section's last move."""

    place: float
    """From the section's entry end. [mm]"""
    count: int
    value: float
    """Deviation, the mean of those that agree. [mm]"""
    u: float
    doubtful: bool = False
    """Whether it is to be read again before anything is made of it."""


@dataclass(frozen=True, kw_only=True)
class Crept:
    """What tightening did to one bolt end, as the first reading after it tells. Away from the string positive. [mm]"""

    section: str
    end: int
    value: float
    u: float
    """Of the two readings, the stop and the one after tightening."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Standing:
    """
    One section as a log has it.

    Attributes
    ----------
    known : Known
        Deviations at entry and exit end, without what all readings share. [mm]
    points : tuple of Point
        Those read since the last move, by place.
    moves : int
        How many times it was moved; both bolt ends at once are one.
    origin : (2,) array or None
        Deviations at both ends before its first move; None until they are known. [mm]
    loosened : tuple of int
        Bolt ends of the last move, 0 for the entry one.
    rows : (int, int)
        Rows of the file of the first and the last thing that happened to it; 0 where nothing did.
    """

    section: Section
    known: Known
    points: tuple[Point, ...] = ()
    moves: int = 0
    origin: Floats | None = None
    loosened: tuple[int, ...] = ()
    rows: tuple[int, int] = (0, 0)

    @property
    def counts(self) -> list[int]:
        """Readings of each of the layout's points since the last move."""
        told = {round(p.place, 6): p.count for p in self.points}
        return [told.get(round(place, 6), 0) for place in self.section.points]

    @property
    def doubtful(self) -> list[float]:
        """Places of points to be read again before anything is made of them."""
        return [p.place for p in self.points if p.doubtful]


def targets(layout: Layout, log: Survey) -> Targets:
    """Targets of a layout; where a row has none, from its sections on hold as found, or else from its first section."""
    n = len(layout.sections)
    value, common = np.full(n, np.nan), np.full(n, log.tape.zero)
    rows = [name for name, row in layout.rows.items() if row.target is None]
    as_found = found(log) if rows else log
    for i, section in enumerate(layout.sections):
        target = layout.rows[section.row].target
        if target is not None:
            value[i] = target + section.setback
    for name in rows:
        members = layout.row_sections(name)
        held = [s for s in members if s.hold]
        middles = [(s, m) for s in held or members[:1] if (m := _middle(layout, as_found, s)) is not None]
        if middles and len(middles) == len(held or members[:1]):
            target = float(np.mean([mean - s.setback for s, (mean, _) in middles]))
            u = math.sqrt(sum(u**2 for _, (_, u) in middles)) / len(middles)
            for s in members:
                i = layout.index[s.name]
                value[i], common[i] = target + s.setback, u
    sags = string_sags(layout)
    for i, sag in enumerate(sags):
        if sag is not None:
            common[i] = math.hypot(common[i], float(sag.at(layout.sections[i].middle)) * sag.share_u)
    return Targets(value=value, common=common)


def _middle(layout: Layout, survey: Survey, section: Section) -> tuple[float, float] | None:
    """Reading at a section's mid-length and its u; None where it was not read at two points."""
    own = [r for r in survey.fitted if r.section == section.name]
    known = Known.nothing(2)
    for point in _points(own, np.array([r.value for r in own]) + _sag(layout, section, own), survey):
        known = known.observed(at_place(section.length, point.place), point.value, point.u**2)
    if not known.complete:
        return None
    half = np.array([0.5, 0.5])
    return float(half @ known.mean), math.sqrt(float(half @ known.covariance @ half))


def stand(layout: Layout, log: Survey, wanted: Targets, *, creep: float, drift: float = 0.0) -> list[Standing]:
    """
    Take in a log.

    Parameters
    ----------
    layout, log
        The machine and all that happened to it.
    wanted : Targets
    creep : float
        Standard uncertainty of what tightening does to a bolt end. [mm]
    drift : float
        What it does on average, away from the string positive. [mm]

    Returns
    -------
    list of Standing
        In the order of the layout's sections.
    """
    events = _events(layout, log)
    return [
        _follow(layout, log, section, events[section.name], float(wanted.value[i]), (drift, creep))
        for i, section in enumerate(layout.sections)
    ]


def _events(layout: Layout, log: Survey) -> dict[str, list[Reading | BoltMove]]:
    """Readings and moves of each section in the order in which they happened."""
    events: dict[str, list[Reading | BoltMove]] = {s.name: [] for s in layout.sections}
    every: list[Reading | BoltMove] = [*log.fitted, *log.moves]
    for event in sorted(every, key=lambda e: e.row):
        events[event.section].append(event)
    return events


def creeps(layout: Layout, log: Survey) -> list[Crept]:
    """What the first reading of each watched point after tightening tells, bolt end by bolt end."""
    found: list[Crept] = []
    for name, events in _events(layout, log).items():
        section = layout.sections[layout.index[name]]
        moves: list[BoltMove] = []
        read = False
        for event in events:
            if isinstance(event, BoltMove):
                moves = [] if read else [m for m in moves if m.end != event.end]
                moves.append(event)
                read = False
                continue
            read = True
            for move in [m for m in moves if abs(m.place - event.place) < SAME]:
                moves.remove(move)
                if move.stop is not None:
                    lever = float(at_place(section.length, move.place) @ levers(section, move.end, move.place)[3])
                    u = math.hypot(event.u, move.u) / abs(lever)
                    value = (event.value - move.stop) / lever
                    found.append(Crept(section=name, end=move.end, value=value, u=u))
    return found


def _follow(
    layout: Layout,
    log: Survey,
    section: Section,
    events: Sequence[Reading | BoltMove],
    target: float,
    creep: tuple[float, float],
) -> Standing:
    rows = (events[0].row, events[-1].row) if events else (0, 0)
    standing = Standing(section=section, known=Known.nothing(2), rows=rows)
    if math.isnan(target):
        # nothing to set it against yet: how often it was read is all that is known
        own = [e for e in events if isinstance(e, Reading)]
        return replace(standing, points=tuple(_points(own, np.array([r.value for r in own]), log)))
    readings: list[Reading] = []
    moves: list[BoltMove] = []
    for event in events:
        if isinstance(event, BoltMove):
            if readings:
                standing = _read(layout, log, standing, readings, target)
                readings, moves = [], []
            moves = [*(m for m in moves if m.end != event.end), event]
            continue
        if moves and not readings:
            standing = _move(layout, standing, moves, target, creep)
        readings.append(event)
    if readings:
        return _read(layout, log, standing, readings, target)
    return _move(layout, standing, moves, target, creep) if moves else standing


def _sag(layout: Layout, section: Section, events: Sequence[Reading | BoltMove]) -> Floats:
    if not any(string.sag for string in layout.strings.values()):
        return np.zeros(len(events))
    at = np.full(len(events), layout.index[section.name])
    return corrections(layout, at, section.start + np.array([e.place for e in events], dtype=np.float64))


def _points(readings: Sequence[Reading], deviations: Floats, log: Survey) -> list[Point]:
    """Readings of one stretch between moves, point by point."""
    by_place: dict[float, list[int]] = {}
    for k, reading in enumerate(readings):
        by_place.setdefault(round(reading.place, 6), []).append(k)
    found = []
    for _, at in sorted(by_place.items()):
        if len(at) == 1:
            only = readings[at[0]]
            found.append(Point(place=only.place, count=1, value=float(deviations[at[0]]), u=only.u))
            continue
        u = np.array([readings[k].u for k in at])
        keep = _agreeing(deviations[at], u)
        kept = u[keep]
        value = float(np.average(deviations[at][keep], weights=kept**-2))
        found.append(
            Point(
                place=readings[at[0]].place,
                count=len(at),
                value=value,
                u=_mean_u([readings[at[k]] for k in keep], log),
                doubtful=_apart(deviations[at][keep], kept) or (len(keep) < len(at) and not _outvoted(keep, len(at))),
            )
        )
    return found


def _mean_u(readings: Sequence[Reading], log: Survey) -> float:
    """Standard uncertainty of the mean of repeats: by the tape, unless the file tells each reading's own."""
    u = np.array([r.u for r in readings])
    if len(u) == 1:
        return float(u[0])
    value = np.array([r.value for r in readings])
    if np.abs(u - log.tape.reading_u(value)).max() < SAME:
        return float(log.tape.mean_u(value.mean(), len(u)))
    return 1 / math.sqrt(float(np.sum(u**-2)))


def _apart(values: Floats, u: Floats) -> bool:
    """Whether repeats differ by more than reading does: a few in a thousand would."""
    return len(values) > 1 and float(np.ptp(values)) > (3.3 + 0.35 * len(values)) * float(np.max(u)) + SAME


def _agreeing(values: Floats, u: Floats) -> list[int]:
    """Those of three readings or more that agree; of two that do not, both."""
    keep = list(range(len(values)))
    while len(keep) > 2 and _apart(values[keep], u[keep]):
        middle = float(np.median(values[keep]))
        keep.remove(max(keep, key=lambda k: abs(values[k] - middle)))
    return keep


def _outvoted(keep: Sequence[int], count: int) -> bool:
    """Whether what is left out is settled: by more readings than it has, and the newest is not itself the odd one."""
    return 2 * len(keep) > count and keep[-1] == count - 1


def _read(
    layout: Layout,
    log: Survey,
    standing: Standing,
    readings: Sequence[Reading],
    target: float,
) -> Standing:
    """After the readings that follow a move, or the first ones."""
    section, before = standing.section, standing.known
    deviations = np.array([r.value for r in readings]) + _sag(layout, section, readings) - target
    farthest = layout.moves.travel or FARTHEST
    points, known = [], before
    for point in _points(readings, deviations, log):
        row = at_place(section.length, point.place)
        doubtful = point.doubtful or (point.count == 1 and abs(point.value) > farthest + 4 * point.u)
        if before.complete and not doubtful:
            spread = math.sqrt(float(row @ before.covariance @ row) + point.u**2)
            if abs(point.value - float(row @ before.mean)) > UNLIKELY * spread:
                if point.count == 1:
                    doubtful = True
                else:
                    # read alike twice: what was known before was wrong, or somebody else moved it
                    known = Known.nothing(2)
        points.append(replace(point, doubtful=doubtful))
    for point in points:
        if not point.doubtful:
            known = known.observed(at_place(section.length, point.place), point.value, point.u**2)
    return replace(standing, known=known, points=tuple(points))


def _move(
    layout: Layout, standing: Standing, moves: Sequence[BoltMove], target: float, creep: tuple[float, float]
) -> Standing:
    """After bolt ends were set to their stops and tightened; two of them loose together hold both stops."""
    section, known = standing.section, standing.known
    origin = known.mean if standing.moves == 0 and known.complete else standing.origin
    moved = replace(
        standing, moves=standing.moves + 1, points=(), origin=origin, loosened=tuple(sorted(m.end for m in moves))
    )
    drift, u = creep
    stops = [None if m.stop is None else m.stop + float(_sag(layout, section, [m])[0]) - target for m in moves]
    if len(moves) == 2:
        crept = [levers(section, end)[3] for end in (0, 1)]
        noise = u**2 * sum(np.outer(c, c) for c in crept) + SAME**2 * np.eye(2)
        after = Known.nothing(2)
        for move, stop in zip(moves, stops, strict=True):
            row = at_place(section.length, move.place)
            if stop is not None:
                # where one of the two was not looked at, creep can be added to the other alone
                alone = float(row @ noise @ row) if None in stops else 0.0
                after = after.observed(row, stop, move.u**2 + alone)
        return replace(moved, known=after if None in stops else after.changed(np.eye(2), drift * sum(crept), noise))
    move, stop = moves[0], stops[0]
    at_pivot, kept, told, crept_one = levers(section, move.end, move.place)
    noise = u**2 * np.outer(crept_one, crept_one) + SAME**2 * np.eye(2)
    if stop is not None:
        noise = noise + move.u**2 * np.outer(told, told)
        return replace(moved, known=known.changed(np.outer(kept, at_pivot), told * stop + drift * crept_one, noise))
    # nobody looked where it stopped: the pivot is all that is still known
    pivot = Known.nothing(2)
    if known.complete:
        variance = float(at_pivot @ known.covariance @ at_pivot)
        pivot = pivot.observed(at_pivot, float(at_pivot @ known.mean), variance)
    return replace(moved, known=pivot)
