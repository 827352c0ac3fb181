"""
Leave a section, read it again, or move it: the three answers, for one section at a time.

Readings are cheap, bolts are dear, a section left out is dearest. What a further reading would be worth is reckoned
from all that it may show: after it the section is left or moved, whichever is then the better.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.machine.layout import Section
from alignment.train.moves.stops import grid, levers
from alignment.train.work.odds import Odds
from alignment.train.work.standing import Standing

__all__ = ["DONE", "Answer", "Decision", "Rules", "Stop", "decide"]

Floats = NDArray[np.float64]
DONE: Final = 0.9
"""From this chance on a section is done."""


class Answer(enum.StrEnum):
    """What is to be done with a section."""

    leave = "leave"
    read = "read"
    move = "move"
    stuck = "stuck"
    """Not likely enough within tolerance, and neither a reading nor a move would help."""


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
    u : float
        Standard uncertainty of one reading. [mm]
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
    u: float
    creep: float
    lead: float
    travel: float | None
    done: float = DONE
    low: float = 0.3
    """At this chance or less no further reading is asked for before a move."""


@dataclass(frozen=True, kw_only=True)
class Stop:
    """One bolt end and where to stop it."""

    end: int
    place: float
    """Of the watched point, from the section's entry end. [mm]"""
    reading: float
    """[mm]"""


@dataclass(frozen=True, kw_only=True)
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


def decide(standing: Standing, odds: Odds, rules: Rules, wanted: tuple[float, float]) -> Decision:
    """
    Choose for one section.

    Parameters
    ----------
    standing : Standing
    odds : Odds
    rules : Rules
    wanted : (float, float)
        Readings wanted at its first and last point. [mm]
    """
    section, places = standing.section, standing.section.points
    unread = tuple(place for place, count in zip(places, standing.counts, strict=True) if not count)
    if standing.doubtful:
        return Decision(answer=Answer.read, chance=math.nan, points=tuple(standing.doubtful))
    if unread or not standing.known.complete:
        return Decision(answer=Answer.read, chance=math.nan, points=unread or places)
    value, covariance = standing.known.mean, standing.known.covariance
    now = float(odds(value[None], covariance)[0])
    if now >= rules.done:
        return Decision(answer=Answer.leave, chance=now)
    best, far = _best_move(standing, odds, rules, wanted, value, covariance)
    least = min(standing.counts)
    if least < rules.most and rules.low < now:
        few = tuple(p for p, count in zip(places, standing.counts, strict=True) if count == least)
        return Decision(answer=Answer.read, chance=now, points=few)
    if best is not None and best.after - rules.bolt * len(best.stops) > now:
        return Decision(
            answer=Answer.move, chance=now, stops=best.stops, value=best.value, move=best.move, after=best.after
        )
    return Decision(answer=Answer.stuck, chance=now, far=far)


@dataclass(frozen=True, kw_only=True)
class _Move:
    stops: tuple[Stop, ...]
    value: Floats
    move: tuple[float, float]
    after: float


def _best_move(
    standing: Standing, odds: Odds, rules: Rules, wanted: tuple[float, float], value: Floats, covariance: Floats
) -> tuple[_Move | None, bool]:
    """The move with the best chance less what its bolts are worth, and whether the slots end before a better one."""
    section = standing.section
    places = (section.points[0], section.points[-1])
    within = odds.tolerance.offset + 1e-6
    tried: list[tuple[tuple[int, ...], Floats, Floats, Floats]] = []
    stops = [grid(w, rules.mark, within) for w in wanted]
    bolts = np.array([_at(section, b) for b in section.bolts])
    for end in (0, 1):
        at_pivot, kept, told, crept = levers(section, end, places[end])
        after = np.outer(np.full(len(stops[end]), at_pivot @ value), kept) + np.outer(stops[end] - wanted[end], told)
        spread = (at_pivot @ covariance @ at_pivot) * np.outer(kept, kept)
        spread = spread + rules.u**2 * np.outer(told, told) + rules.creep**2 * np.outer(crept, crept)
        tried.append(((end,), stops[end][:, None], after, spread))
    turn = np.linalg.inv(np.array([_at(section, place) for place in places]))
    both = np.stack(np.meshgrid(*stops, indexing="ij"), axis=-1).reshape(-1, 2)
    crept_both = [levers(section, end, places[end])[3] for end in (0, 1)]
    spread = rules.u**2 * turn @ turn.T + rules.creep**2 * sum(np.outer(c, c) for c in crept_both)
    tried.append(((0, 1), both, (both - np.array(wanted)) @ turn.T, spread))
    found: tuple[float, _Move] | None = None
    far = False
    for ends, readings, after, spread in tried:
        chance = odds(after, spread)
        move = (value - after) @ bolts.T
        total = move if standing.origin is None else (standing.origin - after) @ bolts.T
        held = np.ones(len(after), dtype=bool)
        if rules.travel is not None:
            held = (np.abs(total[:, list(ends)]) <= rules.travel + 1e-6).all(axis=1)
        off = np.abs(readings - np.array(wanted)[list(ends)]) / rules.mark
        half = np.abs(readings / rules.mark - np.round(readings / rules.mark)) > 0.25
        score = chance - rules.bolt * len(ends) - 1e-3 * (off.sum(axis=1) + half.sum(axis=1))
        far = far or bool((~held).any() and np.max(score) > np.max(np.where(held, score, -1.0)) + rules.bolt)
        k = int(np.argmax(np.where(held, score, -1.0)))
        if held[k] and (found is None or score[k] > found[0]):
            told_stops = tuple(
                Stop(end=end, place=places[end], reading=float(r) - rules.lead)
                for end, r in zip(ends, readings[k], strict=True)
            )
            moved = (float(move[k, 0]) if 0 in ends else 0.0, float(move[k, 1]) if 1 in ends else 0.0)
            found = float(score[k]), _Move(stops=told_stops, value=after[k], move=moved, after=float(chance[k]))
    return (found[1] if found else None), far


def _at(section: Section, place: float) -> Floats:
    """Deviation at a place from those at both ends."""
    share = place / section.length
    return np.array([1 - share, share])
