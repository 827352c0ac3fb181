"""What the readings of a survey leave open, and what would settle it."""

from __future__ import annotations

from typing import Final

from alignment.choices import Aim, Line
from alignment.lengths import Units, decimal, show
from alignment.machine.layout import Layout
from alignment.show.words.phrases import counted, in_list, unit_mark
from alignment.train.flags.flag import FlagKind
from alignment.train.moves.plan import Plan
from alignment.train.settling import AT_THE_LIMIT, Way, ways_to_settle
from alignment.train.solve import Solution
from alignment.train.train import Train
from alignment.uncertainty import SAME

__all__ = ["doubts", "line_laid"]


def doubts(solution: Solution) -> list[str]:
    """What the readings leave open, said once each."""
    train, plan, layout = solution.train, solution.plan, solution.layout
    said = [_settling(way, names, layout) for way, names in ways_to_settle(train, solution.state).items()]
    if plan.stuck:
        one = len(plan.stuck) == 1
        said.append(
            f"{in_list(plan.stuck)}: neither another reading nor a move would help with this tape. "
            f"{'It needs' if one else 'They need'} a finer mark, or wider tolerances."
        )
    said += _step_doubts(solution)
    lone = [flag for flag in solution.flags if flag.flag is FlagKind.lone]
    if lone:
        points = len({(r.section, r.place) for r in solution.survey.fitted})
        if len(lone) == points:
            which = f"All {points} points were"
        else:
            which = f"{len(lone)} of {points} points {'was' if len(lone) == 1 else 'were'}"
        said.append(
            f"{which} read once and nothing checks them: a wrong reading would not show. The cheapest check is one "
            "more reading of each, or a third point on a section."
        )
    said += _closing_doubts(solution)
    grown = [layout.sections[i].name for i in (train.birge > 1).nonzero()[0]]
    if grown:
        said.append(f"U is grown at {', '.join(grown)}: readings there disagree by more than the tape explains.")
    said += _references(train)
    if plan.steps and not plan.optimal:
        said.append(_gap(plan, layout))
    if layout.assumed:
        said.append(f"Not in the layout, so defaults are used: {', '.join(layout.assumed)}.")
    if not layout.joints and len(layout.sections) > 1:
        said.append("The layout has no [[joint]]: steps from one section to the next were not checked.")
    return said


def _settling(way: Way, names: list[str], layout: Layout) -> str:
    which, units = in_list(names), layout.units
    if way == AT_THE_LIMIT:
        it = "it" if len(names) == 1 else "them"
        return f"{which}: at the limit. Read {it} 3 times with a finer rule before deciding."
    often = {1: "One reading", SECOND: "A second reading"}.get(way.repeats, f"{way.repeats} readings")
    marks = ""
    if way.mark is not None:
        often = f"{way.repeats} readings" if way.repeats > 1 else often
        mark = show(way.mark, units) if units is Units.inch else decimal(way.mark, units, places=1)
        marks = f" with {mark}{unit_mark(units)} marks"
    it = "it" if len(names) == 1 else "them"
    return f"Not proved with this tape: {which}. {often} of each end{marks} should settle {it}."


SECOND: Final = 2


def _step_doubts(solution: Solution) -> list[str]:
    """Steps that were not used, and how to settle those that are not sure."""
    train, said = solution.train, []
    used = {(s.upstream, s.downstream) for s in train.adjusted.steps}
    for step in solution.survey.steps:
        pair = step.upstream, step.downstream
        if pair not in used:
            index = solution.layout.index
            bad = " and ".join(name for name in pair if not train.measured[index[name]])
            said.append(f"The step read at {' / '.join(pair)} is not used: {bad} not measured by tape.")
    loose = [j for j in solution.state.joints if j.step and not j.step.verdict.sure]
    for joints, way in (
        ([j for j in loose if (j.upstream, j.downstream) not in used], "measure it with straightedge and feeler"),
        ([j for j in loose if (j.upstream, j.downstream) in used], "measure it again, several times"),
    ):
        if joints:
            which = ", ".join(f"{j.upstream} / {j.downstream}" for j in joints)
            said.append(f"To settle the step at {which}: {way}.")
    return said


def _closing_doubts(solution: Solution) -> list[str]:
    survey = solution.survey
    opened = {(r.section, r.place) for r in survey.fitted}
    alone = [r for r in survey.readings if r.closing and (r.section, r.place) not in opened]
    which = "; ".join(f"{r.section}, row {r.row}: {r.text}" for r in alone)
    return [f"Closing readings with no opening one at their point check nothing: {which}."] if alone else []


def _references(train: Train) -> list[str]:
    """What deviations are taken from, where it is not a number of the layout and the string."""
    layout, said = train.layout, []
    for name, from_ in train.datum.references.items():
        said.append(f"Row {name} has no target in the layout: its deviations are taken from {', '.join(from_)}.")
    if train.line is not Line.string:
        rows = [layout.rows[s.row] for s in layout.sections]
        alone = {r.string for r, k, m in zip(rows, train.datum.shift, train.measured, strict=True) if m and k < 0}
        said += [f"String {name} is taken as it hangs: a line needs two measured sections." for name in sorted(alone)]
        how = "fitted to the sections" if train.line is Line.fitted else "chosen for the easiest plan"
        said.append(f"Deviations are taken from a line {how}. {' '.join(line_laid(train))}")
    return said


def _gap(plan: Plan, layout: Layout) -> str:
    if plan.aim is Aim.fewest and plan.ends_gap:
        return f"Time ran out before this line was proved best: {counted(plan.ends_gap, 'bolt end')} fewer may do."
    if plan.movement_gap > SAME:
        few = "No line needs fewer bolt ends. " if plan.aim is Aim.fewest else ""
        by = show(plan.movement_gap, layout.units)
        return (
            f"{few}Time ran out before the movement was proved least: {by}{unit_mark(layout.units)} less in all may do."
        )
    return "Time ran out before this line was proved best."


def line_laid(train: Train) -> list[str]:
    """How far each line is from its string, at the two ends of the train."""
    layout, units, said = train.layout, train.layout.units, []
    for string, (shift, slope) in train.string_lines.items():
        members = [s for s in layout.sections if layout.rows[s.row].string == string]
        if not members:
            continue
        ends = [(x, shift + slope * x) for x in (min(s.start for s in members), max(s.end for s in members))]
        if all(abs(by) < train.survey.tape.mark / 8 for _, by in ends):
            continue
        mark = unit_mark(units)
        ways = [f"{show(abs(by), units)}{mark} {'nearer to' if by > 0 else 'farther from'} the faces" for _, by in ends]
        seen = [abs(by) >= train.survey.tape.mark / 8 for _, by in ends]
        places = [
            f"{way if told else 'on the string'} at {show(x, units)}"
            for (x, _), way, told in zip(ends, ways, seen, strict=True)
        ]
        said.append(f"Beside string {string}: {' and '.join(places)}.")
    return said
