"""What may be done with one section: leave it, swing either end to a stop, or set both ends."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.machine.layout import Section
from alignment.train.chance import chance
from alignment.train.joint import Parts
from alignment.train.moves.stops import Moved, grid, levers, set_both, stop_u, swing, watch_place
from alignment.train.train import Train
from alignment.uncertainty import COVERAGE, SAME

__all__ = ["LEAVE", "Options", "Watched", "options", "told_off", "watch"]

Floats = NDArray[np.float64]
LEAVE, ENTRY, EXIT, BOTH = range(4)
MOST: Final = 13
"""Stops tried at one end: where marks are fine against the tolerance, every second, fourth ... of them."""
MOST_FAR: Final = 60
"""Stops tried at each of two loose ends where the slots end before any within tolerance."""
HALVES: Final = 4.0
"""Halfway stops are tried where the offset's tolerance is less than so many marks."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Options:
    """
    Options of one section, leaving it first.

    Attributes
    ----------
    kind : (m,) int array
        `LEAVE`, or which ends are loose.
    value : (m, 2) array
        Deviation at entry and exit end afterwards, by the best estimate. [mm]
    covariance : (4, 2, 2) array
        Of these, by kind, all that is shared included. [mm^2]
    own : (4, 2) array
        Variance at each end, by kind, without what neighbours share. [mm^2]
    stop : (m, 2) array
        Stop at the point watched for each loose end; NaN where an end stays tight. [mm]
    move : (m, 2) array
        How far each bolt end goes, toward the string positive. [mm]
    halfway : (m,) int array
        Stops that are halfway between two marks.
    chance : (m,) array
        That both ends and the skew are within tolerance.
    miss : (m,) array
        By how much they are not, by the best estimate; more than nothing where they are just at a limit. [mm]
    """

    kind: NDArray[np.int64]
    value: Floats
    covariance: Floats
    own: Floats
    stop: Floats
    move: Floats
    halfway: NDArray[np.int64]
    chance: Floats
    miss: Floats
    lever: Floats
    """What each kind keeps of the ends, (4, 2, 2)."""
    fresh: Floats
    """Covariance of what each kind brings anew, (4, 2, 2). [mm^2]"""
    target: Floats
    """Reading wanted where each end is watched, (2,). [mm]"""
    reach: float
    """How far the bolt end has to go that has farthest to its wanted reading. [mm]"""
    cut: bool
    """Whether the slots keep the section from better."""

    @property
    def ends(self) -> NDArray[np.int64]:
        """Bolt ends loosened, (m,)."""
        return np.asarray(np.array([0, 1, 1, 2])[self.kind])

    @property
    def movement(self) -> Floats:
        """Movement of both bolt ends, (m,). [mm]"""
        return np.asarray(np.abs(self.move).sum(axis=1))

    def only(self, kept: NDArray[np.bool_]) -> Options:
        """Some of the options; leaving must be among them."""
        return replace(
            self,
            kind=self.kind[kept],
            value=self.value[kept],
            stop=self.stop[kept],
            move=self.move[kept],
            halfway=self.halfway[kept],
            chance=self.chance[kept],
            miss=self.miss[kept],
        )


def step_between(mark: float, tolerance: float) -> float:
    """Distance between stops that are tried: half a mark, or whole ones where those are fine enough. [mm]"""
    step = mark / 2 if tolerance < HALVES * mark else mark
    while 2 * tolerance / step > MOST:
        step *= 2
    return step


@dataclass(frozen=True, kw_only=True, eq=False)
class Watched:
    """
    Each section where it is watched for the entry and for the exit bolt end, (n, 2) arrays. [mm]

    Attributes
    ----------
    target, deviation, u : array
        Wanted reading, deviation and its standard uncertainty where one end is swung.
    outer : array
        Wanted reading at the outer points, where both are loose.
    """

    target: Floats
    deviation: Floats
    u: Floats
    outer: Floats


def watch(train: Train) -> Watched:
    """Where every section is watched, all at once."""
    sections = train.layout.sections
    places = [[watch_place(s, end) for s in sections] for end in (0, 1)]
    found = [train.deviation(train.start + place) for place in places]
    outer = [[s.points[k] for s in sections] for k in (0, -1)]

    def targets(at: list[list[float]]) -> Floats:
        return np.stack([train.target_at(train.start + place) for place in at], axis=1)

    return Watched(
        target=targets(places),
        deviation=np.stack([one.value for one in found], axis=1),
        u=np.stack([one.u for one in found], axis=1),
        outer=targets(outer),
    )


def options(train: Train, parts: Parts, watched: Watched, fixed: Mapping[int, bool]) -> dict[int, Options]:
    """
    Options of measured sections within their slots.

    Parameters
    ----------
    train : Train
    parts : Parts
        What covariances are made of.
    watched : Watched
    fixed : mapping
        Sections, and whether they may only be left.
    """
    found = {i: _options(train, parts, watched, i, fixed=only) for i, only in fixed.items()}
    if not found:
        return found
    # in one call: most of the time of a small one is its beginning
    value = np.concatenate([own.value for own in found.values()])
    covariance = np.concatenate([own.covariance[own.kind] for own in found.values()])
    chances = np.split(
        chance(value, covariance, train.layout.tolerance), np.cumsum([len(own.kind) for own in found.values()])[:-1]
    )
    return {i: replace(own, chance=p) for (i, own), p in zip(found.items(), chances, strict=True)}


def _options(train: Train, parts: Parts, watched: Watched, i: int, *, fixed: bool) -> Options:
    """Options of one section, their chances not yet worked out."""
    section, layout = train.layout.sections[i], train.layout
    before = np.array([train.ends[0].value[i], train.ends[1].value[i]])
    lever, fresh = np.array([np.eye(2)] * 4), np.zeros((4, 2, 2))
    kind, value = [np.array([LEAVE])], [before[None]]
    stop, move = [np.full((1, 2), np.nan)], [np.zeros((1, 2))]
    cut = False
    if not fixed:
        for k, moved, stops, ended in _moves(train, section, watched, i, before):
            lever[k], fresh[k] = _kept_and_new(section, k, moved)
            cut |= ended
            kind.append(np.full(len(stops), k))
            value.append(moved.value)
            stop.append(stops)
            move.append(moved.move)
    kinds, values = np.concatenate(kind), np.concatenate(value)
    covariance = parts.after(i, lever, fresh)
    own = lever @ parts.own[i] @ np.swapaxes(lever, 1, 2) + fresh
    limits = layout.tolerance
    skew = values[:, 1] - values[:, 0]
    off = np.stack([np.abs(values[:, 0]), np.abs(values[:, 1]), np.abs(skew)], axis=1)
    over = off - np.array([limits.offset, limits.offset, limits.square])
    # where a section is touched, it is not left just at a limit by rounding
    over += np.where(kinds > 0, 2 * SAME, -SAME)[:, None]
    stops_all = np.concatenate(stop)
    marks = np.round(np.nan_to_num(stops_all) / (train.survey.tape.mark / 2)).astype(np.int64)
    return Options(
        kind=kinds,
        value=values,
        covariance=covariance,
        own=np.diagonal(own, axis1=1, axis2=2),
        stop=stops_all,
        move=np.concatenate(move),
        halfway=np.where(np.isnan(stops_all), 0, marks % 2).sum(axis=1),
        chance=np.full(len(kinds), np.nan),
        miss=np.maximum(over, 0.0).sum(axis=1),
        lever=lever,
        fresh=fresh,
        target=watched.target[i],
        reach=_reach(section, before),
        cut=cut,
    )


def told_off(watched: Watched, i: int, half: float, *, factor: float = COVERAGE) -> tuple[bool, bool]:
    """
    Which ends of a section can be told from their targets, at the points where they are watched.

    Parameters
    ----------
    watched : Watched
    i : int
        The section.
    half : float
        Half a mark: what an end has to be off in any case. [mm]
    factor : float
        Standard uncertainties that it has to be off.
    """
    off = np.abs(watched.deviation[i]) > np.maximum(factor * watched.u[i], half + SAME)
    return bool(off[0]), bool(off[1])


def _kept_and_new(section: Section, kind: int, moved: Moved) -> tuple[Floats, Floats]:
    """What a kind of move keeps of the ends, and the covariance of what it brings anew."""
    if kind == BOTH:
        return np.zeros((2, 2)), moved.covariance
    at_pivot, kept, _, _ = levers(section, 0 if kind == ENTRY else 1)
    return np.outer(kept, at_pivot), moved.covariance


def _reach(section: Section, before: Floats) -> float:
    share = np.array(section.bolts) / section.length
    return float(np.max(np.abs(before[0] + (before[1] - before[0]) * share)))


def _moves(
    train: Train, section: Section, watched: Watched, i: int, before: Floats
) -> list[tuple[int, Moved, Floats, bool]]:
    """
    Each kind of move to every stop worth trying.

    Returns its number, what it comes to, the stops (m, 2), and whether the slots end before any stop within tolerance.
    """
    layout, tape = train.layout, train.survey.tape
    creep, none, limit = layout.moves.creep, np.zeros((2, 2)), layout.tolerance.offset
    travel = np.inf if layout.moves.travel is None else layout.moves.travel
    # beyond twice the square's tolerance a stop is of use only where the pivot stays as far off
    limit = min(limit, 2 * layout.tolerance.square)
    step = step_between(tape.mark, limit)

    def off(place: float) -> float:
        return float(before[0] + (before[1] - before[0]) * place / section.length)

    def one_end(loosen: int, *, far: bool) -> tuple[Moved, Floats]:
        place, pivot = watch_place(section, loosen), section.bolts[1 - loosen]
        wanted = float(watched.target[i, loosen])
        stops = grid(wanted, 2 * step, max(limit, abs(off(place))) if far else limit)
        beside = float(np.clip(off(pivot), -layout.tolerance.offset, layout.tolerance.offset))
        if abs(beside) > limit:
            stops = np.unique(np.concatenate([stops, grid(wanted + beside, 2 * step, limit)]))
        u = stop_u(tape, wanted)
        moved = swing(section, before, none, loosen, stops - wanted, u=u, creep=creep)
        told = np.full((len(stops), 2), np.nan)
        told[:, loosen] = stops
        return moved, told

    def both_ends(*, far: bool) -> tuple[Moved, Floats]:
        places = section.points[0], section.points[-1]
        wanted = watched.outer[i]
        tried = [
            grid(w, 2 * step, max(limit, abs(off(place))) if far else limit)[:MOST_FAR]
            for w, place in zip(wanted, places, strict=True)
        ]
        stops = np.stack(np.meshgrid(*tried, indexing="ij"), axis=2).reshape(-1, 2)
        u = stop_u(tape, wanted[0]), stop_u(tape, wanted[1])
        return set_both(section, before, stops - wanted, u=u, creep=creep), stops

    found = []
    ways = (
        (ENTRY, partial(one_end, 0)),
        (EXIT, partial(one_end, 1)),
        (BOTH, both_ends),
    )
    for kind, way in ways:
        moved, stops = way(far=False)
        kept = (np.abs(moved.move) <= travel + SAME).all(axis=1)
        ended = not kept.any()
        if ended:
            # as near as the slots let it come
            moved, stops = way(far=True)
            kept = (np.abs(moved.move) <= travel + SAME).all(axis=1)
        found.append((kind, replace(moved, value=moved.value[kept], move=moved.move[kept]), stops[kept], ended))
    return found
