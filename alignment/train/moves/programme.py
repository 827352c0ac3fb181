"""
Which bolt ends to move, by how many notches: a mixed-integer linear programme.

Unknowns are the notches that each bolt end goes toward or away from the string, whether it is loosened at all,
whether its section is touched, what is missed, and, where the line is free, the line. All lengths are in notches.
"""

from __future__ import annotations

import contextlib
import math
import os
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from alignment.train.moves.linesearch import Faces, enclose, search_line

__all__ = ["Notches", "plan_notches"]

Floats = NDArray[np.float64]
Terms = dict[int, float]

# unknowns of a section: notches of the entry and exit bolt end toward and away, each loosened or not, the section
# touched or not, share of the band given up, and what is missed even so
ENTRY_TOWARD, ENTRY_AWAY, EXIT_TOWARD, EXIT_AWAY, ENTRY_LOOSE, EXIT_LOOSE, TOUCHED, BAND_LOST, MISSED = range(9)
UNKNOWNS: Final = 9
INFEASIBLE: Final = 2
"""Status of scipy's milp where no values keep all rows."""
LINES_TRIED: Final = 6


@dataclass(frozen=True, kw_only=True)
class Notches:
    """
    A plan in notches.

    Attributes
    ----------
    moves : (n, 2) int array
        Notches of the entry and exit bolt end, toward the string positive.
    line : (2,) array
        What the line takes off the deviations at the first and at the last end of the train. [notches]
    missed : float
        Sum of what is missed of the tolerances. [notches]
    optimal : bool
        Whether it is proved that no plan is better.
    least_ends : int
        It is proved that no plan has fewer bolt ends than this.
    least_movement : int
        It is proved that no plan with as few bolt ends moves them by less. [notches]
    """

    moves: NDArray[np.int64]
    line: Floats
    missed: float = 0.0
    optimal: bool = False
    least_ends: int = 0
    least_movement: int = 0

    @property
    def movement(self) -> int:
        """Notches moved in all."""
        return int(np.abs(self.moves).sum())

    @property
    def ends(self) -> int:
        """Bolt ends loosened."""
        return int(np.count_nonzero(self.moves))


class _Programme:
    """Rows, bounds and goals of one mixed-integer programme."""

    def __init__(self, faces: Faces, line: tuple[Floats, Floats], *, free: bool) -> None:
        self.faces = faces
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
        movable = ~faces.fixed
        # what cannot move is helped by nothing but the line, and is held against one that may be chosen
        for i in range(self.count):
            if movable[i] or free:
                self._section(i)
        for j, (up, down) in enumerate(faces.joints):
            if movable[up] or movable[down] or free:
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
        need = np.einsum("nij,nj->ni", np.abs(np.linalg.inv(faces.lever())), end)
        self.limit = np.floor(np.minimum(need + 1, faces.travel))
        self.limit[faces.fixed] = 0.0
        self.lower = np.zeros(self.size)
        self.upper = np.full(self.size, np.inf)
        for bolt, unknowns in ((0, (ENTRY_TOWARD, ENTRY_AWAY)), (1, (EXIT_TOWARD, EXIT_AWAY))):
            self.upper[self.column[:, unknowns]] = self.limit[:, bolt : bolt + 1]
        self.upper[self.column[:, ENTRY_LOOSE : BAND_LOST + 1]] = 1.0
        self.lower[-2:], self.upper[-2:] = line
        self.integer = np.zeros(self.size, dtype=np.int64)
        self.integer[self.column[:, : TOUCHED + 1]] = 1

    def _add(self, terms: Terms, low: float, high: float) -> None:
        row = len(self.low)
        self.entries += [(row, column, factor) for column, factor in terms.items() if factor]
        self.low.append(low)
        self.high.append(high)

    def _after(self, i: int, end: int) -> tuple[float, Terms]:
        """Deviation of one end after the moves: what it is now, and how the unknowns change it."""
        faces, column = self.faces, [int(k) for k in self.column[i]]
        entry, exit_ = faces.lever()[i, end]
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

    def fix_ends(self, moves: NDArray[np.int64]) -> None:
        """From now on loosen no other bolt ends than a plan does."""
        self.upper[self.column[:, [ENTRY_LOOSE, EXIT_LOOSE]]] = moves != 0

    def centred(self, plan: Notches) -> Notches:
        """The same moves with the line laid where the largest deviation is least."""
        for toward, away, k in ((ENTRY_TOWARD, ENTRY_AWAY, 0), (EXIT_TOWARD, EXIT_AWAY, 1)):
            for column, notches in ((toward, plan.moves[:, k]), (away, -plan.moves[:, k])):
                self.lower[self.column[:, column]] = self.upper[self.column[:, column]] = np.maximum(notches, 0)
        goal = np.zeros(self.size)
        goal[self.largest] = 1
        result = self.solve(goal, 2.0)
        return plan if result.x is None else replace(plan, line=result.x[list(self.line)])

    def goals(self, fewest: bool, *, strict: bool) -> list[Floats]:
        """What is wanted, most wanted first; strict where every tolerance must be kept, else they may be missed."""
        slack = np.concatenate([self.column[:, [BAND_LOST, MISSED]].ravel(), self.joint_missed])
        self.upper[slack] = 0.0 if strict else np.inf
        goals = [self.ends, self.movement] if fewest else [self.movement, self.ends]
        return goals if strict else [self.missed, self.goal(BAND_LOST), *goals]

    def solve(self, goal: Floats, seconds: float) -> Any:
        """Least value of a goal, by scipy's interface to HiGHS."""
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        row, column, factor = zip(*self.entries, strict=True) if self.entries else ((), (), ())
        # HiGHS counts in 32 bits, and older scipy hands on whatever it is given
        place = np.array([row, column], dtype=np.int32)
        matrix = csr_array((factor, tuple(place)), shape=(len(self.low), self.size))
        with _quiet():
            return milp(
                goal,
                constraints=LinearConstraint(matrix, self.low, self.high),
                bounds=Bounds(self.lower, self.upper),
                integrality=self.integer,
                options={"time_limit": max(seconds, 0.1), "mip_rel_gap": 0.0},
            )

    def notches(self, x: Floats) -> tuple[NDArray[np.int64], Floats]:
        c = np.round(x[self.column]).astype(np.int64)
        moves = np.stack([c[:, ENTRY_TOWARD] - c[:, ENTRY_AWAY], c[:, EXIT_TOWARD] - c[:, EXIT_AWAY]], axis=1)
        return moves, x[list(self.line)]


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Keep the solver, which now and then prints a line of its own, off standard output."""
    sys.stdout.flush()
    try:
        kept = os.dup(1)
    except OSError:
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:  # noqa: PTH123
            os.dup2(nowhere.fileno(), 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)


def _less(terms: Terms, others: Terms) -> Terms:
    return {k: terms.get(k, 0.0) - others.get(k, 0.0) for k in terms | others}


def plan_notches(faces: Faces, *, fewest: bool, free: bool, seconds: float) -> Notches:
    """
    Find the best moves of sections that share one line.

    Parameters
    ----------
    faces : Faces
        The sections.
    fewest : bool
        Fewest bolt ends, then least movement; otherwise the other way round.
    free : bool
        Whether the line may be chosen too.
    seconds : float
        Time to spend; a plan that is not proved best by then is said to be so.

    Returns
    -------
    Notches
        Where no plan keeps every tolerance, the one that misses by least in all, then gives up least of the band.
    """
    until = time.monotonic() + seconds
    if not free:
        return _on_line(faces, np.zeros(2), fewest, until, free=False)
    lines, least = search_line(faces, until - 0.6 * seconds) if fewest else (np.zeros((1, 2)), 0)
    first = min(
        (_on_line(faces, line, fewest, until, free=True) for line in lines[:LINES_TRIED]),
        key=lambda plan: (round(plan.missed, 6), plan.ends if fewest else 0, plan.movement),
    )
    strict = first.missed == 0
    within = enclose(faces, first.ends) if strict and fewest else (np.full(2, -faces.near), np.full(2, faces.near))
    within = np.minimum(within[0], first.line), np.maximum(within[1], first.line)
    programme = _Programme(faces, within, free=True)
    programme.fix_ends(first.moves)
    first = _in_turn(programme, programme.goals(fewest, strict=strict)[-2:][fewest:], until, first) or first
    programme = _Programme(faces, within, free=True)
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
    if plan.missed == 0:
        programme.goals(fewest, strict=True)
        plan = programme.centred(plan)
    return replace(plan, least_ends=max(least, plan.least_ends))


def _on_line(faces: Faces, line: Floats, fewest: bool, until: float, *, free: bool) -> Notches:
    """Best moves to one given line: quick, since there the sections hang together by their joints alone."""
    programme = _Programme(faces, (line, line), free=free)
    plan = _in_turn(programme, programme.goals(fewest, strict=True), until, None)
    plan = plan or _in_turn(programme, programme.goals(fewest, strict=False), until, None)
    return plan or Notches(moves=np.zeros((programme.count, 2), dtype=np.int64), line=line, missed=np.inf)


def _in_turn(programme: _Programme, goals: list[Floats], until: float, first: Notches | None) -> Notches | None:
    """
    Meet goals one after another, each without giving up what those before it reached.

    Returns None where no plan keeps what must be kept; `first`, with nothing proved, where time ran out.
    """
    plan, proved, least, least_movement = first, True, 0, 0
    for k, goal in enumerate(goals):
        left = until - time.monotonic()
        result = programme.solve(goal, left if k == len(goals) - 1 else 0.7 * left)
        if result.x is None:
            if result.status == INFEASIBLE and k == 0:
                return None
            proved = False
            break
        proved = proved and result.status == 0
        if k == 0 and goal is programme.ends:
            least = math.ceil(result.mip_dual_bound - 1e-6)
        if goal is programme.movement:
            least_movement = math.ceil(result.mip_dual_bound - 1e-6)
        moves, line = programme.notches(result.x)
        plan = Notches(moves=moves, line=line, missed=float(programme.missed @ result.x))
        programme.cap(goal, float(goal @ result.x) + 1e-6)
    return None if plan is None else replace(plan, optimal=proved, least_ends=least, least_movement=least_movement)
