"""The main job in one call: a layout and a survey in, flags, verdicts, moves and the state after out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from alignment import __version__
from alignment.choices import Aim, At, Line, LineChoice
from alignment.errors import check_names
from alignment.files.tables import listed
from alignment.machine.layout import Layout
from alignment.machine.log import seen
from alignment.machine.survey import Reading, Survey
from alignment.train.across import Across
from alignment.train.flags.find import find_flags
from alignment.train.flags.flag import Flag
from alignment.train.flags.strays import find_strays, without
from alignment.train.moves.plan import Plan, Watch, plan_moves
from alignment.train.state import EndState, State, judge
from alignment.train.train import Train, fit_train
from alignment.uncertainty import Judged, Verdict

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Solution", "as_json", "as_table", "as_tables", "easiest", "lines_json", "solve", "solve_lines"]


@dataclass(frozen=True, kw_only=True)
class Solution:
    """
    What one survey of one machine comes to.

    `survey` and `flags` are of the readings as they were written; `train` is fitted without the dropped ones.
    """

    layout: Layout
    survey: Survey
    train: Train
    state: State
    flags: tuple[Flag, ...]
    plan: Plan
    dropped: tuple[Reading, ...] = ()
    """Strays that were left out of the fit because the user said so."""

    @property
    def verdict(self) -> Verdict:
        """Of the machine as measured."""
        return self.state.verdict


def solve(
    layout: Layout,
    survey: Survey,
    *,
    at: At = At.now,
    line: Line = Line.string,
    aim: Aim = Aim.fewest,
    drop_strays: bool = False,
    done: Sequence[str] = (),
) -> Solution:
    """
    Fit a survey, judge every section and plan the moves.

    Parameters
    ----------
    layout, survey
        The machine and its readings.
    at : At
        Of a job log: whether how things stand now is judged, or how they stood as found.
    line : Line
        What deviations are taken from.
    aim : Aim
        What makes one plan better than another.
    drop_strays : bool
        Whether readings that the others contradict are left out of the fit. They are kept in `Solution.dropped`.
    done : sequence of str
        Sections that are finished and are not to be touched again.

    Returns
    -------
    Solution

    Raises
    ------
    NotEnoughReadingsError
        No section was read at two distinct points.
    NameUnknownError
        A section in `done` that the layout lacks.
    """
    check_names(done, layout.index, layout.source)
    line, aim, survey = Line(line), Aim(aim), seen(survey, At(at))
    measured = fit_train(layout, survey, line=line)
    flags = find_flags(measured)
    dropped: tuple[Reading, ...] = ()
    if drop_strays:
        # where nothing tells which of several readings is wrong, none is dropped by chance
        dropped = tuple(stray.reading for stray in find_strays(measured) if stray.decided)
        measured = fit_train(layout, without(survey, list(dropped)), line=line)
    plan = plan_moves(measured, aim=aim, done=frozenset(done))
    train = plan.before
    return Solution(
        layout=layout, survey=survey, train=train, state=judge(train), flags=flags, plan=plan, dropped=dropped
    )


def solve_lines(
    layout: Layout,
    survey: Survey,
    choice: LineChoice,
    *,
    at: At = At.now,
    aim: Aim = Aim.fewest,
    drop_strays: bool = False,
    done: Sequence[str] = (),
) -> dict[Line, Solution]:
    """Solve with one line, or with every one so that what each asks for can be seen side by side; see `solve`."""
    lines = list(Line) if choice is LineChoice.all else [Line(choice)]
    return {
        line: solve(layout, survey, at=at, line=line, aim=aim, drop_strays=drop_strays, done=done) for line in lines
    }


def easiest(solutions: Mapping[Line, Solution]) -> Solution:
    """The solution that misses least, then moves fewest bolt ends, then moves them least; the string's on a tie."""
    return min(
        solutions.values(),
        key=lambda s: (round(sum(m.by for m in s.plan.missed), 3), s.plan.bolt_ends, round(s.plan.total, 3)),
    )


def lines_json(solutions: Mapping[Line, Solution]) -> dict[str, Any]:
    """The solution as plain numbers; where lines were compared, what each asks for, and the whole of the easiest."""
    best = easiest(solutions)
    if len(solutions) == 1:
        return as_json(best)
    out = _Lengths(best.layout)
    return {
        "lines": [
            {
                "line": str(line),
                "bolt_ends": s.plan.bolt_ends,
                "total": out(s.plan.total),
                "missed": len(s.plan.missed),
                "verdict": str(s.verdict),
                "after": str(s.plan.state.verdict),
            }
            for line, s in solutions.items()
        ],
        **as_json(best),
    }


def as_json(solution: Solution) -> dict[str, Any]:
    """The solution as plain numbers and texts; lengths in the layout's units, angles in degrees."""
    from alignment.show.json.flags import flags_json

    out = _Lengths(solution.layout)
    plan = solution.plan
    return {
        "stringtrue": __version__,
        "machine": solution.layout.name,
        "units": str(solution.layout.units),
        "survey": {"file": solution.survey.source, **solution.survey.record},
        "line": str(solution.train.line),
        "strings": [
            {"string": name, "shift": out(shift), "slope": slope}
            for name, (shift, slope) in solution.train.string_lines.items()
        ],
        **out.state(solution.state),
        "flags": flags_json(solution.flags, solution.layout),
        "dropped": [
            {"section": r.section, "point": out.point(r), "reading": out(r.value), "text": r.text, "row": r.row}
            for r in solution.dropped
        ],
        "moves": {
            "aim": str(plan.aim),
            "bolt_ends": plan.bolt_ends,
            "total": out(plan.total),
            "optimal": plan.optimal,
            "gap": {"bolt_ends": plan.ends_gap, "total": out(plan.movement_gap)},
            "beyond_band": list(plan.beyond_band),
            "missed": [{"where": m.where, "what": m.what, "by": out(m.by), "why": m.why} for m in plan.missed],
            "steps": [
                {
                    "section": step.section,
                    "loosen": step.loosen,
                    "snug": step.snug or None,
                    "move": out(step.move),
                    "direction": step.direction,
                    "watch": out.watch(step.watch),
                    "other": out.watch(step.other),
                }
                for step in plan.steps
            ],
        },
        "after": out.state(plan.state),
        "verdict": str(solution.verdict),
    }


class _Lengths:
    """Turns millimetres into the units of a layout."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout

    def __call__(self, length: float) -> float:
        return self.layout.units.of(length)

    def judged(self, judged: Judged) -> dict[str, Any]:
        return {
            "value": self(judged.value),
            "u": self(judged.u),
            "verdict": str(judged.verdict),
            "p_in": judged.p_in,
        }

    def end(self, end: EndState) -> dict[str, Any]:
        own = self.judged(end.deviation)
        return {"reading": self(end.reading), "target": self(end.target), "deviation": own.pop("value"), **own}

    def across(self, across: Across) -> dict[str, Any]:
        """Growth from the first place to the last, which is known even where the spacing of the strings is not."""
        return {
            "rows": list(across.rows),
            "over": self(across.length),
            "change": self(across.change),
            "u": self(across.change_u),
            "known": across.known,
        }

    def taper(self, across: Across, judged: Judged) -> dict[str, Any]:
        return {**self.across(across), "verdict": str(judged.verdict), "p_in": judged.p_in}

    def point(self, reading: Reading) -> str:
        section = self.layout.sections[self.layout.index[reading.section]]
        return section.point_name(reading.place, self.layout.units)

    def watch(self, watch: Watch) -> dict[str, Any]:
        return {"point": watch.point, "from": self(watch.before), "to": self(watch.after)}

    def state(self, state: State) -> dict[str, Any]:
        sections = []
        for s in state.sections:
            own: dict[str, Any] = {"section": s.name, "row": s.row, "readings": s.readings}
            if s.offset and s.skew and s.entry and s.exit and s.worse_end:
                offset = self.judged(s.offset)
                offset |= {"verdict": str(s.worse_end.verdict), "p_in": s.worse_end.p_in}
                length = self.layout.sections[self.layout.index[s.name]].length
                angle = math.degrees(math.atan2(s.skew.value, length))
                own |= {
                    "dof": s.dof,
                    "chi2": s.chi2,
                    "offset": offset,
                    "skew": {**self.judged(s.skew), "angle": angle},
                    "ends": {"entry": self.end(s.entry), "exit": self.end(s.exit)},
                }
            else:
                own |= dict.fromkeys(("dof", "chi2", "offset", "skew", "ends"))
            sections.append(own)
        return {
            "sections": sections,
            "joints": [
                {"sections": [j.upstream, j.downstream]}
                | (
                    {
                        "step": self(j.step.value),
                        "u": self(j.step.u),
                        "verdict": str(j.step.verdict),
                        "p_in": j.step.p_in,
                    }
                    if j.step
                    else dict.fromkeys(("step", "u", "verdict", "p_in"))
                )
                for j in state.joints
            ],
            "openings": [
                {"rows": list(across.rows), "x": self(o.x), "opening": self(o.opening), "u": self(o.u)}
                for across in state.openings
                if across.known
                for o in across.places
            ],
            "tapers": [self.taper(o, judged) for o, judged in zip(state.openings, state.tapers, strict=True)],
            "levels": [
                self.across(across)
                | {"twist": across.twist}
                | {"places": [{"x": self(o.x), "higher": self(o.opening), "u": self(o.u)} for o in across.places]}
                for across in state.levels
            ],
            "straightness": [
                {
                    "row": s.row,
                    "minimum_zone": self(s.minimum_zone),
                    "least_squares": self(s.least_squares),
                    "u": None if s.u is None else self(s.u),
                    "over": self(s.over),
                }
                for s in state.straightness
            ],
            "verdict": str(state.verdict),
        }


def as_table(state: State, layout: Layout) -> pd.DataFrame:
    """Sections of a state as a table, lengths in the layout's units."""
    import pandas as pd

    of = layout.units.of
    rows = []
    for s in state.sections:
        row: dict[str, Any] = {"section": s.name, "row": s.row, "readings": s.readings}
        if s.offset and s.skew and s.entry and s.exit and s.worse_end:
            row |= {
                "offset": of(s.offset.value),
                "U offset": of(s.offset.expanded),
                "offset verdict": str(s.worse_end.verdict),
                "skew": of(s.skew.value),
                "U skew": of(s.skew.expanded),
                "skew verdict": str(s.skew.verdict),
                "entry": of(s.entry.deviation.value),
                "exit": of(s.exit.deviation.value),
            }
        rows.append(row)
    return pd.DataFrame(rows).set_index("section")


def as_tables(solution: Solution) -> dict[str, pd.DataFrame]:
    """Sections as found and after the moves, joints, openings, moves and flags; lengths in the layout's units."""
    states = {"sections": solution.state, "after": solution.plan.state}
    sheets = {name: as_table(state, solution.layout) for name, state in states.items()}
    return sheets | listed(as_json(solution), "joints", "openings", "moves.steps", "flags")
