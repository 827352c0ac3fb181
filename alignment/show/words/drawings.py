"""What is said on pictures of a budget, of many surveys and of a panel beside what is drawn."""

from __future__ import annotations

from typing import Final

from alignment.change.history import History
from alignment.lengths import Units, decimal, show, show_exact
from alignment.panel.found import Curve, PanelResult
from alignment.show.words.panel import limit_words
from alignment.show.words.panel_figures import toward_words
from alignment.show.words.phrases import counted, unit_mark
from alignment.train.budget import PROVED, Budget

__all__ = [
    "NO_SWEEP", "PROVED_SHARE", "READINGS", "SHADED", "TOLERANCE_LINE", "asked_words", "bow_words", "budget_title",
    "from_lead_words", "history_key", "panel_key", "promise_words", "seen_words", "sweep_words",
]  # fmt: skip

READINGS: Final = "readings at each point"
PROVED_SHARE: Final = "U as a share of the tolerance"
TOLERANCE_LINE: Final = "Line: U = tolerance.\nAbove it nothing\ncan be proved."
SHADED: Final = f"Shaded: a perfect\nsection is proved OK\n{10 * PROVED:.0f} times in 10."
NO_SWEEP: Final = "no sweep seen"
DOTTED: Final = "   (dotted: limit)"


def budget_title(budget: Budget) -> str:
    """Which machine, and which tape."""
    units = budget.layout.units
    return f"{budget.layout.name}: what {show_exact(budget.means.tape.mark, units)}{unit_mark(units)} marks can prove"


def promise_words(what: str, tolerance: float, units: Units) -> str:
    """Which curve is whose."""
    return f"{what} {show(tolerance, units)}{unit_mark(units)}"


def asked_words(repeats: int) -> str:
    """Where what was asked for stands."""
    return f"you asked for {counted(repeats, 'reading')}"


def history_key(history: History, *, evenly: bool, together: bool) -> str:
    """What a drawing of many surveys shows; surveys stand `evenly` or at their dates, each or `together` in groups."""
    tolerance, units = history.layout.tolerance, history.layout.units
    offset, skew = (f"{show(limit, units)}{unit_mark(units)}" for limit in (tolerance.offset, tolerance.square))
    return (
        f"Blue circles, solid: offset; thick blue lines: its limits, {offset} either way. Orange squares, dashed: skew "
        f"(exit end less entry end); thin dashed orange lines: its limits, {skew}. + is away from the string. Bars: U. "
        + "What each day's string did is taken off. " * bool(history.hung.any())
        + "Surveys stand evenly spaced, whatever the time between them. " * evenly
        + "So many surveys are drawn in groups, line: middle one, shade: from smallest to largest. " * together
        + "Dash-dot upright: the section moved between the surveys on either side. Thick line with a number: a "
        "significant drift, per month. All panels have the same scales."
    )


def panel_key(result: PanelResult, factor: float, wide: float) -> str:
    """What a drawing of a panel shows, by what factors along edges and across, and its limits with their sources."""
    told = (
        f"From above. Departures from straight and square are drawn {factor:g} times larger than lengths along the "
        f"panel; the panel's width {wide:.1f} times. Dashed: straight and square. Diamond: a reading. Blue shade: "
        "uncertainty U of the curve."
    )
    limits = "; ".join(f"{whats}: {says} ({source})" for whats, says, source in limit_words(result))
    return told + (f" Limits: {limits}." if limits else "")


def bow_words(result: PanelResult, bow: Curve) -> str:
    """How the panel bows, by how much, and its verdict."""
    told = f"bow: {toward_words(bow.toward, result.panel) or 'none seen'}, {_size(bow, result.panel.units)}"
    told += f", {bow.finding.verdict.printed}" if bow.finding.verdict else ""
    return told + DOTTED * bool(bow.finding.bounds)


def sweep_words(result: PanelResult, camber: Curve) -> str:
    """Which way the panel sweeps, by how much, and its verdict."""
    way = f"sweeps toward {result.panel.edge(camber.toward)}" if camber.toward else NO_SWEEP
    told = f"{way}: {_size(camber, result.panel.units)}"
    finding = camber.finding
    return told + (f", {finding.verdict.printed}{DOTTED}" if finding.bounds and finding.verdict else "")


def seen_words(result: PanelResult, factor: float) -> str:
    """From where the bow is seen, and how much larger it is drawn."""
    panel = result.panel
    return f"Seen from the {panel.edges[1]} edge, legs {panel.legs}. Bow drawn {factor:g} times larger than lengths."


def from_lead_words(units: Units) -> str:
    """What stands at the ruler along a panel."""
    return f"{units.plural},\nfrom lead end"


def _size(curve: Curve, units: Units) -> str:
    mark = unit_mark(units)
    height = f"{show(curve.height, units)} ({decimal(curve.height, units)}){mark}"
    return f"{height} over {show(curve.over, units)}{mark}"
