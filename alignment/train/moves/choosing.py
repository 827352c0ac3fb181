"""
What is done with each section: the three answers, then the best stops of all sections that move, on a given line.

What is compared, in this order: what is missed of the tolerances; moves whose chance is less than another move's by
more than its bolt ends are worth; bolt ends (or movement); then the sum of the logarithms of the chances of sections
and steps, less a little for stops halfway between marks; then movement.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from alignment.choices import Aim
from alignment.quantiles import normal_below
from alignment.train.chance import chance
from alignment.train.joint import Parts
from alignment.train.moves.answers import DONE, EVEN, MOST_READINGS, UNLIKELY, Answer, ReadAgain, Why, answer
from alignment.train.moves.chain import best_path
from alignment.train.moves.options import Options, Watched, options, told_off, watch
from alignment.train.moves.stops import LEAVE
from alignment.train.train import Train
from alignment.uncertainty import SAME

__all__ = ["Choice", "choose"]

Floats = NDArray[np.float64]
QUANTUM: Final = 1e-3
"""Misses are compared in whole numbers of this. [mm]"""
MISS: Final = 1e9
"""What a quantum missed costs against one bolt end."""
BELOW: Final = 1e5
"""What a move costs that is below what its bolt ends are worth, against one bolt end."""
MOVEMENT: Final = 1e-3
"""Movement is compared in whole numbers of this, where it comes before bolt ends. [mm]"""
HALFWAY: Final = 0.02
"""What a stop halfway between two marks costs against the logarithm of a chance: less is not worth squinting for."""
TOLD: Final = 1.0
"""Standard uncertainties that an end has to be off its target to be loosened, where another end would do."""
LEAST_CHANCE: Final = 1e-12


class Choice(NamedTuple):
    """
    What is done with each section; arrays run over the layout's sections.

    Attributes
    ----------
    answers : tuple of Answer
    read_again : tuple of ReadAgain
    loose : (n, 2) bool array
        Bolt ends to loosen: entry, exit.
    stop : (n, 2) array
        Where to stop them; NaN where they stay tight. [mm]
    moves : (n, 2) array
        How far they go, toward the string positive. [mm]
    ends : (n, 2) array
        Deviation at both ends afterwards. [mm]
    lever, fresh : (n, 2, 2) array
        What is kept of the ends, and the covariance of what is new. [mm^2]
    slot_ends : (n,) bool array
        Sections whose slots keep them from better.
    """

    answers: tuple[Answer, ...]
    read_again: tuple[ReadAgain, ...]
    loose: NDArray[np.bool_]
    stop: Floats
    moves: Floats
    ends: Floats
    lever: Floats
    fresh: Floats
    slot_ends: NDArray[np.bool_]
    cost: tuple[float, int, float]
    """What is missed [mm], bolt ends, and the sum of the logarithms of the chances, less: of two choices the lesser is
    better."""


def choose(
    train: Train, parts: Parts, fixed: NDArray[np.bool_], doubts: Mapping[str, tuple[str, ...]], aim: Aim, travel: float
) -> Choice:
    """
    Answer for each section, and choose its stops.

    Parameters
    ----------
    train : Train
    parts : Parts
        What covariances are made of.
    fixed : (n,) bool array
        Sections that are not to be touched.
    doubts : mapping
        Sections with doubted readings, and the points to read again.
    aim : Aim
    travel : float
        How far a bolt end goes in sense. [mm]
    """
    layout, count = train.layout, len(train.start)
    found: list[Options | None] = [None] * count
    answers = [Answer.leave] * count
    again: list[ReadAgain] = []
    readings = _readings(train)
    members = [int(i) for i in np.flatnonzero(train.measured)]
    watched = watch(train)
    doubted = {i for i in members if layout.sections[i].name in doubts}
    every = options(train, parts, watched, {i: bool(fixed[i]) or i in doubted for i in members})
    turned = _turned(train, every, readings)
    for i, own in every.items():
        section = layout.sections[i]
        found[i] = own
        if i in doubted:
            answers[i] = Answer.read_again
            again.append(ReadAgain(section=section.name, points=doubts[section.name], why=Why.flagged))
        elif not fixed[i]:
            answers[i], why = _answer(train, own, watched, i, readings[i], turned[i], aim, travel)
            if why is not None:
                points = (section.point_name(p, layout.units) for p in section.points)
                again.append(ReadAgain(section=section.name, points=tuple(points), why=why))
    unsure = _unsure_steps(train, answers, readings)
    for up, down in unsure:
        one, other = layout.sections[up], layout.sections[down]
        again.append(ReadAgain(section=one.name, points=("exit",), why=Why.step, beside=other.name))
    waiting = {i for pair in unsure for i in pair} | {i for i in range(count) if answers[i] is Answer.read_again}
    kept = [
        None if own is None else _allowed(train, own, watched, i, answers[i], fixed=i in waiting, aim=aim)
        for i, own in enumerate(found)
    ]
    picked = np.zeros(count, dtype=np.int64)
    total = np.zeros(3)
    for chain, joints in _chains(train, waiting):
        links = [link for i in chain if (link := kept[i]) is not None]
        left = [answers[i] is Answer.leave for i in chain]
        path, cost = _best(train, links, left, joints, aim)
        total += cost
        picked[chain] = path
    missed, ends, less = total
    return _gathered(train, kept, picked, tuple(answers), tuple(again), (float(missed), round(ends), float(less)))


def _readings(train: Train) -> NDArray[np.int64]:
    """Least number of readings at a point of each section."""
    times: dict[tuple[str, float], int] = {}
    for reading in train.survey.fitted:
        key = reading.section, round(reading.place, 6)
        times[key] = times.get(key, 0) + 1
    least = np.zeros(len(train.start), dtype=np.int64)
    for (name, _), count in times.items():
        i = train.layout.index[name]
        least[i] = count if least[i] == 0 else min(least[i], count)
    return least


def _answer(
    train: Train, own: Options, watched: Watched, i: int, readings: int, turned: float, aim: Aim, travel: float
) -> tuple[Answer, Why | None]:
    now, half = float(own.chance[0]), train.survey.tape.mark / 2
    if aim is Aim.true:
        off = told_off(watched, i, half)
        return (Answer.move if any(off) and len(own.kind) > 1 else Answer.leave), None
    if own.reach > travel + SAME and readings < 2 and now < DONE:
        return Answer.read_again, Why.far
    own = _telling(train, own, watched, i)
    worth = own.chance - train.layout.moves.bolt * own.ends
    gain = float(worth[1:].max(initial=-np.inf)) - now
    if now >= EVEN and not any(told_off(watched, i, half, factor=0.0)):
        # both read as wanted, to the mark: nothing better can be read
        return Answer.leave, None
    found = answer(now, turned, gain, readings)
    if found is Answer.stuck and own.cut:
        # the best there is, and what it misses
        return Answer.move, None
    return found, Why.near_limit if found is Answer.read_again else None


def _turned(train: Train, every: Mapping[int, Options], readings: NDArray[np.int64]) -> dict[int, float]:
    """Chance if one more reading of an end comes out a mark farther off: of the two ends the worse."""
    tape = train.survey.tape
    by = max(tape.graduation, 2 * tape.set_u) / (readings[list(every)] + 1)
    value = np.array([own.value[0] for own in every.values()]).reshape(-1, 2)
    away = np.where(value == 0, 1.0, np.sign(value)) * by[:, None]
    tried = value[:, None] + away[:, None] * np.eye(2)
    covariance = np.array([own.covariance[LEAVE] for own in every.values()]).reshape(-1, 1, 2, 2)
    return dict(zip(every, chance(tried, covariance, train.layout.tolerance).min(axis=1).tolist(), strict=True))


def _unsure_steps(train: Train, answers: Sequence[Answer], readings: NDArray[np.int64]) -> list[tuple[int, int]]:
    """Joints out of step by the best estimate between two sections that are left, where reading again may settle it."""
    found = []
    limit = train.layout.tolerance.step
    for (up, down), step, u in zip(train.joint_index, train.steps.value, train.steps.u, strict=True):
        if answers[up] is not Answer.leave or answers[down] is not Answer.leave or not abs(step) > limit + SAME:
            continue
        if _within(step, u**2, limit) > UNLIKELY and min(readings[up], readings[down]) < MOST_READINGS:
            found.append((int(up), int(down)))
    return found


def _within(value: Floats | float, variance: Floats | float, limit: float) -> Floats:
    u = np.sqrt(np.maximum(variance, SAME**2))
    return np.asarray(normal_below((limit - value) / u) - normal_below((-limit - value) / u))


def _allowed(train: Train, own: Options, watched: Watched, i: int, said: Answer, *, fixed: bool, aim: Aim) -> Options:
    """Options that the answer leaves."""
    only_leave = own.kind == LEAVE
    if fixed or said in (Answer.read_again, Answer.stuck):
        return own.only(only_leave)
    if aim is not Aim.true:
        return own if said is Answer.leave else _telling(train, own, watched, i)
    if said is Answer.leave:
        return own.only(only_leave)
    # each end that is told to be off goes to its target, as near as slots let it
    kind = {(True, False): 1, (False, True): 2, (True, True): 3}[told_off(watched, i, train.survey.tape.mark / 2)]
    same = np.flatnonzero(own.kind == kind)
    if not len(same):
        return own.only(only_leave)
    off = np.nansum(np.abs(own.stop[same] - own.target), axis=1)
    kept = only_leave.copy()
    kept[same[int(np.argmin(off))]] = True
    return own.only(kept)


def _telling(train: Train, own: Options, watched: Watched, i: int) -> Options:
    """Options that loosen no end that cannot be told from right, where one of those brings the section in."""
    told = told_off(watched, i, train.survey.tape.mark / 2, factor=TOLD)
    right = ((own.kind & 1 > 0) & (not told[0])) | ((own.kind & 2 > 0) & (not told[1]))
    serves = (own.kind != LEAVE) & ~right & (own.miss == 0)
    return own.only(~right) if serves.any() else own


def _chains(train: Train, waiting: set[int]) -> list[tuple[list[int], list[int]]]:
    """Measured sections that hang together by measured joints, and those joints; what is to be read again alone."""
    joint = {(int(a), int(b)): j for j, (a, b) in enumerate(train.joint_index)}
    chains: list[tuple[list[int], list[int]]] = []
    for i in (int(k) for k in np.flatnonzero(train.measured)):
        last = chains[-1][0][-1] if chains else -1
        if (last, i) in joint and not {last, i} & waiting:
            chains[-1][0].append(i)
            chains[-1][1].append(joint[last, i])
        else:
            chains.append(([i], []))
    return chains


def _best(
    train: Train, own: Sequence[Options], left: Sequence[bool], joints: Sequence[int], aim: Aim
) -> tuple[list[int], Floats]:
    """
    Best options of one chain, and what they miss, their bolt ends, and the sum of logarithms, less.

    Sections that were to be left are moved for the sake of a joint alone.
    """
    least = aim is Aim.least
    # movement counts in thousands where bolt ends count in ones
    scale = 1e3 if least else 1.0
    first, then, misses = [], [], []
    for options_, stays in zip(own, left, strict=True):
        cost = np.round(options_.movement / MOVEMENT) if least else options_.ends
        miss = np.ceil(options_.miss / QUANTUM)
        below = _below(options_, train.layout.moves.bolt)
        if stays:
            below = np.where(options_.kind == LEAVE, 0.0, below)
        misses.append(miss)
        first.append(scale * (MISS * miss + BELOW * below) + cost)
        unlikely = -np.log(np.maximum(options_.chance, LEAST_CHANCE))
        then.append(unlikely + HALFWAY * options_.halfway + 1e-6 * options_.movement)
    joints_ = _Joints(train, own, joints)
    path, less = best_path(first, then, [scale * MISS * missed for missed in joints_.missed], joints_.unlikely)
    missed = sum(m[k] for m, k in zip(misses, path, strict=True))
    missed += sum(m[a, b] for m, a, b in zip(joints_.missed, path[:-1], path[1:], strict=True))
    ends = sum(o.ends[k] for o, k in zip(own, path, strict=True))
    return path, np.array([missed * QUANTUM, ends, less])


def _below(own: Options, bolt: float) -> Floats:
    """1 for options whose chance is less than another's by more than the bolt ends between them are worth."""
    best = np.array([own.chance[own.ends >= k].max(initial=0.0) - bolt * k for k in range(3)])
    # an end more has to be worth its bolt; of moves with as many, one within a bolt's worth of the best will do
    bar = np.array([max(best[m] + bolt * k - bolt * (m == k) for m in range(k, 3)) for k in range(3)])
    return np.asarray((own.chance < bar[own.ends] - 1e-9).astype(np.float64))


class _Joints:
    """
    The joints of a chain, for each pair of options of the sections upstream and downstream.

    Parameters
    ----------
    train : Train
    own : sequence of Options
        Of the sections; leaving is the first of each.
    joints : sequence of int
        Joints between them.
    """

    def __init__(self, train: Train, own: Sequence[Options], joints: Sequence[int]) -> None:
        self.limit = train.layout.tolerance.step
        self.step, self.u = (column[list(joints)] for column in train.steps)
        self.by = [options_.value - options_.value[0] for options_ in own]
        self.variance = [options_.own[options_.kind] for options_ in own]

    @cached_property
    def missed(self) -> list[Floats]:
        """What the step misses, in whole quanta: options upstream (rows) and downstream (columns)."""
        found = []
        for step, up, down in zip(self.step, self.by[:-1], self.by[1:], strict=True):
            over = np.abs(step + (down[:, 0] - up[:, 1, None])) - self.limit + 2 * SAME
            # where a section is touched, they are not left just at a limit by rounding
            over[0, 0] -= 3 * SAME
            found.append(np.ceil(np.maximum(over, 0.0) / QUANTUM))
        return found

    def unlikely(self, k: NDArray[np.int64], up: NDArray[np.int64], down: NDArray[np.int64]) -> Floats:
        """How unlikely steps are within tolerance: of the k-th joint, for options upstream and downstream."""
        start = np.cumsum([0, *(len(by) for by in self.by)])
        by, variance = np.concatenate(self.by), np.concatenate(self.variance)
        one, other = start[k] + up, start[k + 1] + down
        spread = np.where((up == 0) & (down == 0), self.u[k] ** 2, variance[one, 1] + variance[other, 0])
        inside = _within(self.step[k] + (by[other, 0] - by[one, 1]), spread, self.limit)
        return np.asarray(-np.log(np.maximum(inside, LEAST_CHANCE)))


def _gathered(
    train: Train,
    kept: Sequence[Options | None],
    picked: NDArray[np.int64],
    answers: tuple[Answer, ...],
    again: tuple[ReadAgain, ...],
    cost: tuple[float, int, float],
) -> Choice:
    count = len(kept)
    lever, fresh = np.array([np.eye(2)] * count), np.zeros((count, 2, 2))
    stop, moves = np.full((count, 2), np.nan), np.zeros((count, 2))
    ends = np.stack([train.ends[0].value, train.ends[1].value], axis=1)
    slot_ends = np.zeros(count, dtype=bool)
    said = list(answers)
    for i, own in enumerate(kept):
        if own is None:
            continue
        k = int(picked[i])
        kind = own.kind[k]
        lever[i], fresh[i] = own.lever[kind], own.fresh[kind]
        stop[i], moves[i], ends[i] = own.stop[k], own.move[k], own.value[k]
        slot_ends[i] = own.cut
        if kind != LEAVE:
            said[i] = Answer.move
    return Choice(
        answers=tuple(said),
        read_again=again,
        loose=~np.isnan(stop),
        stop=stop,
        moves=moves,
        ends=ends,
        lever=lever,
        fresh=fresh,
        slot_ends=slot_ends,
        cost=cost,
    )
