"""The panel as measured, on one sheet: what it means in words, the panel from above, and its bow from the side."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from alignment.panel.found import Curve, PanelResult
from alignment.show.pictures.drawing import INK
from alignment.show.pictures.panel_plan import (
    BODY,
    PLAN,
    QUIET,
    SHADE,
    SIDE,
    WIDTH,
    along_paper,
    draw_plan,
    ink_of,
    plan_scale,
    rounded,
)
from alignment.show.words.drawings import bow_words, panel_key, seen_words
from alignment.show.words.panel import meanings, panel_title, verdict_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["SIDE_VIEW", "draw_bow", "panel_sheet", "width_factor"]

SIDE_VIEW: Final = 1.5


def panel_sheet(result: PanelResult) -> Figure:
    """
    Sheet with the verdict and what it means in words, the panel from above, and its bow from the side.

    Parameters
    ----------
    result : PanelResult

    Returns
    -------
    Figure
    """
    from alignment.show.pictures.sheets import Sheet, wrapped

    words = [line for text in meanings(result) for line in wrapped(text, 136, subsequent_indent="    ")]
    head = wrapped(verdict_line(result), 96)
    scale, factor = plan_scale(result)
    foot = wrapped(panel_key(result, factor, width_factor(result)), 150)
    views = PLAN + (SIDE_VIEW if result.bow else 0)
    top = 0.45 + 0.27 * len(head) + 0.2 * len(words) + 0.25
    total = top + views + 0.25 + 0.17 * len(foot)
    figure = Sheet(figsize=(WIDTH, total))

    def write(y: float, text: str, size: float, *, bold: bool = False) -> None:
        weight = "bold" if bold else "normal"
        figure.text(0.3 / WIDTH, 1 - y / total, text, size=size, weight=weight, va="center", color=INK)

    write(0.25, panel_title(result), 10.5)
    for k, line in enumerate(head):
        write(0.55 + 0.27 * k, line, 14, bold=True)
    for k, line in enumerate(words):
        write(0.62 + 0.27 * len(head) + 0.2 * k, line, 10.5)
    plan = figure.add_axes((0, (total - top - PLAN) / total, 1, PLAN / total))
    draw_plan(plan, result, scale)
    if result.bow:
        side = figure.add_axes((0, (total - top - views) / total, 1, SIDE_VIEW / total))
        draw_bow(side, result, result.bow)
    for k, line in enumerate(foot):
        write(total - 0.15 - 0.17 * (len(foot) - 1 - k), line, 9)
    return figure


def draw_bow(axes: Axes, result: PanelResult, bow: Curve) -> Axes:
    """Draw the panel from its right edge, the lead end on the right; y is inches of paper, up the page."""
    panel, along = result.panel, along_paper(result)
    length = panel.length * along
    limit = bow.finding.bounds
    allowed = 8 * limit.upper / bow.finding_over**2 if limit else 0.0
    largest = max(abs(bow.curvature), allowed, 1e-12) * panel.length**2 / 8
    scale, factor = rounded(0.28 / largest, along)
    axes.set_xlim(-SIDE, WIDTH - SIDE)
    axes.set_ylim(-0.62, SIDE_VIEW - 0.62)
    axes.axis("off")
    x = np.linspace(0, panel.length, 121)

    def height(bend: float) -> np.ndarray:
        curve = scale * bend / 2 * ((x - panel.length / 2) ** 2 - (panel.length / 2) ** 2)
        return np.asarray(curve - min(float(curve.min()), 0.0))

    y = height(bow.curvature)
    axes.plot([0, length], [0, 0], color=QUIET, lw=0.9, ls=(0, (5, 3)))
    legs = (1 if panel.legs == "up" else -1) * 0.16
    axes.fill_between(x * along, y, y + legs, color=SHADE, lw=0, zorder=1)
    axes.plot(x * along, y + legs, color=INK, lw=0.8, zorder=2)
    axes.plot(x * along, y, color=ink_of(bow.finding), lw=2.4, zorder=4)
    if limit:
        sign = 1 if bow.curvature >= 0 else -1
        axes.plot(x * along, height(sign * allowed), color=INK, lw=1.3, ls=(0, (1, 2)), zorder=3)
    for _, arc in bow.sets:
        fitted = np.interp(arc.x, x, y)
        axes.plot(
            arc.x * along,
            fitted + scale * (arc.y - arc.fitted),
            ls="",
            marker="D",
            ms=5,
            mfc="white",
            mec=INK,
            zorder=7,
        )
    told = bow_words(result, bow)
    axes.text(length / 2, 0.68, told, size=10.5, weight="bold", ha="center", va="center", color=ink_of(bow.finding))
    side = seen_words(result, factor)
    axes.text(0, -0.45, side, size=9, ha="left", va="center", color=INK)
    for text, at, align in (("tail end", -0.18, "right"), ("lead end", length + 0.18, "left")):
        axes.text(at, 0.1, text, size=10, weight="bold", ha=align, va="center", color=INK)
    return axes


def width_factor(result: PanelResult) -> float:
    """By how much a panel's width is drawn larger than lengths along it."""
    return float(BODY / (result.panel.width * along_paper(result)))
