"""The main answer as plain numbers and words, for other programs; lengths in the layout's units, angles in degrees."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from alignment import __version__
from alignment.choices import Line
from alignment.machine.layout import Layout
from alignment.machine.survey import Reading
from alignment.show.json.flags import flags_json
from alignment.show.json.lengths import Lengths
from alignment.show.words.cautions import SHORT
from alignment.show.words.flags import flag_words
from alignment.show.words.moves import read_again_words
from alignment.show.words.stops import stop_words
from alignment.train.across import Across
from alignment.train.moves.answers import Why
from alignment.train.moves.plan import Other, Step
from alignment.train.solve import Solution, easiest
from alignment.train.state import EndState, State
from alignment.uncertainty import Judged

__all__ = ["as_json", "lines_json", "square_json"]


def lines_json(solutions: Mapping[Line, Solution]) -> dict[str, Any]:
    """The solution as plain numbers; where lines were compared, what each asks for, and the whole of the easiest."""
    best = easiest(solutions)
    if len(solutions) == 1:
        return as_json(best)
    out = _Shown(best.layout)
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
    out = _Shown(solution.layout)
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
        "cautions": list(SHORT),
        "read_again": _read_again(solution),
        "moves": {
            "aim": str(plan.aim),
            "bolt_ends": plan.bolt_ends,
            "total": out(plan.total),
            "optimal": plan.optimal,
            "gap": {"bolt_ends": plan.ends_gap, "total": out(plan.movement_gap)},
            "chance": plan.chance,
            "weakest": plan.weakest and {"section": plan.weakest.section, "chance": plan.weakest.chance},
            "stuck": list(plan.stuck),
            "missed": [
                {"where": list(m.names), "what": str(m.what), "by": out(m.by), "why": str(m.cause)} for m in plan.missed
            ],
            "steps": [out.step(step, solution.survey.tape.mark) for step in plan.steps],
        },
        "after": out.state(plan.state),
        "verdict": str(solution.verdict),
    }


def _read_again(solution: Solution) -> list[dict[str, Any]]:
    said = iter(read_again_words(solution))
    flagged = {f.section: flag_words(f, solution.layout) for f in reversed(solution.flags) if f.harmful and f.section}
    flagged |= {
        f.beside: flag_words(f, solution.layout)
        for f in solution.flags
        if f.harmful and f.beside and f.beside not in flagged
    }
    return [
        {
            "section": again.section,
            "points": list(again.points),
            "beside": again.beside or None,
            "reason": str(again.why),
            "why": flagged.get(again.section, "") if again.why is Why.flagged else next(said),
        }
        for again in solution.read_again
    ]


def square_json(solution: Solution) -> dict[str, Any]:
    """The answer for one section from two readings, in the form of `as_json` as far as it goes."""
    whole = as_json(solution)
    (section,) = whole["sections"]
    (after,) = whole["after"]["sections"]
    kept = {key: whole[key] for key in ("stringtrue", "units", "cautions", "read_again", "moves")}
    judged = {key: section[key] for key in ("chance", "offset", "skew", "ends")}
    if solution.layout.rows[solution.layout.sections[0].row].target is None:
        judged |= {"offset": None, "ends": None}
    left = {key: after[key] if judged[key] is not None else None for key in ("chance", "offset", "skew")}
    return kept | judged | {"after": left, "verdict": str(solution.verdict)}


class _Shown:
    """Turns parts of an answer into plain numbers."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.of = Lengths(layout.units)

    def __call__(self, length: float) -> float:
        return self.of(length)

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

    def step(self, step: Step, mark: float) -> dict[str, Any]:
        watch = step.watch
        return {
            "section": step.section,
            "loosen": step.loosen,
            "pivot": step.pivot or None,
            "move": self(step.move),
            "direction": str(step.direction),
            "watch": {
                "point": watch.point,
                "from": self(watch.before),
                "to": self(watch.stop),
                "target": self(watch.target),
                "words": stop_words(watch.stop, mark, self.layout.units),
            },
            "other": self.other(step.other),
        }

    def other(self, other: Other) -> dict[str, Any]:
        return {"point": other.point, "from": self(other.before), "to": self(other.after)}

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
                    "grown": s.grown,
                    "chance": s.chance,
                    "offset": offset,
                    "skew": {**self.judged(s.skew), "angle": angle},
                    "ends": {"entry": self.end(s.entry), "exit": self.end(s.exit)},
                }
            else:
                own |= dict.fromkeys(("dof", "chi2", "grown", "chance", "offset", "skew", "ends"))
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
