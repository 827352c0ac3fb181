"""What is said to a person: first what to do, then how things stand, then the doubts. Plain text, 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Final

from alignment.cautions import CAUTIONS, LIMITS
from alignment.choices import Aim, Line
from alignment.flags import Flag
from alignment.layout import Layout
from alignment.lengths import Units, decimal, show, show_both
from alignment.moves import Plan, Step, Watch
from alignment.settling import ways_to_settle
from alignment.solution import Solution
from alignment.state import Judged, SectionState, State
from alignment.train import Train
from alignment.uncertainty import SAME, Verdict

__all__ = [
    "WIDTH",
    "by_section",
    "caution_lines",
    "counted",
    "doubted",
    "short",
    "solution_text",
    "step_lines",
    "summary",
    "wrap",
]

WIDTH: Final = 80


def wrap(text: str, first: str = "", rest: str | None = None) -> list[str]:
    """Lines of at most 80 columns; ``first`` stands before the first, ``rest`` (or as many blanks) before others."""
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=first,
        subsequent_indent=" " * len(first) if rest is None else rest,
        break_on_hyphens=False,
        break_long_words=False,
    )


def counted(number: int, one: str) -> str:
    """Number and noun: ``1 section``, ``2 sections``."""
    return f"{number} {one}{'' if number == 1 else 's'}"


def caution_lines() -> list[str]:
    """The cautions, wrapped."""
    return wrap(" ".join((*CAUTIONS, LIMITS)), "  ")


def summary(solution: Solution) -> str:
    """Verdict and size of the job in one line."""
    plan, units = solution.plan, solution.layout.units
    if not plan.steps:
        if plan.missed:
            return f"Verdict: {solution.verdict}. Nothing that may be moved would help."
        sure = solution.verdict.sure
        return f"Verdict: {solution.verdict}. Nothing to move{'' if sure else ', as far as this tape can tell'}."
    sections = len({step.section for step in plan.steps})
    return (
        f"Verdict: {solution.verdict}. Move {counted(plan.bolt_ends, 'bolt end')} on {counted(sections, 'section')}, "
        f"{_moved(plan.total, solution.layout)} {units} altogether."
    )


def _moved(length: float, layout: Layout) -> str:
    """Length of a move, to the notch."""
    return show(abs(length), layout.units, to=layout.moves.notch)


def step_lines(steps: Sequence[Step], layout: Layout) -> list[str]:
    """The moves of one section, in short lines: one bolt end swung about the other, or both ends set."""
    units = layout.units
    if len(steps) == 1:
        (step,) = steps
        return [
            f"loosen {step.loosen}, keep {step.snug} snug; swing {step.loosen} {_way(step, layout)}",
            f"tape at {_stop(step.watch, units)}",
            f"{step.other.point} will then read {show_both(step.other.after, units)}",
        ]
    lines = ["loosen both ends; set entry first, then exit"]
    for step in steps:
        lines += [f"{step.loosen} {_way(step, layout)}", f"  tape at {_stop(step.watch, units)}"]
    return lines


def _way(step: Step, layout: Layout) -> str:
    where = "toward the string" if step.direction == "toward" else "away from the string"
    return f"{_moved(step.move, layout)} {where}"


def _stop(watch: Watch, units: Units) -> str:
    return f"{watch.point} reads {show(watch.before, units)} now: stop at {show_both(watch.after, units)}"


def by_section(steps: Sequence[Step]) -> list[list[Step]]:
    """Steps grouped by section, in their order."""
    found: dict[str, list[Step]] = {}
    for step in steps:
        found.setdefault(step.section, []).append(step)
    return list(found.values())


def solution_text(solution: Solution) -> str:
    """The whole answer as text."""
    layout, plan = solution.layout, solution.plan
    record = solution.survey.record
    told = [f"taken {record['taken']}"] * ("taken" in record) + [f"by {record['by']}"] * ("by" in record)
    lines = wrap(f"{layout.name}, {solution.survey.source}" + (f", {' '.join(told)}" if told else ""))
    lines += [summary(solution), ""]
    lines += _look_first(solution.flags)
    if plan.steps:
        lines += ["BEFORE A BOLT IS TOUCHED", *caution_lines(), ""]
        lines += ["MOVES, in this order", *_moves(solution), ""]
    lines += _missed(plan, layout)
    lines += [_standing(layout, "WHERE EVERYTHING STANDS"), *_table(solution.state, layout), ""]
    if plan.steps:
        touched = {step.section for step in plan.steps}
        lines += [
            f"AFTER THE MOVES: {plan.state.verdict}",
            *_table(plan.state, layout, only=touched),
            "",
        ]
    lines += _doubts(solution)
    return "\n".join(lines).rstrip() + "\n"


def _look_first(flags: Sequence[Flag]) -> list[str]:
    """Flags that may change the moves."""
    harmful = [flag for flag in flags if flag.flag != "lone"]
    if not harmful:
        return []
    return ["LOOK AT THESE READINGS FIRST", *(line for f in harmful for line in wrap(f.message, "  - ")), ""]


def doubted(solution: Solution) -> set[str]:
    """Sections with a reading to take again before they are moved."""
    dropped = {r.section for r in solution.dropped}
    return {f.section for f in solution.flags if f.flag not in ("lone", "line-moved")} - dropped


def _moves(solution: Solution) -> list[str]:
    layout, doubts = solution.layout, doubted(solution)
    groups = by_section(solution.plan.steps)
    width = min(max(len(steps[0].section) for steps in groups), 20)
    lines = []
    for number, steps in enumerate(groups, 1):
        first, *more = step_lines(steps, layout)
        if steps[0].section in doubts:
            first, more = "only if it still reads so when read again (see above):", [first, *more]
        lines += wrap(first, f"{number:>3} {short(steps[0].section, width)}  ")
        lines += [line for text in more for line in wrap(text, " " * (width + 6) + "  " * text.startswith("  "))]
    lines += wrap(
        "Tighten, then read the section's points again before going to the next: bolts creep as they are snugged.",
        "    ",
    )
    return lines


def _missed(plan: Plan, layout: Layout) -> list[str]:
    lines = []
    if plan.missed:
        lines.append("NOT BROUGHT IN")
        for miss in plan.missed:
            by = show_both(miss.by, layout.units)
            lines += wrap(
                f"{miss.where}, {miss.what}: still {by} {layout.units} beyond tolerance ({miss.why}).", "  - "
            )
        lines.append("")
    if plan.beyond_band:
        names = ", ".join(plan.beyond_band)
        lines += wrap(f"Within tolerance but nearer its limit than wanted: {names}.")
        lines.append("")
    return lines


def _standing(layout: Layout, heading: str) -> str:
    t, units = layout.tolerance, layout.units
    limits = f"offset {show(t.offset, units)}, square {show(t.square, units)}"
    return f"{heading} ({units}; tolerance: {limits}; U = 2u)"


def _verdict(judged: Judged) -> str:
    """Verdict, with the probability of being in where the tape leaves it open."""
    sure = judged.verdict.sure
    return str(judged.verdict) if sure else f"{judged.verdict!s:<4} {100 * judged.p_in:3.0f}%"


def _table(state: State, layout: Layout, only: set[str] | None = None) -> list[str]:
    """Sections and joints as a table; deviations as fractions, U as decimals."""
    units = layout.units
    shown = [s for s in state.sections if only is None or s.name in only]
    width = min(max([len(s.name) for s in shown] + [7]), 24)
    head = f"{'section':<{width}} {'entry':>7} {'exit':>7} {'U':>6}  {'offset':<9} {'skew':>7} {'U':>6}  {'square':<9}"
    lines = [head.rstrip()]
    lines += [f"{short(s.name, width)} {_cells(s, units)}".rstrip() for s in shown]
    joints = [j for j in state.joints if only is None or {j.upstream, j.downstream} & only]
    doubtful = [j for j in joints if j.step is None or j.step.verdict is not Verdict.inside]
    if joints and not doubtful:
        lines.append(f"Joints: {'all ' if len(joints) > 1 else ''}{len(joints)} in step.")
    elif joints:
        good = f", the other {len(joints) - len(doubtful)} in" if len(joints) > len(doubtful) else ""
        lines.append(f"Joints (step; tolerance {show(layout.tolerance.step, units)}){good}:")
    for joint in doubtful:
        pair = f"{joint.upstream} / {joint.downstream}"
        if joint.step is None:
            lines.append(f"  {pair}: not measured")
        else:
            step = f"{show(joint.step.value, units, signed=True):>7} {decimal(joint.step.expanded, units):>6}"
            lines.append(f"  {short(pair, 36)} {step}  {_verdict(joint.step)}")
    return lines


def short(text: str, width: int) -> str:
    """Text padded to a width, or cut to it with two dots."""
    """Text cut and padded to a column."""
    return f"{text if len(text) <= width else text[: width - 2] + '..':<{width}}"


def _cells(s: SectionState, units: Units) -> str:
    if s.entry is None or s.exit is None or s.skew is None or s.worse_end is None:
        return f"not measured enough ({counted(s.readings, 'reading')}): read it at two points"
    ends = [f"{show(end.deviation.value, units, signed=True):>7}" for end in (s.entry, s.exit)]
    u = max(s.entry.deviation.expanded, s.exit.deviation.expanded)
    skew = f"{show(s.skew.value, units, signed=True):>7} {decimal(s.skew.expanded, units):>6}"
    return f"{ends[0]} {ends[1]} {decimal(u, units):>6}  {_verdict(s.worse_end):<9} {skew}  {_verdict(s.skew)}"


def _doubts(solution: Solution) -> list[str]:
    """What the readings leave open, said once each."""
    train, plan, layout = solution.train, solution.plan, solution.layout
    said = []
    open_ = [s for s in solution.state.sections if s.measured and not s.verdict.sure]
    if open_:
        said.append(
            f"'?' marks what this tape cannot prove ({counted(len(open_), 'section')}); the percentage is the "
            "probability of being in tolerance."
        )
        ways = ways_to_settle(train, solution.state)
        said += [f"To settle {', '.join(names)}: {way}." for way, names in ways.items()]
    lone = [flag for flag in solution.flags if flag.flag == "lone"]
    if lone:
        points = len({(r.section, r.place) for r in solution.survey.fitted})
        which = (
            f"All {points} points were" if len(lone) == points else f"{counted(len(lone), 'point')} of {points} were"
        )
        said.append(
            f"{which} read once and nothing checks them: a misread tape would go unseen. The cheapest check is one "
            "more reading of each, or a third point on a section."
        )
    if solution.dropped:
        which = "; ".join(f"{r.section}, row {r.row}: {r.text}" for r in solution.dropped)
        said.append(f"Left out of the fit, as told: {which}.")
    said += _references(train)
    if plan.steps and not plan.optimal:
        said.append(_gap(plan, layout))
    if layout.assumed:
        said.append(f"The layout has no [{'] and no ['.join(layout.assumed)}]; defaults stand in.")
    if not layout.joints and len(layout.sections) > 1:
        said.append("The layout has no [[joint]]: steps from one section to the next were not checked.")
    if said:
        said.insert(0, "Positive is too far from the string. Offset is judged at the worse end.")
    return ["DOUBTS", *(line for text in said for line in wrap(text, "  - "))] if said else []


def _references(train: Train) -> list[str]:
    """What deviations are taken from, where it is not a number of the layout and the string."""
    layout, said = train.layout, []
    for name, row in layout.rows.items():
        members = layout.row_sections(name)
        if row.target is None and members:
            held = [s.name for s in members if s.hold]
            from_ = ", ".join(held) if held else members[0].name
            said.append(f"Row {name} has no target in the layout: its deviations are taken from {from_}.")
    if train.line is not Line.string:
        how = "fitted to the sections" if train.line is Line.fitted else "chosen for the easiest plan"
        for string, (shift, slope) in train.string_lines.items():
            span = max(s.end for s in layout.sections)
            over = show(span, layout.units)
            said.append(
                f"String {string}: deviations are taken from a line {how}: {show_both(shift, layout.units)} farther "
                f"at the zero mark and {show_both(slope * span, layout.units)} more over {over} {layout.units}."
            )
    return said


def _gap(plan: Plan, layout: Layout) -> str:
    if plan.aim is Aim.fewest and plan.ends_gap:
        return f"Time ran out before this plan was proved best: {counted(plan.ends_gap, 'bolt end')} fewer may do."
    if plan.movement_gap > SAME:
        by = show(plan.movement_gap, layout.units)
        few = "No plan has fewer bolt ends. " if plan.aim is Aim.fewest else ""
        return f"{few}Time ran out before the movement was proved least: {by} {layout.units} less in all may do."
    return "Time ran out before this plan was proved best."
