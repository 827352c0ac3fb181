"""What a budget says to a person: first how to read, then what the tape can prove, then what it can tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from alignment.lengths import INCH, Units, decimal, show, show_exact
from alignment.machine.layout import Layout
from alignment.show.page import Degree, Item, Items, Page, Part, Table, items
from alignment.show.words.opening import opening
from alignment.show.words.phrases import counted, in_list, times, unit_mark
from alignment.train.budget import PROVED, Budget, Promise, Source, SourceKind
from alignment.train.state import Measurand
from alignment.uncertainty import COVERAGE

__all__ = ["budget_page", "promise_name", "source_rows"]

SOURCES: Final = {
    SourceKind.marks: "marks",
    SourceKind.sighting: "placing and sighting",
    SourceKind.tilt: "tilt",
    SourceKind.zero: "tape's zero",
    SourceKind.tilt_mean: "tilt on the average",
}


def budget_page(budget: Budget) -> Page:
    """The whole answer."""
    layout, means = budget.layout, budget.means
    hard = [p for p in budget.promises if not p.proved]
    proves = (
        f"As it is, this tape cannot prove {in_list([promise_name(p) for p in hard], last='or')}."
        if hard
        else "This tape can prove every tolerance of the layout."
    )
    return Page(
        title=f"{layout.name}: {_marks(means.tape.mark, layout)}, each point read {times(means.repeats)}",
        act=_act(hard, budget, layout),
        parts=(
            opening([proves], _act(hard, budget, layout), sends=True),
            Part(heading="Tolerances", blocks=_promises(budget, layout)),
            Part(heading="What can be told", blocks=items(_told(budget, layout))),
            Part(heading="Where the doubt comes from", blocks=(_sources(budget, layout),), degree=Degree.full),
            Part(heading="About these figures", blocks=items(_about()), degree=Degree.full),
        ),
    )


def _act(hard: list[Promise], budget: Budget, layout: Layout) -> str:
    """How to read so that as much as can be is proved."""
    means = budget.means
    if not hard:
        return f"read each point {times(means.repeats)} with {_marks(means.tape.mark, layout)}."
    often = math.inf if any(p.repeats is None for p in hard) else max(p.repeats or 1 for p in hard)
    finer = math.inf if any(p.mark is None for p in hard) else max(p.mark_repeats or 1 for p in hard)
    if often <= finer and often < math.inf:
        return f"read each point {times(int(often))}: that proves every tolerance."
    if finer < math.inf:
        mark = min(p.mark or 0.0 for p in hard)
        return f"take {_marks(mark, layout)} and read each point {times(int(finer))}: that proves every tolerance."
    lost = [promise_name(p) for p in hard if p.repeats is None and p.mark is None and p.apart is None]
    if lost:
        return f"read as finely as you can. No tape of common marks proves {in_list(lost, last='or')} here."
    return "do for each tolerance what is said beside it."


def _marks(mark: float, layout: Layout) -> str:
    return f"{show_exact(mark, layout.units).removesuffix('.0')}{unit_mark(layout.units)} marks"


def promise_name(promise: Promise) -> str:
    """What a tolerance is on, in words."""
    return {Measurand.offset: "the offset", Measurand.square: "squareness", Measurand.step: "the step"}[promise.what]


def _promises(budget: Budget, layout: Layout) -> tuple[Table | Items, ...]:
    units = layout.units
    rows = tuple(
        (
            p.what,
            show(p.tolerance, units),
            decimal(COVERAGE * p.u, units),
            p.where,
            f"{'can' if p.proved else 'cannot'} be proved ({100 * p.chance:.0f} %)",
        )
        for p in budget.promises
    )
    table = Table(
        head=("on", "tolerance", "U", "hardest at", ""),
        rows=rows,
        align="lrrll",
        note=f"{units.plural.capitalize()}. U: the number may be wrong by this much (2 standard uncertainties).",
    )
    ways = [
        Item(words=f"To prove {promise_name(p)}: {_ways(p, layout, budget.means.repeats)}")
        for p in budget.promises
        if not p.proved
    ]
    return (table, Items(items=tuple(ways))) if ways else (table,)


def _ways(p: Promise, layout: Layout, repeats: int) -> str:
    ways = []
    if p.repeats is not None:
        ways.append(f"{counted(p.repeats, 'reading')} at each point")
    if p.mark is not None and p.mark_repeats is not None:
        marks = _marks(p.mark, layout)
        ways.append(marks if p.mark_repeats == repeats else f"{marks} with {counted(p.mark_repeats, 'reading')}")
    if p.apart is not None:
        ways.append(f"points {_rounded_up(p.apart, layout.units)}{unit_mark(layout.units)} apart")
    return f"{', or '.join(ways)}." if ways else "no number of readings and no finer mark does it alone."


def _rounded_up(apart: float, units: Units) -> str:
    """To the next eighth or millimetre that serves: the nearest may be one too few."""
    step = float(INCH) / 8 if units is Units.inch else 1.0
    return show(step * math.ceil(apart / step - 1e-6), units)


def _told(budget: Budget, layout: Layout) -> list[str]:
    said = [f"Smallest skew told from zero: {_both(budget.smallest_skew, layout)} end to end."]
    if math.isinf(budget.smallest_slip):
        said.append("Smallest misread tape noticed: none. A second reading of each point, or a third point, checks it.")
    else:
        said.append(f"Smallest misread tape noticed, 4 times in 5: {_both(budget.smallest_slip, layout)}.")
    return said


def source_rows(sources: Sequence[Source], units: Units) -> tuple[tuple[str, ...], ...]:
    """Rows of a table: source, its u in one reading, and its part of the doubt in offset and skew."""
    return tuple(
        (
            SOURCES[s.kind],
            decimal(s.u, units, places=4 if units is Units.inch else 2),
            f"{100 * s.in_offset:.0f} %",
            f"{100 * s.in_skew:.0f} %",
        )
        for s in sources
    )


def _sources(budget: Budget, layout: Layout) -> Table:
    units = layout.units
    return Table(
        head=("source", "u", "in offset", "in skew"),
        rows=source_rows(budget.sources, units),
        align="lrrr",
        note=f"u: standard uncertainty of one reading, {units.plural}. Then its part of the doubt.",
    )


def _about() -> list[str]:
    return [
        f"Can be proved: a perfect section is proved OK {10 * PROVED:.0f} times in 10.",
        "Repeats at one point meet the same mark again. They help less and less. The figures allow for it.",
        "The tape's zero and the mean of its tilt move all readings alike. They do not touch skews and steps.",
    ]


def _both(length: float, layout: Layout) -> str:
    units = layout.units
    exact = decimal(length, units)
    return f'{show(length, units)}" ({exact})' if units is Units.inch else f"{exact} mm"
