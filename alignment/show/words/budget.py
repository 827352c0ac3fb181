"""What a budget says to a person: first whether the tape can do the job, then what would, then the sources."""

from __future__ import annotations

import math

from alignment.lengths import Units, decimal, show, show_exact
from alignment.machine.layout import Layout
from alignment.show.terminal import wrap
from alignment.show.words.phrases import counted, in_list
from alignment.train.budget import PROVED, Budget, Promise
from alignment.uncertainty import COVERAGE

__all__ = ["budget_text", "promise_name"]


def budget_text(budget: Budget, layout: Layout) -> str:
    """The whole answer as text, 80 columns."""
    units, means = layout.units, budget.means
    often = "each point read once" if means.repeats == 1 else f"each point read {means.repeats} times"
    lines = wrap(f"{layout.name}: {show_exact(means.tape.mark, units)} {units} marks, {often}.")
    hard = [p for p in budget.promises if not p.proved]
    if not hard:
        lines += wrap("This tape can prove every tolerance of the layout.")
    else:
        lines += wrap(f"This tape cannot prove {in_list([promise_name(p) for p in hard], last='or')}.")
    lines += ["", f"TOLERANCES ({units.plural}; U = 2u; the section or joint where it is hardest)"]
    lines += [line for promise in budget.promises for line in _promise(promise, layout, means.repeats)]
    lines += ["", "WHAT CAN BE TOLD"]
    lines += wrap(f"Smallest skew told from zero: {_both(budget.smallest_skew, layout)} {units} end to end.", "  ")
    if math.isinf(budget.smallest_slip):
        lines += wrap(
            "Smallest misread tape noticed: none. Where nothing checks a reading no slip shows: a second reading of "
            "each point, or a third point, would check it.",
            "  ",
        )
    else:
        slip = _both(budget.smallest_slip, layout)
        lines += wrap(f"Smallest misread tape noticed, in four of five: {slip} {units}.", "  ")
    lines += ["", f"SOURCES (standard uncertainty of one reading, {units}; share of the variance)"]
    lines.append(f"{'':<24} {'u':>7} {'in offset':>10} {'in skew':>8}")
    lines += [
        f"{s.name:<24} {decimal(s.u, layout.units, places=4 if units == 'in' else 2):>7} "
        f"{100 * s.in_offset:>8.0f} % {100 * s.in_skew:>6.0f} %"
        for s in budget.sources
    ]
    lines += ["", "ABOUT THESE FIGURES"]
    lines += wrap(
        f"Can be proved: something dead true comes out OK without a '?' in {100 * PROVED:.0f} surveys of 100. "
        "Repeats at one place meet the same mark again, so they help less and less; the figures allow for it. The "
        "tape's zero moves all readings alike: it does not touch skews and steps.",
        "  ",
    )
    return "\n".join(lines) + "\n"


def _both(length: float, layout: Layout) -> str:
    units = layout.units
    return f"{show(length, units)} ({decimal(length, units)})" if units is Units.inch else decimal(length, units)


def promise_name(promise: Promise) -> str:
    """What a tolerance is on, in words."""
    return {"offset": "the offset", "square": "squareness", "step": "the step"}[promise.what]


def _promise(p: Promise, layout: Layout, repeats: int) -> list[str]:
    units = layout.units
    head = f"{p.what:<7} {show(p.tolerance, units):>5}  U {decimal(COVERAGE * p.u, units)}  {p.where}:"
    chance = f"({100 * p.chance:.0f} %)"
    if p.proved:
        return wrap(f"{head} can be proved {chance}.", "  ")
    ways = []
    if p.repeats is not None:
        ways.append(f"{counted(p.repeats, 'reading')} at each point")
    if p.mark is not None and p.mark_repeats is not None:
        marks = f"{show(p.mark, units)} {units} marks" if units is Units.inch else f"{decimal(p.mark, units)} mm marks"
        ways.append(marks if p.mark_repeats == repeats else f"{marks} with {counted(p.mark_repeats, 'reading')}")
    if p.apart is not None:
        ways.append(f"points {show(p.apart, units)} {units} apart")
    mend = f"What would: {', or '.join(ways)}." if ways else "No number of readings and no finer mark would by itself."
    return [*wrap(f"{head} cannot be proved {chance}.", "  "), *wrap(mend, "           ")]
