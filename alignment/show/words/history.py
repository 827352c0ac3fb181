"""What many surveys say to a person: what drifts and what moved when, then where everything stands, then the doubts."""

from __future__ import annotations

import datetime
import math
from typing import Final

from alignment.change.history import FEWEST_DATES, Drift, History
from alignment.choices import Line
from alignment.lengths import Units, decimal, show
from alignment.show.terminal import headed, short, wrap
from alignment.show.words.comparison import moved_words
from alignment.show.words.phrases import counted, in_list
from alignment.uncertainty import COVERAGE

__all__ = ["drifting", "headlines", "history_text", "per_month", "when"]

LISTED: Final = 12
"""Moves written out, the last ones first."""


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


def history_text(history: History) -> str:
    """The whole history as text."""
    layout, units = history.layout, history.layout.units
    first, last = when(history.taken[0]), when(history.taken[-1])
    span = f"{counted(len(history.taken), 'survey')}, {first} to {last}" if len(history.taken) > 1 else first
    lines = [*wrap(f"{layout.name}: {span}"), *(line for said in headlines(history) for line in wrap(said)), ""]
    drifts = drifting(history)
    if drifts:
        lines.append(f"DRIFT ({units.plural} per month; + is away from the string; U = 2u)")
        width = min(max(len(name) for name, _, _ in drifts), 24)
        lines += [
            f"  {short(name, width)} {what:<6} {per_month(d.per_month, units, signed=True):>8} "
            f"U {per_month(d.expanded, units)}  {counted(d.dates, 'survey')} since {d.since:%Y-%m-%d}"
            for name, what, d in drifts
        ]
        lines.append("")
    if history.events:
        lines.append("WHAT MOVED, AND WHEN (last first)")
        for event in history.events[::-1][:LISTED]:
            dates = f"{when(history.taken[event.before])} to {when(history.taken[event.after])}"
            lines += wrap(f"{dates}: {moved_words(event.motion)}", "  - ")
            for source, flag in event.flags:
                lines += wrap(f"but look at {source}: {flag.message}", "      ")
        if len(history.events) > LISTED:
            lines.append(f"  and at {len(history.events) - LISTED} earlier dates; --json and --table have them all")
        lines.append("")
    lines += [f"WHERE EVERYTHING STOOD ({units.plural}; first and last survey; U = 2u)", *_table(history), ""]
    lines += headed("DOUBTS", _doubts(history))
    return "\n".join(lines).rstrip() + "\n"


def headlines(history: History) -> tuple[str, str]:
    """What drifts and what moved, one sentence each."""
    return _drift_sentence(history), _moved_sentence(history)


def _drift_sentence(history: History) -> str:
    drifts = drifting(history)
    if not drifts:
        if all(drift is None for pair in history.drifts for drift in pair):
            return f"Too few dates to tell a drift: it takes {FEWEST_DATES}."
        return "Nothing drifts that these surveys can show."
    units = history.layout.units
    words = [
        f"{name} {what} {per_month(d.per_month, units, signed=True)} {units} per month" for name, what, d in drifts
    ]
    more = f" and {len(words) - 4} more" if len(words) > 4 else ""
    return f"Drifting: {', '.join(words[:4])}{more}."


def _moved_sentence(history: History) -> str:
    if len(history.taken) < 2:
        return "One survey alone shows nothing that moved."
    if not history.events:
        return "Nothing moved from one survey to the next that this tape can see."
    names = [s.name for s in history.layout.sections]
    moved = [n for i, n in enumerate(names) if any(i in event.motion.moved for event in history.events)]
    told = in_list(moved) if len(moved) <= LISTED else f"{len(moved)} of {len(names)} sections"
    last = history.events[-1]
    dates = f"{when(history.taken[last.before])} and {when(history.taken[last.after])}"
    return f"Moved at some date: {told}; last between {dates}."


def _table(history: History) -> list[str]:
    layout, units = history.layout, history.layout.units
    width = min(max([len(s.name) for s in layout.sections] + [7]), 24)
    lines = [
        f"{'':<{width}} {'offset':>15} {'':>6}  {'skew':>15}",
        f"{'section':<{width}} {'first':>7} {'last':>7} {'U':>6}  {'first':>7} {'last':>7} {'U':>6}  moved",
    ]
    for i, section in enumerate(layout.sections):
        cells = []
        for value, u in ((history.offset, history.offset_u), (history.skew, history.skew_u)):
            ends = [f"{_show(float(v), units):>7}" for v in (value[0, i], value[-1, i])]
            reach = float(u[-1, i])
            cells.append(f"{' '.join(ends)} {'' if math.isnan(reach) else decimal(COVERAGE * reach, units):>6}")
        times = sum(i in event.motion.moved for event in history.events)
        lines.append(
            f"{short(section.name, width)} {'  '.join(cells)}  {counted(times, 'time') if times else ''}".rstrip()
        )
    return lines


def _show(length: float, units: Units) -> str:
    return "-" if math.isnan(length) else show(length, units, signed=True)


def _doubts(history: History) -> list[str]:
    said = []
    if history.line is Line.string:
        said.append(
            "Offset and skew are taken from the string of each day. Where all sections of a row drift alike, the "
            "string or the tape is the likelier cause; --line fitted takes it off."
        )
    if len(history.taken) > 1:
        said.append(
            "What moved is told from one survey to the next, with a string hung anew taken off; over the whole history "
            "a section is named by chance in 1 of 100 such histories. What creeps shows as a drift instead."
        )
    if any(drift is not None for pair in history.drifts for drift in pair):
        said.append(
            "A drift is told where it is significant (1 % over all sections together), over the whole record, or since "
            "the section last moved where one straight line does not explain it."
        )
    if math.isnan(float(history.offset.sum())):
        said.append("'-' marks a section that was not measured enough on that date.")
    return said
