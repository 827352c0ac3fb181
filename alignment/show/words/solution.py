"""What is said to a person: first what to do, then how things stand, then the doubts. Plain text, 80 columns."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from alignment.choices import Aim, Line
from alignment.lengths import Units, decimal, show, show_both
from alignment.machine.layout import Layout
from alignment.show.terminal import caution_lines, headed, short, wrap
from alignment.show.words.flags import flag_words
from alignment.show.words.moves import missed_lines, move_lines, moved
from alignment.show.words.phrases import counted, verdict_words
from alignment.train.across import Across
from alignment.train.flags.flag import FlagKind
from alignment.train.moves.plan import Plan
from alignment.train.settling import ON_THE_LIMIT, ways_to_settle
from alignment.train.solve import Solution, easiest
from alignment.train.state import SectionState, State
from alignment.train.train import Train
from alignment.uncertainty import COVERAGE, SAME, Judged, Verdict

__all__ = [
    "across_words",
    "doubts",
    "lines_text",
    "solution_text",
    "summary",
]


def summary(solution: Solution) -> str:
    """Verdict and size of the job, and what is not in the verdict."""
    state, layout = solution.state, solution.layout
    said = [f"Verdict: {state.verdict.printed}.", _job(solution)]
    if state.unmeasured:
        named = ", ".join(state.unmeasured)
        said.append(
            f"NOT JUDGED, since not read at two points: {named} ({len(state.unmeasured)} of {len(state.sections)})."
        )
    # what the moves do not cure, lest "nothing to move" be taken for all is well
    left = solution.plan.state
    for across, taper in zip(left.openings, left.tapers, strict=True):
        if not taper.verdict.inside:
            after = "After the moves, as" if solution.plan.steps else "As"
            said.append(
                f"{after} the strings hang, the opening {' / '.join(across.rows)} is {taper.verdict.printed}: "
                f"{_taper(across, taper, layout)}."
            )
    return " ".join(said)


def _job(solution: Solution) -> str:
    plan, units = solution.plan, solution.layout.units
    if plan.steps:
        sections = len({step.section for step in plan.steps})
        return (
            f"Move {counted(plan.bolt_ends, 'bolt end')} on {counted(sections, 'section')}, "
            f"{moved(plan.total, solution.layout)} {units} altogether."
        )
    if plan.missed:
        return "Nothing that may be moved would help."
    rest = " of what was read" if solution.state.unmeasured else ""
    return f"Nothing{rest} to move{'' if solution.verdict.sure else ', as far as this tape can tell'}."


def solution_text(solution: Solution) -> str:
    """The whole answer as text."""
    layout, plan = solution.layout, solution.plan
    record = solution.survey.record
    told = [f"{key} {record[key]}" for key in ("taken", "by") if key in record]
    lines = wrap(f"{layout.name}, {solution.survey.source}" + (f", {' '.join(told)}" if told else ""))
    lines += [*wrap(summary(solution)), ""]
    lines += headed(
        "LOOK AT THESE READINGS FIRST", (flag_words(flag, layout) for flag in solution.flags if flag.harmful)
    )
    if plan.steps:
        lines += ["BEFORE A BOLT IS TOUCHED", *caution_lines(), ""]
        lines += [*move_lines(solution), ""]
    lines += missed_lines(plan, layout)
    lines += [_standing(layout, "WHERE EVERYTHING STANDS"), *_LEGEND, *_table(solution.state, layout)]
    lines += [*_across(solution.state, layout), ""]
    if plan.steps:
        touched = {step.section for step in plan.steps}
        lines += [
            f"AFTER THE MOVES: {plan.state.verdict.printed}",
            *_table(plan.state, layout, only=touched),
            *_across(plan.state, layout),
            "",
        ]
    lines += headed("DOUBTS", doubts(solution))
    return "\n".join(lines).rstrip() + "\n"


def lines_text(solutions: Mapping[Line, Solution]) -> str:
    """What each line asks for, side by side, and which is the easiest; empty where only one was tried."""
    if len(solutions) == 1:
        return ""
    best = easiest(solutions)
    layout = best.layout
    lines = [
        f"WHAT EACH LINE ASKS FOR ({layout.units.plural})",
        "line     bolt ends  sections  movement  not brought in",
    ]
    for line, s in solutions.items():
        sections = len({step.section for step in s.plan.steps})
        total = moved(s.plan.total, layout)
        lines.append(f"{line!s:<8} {s.plan.bolt_ends:>9} {sections:>9} {total:>9} {len(s.plan.missed):>15}")
    chosen = next(line for line, s in solutions.items() if s is best)
    if chosen is Line.string:
        lines += wrap("The string as it hangs asks for no more than any other line. What follows is taken from it.")
    else:
        lines += wrap(
            f"The easiest is the {chosen} line: leave the string where it is, and go by the stops below, which allow "
            f"for a line laid beside it. {' '.join(_line_laid(best.train))} What follows is taken from that line."
        )
    return "\n".join([*lines, "", ""])


def _line_laid(train: Train) -> list[str]:
    """Where each line lies beside its string, at the two ends of the train."""
    layout, units, said = train.layout, train.layout.units, []
    for string, (shift, slope) in train.string_lines.items():
        members = [s for s in layout.sections if layout.rows[s.row].string == string]
        if not members:
            continue
        ends = [(x, shift + slope * x) for x in (min(s.start for s in members), max(s.end for s in members))]
        if all(abs(by) < layout.moves.notch / 2 for _, by in ends):
            continue
        places = [
            f"{show_both(abs(by), units)} {units} {'nearer to' if by > 0 else 'farther from'} the faces at "
            f"{show(x, units)}"
            for x, by in ends
        ]
        said.append(f"Beside string {string}: {' and '.join(places)}.")
    return said


def _standing(layout: Layout, heading: str) -> str:
    t, units = layout.tolerance, layout.units
    limits = f"offset {show(t.offset, units)}, square {show(t.square, units)}"
    return f"{heading} ({units.plural}; tolerance: {limits})"


_LEGEND: Final = wrap(
    "Positive: too far from the string. Offset is judged at the worse end. U = 2u: how far off a number may be. '?': "
    "not proved; %: chance of being in.",
    "  ",
)


def _table(state: State, layout: Layout, only: set[str] | None = None) -> list[str]:
    """Sections and joints as a table; deviations as fractions, U as decimals."""
    units = layout.units
    shown = [s for s in state.sections if only is None or s.name in only]
    width = min(max([len(s.name) for s in shown] + [7]), 24)
    head = f"{'section':<{width}} {'entry':>7} {'exit':>7} {'U':>6}  {'offset':<9} {'skew':>7} {'U':>6}  {'square':<9}"
    lines = [head.rstrip()]
    lines += [f"{short(s.name, width)} {_cells(s, units)}".rstrip() for s in shown]
    joints = [j for j in state.joints if only is None or {j.upstream, j.downstream} & only]
    doubtful = [j for j in joints if j.step is None or j.step.verdict is not Verdict.ok]
    if joints and not doubtful:
        lines.append(f"Joints: {'all ' if len(joints) > 1 else ''}{len(joints)} in step.")
    elif joints:
        good = f", the other {len(joints) - len(doubtful)} in step" if len(joints) > len(doubtful) else ""
        lines.append(f"Joints (step; tolerance {show(layout.tolerance.step, units)}){good}:")
    for joint in doubtful:
        pair = f"{joint.upstream} / {joint.downstream}"
        if joint.step is None:
            lines.append(f"  {pair}: not measured")
        else:
            step = f"{show(joint.step.value, units, signed=True):>7} {decimal(joint.step.expanded, units):>6}"
            lines.append(f"  {short(pair, 36)} {step}  {verdict_words(joint.step)}")
    return lines


def _across(state: State, layout: Layout) -> list[str]:
    return [line for text in across_words(state, layout) for line in wrap(text, rest="  ")]


def across_words(state: State, layout: Layout) -> list[str]:
    """Openings between rows, levels of rows and how straight each is, from one end of the machine to the other."""
    units, said = layout.units, []
    for across, taper in zip(state.openings, state.tapers, strict=True):
        first, last = across.places[0], across.places[-1]
        name = f"Opening {' / '.join(across.rows)}"
        grows = f"{_taper(across, taper, layout)}: {taper.verdict.printed}."
        if not across.known:
            said.append(f"{name}: not known, since the spacing of the strings was not measured; {grows}")
            continue
        strip = f" Strip {show(layout.strip.width, units)}." if layout.strip.width else ""
        u = max(place.u for place in across.places)
        said.append(
            f"{name}: {show(first.opening, units)} at x = {show(first.x, units)}, {show(last.opening, units)} at x = "
            f"{show(last.x, units)} (U {decimal(COVERAGE * u, units)}); {grows}{strip}"
        )
    for across in state.levels:
        one, other = across.rows
        change = f"{show(abs(across.change), units)} (U {decimal(COVERAGE * across.change_u, units)})"
        way = "rises" if across.change >= 0 else "falls"
        turned = "" if across.twist is None else f": the frame is twisted {abs(across.twist):.2f} degrees"
        level = (
            f" At {show(across.places[0].x, units)} it is {show(across.places[0].opening, units, signed=True)}."
            if across.known
            else " The level of one against the other is not known: their targets are not numbers of the layout."
        )
        said.append(f"Level: {other} {way} {change} against {one} over {show(across.length, units)}{turned}.{level}")
    for row in state.straightness:
        worth = "no more than reading errors make" if row.u is None else f"U {decimal(COVERAGE * row.u, units)}"
        said.append(f"Row {row.row}: its faces stray {show(row.minimum_zone, units)} from one straight line ({worth}).")
    return said


def _taper(across: Across, taper: Judged, layout: Layout) -> str:
    units = layout.units
    return (
        f"{'wider' if across.change >= 0 else 'narrower'} by {show(abs(across.change), units)} toward the exit "
        f"(U {decimal(taper.expanded, units)}, tolerance {show(taper.tolerance, units)})"
    )


def _cells(s: SectionState, units: Units) -> str:
    if s.entry is None or s.exit is None or s.skew is None or s.worse_end is None:
        return f"not measured enough ({counted(s.readings, 'reading')}): read it at two points"
    ends = [f"{show(end.deviation.value, units, signed=True):>7}" for end in (s.entry, s.exit)]
    u = max(s.entry.deviation.expanded, s.exit.deviation.expanded)
    skew = f"{show(s.skew.value, units, signed=True):>7} {decimal(s.skew.expanded, units):>6}"
    return (
        f"{ends[0]} {ends[1]} {decimal(u, units):>6}  {verdict_words(s.worse_end):<9} {skew}  {verdict_words(s.skew)}"
    )


def doubts(solution: Solution) -> list[str]:
    """What the readings leave open, said once each."""
    train, plan, layout = solution.train, solution.plan, solution.layout
    said = []
    open_ = [s for s in solution.state.sections if s.measured and not s.verdict.sure]
    if open_:
        said.append(
            f"This tape cannot prove how {counted(len(open_), 'section')} {'stands' if len(open_) == 1 else 'stand'} "
            "('?' above)."
        )
        ways = ways_to_settle(train, solution.state)
        said += [
            f"To settle {', '.join(names)}, if it comes out the same again: {way}."
            if way != ON_THE_LIMIT
            else f"{', '.join(names)}: {way}."
            for way, names in ways.items()
        ]
    said += _step_doubts(solution)
    lone = [flag for flag in solution.flags if flag.flag is FlagKind.lone]
    if lone:
        points = len({(r.section, r.place) for r in solution.survey.fitted})
        if len(lone) == points:
            which = f"All {points} points were"
        else:
            which = f"{len(lone)} of {points} points {'was' if len(lone) == 1 else 'were'}"
        said.append(
            f"{which} read once and nothing checks them: a misread tape would go unseen. The cheapest check is one "
            "more reading of each, or a third point on a section."
        )
    said += _closing_doubts(solution)
    grown = [layout.sections[i].name for i in (train.birge > 1).nonzero()[0]]
    if grown:
        said.append(f"U is grown at {', '.join(grown)}: readings there disagree by more than the tape explains.")
    if solution.dropped:
        which = "; ".join(f"{r.section}, row {r.row}: {r.text}" for r in solution.dropped)
        said.append(f"Left out of the fit, as told: {which}.")
    said += _references(train)
    if plan.steps and not plan.optimal:
        said.append(_gap(plan, layout))
    if layout.assumed:
        said.append(f"Not in the layout, so that defaults stand in: {', '.join(layout.assumed)}.")
    if not layout.joints and len(layout.sections) > 1:
        said.append("The layout has no [[joint]]: steps from one section to the next were not checked.")
    return said


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
        said.append(f"Deviations are taken from a line {how}. {' '.join(_line_laid(train))}")
    return said


def _gap(plan: Plan, layout: Layout) -> str:
    if plan.aim is Aim.fewest and plan.ends_gap:
        return f"Time ran out before this plan was proved best: {counted(plan.ends_gap, 'bolt end')} fewer may do."
    if plan.movement_gap > SAME:
        by = show(plan.movement_gap, layout.units)
        few = "No plan has fewer bolt ends. " if plan.aim is Aim.fewest else ""
        return f"{few}Time ran out before the movement was proved least: {by} {layout.units} less in all may do."
    return "Time ran out before this plan was proved best."
