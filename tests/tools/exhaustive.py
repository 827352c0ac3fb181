"""
Every plan of a small train tried in turn, for judging the planner; and linear programmes for lines that may be chosen.

Written from the rules alone, with levers of its own: a bolt end that is loose is stopped at a mark of the tape or
halfway between two, seen at the end of the section; the other stays. The chance of a section is the library's, which
is judged elsewhere against scipy.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linprog
from scipy.stats import norm

from alignment.machine.layout import Tolerance
from alignment.train.chance import chance

SLACK = 1e-5


@dataclass
class Block:
    """One section read at its two ends: deviation there, place of its ends and bolt ends, and whether it is held."""

    entry: float
    exit: float
    x: tuple[float, float]
    bolts: tuple[float, float]
    hold: bool = False


@dataclass
class Problem:
    """A train on one string with its rules; joints between neighbours i and i + 1 where told. Lengths in mm."""

    blocks: list[Block]
    offset: float
    square: float
    step: float
    band: float
    travel: float
    joints: dict[int, float] = field(default_factory=dict)
    """Nominal step by upstream block."""


# --- a given line: every stop of every end ---------------------------------------------------------------------


@dataclass
class Worth:
    """What a reading, tightening and a bolt end are worth, and the tape's mark. [mm]"""

    mark: float
    u: float
    zero: float
    creep: float
    bolt: float


@dataclass
class Way:
    """One thing to do with a block."""

    loose: tuple[int, ...]
    entry: float
    exit: float
    variance: tuple[float, float]
    chance: float
    missed: bool
    halfway: int
    movement: float
    largest: float

    @property
    def ends(self) -> int:
        """Bolt ends loosened."""
        return len(self.loose)


def line(places: tuple[float, float], values: tuple[float, float], x: float) -> float:
    """A straight bar through two points, at a third."""
    return values[0] + (values[1] - values[0]) * (x - places[0]) / (places[1] - places[0])


def ways(block: Block, tolerance: Tolerance, worth: Worth, travel: float, u_stop: float) -> list[Way]:
    """Leave it, or stop either end, or both, at any half mark within tolerance of the target (at 0)."""
    a, b = block.x
    half = worth.mark / 2
    stops = [k * half for k in range(-40, 41) if abs(k * half) <= tolerance.offset + 1e-6]
    found = [_way((), (block.entry, block.exit), np.eye(2) * worth.u**2, tolerance, worth, [], (0.0, 0.0))]
    if block.hold:
        return found
    for moving in (0, 1):
        bolt, pivot = block.bolts[moving], block.bolts[1 - moving]
        end = block.x[moving]
        held = line(block.x, (block.entry, block.exit), pivot)
        # unit errors of entry reading, exit reading, stop and creep, carried through the same bar
        root = []
        for e, x, s, c in np.eye(4) * [worth.u, worth.u, u_stop, worth.creep]:
            h = line(block.x, (e, x), pivot)
            crept = [line((pivot, bolt), (0.0, c), at) for at in (a, b)]
            root.append([line((pivot, end), (h, s), at) + k for at, k in zip((a, b), crept, strict=True)])
        spread = np.array(root).T @ np.array(root)
        for stop in stops:
            after = tuple(line((pivot, end), (held, stop), at) for at in (a, b))
            by = [0.0, 0.0]
            by[moving] = line(block.x, (block.entry, block.exit), bolt) - line((a, b), after, bolt)
            found.append(_way((moving,), after, spread, tolerance, worth, [stop], tuple(by)))
    root = []
    for s, t, c, d in np.eye(4) * [u_stop, u_stop, worth.creep, worth.creep]:
        root.append([(s, t)[k] + line(block.bolts, (c, d), at) for k, at in enumerate((a, b))])
    spread = np.array(root).T @ np.array(root)
    for pair in itertools.product(stops, repeat=2):
        by = tuple(line(block.x, (block.entry, block.exit), at) - line(block.x, pair, at) for at in block.bolts)
        found.append(_way((0, 1), pair, spread, tolerance, worth, pair, by))
    return [way for way in found if way.largest <= travel + 1e-6]


def _way(loose, after, spread, tolerance, worth, stops, by) -> Way:
    entry, exit_ = after
    over = max(abs(entry) - tolerance.offset, abs(exit_) - tolerance.offset, abs(exit_ - entry) - tolerance.square)
    return Way(
        loose=loose,
        entry=entry,
        exit=exit_,
        variance=(spread[0, 0], spread[1, 1]),
        chance=float(chance(after, spread + worth.zero**2, tolerance)),
        missed=over > (-2e-6 if loose else 1e-6),
        halfway=sum(round(abs(s) / (worth.mark / 2)) % 2 for s in stops),
        movement=sum(map(abs, by)),
        largest=max(map(abs, by)),
    )


def only_told(every: list[Way], block: Block, worth: Worth) -> list[Way]:
    """Ways that loosen no end within its own uncertainty, or half a mark, of right, where one of those serves."""
    bar = max(math.hypot(worth.u, worth.zero), worth.mark / 2)
    right = {k for k, off in enumerate((block.entry, block.exit)) if abs(off) <= bar}
    kept = [way for way in every if not right & set(way.loose)]
    return kept if any(way.loose and not way.missed for way in kept) else every


def below(way: Way, every: list[Way], bolt: float) -> bool:
    """Whether another move is better by more than the bolt ends between them are worth."""
    return any(w.chance - bolt * max(1, w.ends - way.ends) > way.chance + 1e-9 for w in every if w.ends >= way.ends)


def best_plan(problem: Problem, every: list[list[Way]], left: list[bool], bolt: float):
    """Cost of the best of all combinations: what is out, moves not worth their bolts, bolt ends, and how unlikely."""
    low = [
        [below(way, own, bolt) and not (stays and not way.loose) for way in own]
        for own, stays in zip(every, left, strict=True)
    ]
    best = None
    for pick in itertools.product(*(range(len(own)) for own in every)):
        chosen = [own[k] for own, k in zip(every, pick, strict=True)]
        out = sum(way.missed for way in chosen)
        unlikely = -sum(math.log(max(way.chance, 1e-12)) for way in chosen)
        unlikely += sum(0.02 * way.halfway + 1e-6 * way.movement for way in chosen)
        for i, nominal in problem.joints.items():
            up, down = chosen[i], chosen[i + 1]
            step = down.entry - up.exit - nominal
            out += abs(step) - problem.step > (1e-6 if not up.ends and not down.ends else -2e-6)
            u = math.sqrt(up.variance[1] + down.variance[0])
            inside = norm.cdf((problem.step - step) / u) - norm.cdf((-problem.step - step) / u)
            unlikely -= math.log(max(inside, 1e-12))
        cost = (out, sum(own[k] for own, k in zip(low, pick, strict=True)), sum(w.ends for w in chosen), unlikely)
        if best is None or cost < best[0]:
            best = cost, chosen
    return best


# --- a line that may be chosen: every set of bolt ends, each a linear programme ---------------------------------


def programme(problem: Problem, loose: set[tuple[int, int]], touched_band: bool = True):
    """
    Least movement with these bolt ends loose and any line: the linear programme's result.

    Unknowns: toward and away of both bolt ends of each block, then what the line takes off at both ends of the train.
    """
    count = len(problem.blocks)
    first = min(b.x[0] for b in problem.blocks)
    span = max(b.x[1] for b in problem.blocks) - first
    rows, limits = [], []

    def end(i, x, now):
        b = problem.blocks[i]
        t = (x - b.bolts[0]) / (b.bolts[1] - b.bolts[0])
        row = np.zeros(4 * count + 2)
        row[4 * i : 4 * i + 4] = [-(1 - t), 1 - t, -t, t]
        row[-2:] = [-(1 - (x - first) / span), -(x - first) / span]
        return now, row

    def within(now, row, tolerance):
        rows.extend([row, -row])
        limits.extend([tolerance - now, tolerance + now])

    for i, b in enumerate(problem.blocks):
        (one, a), (other, c) = end(i, b.x[0], b.entry), end(i, b.x[1], b.exit)
        share = problem.band if touched_band and any(k == i for k, _ in loose) else 1.0
        within(one, a, share * problem.offset)
        within(other, c, share * problem.offset)
        within(other - one, c - a, share * problem.square)
    for i, nominal in problem.joints.items():
        up, down = problem.blocks[i], problem.blocks[i + 1]
        (one, a), (other, c) = end(i, up.x[1], up.exit), end(i + 1, down.x[0], down.entry)
        within(other - one - nominal, c - a, problem.step)
    bounds = [
        (0, problem.travel if (i, end) in loose else 0) for i in range(count) for end in (0, 1) for _ in range(2)
    ] + [(None, None)] * 2
    goal = np.concatenate([np.ones(4 * count), np.zeros(2)])
    return linprog(goal, A_ub=np.array(rows), b_ub=np.array(limits), bounds=bounds)


def best_line(problem: Problem, *, fewest: bool) -> tuple[float, float] | None:
    """Cost (ends and movement, the more wanted first) of the best set of bolt ends; None where none serves."""
    bolts = [(i, end) for i, b in enumerate(problem.blocks) if not b.hold for end in (0, 1)]
    best = None
    for size in range(len(bolts) + 1):
        for loose in itertools.combinations(bolts, size):
            found = programme(problem, set(loose))
            if found.status == 0:
                cost = (size, found.fun) if fewest else (found.fun, size)
                best = cost if best is None else min(best, cost)
        if fewest and best is not None:
            return best
    return best
