"""
Leave a section, read it again, or move it: the three answers, for one section at a time.

Readings are cheap, bolts are dear, a section left out is dearest. What a further reading would be worth is reckoned
from all that it may show: after it the section is left or moved, whichever is then the better.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.train.moves.answers import DONE, EVEN, Answer
from alignment.train.moves.stops import at_place
from alignment.train.work.odds import Odds
from alignment.train.work.standing import Standing
from alignment.train.work.trying import families, seen

__all__ = ["Decision", "Judged", "Rules", "Stop", "decide"]

Floats = NDArray[np.float64]
SURE: Final = 0.96
"""From this chance on nothing more is weighed."""


@dataclass(frozen=True, kw_only=True)
class Rules:
    """
    What is weighed against what.

    Attributes
    ----------
    bolt, reading : float
        What loosening a bolt end and taking a reading are worth, as shares of the chance.
    most : int
        Readings of one point between moves after which another is not asked for.
    mark : float
        Smallest mark of the tape. [mm]
    mean_u : tuple of float
        Standard uncertainty of the mean of no readings, of one, two and so on, up to one more than `most`. [mm]
    creep : float
        Of what tightening does to a bolt end. [mm]
    lead : float
        How much nearer to the string to stop, since tightening moves a bolt end away. [mm]
    travel : float or None
        How far a bolt end can go either way from where it was found. [mm]
    """

    bolt: float
    reading: float
    most: int
    mark: float
    mean_u: tuple[float, ...]
    creep: float
    lead: float
    travel: float | None

    def next_variance(self, count: int) -> float:
        """Variance that a further reading counts with, of a point read so often. [mm^2]"""
        before, after = self.mean_u[count], self.mean_u[count + 1]
        return after**2 if count == 0 else 1 / max(after**-2 - before**-2, 1e-9)


@dataclass(frozen=True, kw_only=True)
class Judged:
    """
    What a section is judged by.

    Attributes
    ----------
    now, moved : Odds
        As it stands, and after a move: a step that was measured tells nothing of the one that a move makes.
    """

    now: Odds
    moved: Odds


@dataclass(frozen=True, kw_only=True)
class Stop:
    """One bolt end and where to stop it."""

    end: int
    place: float
    """Of the watched point, from the section's entry end. [mm]"""
    reading: float
    """[mm]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Decision:
    """
    The answer for one section.

    Attributes
    ----------
    points : tuple of float
        Places to read, for a reading. [mm]
    stops : tuple of Stop
        For a move, the entry bolt end first.
    value : (2,) array
        Deviations at both ends after the move. [mm]
    chance, after : float
        Now, and after the move; NaN where not known.
    far : bool
        Whether the slots end before a move would help.
    """

    answer: Answer
    chance: float
    points: tuple[float, ...] = ()
    stops: tuple[Stop, ...] = ()
    value: Floats | None = None
    move: tuple[float, float] = (0.0, 0.0)
    after: float = math.nan
    far: bool = False


def decide(
    standing: Standing, judged: Judged, rules: Rules, wanted: tuple[float, float], *, ahead: bool = False
) -> Decision:
    """
    Choose for one section.

    Parameters
    ----------
    standing : Standing
    judged : Judged
    rules : Rules
    wanted : (float, float)
        Readings wanted at its first and last point. [mm]
    ahead : bool
        Whether its turn has not come yet: then no move is looked for.
    """
    places = standing.section.points
    if standing.doubtful:
        return Decision(answer=Answer.read_again, chance=math.nan, points=tuple(standing.doubtful))
    if not standing.known.complete:
        unread = tuple(place for place, count in zip(places, standing.counts, strict=True) if not count)
        return Decision(answer=Answer.read_again, chance=math.nan, points=unread or places)
    now = float(judged.now(standing.known.mean[None], standing.known.covariance)[0])
    fresh = _unread(standing)
    if fresh:
        return Decision(answer=Answer.read_again, chance=now, points=fresh)
    if now >= SURE:
        return Decision(answer=Answer.leave, chance=now)
    if ahead:
        return Decision(answer=Answer.move if now <= EVEN else Answer.read_again, chance=now)
    return _Weighing(standing, judged, rules, wanted, now).decision()


def _unread(standing: Standing) -> tuple[float, ...]:
    """Points to read before anything else: all of them at first, and after a move the ends that were loosened."""
    points = standing.section.points
    asked = [(points[0], points[-1])[end] for end in standing.loosened] if standing.moves else points
    counts = dict(zip(points, standing.counts, strict=True))
    return tuple(place for place in asked if not counts[place])


class _Weighing:
    """One section whose answer is not plain."""

    def __init__(
        self, standing: Standing, judged: Judged, rules: Rules, wanted: tuple[float, float], now: float
    ) -> None:
        self.standing, self.judged, self.rules, self.now = standing, judged, rules, now
        self.value, self.covariance = standing.known.mean, standing.known.covariance
        self.section = standing.section
        self.places = (self.section.points[0], self.section.points[-1])
        self.wanted = wanted
        within = judged.now.tolerance.offset + 1e-6
        self.families = families(
            self.section, wanted, mark=rules.mark, within=within, u=rules.mean_u[1], creep=rules.creep
        )
        self.bolts = np.array([at_place(self.section.length, b) for b in self.section.bolts])
        self.again = self._afresh()

    def _afresh(self) -> float:
        """
        What it is worth to loosen both ends, whatever was known before, and to go on from there.

        It is read after that, and left or loosened once more: c = E max(p, c) less what both cost, by iteration.
        """
        family, rules = self.families[-1], self.rules
        k = int(np.argmax(self.judged.moved(family.reach, family.noise)))
        value, weight, left = self._read(family.reach[k], family.noise, (0, 1), (0, 0))
        chance = self.judged.moved(value, left)
        cost, worth = 2 * rules.bolt + 2 * rules.reading, 0.0
        for _ in range(30):
            worth = float(weight @ np.maximum(chance, worth)) - cost
        return max(worth, 0.0)

    def _read(
        self, value: Floats, covariance: Floats, ends: tuple[int, ...], counts: tuple[int, ...]
    ) -> tuple[Floats, Floats, Floats]:
        """What may be known after one more reading of these ends, of points that were read so often."""
        rows = [at_place(self.section.length, self.places[end]) for end in ends]
        return seen(value, covariance, rows, [self.rules.next_variance(count) for count in counts])

    def _moves(self, value: Floats, covariance: Floats) -> Floats:
        """Worth of the best move from each of several places (j, 2), (j,)."""
        best = np.full(len(value), self.again)
        for family in self.families[:2]:
            after, spread = family.after(value, covariance)
            chance = self.judged.moved(after.reshape(-1, 2), spread).reshape(len(value), -1)
            best = np.maximum(best, chance.max(axis=1) - self.rules.bolt)
        return best

    def decision(self) -> Decision:
        """The answer with the most worth: as it is, after the best move, after reading."""
        rules, standing = self.rules, self.standing
        move, far, worth_move = self._best_move()
        if far and worth_move <= self.now:
            # what readings would tell is of no use where the slots end
            return Decision(answer=Answer.stuck, chance=self.now, far=True)
        counts = [standing.counts[0], standing.counts[-1]]
        worth_read = -1.0
        ends: tuple[int, ...] = (0, 1)
        if min(counts) < rules.most:
            for ends_tried in ((0,), (1,), (0, 1)):
                if any(counts[e] >= rules.most for e in ends_tried):
                    continue
                value, weight, left = self._read(
                    self.value, self.covariance, ends_tried, tuple(counts[e] for e in ends_tried)
                )
                chance = self.judged.now(value, left)
                worth = float(weight @ np.maximum(chance, self._moves(value, left))) - rules.reading * len(ends_tried)
                if worth > worth_read:
                    worth_read, ends = worth, ends_tried
        if worth_read > max(self.now, worth_move):
            return Decision(answer=Answer.read_again, chance=self.now, points=tuple(self.places[e] for e in ends))
        # nobody loosens a bolt to make a section less likely in, whatever comes after that
        if move is not None and worth_move > self.now and move.after > self.now:
            return replace(move, chance=self.now)
        as_it_is = Answer.leave if self.now >= DONE else Answer.stuck
        return Decision(answer=as_it_is, chance=self.now, far=far)

    def _best_move(self) -> tuple[Decision | None, bool, float]:
        """The best move within the slots, whether a better one is beyond them, and its worth."""
        rules, standing = self.rules, self.standing
        best: tuple[float, Decision] | None = None
        far = False
        for family in self.families:
            after, spread = family.after(self.value, self.covariance)
            chance = self.judged.moved(after, spread)
            move = (self.value - after) @ self.bolts.T
            total = move if standing.origin is None else (standing.origin - after) @ self.bolts.T
            held = np.ones(len(after), dtype=bool)
            if rules.travel is not None:
                held = (np.abs(total[:, list(family.ends)]) <= rules.travel + 1e-6).all(axis=1)
            off = np.abs(family.stops - np.array(self.wanted)[list(family.ends)]) / rules.mark
            half = np.abs(family.stops / rules.mark - np.round(family.stops / rules.mark)) > 0.25
            score = chance - 0.002 * off.sum(axis=1) - 0.01 * half.sum(axis=1)
            k = int(np.argmax(np.where(held, score, -1.0)))
            far = far or bool(np.max(score) > np.max(np.where(held, score, -1.0)) + rules.bolt)
            if not held[k]:
                continue
            worth = self._worth_after(after[k], spread, family.ends, float(chance[k]))
            if best is None or worth > best[0]:
                stops = tuple(
                    Stop(end=end, place=self.places[end], reading=float(r) - rules.lead)
                    for end, r in zip(family.ends, family.stops[k], strict=True)
                )
                gone = (float(move[k, 0]) if 0 in family.ends else 0.0, float(move[k, 1]) if 1 in family.ends else 0.0)
                best = (
                    worth,
                    Decision(
                        answer=Answer.move,
                        chance=self.now,
                        stops=stops,
                        value=after[k],
                        move=gone,
                        after=float(chance[k]),
                    ),
                )
        return (best[1], far, best[0]) if best else (None, far, -1.0)

    def _worth_after(self, value: Floats, spread: Floats, ends: tuple[int, ...], chance: float) -> float:
        """What a move is worth: it is read after it, and then left or loosened again."""
        rules = self.rules
        seen_value, weight, left = self._read(value, spread, ends, (0,) * len(ends))
        then = np.maximum(self.judged.moved(seen_value, left), self.again)
        return max(float(weight @ then), chance) - (rules.bolt + rules.reading) * len(ends)
