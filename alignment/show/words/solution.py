"""What is said of a survey: first what to do, then how things are, then the doubts. One page for every surface."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from alignment.choices import Line
from alignment.lengths import Units, decimal, show
from alignment.machine.layout import Layout
from alignment.show.page import Block, Degree, Item, Items, Page, Part, Table, Text, items
from alignment.show.words import cautions
from alignment.show.words.flags import flag_words
from alignment.show.words.moves import (
    AGAIN,
    IF_THE_STRING_STAYS,
    TIGHTEN,
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
from alignment.show.words.opening import opening
from alignment.show.words.phrases import counted, in_list, verdict_words
from alignment.show.words.solution_doubts import doubts, line_laid
from alignment.show.words.stops import reading_words
from alignment.train.across import Across
from alignment.train.flags.flag import Flag
from alignment.train.solve import Solution, easiest, of_string
from alignment.train.state import SectionState, State
from alignment.uncertainty import COVERAGE, Judged

__all__ = ["across_words", "first_act", "solution_page", "summary"]


def summary(solution: Solution) -> str:
    """Verdict and size of the job, and what is not in the verdict."""
    return " ".join((_verdict(solution), *_besides(solution)))


def _verdict(solution: Solution) -> str:
    return f"Verdict: {solution.state.verdict.printed}. {job_words(solution)}"


def _besides(solution: Solution) -> list[str]:
    """What was not judged, and what the moves do not cure, lest "nothing to move" be taken for all is well."""
    state, layout = solution.state, solution.layout
    said = []
    if state.unmeasured:
        named = ", ".join(state.unmeasured)
        said.append(
            f"NOT JUDGED, since not read at two points: {named} ({len(state.unmeasured)} of {len(state.sections)})."
        )
    left = solution.plan.state
    for across, taper in zip(left.openings, left.tapers, strict=True):
        if not taper.verdict.inside:
            after = "After the moves, as" if solution.plan.steps else "As"
            said.append(
                f"{after} the strings hang, the opening {' / '.join(across.rows)} is {taper.verdict.printed}: "
                f"{_taper(across, taper, layout)}."
            )
    return said


def first_act(solution: Solution) -> str:
    """The first thing to do, in one sentence; empty where there is nothing to do."""
    if string_doubted(solution):
        named = sorted({f.string for f in solution.flags if of_string(f) and f.string})
        return f"check {f'string {in_list(named)}' if named else 'the string'}."
    for flag in _doubted(solution)[:1]:
        return f"read {flag.section}{f', {flag.point}' if flag.point else ''} again."
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
    left_out = "; ".join(f"{r.section}, row {r.row}: {r.text}" for r in solution.dropped)
    besides = [*_besides(solution), *([f"Left out of the fit, as you asked: {left_out}."] if left_out else [])]
    again = _again(solution)
    strings = [flag_words(f, layout) for f in solution.flags if of_string(f)]
    sends = bool(again or strings or plan.steps)
    moves, lines = _moves(solution), tried is not None and len(tried) > 1
    # of one section the first act is the move, and everything fits a glance
    one = len(layout.sections) == 1 and not again and not strings and not lines
    parts = [
        opening([_verdict(solution)], act, sends=sends, after=besides),
        _lines(tried) if tried and lines else Part(blocks=()),
        Part(heading="Check the string first", blocks=items(strings)),
        Part(heading="Read again first", blocks=items(again)),
        *([Part(blocks=(Text(words=f"{TIGHTEN}. {chance_words(plan)}"),))] if one and moves else []),
        Part(heading="Moves, in this order", blocks=moves, degree=Degree.full if one else Degree.first),
        Part(heading="Still out after these moves", blocks=items(missed_words(plan, layout))),
        Part(heading="" if one else "How it is", blocks=(_readings(solution),)),
        Part(heading="Figures", blocks=tuple(_figures(solution.state, layout)), degree=Degree.full),
        Part(
            heading=f"After the moves: {plan.state.verdict.printed}",
            blocks=tuple(_figures(plan.state, layout)) if plan.steps else (),
            degree=Degree.full,
        ),
        Part(heading="Doubts", blocks=_doubts(solution, above=sends), degree=Degree.full),
    ]
    title = f"{layout.name}, {solution.survey.source}" + (f", {', '.join(told)}" if told else "")
    return Page(title=title, parts=tuple(parts), act=act)


def _doubts(solution: Solution, *, above: bool) -> tuple[Block, ...]:
    """What the readings leave open; the cautions with it where they are not above already."""
    listed = items(doubts(solution))
    return (cautions.short(), *listed) if listed and not above else listed


def _again(solution: Solution) -> list[str]:
    """What to read again and why."""
    return [flag_words(f, solution.layout) for f in _doubted(solution)] + read_again_words(solution)


def _doubted(solution: Solution) -> list[Flag]:
    """Flags that ask for another reading; not of what was left out of the fit."""
    gone = {id(r) for r in solution.dropped}
    return [f for f in solution.flags if f.harmful and not of_string(f) and id(f.reading) not in gone]


def _moves(solution: Solution) -> tuple[Items | Text, ...]:
    """The moves in the order of work, and their chance."""
    layout, plan, mark = solution.layout, solution.plan, solution.survey.tape.mark
    if not plan.steps:
        return ()
    told = [
        Item(words=f"{steps[0].section}: {' '.join(step_lines(steps, layout, mark))}")
        for steps in by_section(plan.steps)
    ]
    before = [Text(words=IF_THE_STRING_STAYS)] if string_doubted(solution) else []
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
            f"a line beside it. {' '.join(line_laid(best.train))} What follows is taken from that line."
        )
    table = Table(head=head, rows=tuple(rows), align="lrrrr", note=f"Movement in {units}.")
    return Part(heading="What each line takes", blocks=(table, Text(words=said)))


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
        grows = f"{_capital(_taper(across, taper, layout))}: {taper.verdict.printed}."
        if not across.known:
            said.append(f"{name}: not known. The spacing of the strings was not measured. {grows}")
            continue
        strip = f" Strip {show(layout.strip.width, units)}." if layout.strip.width else ""
        u = max(place.u for place in across.places)
        said.append(
            f"{name}: {show(first.opening, units)} at x = {show(first.x, units)}, {show(last.opening, units)} at x = "
            f"{show(last.x, units)} (U {decimal(COVERAGE * u, units)}). {grows}{strip}"
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
        zone = show(row.minimum_zone, units)
        if zone in ("0", "0.0"):
            said.append(f"Row {row.row}: faces on one straight line, as far as this tape can see.")
        else:
            said.append(f"Row {row.row}: faces within {zone} of one straight line{worth}.")
    return said


def _taper(across: Across, taper: Judged, layout: Layout) -> str:
    units = layout.units
    change = show(abs(across.change), units)
    way = f"{'wider' if across.change >= 0 else 'narrower'} by {change} toward the exit"
    return (
        f"{'as wide at both ends' if change in ('0', '0.0') else way} "
        f"(U {decimal(taper.expanded, units)}, tolerance {show(taper.tolerance, units)})"
    )
