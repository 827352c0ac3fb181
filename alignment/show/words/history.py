"""What many surveys say to a person: what drifts and what moved when, then where everything was, then the doubts."""

from __future__ import annotations

import datetime
import math
from typing import Final

import numpy as np

from alignment.change.history import Drift, History, StringHistory
from alignment.change.motion import Motion
from alignment.change.strings import Status
from alignment.change.trends import FEWEST_DATES, STRING_DATES
from alignment.choices import Line
from alignment.lengths import Units, decimal, show
from alignment.machine.layout import Plane
from alignment.show.page import Degree, Item, Items, Page, Part, Table, Text, items
from alignment.show.words.comparison import doubt_words, doubtful_strings, moved_words
from alignment.show.words.flags import flag_words
from alignment.show.words.opening import opening
from alignment.show.words.phrases import counted, in_list
from alignment.uncertainty import COVERAGE

__all__ = ["drifting", "headlines", "history_page", "per_month", "when"]

LISTED: Final = 12
"""Moves written out, the last ones first."""
SAID: Final = 4
"""Drifts named in one sentence."""


def when(taken: datetime.datetime) -> str:
    """Date as it is printed: with the time of day where one was given."""
    midnight = taken.hour == taken.minute == 0
    return taken.strftime("%Y-%m-%d" if midnight else "%Y-%m-%d %H:%M")


def drifting(history: History) -> list[tuple[str, str, Drift]]:
    """Section, quantity and drift of everything that drifts significantly."""
    return [
        (section.name, what, drift)
        for section, pair in zip(history.layout.sections, history.drifts, strict=True)
        for what, drift in zip(("offset", "skew"), pair, strict=True)
        if drift is not None and drift.significant
    ]


def per_month(length: float, units: Units, *, signed: bool = False) -> str:
    """A drift as a decimal, one place finer than other lengths."""
    return decimal(length, units, signed=signed, places=4 if units is Units.inch else 3)


def history_page(history: History) -> Page:
    """The whole history."""
    layout = history.layout
    first, last = when(history.taken[0]), when(history.taken[-1])
    span = f"{counted(len(history.taken), 'survey')}, {first} to {last}" if len(history.taken) > 1 else first
    return Page(
        title=f"{layout.name}: {span}",
        act=_act(history),
        parts=(
            opening(headlines(history), _act(history), sends=True),
            _drift_part(history),
            _moves_part(history),
            Part(heading="First and last survey", blocks=(_table(history),)),
            Part(heading="Doubts", blocks=items(_doubts(history)), degree=Degree.full),
        ),
    )


def _act(history: History) -> str:
    flagged = [event for event in history.events if event.flags]
    if flagged:
        source, flag = flagged[-1].flags[0]
        return f"check the reading of {flag.section} in {source}. A wrong reading looks like a move."
    drifts = drifting(history)
    if drifts:
        return f"look at the bolts and the base of {in_list(list(dict.fromkeys(name for name, _, _ in drifts)))}."
    if history.events:
        motion = history.events[-1].motion
        some = motion.moved if len(motion.moved) else motion.of(Status.doubtful)
        names = [history.layout.sections[i].name for i in some]
        told = in_list(names) if len(names) <= LISTED else counted(len(names), "section")
        return f"look at the bolts of {told}: the last move was there."
    if len(history.taken) < FEWEST_DATES:
        return f"survey again. A drift takes {FEWEST_DATES} dates."
    return "survey again at the next service."


def headlines(history: History) -> tuple[str, ...]:
    """What drifts and what moved, a sentence or two each."""
    return (*_drift_sentences(history), _moved_sentence(history))


def _drift_sentences(history: History) -> list[str]:
    dates = len(history.taken)
    if dates < FEWEST_DATES:
        return [f"Too early to speak of a drift: {counted(dates, 'date')}, and it takes {FEWEST_DATES}."]
    if all(drift is None for pair in history.drifts for drift in pair):
        return ["No drift can be told: it takes two sections on a string, each on most dates."]
    units = history.layout.units
    said = []
    words = [f"{name} {what} {_rate(d.per_month, units)}" for name, what, d in drifting(history)]
    if words:
        more = f" and {len(words) - SAID} more" if len(words) > SAID else ""
        said.append(f"Drifting: {', '.join(words[:SAID])}{more}.")
    said += [sentence for string in history.strings for sentence in _string_sentences(history, string)]
    return said or ["Nothing drifts by more than these surveys can show."]


def _rate(value: float, units: Units) -> str:
    return f"{per_month(value, units, signed=True)}{' mm' if units is Units.mm else chr(34)} a month"


def _string_sentences(history: History, string: StringHistory) -> list[str]:
    names = [history.layout.sections[i].name for i in string.members]
    name = f"{string.string} (heights)" if string.plane is Plane.height else string.string
    units = history.layout.units
    said = []
    doubtful = sorted(string.trends.doubtful)
    if doubtful:
        said.append(f"One of these drifts, and which cannot be told: {in_list([names[k] for k in doubtful], 'or')}.")
    common = string.trends.common
    if common is not None and common.significant:
        ends = " and ".join(
            f"{_rate(float(value), units)} at the {end}"
            for value, end in zip(common.value, ("entry", "exit"), strict=True)
        )
        said.append(f"All sections on string {name} drift together: {ends}. Check where the string is tied first.")
    return said


def _moved_sentence(history: History) -> str:
    if len(history.taken) < 2:
        return "One survey alone shows no move."
    if not history.events:
        return "Nothing moved from one survey to the next by more than this tape can see."
    names = [s.name for s in history.layout.sections]
    moved = [n for i, n in enumerate(names) if any(i in event.motion.moved for event in history.events)]
    if not moved:
        return "Something moved, and which section cannot be told."
    told = in_list(moved) if len(moved) <= LISTED else f"{len(moved)} of {len(names)} sections"
    last = history.events[-1]
    return f"Moved: {told}. Last between {when(history.taken[last.before])} and {when(history.taken[last.after])}."


def _drift_part(history: History) -> Part:
    units = history.layout.units
    rows = tuple(
        (
            name,
            what,
            per_month(d.per_month, units, signed=True),
            per_month(d.expanded, units),
            counted(d.dates, "survey"),
            f"{d.since:%Y-%m-%d}",
        )
        for name, what, d in drifting(history)
    )
    if not rows:
        return Part(blocks=())
    table = Table(
        head=("section", "", "a month", "U", "from", "since"),
        rows=rows,
        align="llrrll",
        note=f"{units.plural.capitalize()} against the steady sections of the string. Positive: away from it.",
    )
    return Part(heading="Drift", blocks=(table,))


def _moves_part(history: History) -> Part:
    if not history.events:
        return Part(blocks=())
    found = [
        Item(
            words=(
                f"{when(history.taken[event.before])} to {when(history.taken[event.after])}: "
                f"{'. '.join(_moves(event.motion))}."
            ),
            more=tuple(f"But check {source}: {flag_words(flag, history.layout)}" for source, flag in event.flags),
        )
        for event in history.events[::-1][:LISTED]
    ]
    more = len(history.events) - LISTED
    last = (Text(words=f"And at {counted(more, 'earlier date')}: see --json or --table."),) if more > 0 else ()
    return Part(heading="Moves, last first", blocks=(Items(items=tuple(found)), *last))


def _moves(motion: Motion) -> list[str]:
    """What moved between two dates, and what may have."""
    said = [moved_words(motion)] if len(motion.moved) else []
    return said + [doubt_words(motion, string).rstrip(".") for string in doubtful_strings(motion)]


def _table(history: History) -> Table:
    layout, units = history.layout, history.layout.units
    rows = []
    for i, section in enumerate(layout.sections):
        cells = []
        for value, u in zip(history.apart, (history.offset_u, history.skew_u), strict=True):
            reach = float(u[-1, i])
            cells += [_show(float(v), units) for v in (value[0, i], value[-1, i])]
            cells.append("" if math.isnan(reach) else decimal(COVERAGE * reach, units))
        times = sum(i in event.motion.moved for event in history.events)
        rows.append((section.name, *cells, counted(times, "time") if times else ""))
    off = ", without what the strings did between the dates" if history.hung.any() else ""
    return Table(
        head=("section", "offset", "last", "U", "skew", "last", "U", "moved"),
        rows=tuple(rows),
        align="lrrrrrrl",
        note=f"{units.plural.capitalize()}, first and last survey{off}. Positive: away from the string.",
    )


def _show(length: float, units: Units) -> str:
    return "-" if math.isnan(length) else show(length, units, signed=True)


def _doubts(history: History) -> list[str]:
    said = []
    if len(history.taken) > 1:
        said.append(
            "Moves are from one survey to the next, with a string hung anew taken off. With nothing moved, a section "
            "is named by mistake in 1 history of 100 at most. What creeps shows as a drift."
        )
    if len(history.taken) >= FEWEST_DATES:
        said.append(
            "Drifts are against the other sections of the string. With no drift, one is called by mistake in 1 history "
            f"of 100 at most. That all sections of a string drift together takes {STRING_DATES} dates."
        )
    scattered = [s for s in history.strings if s.trends.scatter > 1]
    if scattered:
        names = in_list([s.string for s in scattered])
        said.append(f"String {names}: values scatter more than the tape explains. U is larger for it.")
    if history.line is Line.fitted:
        said.append("Offset and skew are from a line through the sections themselves, each day its own.")
    if np.isnan(history.offset).any():
        said.append("'-' marks a section that was not measured enough on that date.")
    return said
