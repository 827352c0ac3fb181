"""What really moved between two surveys of one machine, and what became of the moves that the first asked for."""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.change.motion import Motion, compare_trains, face_change
from alignment.change.strings import Expected, Stayed, StringChange, recorded
from alignment.choices import Aim, Line
from alignment.errors import NotEnoughReadingsError
from alignment.machine.layout import Layout
from alignment.machine.log import now, parts
from alignment.machine.survey import Survey
from alignment.results import Result
from alignment.train.flags.find import find_flags
from alignment.train.flags.flag import Flag, FlagKind
from alignment.train.moves.plan import planned_moves
from alignment.train.train import Train, fit_train
from alignment.uncertainty import COVERAGE, SAME

__all__ = ["Comparison", "Outcome", "PlannedMove", "compare", "judge_move", "logged_moves", "planned_changes"]

Floats = NDArray[np.float64]
ENDS: Final = ("entry", "exit")
SURE: Final = 2.5758
"""A plan is excluded, and a way called wrong, beyond so many standard uncertainties: 1 % of those that were not."""


class Outcome(enum.StrEnum):
    """What became of one planned move."""

    full = "in full"
    part = "in part"
    over = "too far"
    wrong = "wrong way"
    none = "not done"
    untold = "cannot be told"
    """Done in full and not done at all are both within U, or answers differ, or the section was not measured."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class PlannedMove(Result):
    """A move that the first survey asked for, and what the second one shows. Toward the string positive. [mm]"""

    section: str
    bolt_end: str
    planned: float
    done: float
    u: float
    outcome: Outcome


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Comparison(Result):
    """
    Two surveys of one machine, what moved, and what became of the moves that the first one asked for.

    Attributes
    ----------
    before, after : Train
    logged : bool
        Whether both are parts of one job log.
    source : str
        File that says how things stand now.
    motion : Motion
    moves : tuple of PlannedMove
    flags : tuple of (str, Flag)
        What to look at in the readings, each with the name of its survey; points that nothing checks are left out.
    """

    layout: Layout
    before: Train
    after: Train
    logged: bool
    source: str
    motion: Motion
    moves: tuple[PlannedMove, ...]
    flags: tuple[tuple[str, Flag], ...]


def both(log: Survey) -> tuple[Survey, Survey]:
    """As found and as left of a job log."""
    two = parts(log)
    if len(two) == 1:
        raise NotEnoughReadingsError(
            "there are no moves in it, so there is nothing to compare. Name a second survey.", log.source
        )
    return two[0], two[1]


def compare(
    layout: Layout,
    before: Survey,
    after: Survey | None = None,
    *,
    same_string: bool = False,
    line: Line = Line.string,
    aim: Aim = Aim.fewest,
    planned: Floats | None = None,
) -> Comparison:
    """
    Compare two surveys of one machine.

    Parameters
    ----------
    layout : Layout
    before, after : Survey
        In this order; a job log is taken as it stands at its end. Or one job log alone: as found and as left.
    same_string : bool
        Whether the string stayed up between them, so that no shift or slope is taken off. Where the records of both
        name one string, and in one log, that is tried first and dropped where the readings contradict it.
    line, aim
        How the moves were planned from `before`.
    planned : (n, 2) array, optional
        Those moves of entry and exit bolt end, where they are known already. [mm]

    Returns
    -------
    Comparison
        Lengths in millimetres; away from the string positive.

    Raises
    ------
    NotEnoughReadingsError
        A survey in which no section was read at two distinct points; one survey alone, with no moves in it.

    Examples
    --------
    >>> import alignment
    >>> samples = alignment.sample_folder()
    >>> machine = alignment.read_layout(samples / "machine.toml")
    >>> days = [alignment.read_survey(samples / name, machine) for name in ("before-move.csv", "as-found.csv")]
    >>> alignment.compare(machine, *days).layout.name
    'Liner line, bay 2'
    """
    log = before if after is None else None
    source = (after or before).source
    before, after = both(before) if after is None else (now(before), now(after))
    trains = [fit_train(layout, survey, line=line) for survey in (before, after)]
    if log is None:
        moves, again = planned_moves(trains[0], aim=aim) if planned is None else planned, None
        stayed = recorded(before, after)
    else:
        moves = logged_moves(trains[0], log)
        again = np.isin([s.name for s in layout.sections], [move.section for move in log.moves])
        stayed = Stayed.recorded
    expected = planned_changes(layout, moves)
    motion = compare_trains(
        *trains,
        stayed=Stayed.told if same_string else stayed,
        expected=expected,
        again=again,
        one_tape=log is not None,
    )
    flags = [
        (t.survey.source, f) for t in trains for f in find_flags(t) if f.harmful and f.flag is not FlagKind.line_skewed
    ]
    return Comparison(
        layout=layout,
        before=trains[0],
        after=trains[1],
        logged=log is not None,
        source=source,
        motion=motion,
        moves=tuple(_judged(motion, expected, moves)),
        flags=tuple(flags),
    )


def logged_moves(found: Train, log: Survey) -> Floats:
    """
    How far the bolt ends went by a job log, toward the string positive, (n, 2). [mm]

    Each move turns the face about the other bolt end until the watched point reads the stop. A section with a move
    at whose stop nobody looked has none.
    """
    layout = found.layout
    faces: dict[str, tuple[float, float]] = {}
    blind = {move.section for move in log.moves if move.stop is None}
    start, end = found.reading_at(found.start), found.reading_at(found.start + found.length)
    for move in log.moves:
        i = layout.index[move.section]
        section = layout.sections[i]
        entry, exit_ = faces.get(section.name, (float(start[i]), float(end[i])))
        if move.stop is None:
            continue
        pivot = section.bolts[1 - move.end]
        kept = entry + (exit_ - entry) * pivot / section.length
        slope = (move.stop - kept) / (move.place - pivot)
        faces[section.name] = kept - slope * pivot, kept + slope * (section.length - pivot)
    moves = np.zeros((len(layout.sections), 2))
    for name, (entry, exit_) in faces.items():
        i = layout.index[name]
        section = layout.sections[i]
        ends = np.array([start[i] - entry, end[i] - exit_])
        if name not in blind and not np.isnan(ends).any():
            share = np.array(section.bolts) / section.length
            moves[i] = ends[0] + (ends[1] - ends[0]) * share
    # what is less than rounding is no move
    moves[np.abs(moves) < SAME] = 0.0
    return moves


def planned_changes(layout: Layout, moves: Floats) -> Expected:
    """
    What moves of bolt ends do to offset and skew.

    Parameters
    ----------
    layout : Layout
    moves : (n, 2) array
        Of the entry and exit bolt end of each section, toward the string positive. [mm]

    Returns
    -------
    Expected
        Away from the string positive. Sections that are not to be moved have no covariance.
    """
    bolts = np.array([s.bolts for s in layout.sections])
    length = np.array([s.length for s in layout.sections])
    apart = bolts[:, 1] - bolts[:, 0]
    # what a unit of each bolt end does to offset and skew, away positive
    lever = np.empty((len(length), 2, 2))
    for k, sign in ((0, -1.0), (1, 1.0)):
        turn = sign / apart
        share = (turn * (length / 2 - bolts[:, 1 - k]), turn * length)
        lever[:, :, k] = np.stack(share, axis=1)
    loose = (moves != 0).astype(np.float64)
    return Expected(
        change=-np.einsum("nik,nk->ni", lever, moves),
        covariance=layout.moves.creep**2 * np.einsum("nik,nk,njk->nij", lever, loose, lever),
    )


def _judged(motion: Motion, expected: Expected, moves: Floats) -> list[PlannedMove]:
    layout, found = motion.layout, []
    string_of = {i: string for string in motion.strings for i in string.members}
    shown = motion.bolts()
    for i, bolt in np.argwhere(moves != 0):
        planned, done, u = float(moves[i, bolt]), -float(shown[bolt].value[i]), float(shown[bolt].u[i])
        accounts = _accounts(string_of[i], layout, expected, int(i), int(bolt), planned) if i in string_of else []
        outcome = Outcome.untold if math.isnan(done) and not accounts else _outcome(planned, accounts)
        section = layout.sections[i].name
        found.append(
            PlannedMove(section=section, bolt_end=ENDS[bolt], planned=planned, done=done, u=u, outcome=outcome)
        )
    return found


@dataclass(frozen=True)
class _Account:
    """What one answer makes of one move."""

    done: float
    u: float
    excluded: bool
    """Whether the move cannot have been made as planned by this answer."""
    standing: bool
    """Whether nothing was done to the section by this answer."""


def _accounts(
    string: StringChange, layout: Layout, expected: Expected, i: int, bolt: int, planned: float
) -> list[_Account]:
    k = string.members.index(i)
    section = layout.sections[i]
    share = np.array([section.bolts[bolt] / section.length])
    found = []
    for answer in string.answers:
        if answer.fit is None:
            return []
        change = answer.fit.change[[k]] + (expected.change[[i]] if answer.done else 0.0)
        at = face_change(change, answer.fit.covariance[[k]], share)
        done, u = -float(at.value[0]), float(at.u[0])
        as_planned = answer.done and i not in answer.otherwise
        if math.isnan(done) or math.isnan(u):
            return []
        excluded = not as_planned and abs(done - planned) > SURE * u
        standing = not answer.done and i not in answer.otherwise
        found.append(_Account(done, u, excluded=excluded, standing=standing))
    return found


def _outcome(planned: float, accounts: list[_Account]) -> Outcome:
    """'Not done' or 'wrong way' only where every answer excludes the plan; 'in full' only where every one shows it."""
    if not accounts or len({account.excluded for account in accounts}) > 1:
        return Outcome.untold
    if accounts[0].excluded:
        outcomes = {
            Outcome.none if account.standing else judge_move(planned, account.done, account.u) for account in accounts
        }
        return outcomes.pop() if len(outcomes) == 1 else Outcome.untold
    seen = all(not account.standing and abs(account.done) > COVERAGE * account.u for account in accounts)
    return Outcome.full if seen else Outcome.untold


def judge_move(planned: float, done: float, u: float) -> Outcome:
    """What became of a move, given what was done of it and the standard uncertainty of that. [mm]"""
    expanded = COVERAGE * u
    if math.isnan(done) or math.isnan(u):
        return Outcome.untold
    along = done * math.copysign(1.0, planned)
    full, none = abs(along - abs(planned)) <= expanded, abs(along) <= expanded
    if full or none:
        return Outcome.untold if full and none else Outcome.full if full else Outcome.none
    if along < 0:
        return Outcome.wrong if along < -SURE * u else Outcome.none
    return Outcome.part if along < abs(planned) else Outcome.over
