"""
Where to lay a free line, and which bolt ends it takes to move: a mixed-integer linear programme.

Unknowns are how far each bolt end goes toward or away from the string, whether it is loosened at all, whether its
section is touched, what is missed, and the line. Where along the tape each end is stopped is chosen afterwards, on
the line found. All lengths are in millimetres.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.train.moves.highs import Answer, Rows, minimise
from alignment.train.moves.linesearch import NEAR, Faces, enclose, search_line

__all__ = ["Laid", "lay_line", "through_tight"]

Floats = NDArray[np.float64]
Terms = dict[int, float]
Waiting = Callable[[], None]

# unknowns of a section: how far the entry and exit bolt end go toward and away, each loosened or not, the section
# touched or not, share of the band given up, and what is missed even so
ENTRY_TOWARD, ENTRY_AWAY, EXIT_TOWARD, EXIT_AWAY, ENTRY_LOOSE, EXIT_LOOSE, TOUCHED, BAND_LOST, MISSED = range(9)
UNKNOWNS: Final = 9
LINES_TRIED: Final = 6


@dataclass(frozen=True, kw_only=True, eq=False)
class Laid:
    """
    A line, and the moves to it.

    Attributes
    ----------
    moves : (n, 2) array
        Of the entry and exit bolt end, toward the string positive. [mm]
    line : (2,) array
        What the line takes off the deviations at the first and at the last end of the train. [mm]
    missed : float
        Sum of what is missed of the tolerances. [mm]
    optimal : bool
        Whether it is proved that no line asks for fewer bolt ends, or less movement with as few.
    least_ends : int
        It is proved that no line asks for fewer bolt ends than this.
    least_movement : float
        It is proved that no line with as few bolt ends moves them by less. [mm]
    """

    moves: Floats
    line: Floats
    missed: float = 0.0
    optimal: bool = False
    least_ends: int = 0
    least_movement: float = 0.0

    @property
    def movement(self) -> float:
        """Movement of all bolt ends. [mm]"""
        return float(np.abs(self.moves).sum())

    @property
    def ends(self) -> int:
        """Bolt ends loosened."""
        return int(np.count_nonzero(np.abs(self.moves) > NEAR))


class _Programme:
    """Rows, bounds and goals of one mixed-integer programme."""

    def __init__(self, faces: Faces, line: tuple[Floats, Floats], waiting: Waiting | None = None) -> None:
        self.faces = faces
        self.waiting = waiting
        self.count = len(faces.deviation)
        self.size = UNKNOWNS * self.count + len(faces.joints) + 3
        self.column = np.arange(UNKNOWNS * self.count).reshape(self.count, UNKNOWNS)
        self.joint_missed = np.arange(UNKNOWNS * self.count, self.size - 3)
        self.largest = self.size - 3
        self.line = (self.size - 2, self.size - 1)
        self.low: list[float] = []
        self.high: list[float] = []
        self.entries: list[tuple[int, int, float]] = []
        self._bounds(line)
        # what cannot move is helped by nothing but the line, and is held against it
        for i in range(self.count):
            self._section(i)
        for j, (up, down) in enumerate(faces.joints):
            self._joint(j, int(up), int(down))

    def goal(self, *unknowns: int) -> Floats:
        """Sum of some of the sections' unknowns."""
        goal = np.zeros(self.size)
        goal[self.column[:, list(unknowns)]] = 1
        return goal

    @cached_property
    def ends(self) -> Floats:
        return self.goal(ENTRY_LOOSE, EXIT_LOOSE)

    @cached_property
    def movement(self) -> Floats:
        return self.goal(ENTRY_TOWARD, ENTRY_AWAY, EXIT_TOWARD, EXIT_AWAY)

    @cached_property
    def missed(self) -> Floats:
        goal = self.goal(MISSED)
        goal[self.joint_missed] = 1
        return goal

    def _bounds(self, line: tuple[Floats, Floats]) -> None:
        """No plan worth having goes beyond these; the nearer they are, the faster the search."""
        faces = self.faces
        low, high = faces.line_at(line[0], line[1])
        # the ends come to lie within the tolerance of the line, so bolt ends go no farther than this
        end = np.abs(faces.deviation) + np.maximum(np.abs(low), np.abs(high)) + faces.offset
        need = np.einsum("nij,nj->ni", np.abs(np.linalg.inv(faces.lever)), end)
        self.limit = np.minimum(need + NEAR, faces.travel)
        self.limit[faces.fixed] = 0.0
        self.lower = np.zeros(self.size)
        self.upper = np.full(self.size, np.inf)
        for bolt, unknowns in ((0, (ENTRY_TOWARD, ENTRY_AWAY)), (1, (EXIT_TOWARD, EXIT_AWAY))):
            self.upper[self.column[:, unknowns]] = self.limit[:, bolt : bolt + 1]
        self.upper[self.column[:, ENTRY_LOOSE : BAND_LOST + 1]] = 1.0
        self.lower[-2:], self.upper[-2:] = line
        self.integer = np.zeros(self.size, dtype=np.bool_)
        self.integer[self.column[:, ENTRY_LOOSE : TOUCHED + 1]] = True

    def _add(self, terms: Terms, low: float, high: float) -> None:
        row = len(self.low)
        self.entries += [(row, column, factor) for column, factor in terms.items() if factor]
        self.low.append(low)
        self.high.append(high)

    def _after(self, i: int, end: int) -> tuple[float, Terms]:
        """Deviation of one end after the moves: what it is now, and how the unknowns change it."""
        faces, column = self.faces, [int(k) for k in self.column[i]]
        entry, exit_ = faces.lever[i, end]
        share = float(faces.share[i, end])
        return float(faces.deviation[i, end]), {
            column[ENTRY_TOWARD]: -entry,
            column[ENTRY_AWAY]: entry,
            column[EXIT_TOWARD]: -exit_,
            column[EXIT_AWAY]: exit_,
            self.line[0]: -float(faces.sign[i]) * (1 - share),
            self.line[1]: -float(faces.sign[i]) * share,
        }

    def _within(self, now: float, terms: Terms, tolerance: float, given: Terms) -> None:
        """Keep a deviation within plus or minus a tolerance that other unknowns widen or narrow."""
        self._add(terms | given, -np.inf, tolerance - now)
        self._add({k: -v for k, v in terms.items()} | given, -np.inf, tolerance + now)

    def _section(self, i: int) -> None:
        faces, column = self.faces, [int(k) for k in self.column[i]]
        (entry, entry_terms), (exit_, exit_terms) = self._after(i, 0), self._after(i, 1)
        for tolerance, now, terms in (
            (faces.offset, entry, entry_terms),
            (faces.offset, exit_, exit_terms),
            (faces.square, exit_ - entry, _less(exit_terms, entry_terms)),
        ):
            narrower = (1 - faces.band) * tolerance
            given = {column[TOUCHED]: narrower, column[BAND_LOST]: -narrower, column[MISSED]: -1.0}
            self._within(now, terms, tolerance, given)
        for now, terms in ((entry, entry_terms), (exit_, exit_terms)):
            self._within(now, terms, 0.0, {self.largest: -1.0})
        self._add({column[BAND_LOST]: 1.0, column[TOUCHED]: -1.0}, -np.inf, 0.0)
        for bolt, (toward, away, loose) in enumerate(
            ((ENTRY_TOWARD, ENTRY_AWAY, ENTRY_LOOSE), (EXIT_TOWARD, EXIT_AWAY, EXIT_LOOSE))
        ):
            limit = float(self.limit[i, bolt])
            self._add({column[toward]: 1.0, column[away]: 1.0, column[loose]: -limit}, -np.inf, 0.0)
            self._add({column[loose]: 1.0, column[TOUCHED]: -1.0}, -np.inf, 0.0)

    def _joint(self, j: int, up: int, down: int) -> None:
        (one, terms), (other, others) = self._after(up, 1), self._after(down, 0)
        now = other - one - float(self.faces.nominal[j])
        self._within(now, _less(others, terms), self.faces.step, {int(self.joint_missed[j]): -1.0})

    def cap(self, goal: Floats, value: float) -> None:
        """From now on keep a goal at or below a value."""
        self._add({int(k): float(goal[k]) for k in np.flatnonzero(goal)}, -np.inf, value)

    def fix_ends(self, moves: Floats) -> None:
        """From now on loosen no other bolt ends than a plan does."""
        self.upper[self.column[:, [ENTRY_LOOSE, EXIT_LOOSE]]] = np.abs(moves) > NEAR

    def centred(self, plan: Laid) -> Laid:
        """
        The line laid where the largest deviation is least, with the same bolt ends loose.

        Movement is not held: where the ends are stopped is chosen on the line found.
        """
        self.fix_ends(plan.moves)
        goal = np.zeros(self.size)
        goal[self.largest] = 1
        result = self.solve(goal, 2.0)
        if result.x is None:
            return plan
        moves, line = self.read(result.x)
        return replace(plan, line=line, moves=moves)

    def goals(self, fewest: bool, *, strict: bool) -> list[Floats]:
        """What is wanted, most wanted first; strict where every tolerance must be kept, else they may be missed."""
        slack = np.concatenate([self.column[:, [BAND_LOST, MISSED]].ravel(), self.joint_missed])
        self.upper[slack] = 0.0 if strict else np.inf
        goals = [self.ends, self.movement] if fewest else [self.movement, self.ends]
        return goals if strict else [self.missed, self.goal(BAND_LOST), *goals]

    def solve(self, goal: Floats, seconds: float) -> Answer:
        """Least value of a goal."""
        row, column, factor = zip(*self.entries, strict=True) if self.entries else ((), (), ())
        rows = Rows(
            low=np.array(self.low),
            high=np.array(self.high),
            row=np.array(row, dtype=np.int32),
            column=np.array(column, dtype=np.int32),
            factor=np.array(factor, dtype=np.float64),
        )
        return minimise(goal, rows, self.lower, self.upper, self.integer, seconds=seconds, waiting=self.waiting)

    def read(self, x: Floats) -> tuple[Floats, Floats]:
        """Moves and line of an answer."""
        c = np.where(np.abs(x[self.column]) > NEAR, x[self.column], 0.0)
        moves = np.stack([c[:, ENTRY_TOWARD] - c[:, ENTRY_AWAY], c[:, EXIT_TOWARD] - c[:, EXIT_AWAY]], axis=1)
        loose = x[self.column[:, [ENTRY_LOOSE, EXIT_LOOSE]]] > 0.5
        return np.where(loose, moves, 0.0), x[list(self.line)]


def _less(terms: Terms, others: Terms) -> Terms:
    return {k: terms.get(k, 0.0) - others.get(k, 0.0) for k in terms | others}


def lay_line(faces: Faces, *, fewest: bool, seconds: float, waiting: Waiting | None = None) -> Laid:
    """
    Find the line that asks for the least, for sections that share one string.

    Parameters
    ----------
    faces : Faces
        The sections.
    fewest : bool
        Fewest bolt ends, then least movement; otherwise the other way round.
    seconds : float
        Time to spend; a line that is not proved best by then is said to be so.
    waiting : callable, optional
        Called several times a second while the solver works.

    Returns
    -------
    Laid
        Where no plan keeps every tolerance, the one that misses by least in all, then gives up least of the band.
    """
    until = time.monotonic() + seconds
    lines, least = search_line(faces, until - 0.6 * seconds) if fewest else (np.zeros((1, 2)), 0)
    first = min(
        (_on_line(faces, line, fewest, until, waiting) for line in lines[:LINES_TRIED]),
        key=lambda plan: (round(plan.missed, 6), plan.ends if fewest else 0, plan.movement),
    )
    strict = first.missed < NEAR
    within = enclose(faces, first.ends) if strict and fewest else (np.full(2, -faces.near), np.full(2, faces.near))
    within = np.minimum(within[0], first.line), np.maximum(within[1], first.line)
    programme = _Programme(faces, within, waiting)
    programme.fix_ends(first.moves)
    first = _in_turn(programme, programme.goals(fewest, strict=strict)[-2:][fewest:], until, first) or first
    programme = _Programme(faces, within, waiting)
    goals = programme.goals(fewest, strict=True)
    if strict and fewest:
        programme.cap(programme.ends, first.ends)
        if first.ends == least:
            # the count is proved: what is left is worth a few seconds, not a coffee break
            goals, until = goals[1:], min(until, time.monotonic() + 0.25 * seconds)
    plan = _in_turn(programme, goals, until, first)
    if plan is None and not strict:
        plan = _in_turn(programme, programme.goals(fewest, strict=False), until, first)
    plan = plan or first
    if plan.missed < NEAR:
        programme.goals(fewest, strict=True)
        plan = programme.centred(plan)
    return replace(plan, least_ends=max(least, plan.least_ends))


def through_tight(faces: Faces, laid: Laid) -> Floats:
    """
    The line through the ends that stay tight, by least squares: it leaves them nearest to right.

    Returns what it takes off at the first and the last end, (2,); the line as laid where too few ends are tight, or
    where one of them would be out. [mm]
    """
    tight = np.abs(laid.moves) <= NEAR
    share, off = faces.share[tight], (faces.sign[:, None] * faces.deviation)[tight]
    if len(np.unique(np.round(share, 9))) < 2:
        return laid.line
    line = np.linalg.lstsq(np.stack([1 - share, share], axis=1), off, rcond=None)[0]
    left = np.abs(off - (1 - share) * line[0] - share * line[1])
    return np.asarray(line) if (left <= faces.offset).all() else laid.line


def _on_line(faces: Faces, line: Floats, fewest: bool, until: float, waiting: Waiting | None) -> Laid:
    """Best moves to one given line: quick, since there the sections hang together by their joints alone."""
    programme = _Programme(faces, (line, line), waiting)
    plan = _in_turn(programme, programme.goals(fewest, strict=True), until, None)
    plan = plan or _in_turn(programme, programme.goals(fewest, strict=False), until, None)
    return plan or Laid(moves=np.zeros((programme.count, 2)), line=line, missed=np.inf)


def _in_turn(programme: _Programme, goals: list[Floats], until: float, first: Laid | None) -> Laid | None:
    """
    Meet goals one after another, each without giving up what those before it reached.

    Returns None where no plan keeps what must be kept; `first`, with nothing proved, where time ran out.
    """
    plan, proved, least, least_movement = first, True, 0, 0.0
    for k, goal in enumerate(goals):
        left = until - time.monotonic()
        result = programme.solve(goal, left if k == len(goals) - 1 else 0.7 * left)
        if result.x is None:
            if result.infeasible and k == 0:
                return None
            proved = False
            break
        proved = proved and result.proved
        if k == 0 and goal is programme.ends:
            least = math.ceil(result.bound - 1e-6)
        if goal is programme.movement:
            least_movement = max(result.bound, 0.0)
        moves, line = programme.read(result.x)
        plan = Laid(moves=moves, line=line, missed=float(programme.missed @ result.x))
        programme.cap(goal, float(goal @ result.x) + 1e-6)
    return None if plan is None else replace(plan, optimal=proved, least_ends=least, least_movement=least_movement)
