"""What really moved between two surveys of one machine, and what became of the moves that the first asked for."""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from alignment import __version__
from alignment.change.motion import Motion, compare_trains
from alignment.choices import Aim, Line
from alignment.errors import NotEnoughReadingsError
from alignment.machine.layout import Layout
from alignment.machine.log import now, parts
from alignment.machine.survey import Survey
from alignment.train.flags.find import Flag, find_flags
from alignment.train.moves.plan import Plan, plan_moves
from alignment.train.train import Train, fit_train
from alignment.uncertainty import COVERAGE

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Comparison", "Outcome", "PlannedMove", "as_json", "as_tables", "compare", "judge_move"]


class Outcome(enum.StrEnum):
    """What became of one planned move."""

    full = "in full"
    part = "in part"
    over = "too far"
    wrong = "wrong way"
    none = "not done"
    untold = "cannot be told"
    """Done in full and not done at all are both within U, or the section was not measured."""


@dataclass(frozen=True, kw_only=True)
class PlannedMove:
    """A move that the first survey asked for, and what the second one shows. Toward the string positive. [mm]"""

    section: str
    bolt_end: str
    planned: float
    done: float
    u: float
    outcome: Outcome


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """Two surveys of one machine, what moved, and what became of the moves that the first one asked for."""

    layout: Layout
    before: Train
    after: Train
    plan: Plan
    motion: Motion
    moves: tuple[PlannedMove, ...]
    same_string: bool
    flags: tuple[tuple[str, Flag], ...]
    """What to look at in the readings, each with the name of its survey; points that nothing checks are left out."""


def both(log: Survey) -> tuple[Survey, Survey]:
    """As found and as left of a job log."""
    two = parts(log)
    if len(two) == 1:
        raise NotEnoughReadingsError(
            f"{log.source}: there are no moves in it, so there is nothing to compare. Name a second survey."
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
    plan: Plan | None = None,
) -> Comparison:
    """
    Compare two surveys of one machine.

    Parameters
    ----------
    layout : Layout
    before, after : Survey
        In this order; a job log is taken as it stands at its end. Or one job log alone: as found and as left.
    same_string : bool
        Whether the string stayed up between them, so that no shift or slope is taken off. In one log it did.
    line, aim
        How the moves were planned from `before`.
    plan : Plan, optional
        That plan, where there is one already.

    Raises
    ------
    NotEnoughReadingsError
        A survey in which no section was read at two distinct points; one survey alone, with no moves in it.
    """
    if after is None:
        before, after = both(before)
        same_string = True
    trains = [fit_train(layout, survey, line=line) for survey in (now(before), now(after))]
    plan = plan or plan_moves(trains[0], aim=aim)
    motion = compare_trains(*trains, same_string=same_string)
    flags = [(t.survey.source, f) for t in trains for f in find_flags(t) if f.harmful and f.flag != "line-skewed"]
    moves = []
    for i, bolt in np.argwhere(plan.moves != 0):
        change = motion.bolts()[bolt]
        planned, done, u = float(plan.moves[i, bolt]), float(-change.value[i]), float(change.u[i])
        moves.append(
            PlannedMove(
                section=layout.sections[i].name,
                bolt_end=("entry", "exit")[bolt],
                planned=planned,
                done=done,
                u=u,
                outcome=judge_move(planned, done, u),
            )
        )
    return Comparison(
        layout=layout,
        before=trains[0],
        after=trains[1],
        plan=plan,
        motion=motion,
        moves=tuple(moves),
        same_string=same_string,
        flags=tuple(flags),
    )


def judge_move(planned: float, done: float, u: float) -> Outcome:
    """What became of a move, given what was done of it and the standard uncertainty of that. [mm]"""
    expanded = COVERAGE * u
    if math.isnan(done) or math.isnan(u):
        return Outcome.untold
    along = done * math.copysign(1.0, planned)
    full, none = abs(along - abs(planned)) <= expanded, abs(along) <= expanded
    if full or none:
        return Outcome.untold if full and none else Outcome.full if full else Outcome.none
    return Outcome.wrong if along < 0 else Outcome.part if along < abs(planned) else Outcome.over


def as_json(comparison: Comparison) -> dict[str, Any]:
    """The comparison as plain numbers and texts; lengths in the layout's units, away from the string positive."""
    layout, motion = comparison.layout, comparison.motion
    of = layout.units.of

    def known(value: float, u: float) -> dict[str, float | None]:
        return {"value": None, "u": None} if math.isnan(value) else {"value": of(value), "u": of(u)}

    u = np.sqrt(np.diagonal(motion.covariance, axis1=1, axis2=2))
    sections = []
    for i, section in enumerate(layout.sections):
        told = not math.isnan(motion.statistic[i])
        sections.append(
            {
                "section": section.name,
                "row": section.row,
                "status": str(motion.status[i]),
                "statistic": float(motion.statistic[i]) if told else None,
                "offset": known(motion.left[i, 0], u[i, 0]),
                "skew": known(motion.left[i, 1], u[i, 1]),
                "bolt_ends": {
                    end: known(bolt.value[i], bolt.u[i])
                    for end, bolt in zip(("entry", "exit"), motion.bolts(left=True), strict=True)
                },
            }
        )
    strings = [
        {
            "string": s.string,
            "changed": s.changed,
            "still": list(s.still),
            "ends": [
                {"x": of(x), **known(float(value), float(u_))}
                for x, value, u_ in zip(s.places, s.change, s.u, strict=True)
            ],
        }
        for s in motion.strings
    ]
    return {
        "stringtrue": __version__,
        "machine": layout.name,
        "units": str(layout.units),
        "before": {"file": comparison.before.survey.source, **comparison.before.survey.record},
        "after": {"file": comparison.after.survey.source, **comparison.after.survey.record},
        "same_string": comparison.same_string,
        "strings": strings,
        "sections": sections,
        "limit": motion.limit,
        "congruency": {
            "chi2": motion.chi2,
            "dof": motion.dof,
            "limit": motion.chi2_limit,
            "congruent": motion.congruent,
        },
        "moves": [
            {
                "section": move.section,
                "bolt_end": move.bolt_end,
                "planned": of(move.planned),
                "done": known(move.done, move.u),
                "outcome": str(move.outcome),
            }
            for move in comparison.moves
        ],
        "flags": [
            {"file": source, "flag": f.flag, "section": f.section or None, "message": f.message}
            for source, f in comparison.flags
        ],
    }


def as_tables(comparison: Comparison) -> dict[str, pd.DataFrame]:
    """Sections, strings and planned moves as tables; lengths in the layout's units, away from the string positive."""
    import pandas as pd

    data = as_json(comparison)
    for string in data["strings"]:
        string["entry"], string["exit"] = string.pop("ends")
        string["still"] = ", ".join(string["still"])
    return {name: pd.json_normalize(data[name]) for name in ("sections", "strings", "moves") if data[name]}
