"""Offset and skew of every section over time, one small panel for each section, all on the same scales."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from alignment.change.history import MONTH, Drift, History
from alignment.lengths import show
from alignment.show.pictures.drawing import INK
from alignment.show.words.drawings import history_key
from alignment.show.words.history import headlines, per_month, when
from alignment.uncertainty import COVERAGE

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_section", "history_sheet"]

OFFSET: Final = "#1f4e79"
SKEW: Final = "#d55e00"
MOVED: Final = "#555555"
ACROSS: Final = 3
"""Panels beside each other at the most."""
LEFT: Final = 1.65
"""Paper left of the first panel, for the names of the limits. [inches]"""
ROOM: Final = 0.27
"""Share of a panel's width that a date takes."""
MANY: Final = 60
"""Beyond so many surveys, neighbours are drawn together, as many groups as this."""

BUNCHED: Final = 0.3
"""Dates nearer to one another than this share of their mean distance would be drawn upon one another."""


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
    from alignment.show.pictures.sheets import Sheet, wrapped

    layout = history.layout
    rows = [
        members[k : k + ACROSS]
        for row in layout.rows
        if (members := [layout.index[s.name] for s in layout.row_sections(row)])
        for k in range(0, len(members), ACROSS)
    ]
    columns = max(len(members) for members in rows)
    width = max(2.9 * columns + LEFT + 0.15, 9.0)
    told = history_key(history, evenly=not _by_date(history), together=len(history.taken) > MANY)
    key = wrapped(told, int((width - 0.8) / 0.075))
    words = wrapped(" ".join(headlines(history)), int((width - 0.8) / 0.1))
    panel, head, foot = 2.6, 0.6 + 0.22 * len(words), 0.3 + 0.19 * len(key)
    total = head + panel * len(rows) + foot
    figure = Sheet(figsize=(width, total))
    span = f"{when(history.taken[0])} to {when(history.taken[-1])}, {len(history.taken)} surveys"
    figure.text(0.35 / width, 1 - 0.3 / total, f"{layout.name}: {span}", size=14, weight="bold", va="center", color=INK)
    for k, line in enumerate(words):
        figure.text(0.35 / width, 1 - (0.62 + 0.22 * k) / total, line, size=11.5, va="center", color=INK)
    reach = _reach(history)
    step = (width - LEFT - 0.15) / columns
    for r, members in enumerate(rows):
        for c, i in enumerate(members):
            left, bottom = LEFT + step * c, total - head - panel * (r + 1) + 0.6
            axes = figure.add_axes((left / width, bottom / total, (step - 0.2) / width, (panel - 1.0) / total))
            draw_section(axes, history, i, reach)
            if c:
                axes.tick_params(axis="y", labelleft=False)
    for k, line in enumerate(key):
        figure.text(0.35 / width, (foot - 0.15 - 0.19 * k) / total, line, size=9, va="center", color=INK)
    return figure


def _reach(history: History) -> float:
    """Largest value drawn. [mm]"""
    known = [np.abs(v) + COVERAGE * u for v, u in zip(history.apart, (history.offset_u, history.skew_u), strict=True)]
    tolerance = history.layout.tolerance
    return 1.1 * max(float(np.nanmax(np.concatenate(known))), 1.3 * tolerance.offset, 1.3 * tolerance.square)


def _by_date(history: History) -> bool:
    """Whether surveys can stand at their dates; beyond `MANY` they do, since they are drawn in groups."""
    days = _days(history)
    return len(days) > MANY or len(days) < 3 or bool(np.diff(days).min() >= BUNCHED * np.diff(days).mean())


def _days(history: History) -> np.ndarray:
    from matplotlib.dates import date2num

    return np.array(date2num(history.taken))  # type: ignore[no-untyped-call]


def draw_section(axes: Axes, history: History, i: int, reach: float) -> Axes:
    """
    Draw one section: x is the survey, by its date or one after the other, y offset and skew in the layout's units.

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
    from alignment.show.letters import cut
    from alignment.show.pictures.sheets import EM, shown

    layout, units = history.layout, history.layout.units
    of = units.of
    days = _days(history) if _by_date(history) else np.arange(float(len(history.taken)))
    axes.axhline(0, color="#888888", lw=0.6, zorder=1)
    _draw_limits(axes, history, reach)
    offset, skew = history.apart
    for value, u, colour, marker, dash in (
        (offset, history.offset_u, OFFSET, "o", "-"),
        (skew, history.skew_u, SKEW, "s", (0, (3, 2))),
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
    lines = ((offset, history.offset_u, OFFSET), (skew, history.skew_u, SKEW))
    for (value, u, colour), drift in zip(lines, history.drifts[i], strict=True):
        if drift is not None and drift.significant:
            _draw_drift(axes, history, value[:, i], u[:, i], drift, days, colour)
    axes.set_ylim(of(-reach), of(reach))
    # half a date's width, so that the dates of panels side by side do not meet
    pad = 0.13 * (days[-1] - days[0]) or 1.0
    axes.set_xlim(days[0] - pad, days[-1] + pad)
    # a tick for each survey; of the dates as many as there is room for
    written: list[float] = []
    for day in days:
        if all(abs(day - other) >= ROOM * (days[-1] - days[0] + 2 * pad) for other in written):
            written.append(day)
    marked = [
        (day, when(t).replace(" ", "\n") if day in written else "") for day, t in zip(days, history.taken, strict=True)
    ]
    # very many would make a black bar
    marked = [(day, date) for day, date in marked if date or len(days) <= MANY]
    axes.set_xticks([day for day, _ in marked], [date for _, date in marked], size=8)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    whole = axes.get_figure(root=True)
    room = axes.get_position().width * (whole.get_figwidth() if whole else 0.0)
    name = cut(shown(layout.sections[i].name), max(int(room / (10.5 * EM)), 8))
    axes.set_title(name, loc="left", size=10.5, weight="bold", pad=3)
    return axes


def _draw_limits(axes: Axes, history: History, reach: float) -> None:
    """Limits of offset and skew, each drawn like its values and named at the left."""
    layout, of = history.layout, history.layout.units.of
    tolerance = layout.tolerance
    ticks, words = [0.0], ["0"]
    for what, limit, colour, dash, wide in (
        ("offset", tolerance.offset, OFFSET, "-", 2.2),
        ("skew", tolerance.square, SKEW, (0, (4, 3)), 1.1),
    ):
        for side in (-limit, limit):
            axes.axhline(of(side), color=colour, lw=wide, ls=dash, alpha=0.55 if what == "offset" else 1, zorder=1)
            same = [k for k, tick in enumerate(ticks) if abs(tick - side) < 1e-6]
            near = any(abs(tick - side) < 0.16 * reach for tick in ticks)
            if same:
                words[same[0]] = words[same[0]].replace(" ", f" and {what} ", 1)
            elif not near:
                ticks.append(side)
                words.append(f"{what} {show(side, layout.units, signed=True)}")
    axes.set_yticks([of(t) for t in ticks], words, size=8.5)


def _draw_drift(
    axes: Axes, history: History, value: np.ndarray, u: np.ndarray, drift: Drift, days: np.ndarray, colour: str
) -> None:
    units = history.layout.units
    use = ~np.isnan(value) & np.array([t >= drift.since for t in history.taken])
    weight, dates = u[use] ** -2.0, _days(history)
    middle_x, middle_y = (float(np.average(v[use], weights=weight)) for v in (dates, value))
    y = middle_y + drift.per_month / MONTH * (dates[use] - middle_x)
    x = days[use]
    if len(x) > MANY:
        x, y = x[[0, -1]], y[[0, -1]]
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
