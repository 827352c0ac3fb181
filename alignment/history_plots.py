"""Offset and skew of every section over time, one small panel for each section, all on the same scales."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Final

import numpy as np

from alignment.history import MONTH, Drift, History
from alignment.history_wording import headlines, per_month, when
from alignment.lengths import show
from alignment.uncertainty import COVERAGE

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_section", "history_sheet"]

INK: Final = "#1a1a1a"
OFFSET: Final = "#1f4e79"
SKEW: Final = "#d55e00"
MOVED: Final = "#555555"
ACROSS: Final = 5
"""Panels beside each other at the most."""
MANY: Final = 60
"""Beyond so many surveys, neighbours are drawn together, as many groups as this."""

KEY: Final = (
    "Blue circles, solid: offset. Orange squares, dashed: skew (exit end less entry end). Bars: U; over very many "
    "surveys neighbours are drawn together, line: middle one, shade: from smallest to largest. Grey band: offset "
    "tolerance. Dash-dot upright: the section moved between the surveys on either side. Thick line with a number: a "
    "significant drift, per month. All panels have the same scales."
)


def history_sheet(history: History) -> Figure:
    """
    Sheet with a panel for each section, row by row.

    Parameters
    ----------
    history : History

    Returns
    -------
    Figure
    """
    from matplotlib.figure import Figure

    layout = history.layout
    rows = [
        members[k : k + ACROSS]
        for row in layout.rows
        if (members := [layout.index[s.name] for s in layout.row_sections(row)])
        for k in range(0, len(members), ACROSS)
    ]
    columns = max(len(members) for members in rows)
    width = max(2.9 * columns + 0.9, 9.0)
    key = textwrap.wrap(KEY, int((width - 0.8) / 0.075))
    words = textwrap.wrap(" ".join(headlines(history)), int((width - 0.8) / 0.1))
    panel, head, foot = 2.35, 0.6 + 0.22 * len(words), 0.3 + 0.19 * len(key)
    total = head + panel * len(rows) + foot
    figure = Figure(figsize=(width, total))
    span = f"{when(history.taken[0])} to {when(history.taken[-1])}, {len(history.taken)} surveys"
    figure.text(0.35 / width, 1 - 0.3 / total, f"{layout.name}: {span}", size=14, weight="bold", va="center", color=INK)
    for k, line in enumerate(words):
        figure.text(0.35 / width, 1 - (0.62 + 0.22 * k) / total, line, size=11.5, va="center", color=INK)
    reach = _reach(history)
    step = (width - 0.9) / columns
    for r, members in enumerate(rows):
        for c, i in enumerate(members):
            left, bottom = 0.75 + step * c, total - head - panel * (r + 1) + 0.45
            axes = figure.add_axes((left / width, bottom / total, (step - 0.2) / width, (panel - 0.85) / total))
            draw_section(axes, history, i, reach)
            if c:
                axes.tick_params(axis="y", labelleft=False)
            else:
                axes.set_ylabel(f"{layout.units} (+ away)", size=9)
    for k, line in enumerate(key):
        figure.text(0.35 / width, (foot - 0.15 - 0.19 * k) / total, line, size=9, va="center", color=INK)
    return figure


def _reach(history: History) -> float:
    """Largest value drawn. [mm]"""
    known = [np.abs(v) + COVERAGE * u for v, u in ((history.offset, history.offset_u), (history.skew, history.skew_u))]
    return 1.1 * max(float(np.nanmax(np.concatenate(known))), 1.3 * history.layout.tolerance.offset)


def draw_section(axes: Axes, history: History, i: int, reach: float) -> Axes:
    """
    Draw one section: x is the date, y offset and skew in the layout's units.

    Parameters
    ----------
    axes : Axes
    history : History
    i : int
        Which section.
    reach : float
        Largest value shown. [mm]

    Returns
    -------
    Axes
    """
    from matplotlib.dates import AutoDateLocator, DateFormatter, date2num

    layout, units = history.layout, history.layout.units
    of = units.of
    days = np.array(date2num(history.taken))  # type: ignore[no-untyped-call]
    tolerance = layout.tolerance.offset
    axes.axhspan(of(-tolerance), of(tolerance), color="#e6e6e6", lw=0, zorder=0)
    axes.axhline(0, color="#888888", lw=0.6, zorder=1)
    for value, u, colour, marker, dash in (
        (history.offset, history.offset_u, OFFSET, "o", "-"),
        (history.skew, history.skew_u, SKEW, "s", (0, (3, 2))),
    ):
        y, expanded = of(1.0) * value[:, i], of(COVERAGE) * u[:, i]
        known = np.flatnonzero(~np.isnan(y))
        if len(known) > MANY:
            groups = np.array_split(known, MANY)
            x, low, middle, high = (
                [np.quantile(v[g], share) for g in groups] for v, share in ((days, 0.5), (y, 0.0), (y, 0.5), (y, 1.0))
            )
            axes.fill_between(x, low, high, color=colour, alpha=0.18, lw=0, zorder=2)
            axes.plot(x, middle, color=colour, lw=1.4, ls=dash, zorder=3)
        else:
            axes.errorbar(
                days, y, yerr=expanded, color=colour, ls=dash, lw=1, marker=marker, ms=4.5, capsize=2.5,
                mfc=colour if marker == "o" else "white", zorder=3,
            )  # fmt: skip
    for event in history.events:
        if i in event.motion.moved:
            axes.axvline((days[event.before] + days[event.after]) / 2, color=MOVED, lw=1.2, ls="-.", zorder=2)
    lines = ((history.offset, history.offset_u, OFFSET), (history.skew, history.skew_u, SKEW))
    for (value, u, colour), drift in zip(lines, history.drifts[i], strict=True):
        if drift is not None and drift.significant:
            _draw_drift(axes, history, value[:, i], u[:, i], drift, days, colour)
    axes.set_ylim(of(-reach), of(reach))
    pad = 0.04 * (days[-1] - days[0]) or 1.0
    axes.set_xlim(days[0] - pad, days[-1] + pad)
    ticks = [-tolerance, 0.0, tolerance]
    axes.set_yticks([of(t) for t in ticks], [show(t, units, signed=True) for t in ticks], size=8.5)
    axes.xaxis.set_major_locator(AutoDateLocator(minticks=2, maxticks=4))  # type: ignore[no-untyped-call]
    span = days[-1] - days[0]
    written = "%b %Y" if span > 300 else "%b %d" if span > 2 else "%b %d %H:%M"
    axes.xaxis.set_major_formatter(DateFormatter(written))  # type: ignore[no-untyped-call]
    axes.tick_params(axis="x", labelsize=8)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.set_title(layout.sections[i].name, loc="left", size=10.5, weight="bold", pad=3)
    return axes


def _draw_drift(
    axes: Axes, history: History, value: np.ndarray, u: np.ndarray, drift: Drift, days: np.ndarray, colour: str
) -> None:
    units = history.layout.units
    use = ~np.isnan(value) & np.array([t >= drift.since for t in history.taken])
    weight = u[use] ** -2.0
    middle_x, middle_y = (float(np.average(v[use], weights=weight)) for v in (days, value))
    x = np.array([days[use].min(), days[use].max()])
    y = middle_y + drift.per_month / MONTH * (x - middle_x)
    axes.plot(x, [units.of(v) for v in y], color=colour, lw=3, alpha=0.75, solid_capstyle="butt", zorder=4)
    above = drift.per_month > 0
    axes.annotate(
        per_month(drift.per_month, units, signed=True),
        (x[-1], units.of(y[-1])),
        (0, 9 if above else -9),
        textcoords="offset points",
        size=8.5,
        weight="bold",
        color=colour,
        ha="right",
        va="center",
        bbox={"boxstyle": "round,pad=0.1", "fc": "white", "ec": "none", "alpha": 0.85},
        zorder=6,
    )
