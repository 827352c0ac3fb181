"""What may be done with one section: leave it, swing either end to a stop, or set both ends."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from alignment.train.chance import chance
from alignment.train.joint import Parts
from alignment.train.moves.stops import BOTH, LEAVE, LOOSE, Ways, grid, watch_place, ways
from alignment.train.train import Train
from alignment.uncertainty import COVERAGE, SAME

__all__ = ["Options", "Watched", "options", "told_off", "watch"]

Floats = NDArray[np.float64]
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
        Which ends are loose, as in `LOOSE`.
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
        return np.asarray(LOOSE.sum(axis=1)[self.kind])

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


class Watched(NamedTuple):
    """
    Each section where it is watched for the entry and for the exit bolt end, (n, 2) arrays. [mm]

    Attributes
    ----------
    place : array
        Place from its entry end where one end is swung.
    target, deviation, u : array
        Wanted reading, deviation and its standard uncertainty there.
    outer : array
        Wanted reading at the outer points, where both are loose.
    """

    place: Floats
    target: Floats
    deviation: Floats
    u: Floats
    outer: Floats


def watch(train: Train) -> Watched:
    """Where every section is watched, all at once."""
    sections = train.layout.sections
    places = np.array([[watch_place(s, end) for s in sections] for end in (0, 1)])
    found = [train.deviation(train.start + place) for place in places]
    outer = np.array([[s.points[k] for s in sections] for k in (0, -1)])

    def targets(at: Floats) -> Floats:
        return np.stack([train.target_at(train.start + place) for place in at], axis=1)

    return Watched(
        place=places.T,
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
    if not fixed:
        return {}
    # all sections at once: most of the time of a small sum is its beginning
    tape, limits = train.survey.tape, train.layout.tolerance
    u = tape.reading_u(watched.target), tape.reading_u(watched.outer)
    by = ways(train.layout.sections, watched.place, *u, train.layout.moves.creep)
    before = np.stack([train.ends[0].value, train.ends[1].value], axis=1)
    tried = _within_slots(train, watched, by, before, fixed)
    i, kind, value = tried.i, tried.kind, tried.value
    covariance = parts.after(by.kept, by.fresh)
    own = by.kept @ parts.own[:, None] @ np.swapaxes(by.kept, 2, 3) + by.fresh
    off = np.abs(np.column_stack([value, value[:, 1] - value[:, 0]]))
    over = off - np.array([limits.offset, limits.offset, limits.square])
    # where a section is touched, it is not left just at a limit by rounding
    over += np.where(kind > LEAVE, 2 * SAME, -SAME)[:, None]
    marks = np.round(np.nan_to_num(tried.stop) / (tape.mark / 2)).astype(np.int64)
    rows = {
        "kind": kind,
        "value": value,
        "stop": tried.stop,
        "move": tried.move,
        "halfway": (marks % 2).sum(axis=1),
        "chance": chance(value, covariance[i, kind], limits),
        "miss": np.maximum(over, 0.0).sum(axis=1),
    }
    reach = np.abs(np.einsum("nij,nj->ni", by.at_bolts, before)).max(axis=1)
    ends = np.cumsum(np.bincount(i)[list(fixed)])
    return {
        k: Options(
            **{name: column[begin:end] for name, column in rows.items()},
            covariance=covariance[k],
            own=np.diagonal(own[k], axis1=1, axis2=2),
            lever=by.kept[k],
            fresh=by.fresh[k],
            target=watched.target[k],
            reach=float(reach[k]),
            cut=k in tried.cut,
        )
        for k, begin, end in zip(fixed, [0, *ends[:-1]], ends, strict=True)
    }


class _Tried(NamedTuple):
    """Stops tried of all sections, section by section: section and kind (m,), stops, ends and moves (m, 2)."""

    i: NDArray[np.int64]
    kind: NDArray[np.int64]
    stop: Floats
    value: Floats
    move: Floats
    cut: set[int]
    """Sections whose slots end before any stop within tolerance."""


def _within_slots(train: Train, watched: Watched, by: Ways, before: Floats, fixed: Mapping[int, bool]) -> _Tried:
    """Every stop worth trying that slots allow."""
    travel = np.inf if train.layout.moves.travel is None else train.layout.moves.travel
    pairs = [(i, kind) for i, only in fixed.items() for kind in range(1 if only else len(LOOSE))]
    stops = [_stops(train, watched, before, *pair, far=False) for pair in pairs]
    cut: set[int] = set()
    while True:
        number = np.repeat(np.arange(len(pairs)), [len(own) for own in stops])
        (i, kind), stop = np.array(pairs)[number].T, np.concatenate(stops)
        wanted = np.where((kind == BOTH)[:, None], watched.outer[i], watched.target[i])
        value, move = by.after(i, kind, before, np.nan_to_num(stop - wanted))
        kept = (np.abs(move) <= travel + SAME).all(axis=1)
        ended = set(range(len(pairs))).difference(number[kept].tolist())
        if cut or not ended:
            return _Tried(i[kept], kind[kept], stop[kept], value[kept], move[kept], cut)
        # as near as the slots let it come
        for k in ended:
            stops[k] = _stops(train, watched, before, *pairs[k], far=True)
            cut.add(pairs[k][0])


def _stops(train: Train, watched: Watched, before: Floats, i: int, kind: int, *, far: bool) -> Floats:
    """Stops worth trying of one section with one set of bolt ends loose, (m, 2); NaN where one stays tight."""
    if kind == LEAVE:
        return np.full((1, 2), np.nan)
    section, limits = train.layout.sections[i], train.layout.tolerance
    # beyond twice the square's tolerance a stop is of use only where the pivot stays as far off
    limit = min(limits.offset, 2 * limits.square)
    step = step_between(train.survey.tape.mark, limit)
    entry, exit_ = before[i].tolist()

    def off(place: float) -> float:
        return float(entry + (exit_ - entry) * place / section.length)

    def about(wanted: float, place: float) -> Floats:
        return grid(wanted, 2 * step, max(limit, abs(off(place))) if far else limit)

    if kind == BOTH:
        outer = zip(watched.outer[i].tolist(), (section.points[0], section.points[-1]), strict=True)
        one, other = (about(wanted, place)[:MOST_FAR] for wanted, place in outer)
        return np.stack([np.repeat(one, len(other)), np.tile(other, len(one))], axis=1)
    end = int(LOOSE[kind, 1])
    wanted = float(watched.target[i, end])
    stops = about(wanted, float(watched.place[i, end]))
    beside = min(max(off(section.bolts[1 - end]), -limits.offset), limits.offset)
    if abs(beside) > limit:
        stops = np.unique(np.concatenate([stops, grid(wanted + beside, 2 * step, limit)]))
    told = np.full((len(stops), 2), np.nan)
    told[:, end] = stops
    return told


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
