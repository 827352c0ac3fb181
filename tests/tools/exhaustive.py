"""
Every plan of a small train tried in turn, and the linear-programme bound of a large one, for judging the planner.

Written from the rules alone: a section left alone is within tolerance, one that is touched within the band of it,
every joint in step, moves whole notches within the slots, sections on hold never moved. Lengths are in notches.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

SLACK = 1e-6
Pair = tuple[int, int]


@dataclass
class Block:
    """One section: deviation at its ends, where its ends and bolt ends lie, and whether it may not be moved."""

    entry: float
    exit: float
    x: tuple[float, float]
    bolts: tuple[float, float]
    hold: bool = False

    def after(self, moves: Pair) -> tuple[float, float]:
        """Deviations of both ends after its bolt ends went so many notches toward the string."""
        turn = (moves[1] - moves[0]) / (self.bolts[1] - self.bolts[0])
        return (
            self.entry - moves[0] - turn * (self.x[0] - self.bolts[0]),
            self.exit - moves[0] - turn * (self.x[1] - self.bolts[0]),
        )


@dataclass
class Problem:
    """A train on one string with its rules; joints between neighbours i and i + 1 where told."""

    blocks: list[Block]
    offset: float
    square: float
    step: float
    band: float
    travel: int
    joints: dict[int, float] = field(default_factory=dict)
    """Nominal step by upstream block."""

    def moves(self) -> range:
        """Moves of one bolt end."""
        return range(-self.travel, self.travel + 1)

    def kept(self, block: Block, moves: Pair, line: tuple[float, float] = (0.0, 0.0)) -> bool:
        """Whether a block is where it has to be after moves; one on hold is where it is."""
        if block.hold:
            return True
        share = self.band if any(moves) else 1.0
        entry, exit_ = (d - a for d, a in zip(block.after(moves), line, strict=True))
        limit = share * self.offset + SLACK
        return abs(entry) <= limit and abs(exit_) <= limit and abs(exit_ - entry) <= share * self.square + SLACK

    def options(self, block: Block) -> list[Pair]:
        """All moves that put one block where it has to be."""
        every = [(0, 0)] if block.hold else itertools.product(self.moves(), repeat=2)
        return [m for m in every if self.kept(block, m)]

    def in_step(self, i: int, up: Pair, down: Pair) -> bool:
        """Whether the joint after block i is in step; one between two blocks on hold cannot be helped."""
        one, other = self.blocks[i], self.blocks[i + 1]
        if i not in self.joints or (one.hold and other.hold):
            return True
        return abs(other.after(down)[0] - one.after(up)[1] - self.joints[i]) <= self.step + SLACK


def cost(moves: Pair, *, fewest: bool) -> tuple[int, int]:
    """Bolt ends and movement, the more wanted first."""
    ends, movement = sum(m != 0 for m in moves), sum(abs(m) for m in moves)
    return (ends, movement) if fewest else (movement, ends)


def every_plan(problem: Problem) -> Iterator[tuple[Pair, ...]]:
    """All plans that keep everything, one by one."""
    for plan in itertools.product(*(problem.options(block) for block in problem.blocks)):
        if all(problem.in_step(i, plan[i], plan[i + 1]) for i in range(len(plan) - 1)):
            yield plan


def best_cost(problem: Problem, *, fewest: bool) -> tuple[int, int] | None:
    """
    Cost of the best plan, None where there is none.

    A joint ties a block to its neighbour alone, so the best plan up to a block is wanted once for each way in which
    that block may be moved: every plan is weighed, without writing each of them out.
    """
    reached = {m: cost(m, fewest=fewest) for m in problem.options(problem.blocks[0])}
    for i, block in enumerate(problem.blocks[1:]):
        onward = {}
        for moves in problem.options(block):
            before = [c for m, c in reached.items() if problem.in_step(i, m, moves)]
            if before:
                own = cost(moves, fewest=fewest)
                least = min(before)
                onward[moves] = (least[0] + own[0], least[1] + own[1])
        reached = onward
    return min(reached.values(), default=None)


def lines_exist(problem: Problem, plans: Sequence[tuple[Pair, ...]]) -> np.ndarray:
    """
    For each of many plans, whether some straight line makes it keep everything (one row, no block on hold).

    What the line takes off at the first and last end of the train is a point of a plane; each rule is a strip of it.
    A region that is not empty and bounded has a corner where two strip edges cross.
    """
    blocks = problem.blocks
    first = min(b.x[0] for b in blocks)
    span = max(b.x[1] for b in blocks) - first
    ends = np.array([[(x - first) / span for x in b.x] for b in blocks])
    terms = np.stack([1 - ends, ends], axis=2)
    moves = np.array(plans, dtype=float).reshape(len(plans), len(blocks), 2)
    after = np.empty_like(moves)
    for i, b in enumerate(blocks):
        after[:, i] = np.stack(b.after((moves[:, i, 0], moves[:, i, 1])), axis=1)
    share = np.where((moves != 0).any(axis=2), problem.band, 1.0)
    rows, at, tolerance = [], [], []
    for i in range(len(blocks)):
        rows += [terms[i, 0], terms[i, 1], terms[i, 1] - terms[i, 0]]
        at += [after[:, i, 0], after[:, i, 1], after[:, i, 1] - after[:, i, 0]]
        tolerance += [share[:, i] * problem.offset] * 2 + [share[:, i] * problem.square]
    for i, nominal in problem.joints.items():
        rows.append(terms[i + 1, 0] - terms[i, 1])
        at.append(after[:, i + 1, 0] - after[:, i, 1] - nominal)
        tolerance.append(np.full(len(plans), problem.step))
    a, centre, half = np.array(rows), np.array(at).T, np.array(tolerance).T
    found = np.zeros(len(plans), dtype=bool)
    for p, q in itertools.combinations(range(len(a)), 2):
        matrix = a[[p, q]]
        if abs(np.linalg.det(matrix)) < 1e-9:
            continue
        inverse = np.linalg.inv(matrix)
        for sides in itertools.product((-1, 1), repeat=2):
            corner = (centre[:, [p, q]] + np.array(sides) * half[:, [p, q]]) @ inverse.T
            found |= (np.abs(corner @ a.T - centre) <= half + SLACK).all(axis=1)
    return found


def plans_of(problem: Problem, ends: int, movement: int | None = None) -> Iterator[tuple[Pair, ...]]:
    """All plans with so many bolt ends and, where told, so much movement, kept or not."""
    count = 2 * len(problem.blocks)
    amounts = [m for m in problem.moves() if m]
    for loose in itertools.combinations(range(count), ends):
        for by in itertools.product(amounts, repeat=ends):
            if movement is None or sum(map(abs, by)) == movement:
                flat = [0] * count
                for k, m in zip(loose, by, strict=True):
                    flat[k] = m
                yield tuple((flat[2 * i], flat[2 * i + 1]) for i in range(len(problem.blocks)))
