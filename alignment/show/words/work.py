"""What is said at the machine: the next act in three lines, why, and how far each section has come."""

from __future__ import annotations

import math

from alignment.lengths import Units, show
from alignment.show.page import Degree, Page, Part, Text, items
from alignment.show.words.cautions import short
from alignment.show.words.flags import flag_words
from alignment.show.words.phrases import DIRECTIONS, counted, in_list, on_tape
from alignment.train.work.next_act import Act, Next, SectionWork, State, Why

__all__ = [
    "accepted",
    "act_lines",
    "creep_line",
    "next_page",
    "point_name",
    "reasons",
    "section_line",
    "string_doubts",
    "wanted_at",
]

STATES = {
    State.unread: "not read",
    State.doubtful: "read again",
    State.move: "move",
    State.moved: "read after move",
    State.done: "OK",
    State.kept: "on hold",
    State.stuck: "cannot be made sure",
}
REASONS = {
    Why.first: "",
    Why.moved: "Tightening moves the section.",
    Why.misread: "This reading does not fit the others.",
    Why.which: "It may save a bolt end.",
    Why.unsure: "At the limit: one more reading decides.",
    Why.string_again: "It does not read as before.",
    Why.string: "It shows whether the string stood still.",
}


def point_name(told: Next, place: float) -> str:
    """How a point of the section at hand is called."""
    assert told.section is not None  # noqa: S101  # only an act at a section names points
    return told.section.point_name(place, told.layout.units)


def wanted_at(work: SectionWork, place: float) -> float:
    """Reading wanted at a place; NaN where it is not known. [mm]"""
    share = place / work.section.length
    first, last = work.wanted
    at, run = work.section.points[0] / work.section.length, (work.section.points[-1] - work.section.points[0])
    return first + (last - first) * (share - at) * work.section.length / run


def act_lines(told: Next) -> list[str]:
    """The next act, in at most three lines."""
    if told.act is Act.done:
        return _done(told)
    work = told.work
    assert work is not None and told.section is not None  # noqa: S101, PT018  # every other act is at a section
    name = told.section.name
    if told.act is Act.move:
        return _move(told, work)
    points = in_list([point_name(told, place) for place in told.points], "then")
    wanted = _wanted(told, work)
    if told.act is Act.close:
        return [f"Last: read {name} {points} once more.", REASONS[told.why]]
    again = "" if told.why is Why.first else " again"
    lines = [f"{name}: read {points}{again}.{wanted}"]
    if told.why in (Why.unsure, Why.which):
        lines.append(f"{_percent(work.chance)} likely OK. {REASONS[told.why]}")
    elif REASONS[told.why]:
        lines.append(REASONS[told.why])
    return lines


def string_doubts(told: Next) -> list[str]:
    """What speaks against the string of the section at hand, a sentence or two each."""
    return [flag_words(flag, told.layout) for flag in told.doubts]


def next_page(told: Next) -> Page:
    """The next act, with the short cautions above what sends a person to the machine; how far each section has come."""
    first, *more = act_lines(told)
    doubts = string_doubts(told)
    texts = [Text(words=words) for words in (*more, creep_line(told)) if words]
    return Page(
        title=f"{told.layout.name}, {told.log.source}",
        parts=(
            Part(blocks=() if told.act is Act.done else (short(),)),
            Part(heading="Check the string first", blocks=items(doubts)),
            Part(blocks=(Text(words=first, strong=True), *texts)),
            Part(heading="Sections", blocks=items([section_line(work) for work in told.sections]), degree=Degree.full),
            Part(heading="Why", blocks=items(reasons(told)) if told.work else (), degree=Degree.full),
        ),
    )


def _wanted(told: Next, work: SectionWork) -> str:
    values = {on_tape(wanted_at(work, place), told.log.tape.mark, told.layout.units) for place in told.points}
    return f" Wanted {in_list(sorted(values))}." if not any(math.isnan(w) for w in work.wanted) else ""


def _move(told: Next, work: SectionWork) -> list[str]:
    """Which end, which way, where to stop."""
    decision, mark, units = work.decision, told.log.tape.mark, told.layout.units
    row = told.layout.rows[work.section.row]
    ends = ("entry", "exit")
    stops = [f"{on_tape(s.reading, mark, units)} at {ends[s.end]}" for s in decision.stops]
    ways = [DIRECTIONS[row.direction(decision.move[s.end])] for s in decision.stops]
    if len(decision.stops) == 1:
        stop = decision.stops[0]
        first = f"{work.section.name}: loosen {ends[stop.end]}, pivot on {ends[1 - stop.end]}."
        second = f"Swing {ways[0]}. Stop when the tape reads {stops[0]}. Tighten."
    else:
        first = f"{work.section.name}: loosen both ends. Entry goes {ways[0]}, exit {ways[1]}."
        second = f"Set {in_list(stops)}: alternate until both read so. Tighten."
    third = f"{_percent(decision.chance)} likely OK now, {_percent(decision.after)} after."
    return [first, second, third]


def _done(told: Next) -> list[str]:
    if told.why is Why.string_moved:
        return [
            "The string has moved: its first point reads otherwise now.",
            "Hang it again and begin a new log.",
        ]
    left = [w for w in told.sections if w.state is State.stuck]
    if not left:
        return [f"Done. {counted(len(told.sections), 'section')} OK."]
    names = in_list([w.section.name for w in left])
    return ["Done, as far as this tape can set it.", f"Not sure to be OK: {names}.", "See it whole: stringtrue solve."]


def accepted(told: Next, work: SectionWork) -> list[str]:
    """What is said when a section is finished."""
    name = work.section.name
    if work.state is State.stuck:
        if work.decision.far:
            return [f"{name}: STUCK. The slot is too short. {_percent(work.chance)} likely OK."]
        finer = show(told.layout.tolerance.square, told.layout.units)
        unit = '"' if told.layout.units is Units.inch else " mm"
        return [
            f"{name}: as true as this tape can set it, {_percent(work.chance)} likely OK. Tighten, next.",
            f"To prove {finer}{unit} use a finer rule.",
        ]
    return [f"{name}: OK, {_percent(work.chance)} likely. Tighten, next."]


def reasons(told: Next) -> list[str]:
    """Why this act, with its numbers."""
    work = told.work
    if work is None or not work.standing.known.complete:
        return ["Nothing is known of it yet: read both ends."]
    mark, units = told.log.tape.mark, told.layout.units
    mean, covariance = work.standing.known.mean, work.standing.known.covariance
    parts = []
    for end, k in (("entry", 0), ("exit", 1)):
        place = 0.0 if k == 0 else work.section.length
        u = math.sqrt(float(covariance[k, k]))
        reads = on_tape(wanted_at(work, place) + float(mean[k]), mark, units)
        parts.append(f"{end} reads {reads}, give or take {show(2 * u, units)}")
    counts = counted(sum(work.standing.counts), "reading")
    return [
        f"{work.section.name}: {parts[0]};",
        f"{parts[1]}. {counts} since the last move.",
        f"{_percent(work.chance)} likely within all tolerances.",
    ]


def section_line(work: SectionWork) -> str:
    """One section with its state."""
    chance = "" if math.isnan(work.chance) else f", {_percent(work.chance)} likely OK"
    return f"{work.section.name}: {STATES[work.state]}{chance}"


def creep_line(told: Next) -> str:
    """What tightening has been seen to do; empty where nothing is to be said."""
    creep, units = told.creep, told.layout.units
    lead = creep.lead(told.log.tape.mark)
    if not creep.drifts or not lead:
        return ""
    way = "away from" if creep.mean > 0 else "toward"
    return f"Tightening moves an end {show(abs(creep.mean), units)} {way} the string here. Stops allow for it."


def _percent(chance: float) -> str:
    return f"{100 * chance:.0f}%" if 0.005 <= chance <= 0.995 else "over 99%" if chance > 0.5 else "under 1%"
