"""What is said of a survey: first what to do, then how things are, then the doubts. One page for every surface."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from alignment.choices import Aim, Line
from alignment.lengths import Units, decimal, show
from alignment.machine.layout import Layout
from alignment.show.page import Degree, Item, Items, Page, Part, Table, Text, items
from alignment.show.words import cautions
from alignment.show.words.flags import flag_words
from alignment.show.words.moves import (
    AGAIN,
    by_section,
    chance_words,
    job_words,
    missed_words,
    move_words,
    percent,
    read_again_words,
    step_lines,
    string_doubted,
)
from alignment.show.words.phrases import counted, in_list, verdict_words
from alignment.show.words.stops import reading_words
from alignment.train.across import Across
from alignment.train.flags.flag import FlagKind
from alignment.train.moves.plan import Plan
from alignment.train.settling import AT_THE_LIMIT, Way, ways_to_settle
from alignment.train.solve import Solution, easiest, of_string
from alignment.train.state import SectionState, State
from alignment.train.train import Train
from alignment.uncertainty import COVERAGE, SAME, Judged

__all__ = ["across_words", "doubts", "first_act", "solution_page", "summary"]


def summary(solution: Solution) -> str:
    """Verdict and size of the job, and what is not in the verdict."""
    state, layout = solution.state, solution.layout
    said = [f"Verdict: {state.verdict.printed}.", job_words(solution)]
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


def first_act(solution: Solution) -> str:
    """The first thing to do, in one sentence; empty where there is nothing to do."""
    if string_doubted(solution):
        named = {f.string for f in solution.flags if of_string(f) and f.string}
        return f"check the string{f' {in_list(sorted(named))}' if named else ''}."
    for again in solution.read_again[:1]:
        both = f" exit and {again.beside} entry" if again.beside else f", {in_list(again.points)}"
        return f"read {again.section}{both} again."
    groups = by_section(solution.plan.steps)
    return move_words(groups[0], solution.layout, solution.survey.tape.mark) if groups else ""


def solution_page(solution: Solution, tried: Mapping[Line, Solution] | None = None) -> Page:
    """
    The whole answer.

    Parameters
    ----------
    solution : Solution
        The one whose moves are told.
    tried : mapping, optional
        Where several lines were tried, all of them, to be shown side by side.
    """
    layout, plan = solution.layout, solution.plan
    record = solution.survey.record
    told = [f"{key} {record[key]}" for key in ("taken", "by") if key in record]
    act = first_act(solution)
    intro = [Text(words=summary(solution), strong=True), *([Text(words=f"First: {act}")] if act else [])]
    if solution.dropped:
        which = "; ".join(f"{r.section}, row {r.row}: {r.text}" for r in solution.dropped)
        intro.append(Text(words=f"Left out of the fit, as you asked: {which}."))
    again = _again(solution)
    strings = [flag_words(f, layout) for f in solution.flags if of_string(f)]
    to_machine = bool(again or strings or plan.steps)
    parts = [
        Part(blocks=tuple(intro)),
        _lines(tried) if tried and len(tried) > 1 else Part(blocks=()),
        Part(heading="Before you go to the machine", blocks=(cautions.short(),) if to_machine else ()),
        Part(heading="Check the string first", blocks=items(strings)),
        Part(heading="Read again first", blocks=items(again)),
        Part(heading="Moves, in this order", blocks=_moves(solution)),
        Part(heading="Still out after these moves", blocks=items(missed_words(plan, layout))),
        Part(heading="How it is", blocks=(_readings(solution),)),
        Part(heading="Figures", blocks=tuple(_figures(solution.state, layout)), degree=Degree.full),
        Part(
            heading=f"After the moves: {plan.state.verdict.printed}",
            blocks=tuple(_figures(plan.state, layout)) if plan.steps else (),
            degree=Degree.full,
        ),
        Part(heading="Doubts", blocks=items(doubts(solution)), degree=Degree.full),
    ]
    title = f"{layout.name}, {solution.survey.source}" + (f", {', '.join(told)}" if told else "")
    return Page(title=title, parts=tuple(parts), act=act)


def _again(solution: Solution) -> list[str]:
    """What to read again and why; not what was left out of the fit."""
    gone = {id(r) for r in solution.dropped}
    flags = [f for f in solution.flags if f.harmful and not of_string(f) and id(f.reading) not in gone]
    return [flag_words(f, solution.layout) for f in flags] + read_again_words(solution)


def _moves(solution: Solution) -> tuple[Items | Text, ...]:
    """The moves in the order of work, and their chance."""
    layout, plan, mark = solution.layout, solution.plan, solution.survey.tape.mark
    if not plan.steps:
        return ()
    told = [
        Item(words=f"{steps[0].section}: {' '.join(step_lines(steps, layout, mark))}")
        for steps in by_section(plan.steps)
    ]
    before = (
        [Text(words="Check the string first. These moves are right only if the string stays as it is.")]
        if string_doubted(solution)
        else []
    )
    return (*before, Items(items=tuple(told), numbered=True), Text(words=f"{AGAIN} {chance_words(plan)}"))


def _lines(tried: Mapping[Line, Solution]) -> Part:
    """What each line takes, side by side, and which is the easiest."""
    best = easiest(tried)
    rows = [
        (
            str(line),
            str(s.plan.bolt_ends),
            str(len({step.section for step in s.plan.steps})),
            show(s.plan.total, s.layout.units),
            str(len(s.plan.missed)),
        )
        for line, s in tried.items()
    ]
    head = ("line", "bolt ends", "sections", "movement", "still out")
    units = best.layout.units.plural
    chosen = next(line for line, s in tried.items() if s is best)
    if chosen is Line.string:
        said = "The string as it hangs needs no more than any other line. What follows is taken from it."
    else:
        said = (
            f"The easiest is the {chosen} line. Leave the string as it is and go by the stops below: they allow for "
            f"a line beside it. {' '.join(_line_laid(best.train))} What follows is taken from that line."
        )
    table = Table(head=head, rows=tuple(rows), align="lrrrr", note=f"Movement in {units}.")
    return Part(heading="What each line takes", blocks=(table, Text(words=said)))


def _line_laid(train: Train) -> list[str]:
    """How far each line is from its string, at the two ends of the train."""
    layout, units, said = train.layout, train.layout.units, []
    for string, (shift, slope) in train.string_lines.items():
        members = [s for s in layout.sections if layout.rows[s.row].string == string]
        if not members:
            continue
        ends = [(x, shift + slope * x) for x in (min(s.start for s in members), max(s.end for s in members))]
        if all(abs(by) < train.survey.tape.mark / 8 for _, by in ends):
            continue
        places = [
            f"{show(abs(by), units)} {units} {'nearer to' if by > 0 else 'farther from'} the faces at {show(x, units)}"
            for x, by in ends
        ]
        said.append(f"Beside string {string}: {' and '.join(places)}.")
    return said


def _readings(solution: Solution) -> Table:
    """What was read at the outer points of each section, what is wanted there, verdict and chance."""
    layout, train, units = solution.layout, solution.train, solution.layout.units
    mark = solution.survey.tape.mark
    read: dict[str, dict[float, list[float]]] = {}
    for reading in train.survey.fitted:
        read.setdefault(reading.section, {}).setdefault(reading.place, []).append(reading.value)
    rows = []
    for i, (section, state) in enumerate(zip(layout.sections, solution.state.sections, strict=True)):
        places = sorted(read.get(section.name, {}))
        outer = [places[0], places[-1]] if len(places) > 1 else places
        told = [reading_words(float(np.mean(read[section.name][p])), mark, units) for p in outer] + ["", ""]
        wanted = [reading_words(float(train.target_at(section.start + p)[i]), mark, units) for p in outer]
        if not state.measured:
            rows.append((section.name, *told[:2], " ".join(dict.fromkeys(wanted)), "not measured enough", ""))
            continue
        rows.append(
            (
                section.name,
                *told[:2],
                ", ".join(dict.fromkeys(wanted)),
                state.verdict.printed,
                "" if state.chance is None else percent(state.chance),
            )
        )
    return Table(
        head=("section", "entry", "exit", "wanted", "verdict", "chance of OK"),
        rows=tuple(rows),
        align="lrrrlr",
    )


def _figures(state: State, layout: Layout) -> list[Table | Items]:
    """Sections, joints, openings and rows with what is known of them."""
    units, t = layout.units, layout.tolerance
    limits = f"offset {show(t.offset, units)}, square {show(t.square, units)}"
    note = (
        f"{_capital(units.plural)}. Tolerance: {limits}. Positive: too far from the string. Offset is judged at the "
        "worse end. U: the number may be wrong by this much (2 standard uncertainties). ?: not proved; %: chance of OK."
    )
    head = ("section", "entry", "exit", "U", "offset", "skew", "U", "square")
    rows = tuple((s.name, *_cells(s, units)) for s in state.sections)
    blocks: list[Table | Items] = [Table(head=head, rows=rows, align="lrrrlrrl", note=note)]
    if state.joints:
        blocks.append(
            Table(
                head=("joint", "step", "U", "verdict"),
                rows=tuple(
                    (f"{j.upstream} / {j.downstream}", "not measured", "", "")
                    if j.step is None
                    else (
                        f"{j.upstream} / {j.downstream}",
                        show(j.step.value, units, signed=True),
                        decimal(j.step.expanded, units),
                        verdict_words(j.step),
                    )
                    for j in state.joints
                ),
                align="lrrl",
                note=f"Tolerance of steps: {show(t.step, units)}.",
            )
        )
    return [*blocks, *items(across_words(state, layout))]  # type: ignore[list-item]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _cells(s: SectionState, units: Units) -> tuple[str, ...]:
    if s.entry is None or s.exit is None or s.skew is None or s.worse_end is None:
        return ("not measured", "enough", "", f"({counted(s.readings, 'reading')})", "", "", "")
    ends = [show(end.deviation.value, units, signed=True) for end in (s.entry, s.exit)]
    u = max(s.entry.deviation.expanded, s.exit.deviation.expanded)
    return (
        *ends,
        decimal(u, units),
        verdict_words(s.worse_end),
        show(s.skew.value, units, signed=True),
        decimal(s.skew.expanded, units),
        verdict_words(s.skew),
    )


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
        worth = "; reading error alone can do that" if row.u is None else f" (U {decimal(COVERAGE * row.u, units)})"
        said.append(f"Row {row.row}: faces within {show(row.minimum_zone, units)} of one straight line{worth}.")
    return said


def _taper(across: Across, taper: Judged, layout: Layout) -> str:
    units = layout.units
    return (
        f"{'wider' if across.change >= 0 else 'narrower'} by {show(abs(across.change), units)} toward the exit "
        f"(U {decimal(taper.expanded, units)}, tolerance {show(taper.tolerance, units)})"
    )


def doubts(solution: Solution) -> list[str]:
    """What the readings leave open, said once each."""
    train, plan, layout = solution.train, solution.plan, solution.layout
    said = []
    open_ = [s for s in solution.state.sections if s.measured and not s.verdict.sure]
    if open_:
        said.append(f"This tape cannot prove {counted(len(open_), 'section')} ('?' above).")
        for way, names in ways_to_settle(train, solution.state).items():
            said.append(_settling(way, names, layout))
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
        return f"{which}: at the limit. Read it 3 times with a finer rule before deciding."
    if way.mark is not None:
        mark = show(way.mark, units) if units is Units.inch else decimal(way.mark, units, places=1)
        often = "one reading" if way.repeats == 1 else f"{way.repeats} readings"
        return f"{which}: {often} of each end with {mark} {units} marks should settle it."
    if way.repeats == SECOND:
        return f"{which}: a second reading of each end should settle it."
    return f"{which}: {way.repeats} readings of each end should settle it."


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
        said.append(f"Deviations are taken from a line {how}. {' '.join(_line_laid(train))}")
    return said


def _gap(plan: Plan, layout: Layout) -> str:
    if plan.aim is Aim.fewest and plan.ends_gap:
        return f"Time ran out before this line was proved best: {counted(plan.ends_gap, 'bolt end')} fewer may do."
    if plan.movement_gap > SAME:
        few = "No line needs fewer bolt ends. " if plan.aim is Aim.fewest else ""
        by = show(plan.movement_gap, layout.units)
        return f"{few}Time ran out before the movement was proved least: {by} {layout.units} less in all may do."
    return "Time ran out before this line was proved best."
