"""U against the number of readings at each point, with the tolerances drawn in."""

from __future__ import annotations

from typing import TYPE_CHECKING

from alignment.layout import Layout
from alignment.lengths import show
from alignment.preanalysis import Budget, work_out
from alignment.uncertainty import COVERAGE

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["draw_budget"]

REPEATS = (1, 2, 3, 4, 6, 8, 12, 16, 24)
STYLE = {"offset": ("o", "-"), "square": ("s", "--"), "step": ("^", ":")}


def draw_budget(layout: Layout, budget: Budget) -> Figure:
    """
    Draw the expanded uncertainty of offset, skew and step against the readings at each point.

    The share of the tolerance that U takes is what counts, so each curve is drawn as U over its own tolerance: at 1
    nothing can be proved, and below the lower line nine dead true sections of ten are proved in.
    """
    from matplotlib.figure import Figure

    mark = budget.means.tape.mark
    rows = [work_out(layout, repeats=n, mark=mark) for n in REPEATS]
    figure = Figure(figsize=(8, 5))
    axes = figure.add_axes((0.1, 0.13, 0.87, 0.74))
    for k, promise in enumerate(budget.promises):
        marker, line = STYLE[promise.what]
        ys = [COVERAGE * row.promises[k].u / promise.tolerance for row in rows]
        label = f"{promise.what} {show(promise.tolerance, layout.units)} {layout.units}"
        axes.plot(REPEATS, ys, marker=marker, ls=line, color="#1a1a1a", lw=1.6, ms=6, mfc="white", label=label)
    # T - U has to leave room for 1.645 u either side, U being 2 u
    axes.axhspan(0, COVERAGE / (COVERAGE + 1.645), color="#cfe3f2", zorder=0)
    axes.axhline(1, color="#d55e00", lw=1.6)
    axes.text(REPEATS[-1], 1.01, "U = tolerance: nothing can be proved above", ha="right", va="bottom", size=9.5)
    axes.text(REPEATS[-1], 0.53, "can be proved nine times in ten", ha="right", va="top", size=9.5)
    axes.plot([budget.means.repeats] * 2, [0, 0.06], color="#1a1a1a", lw=3)
    axes.text(budget.means.repeats, 0.08, "as asked", size=9, ha="left", va="bottom")
    axes.set_xscale("log")
    axes.set_xticks(REPEATS, [str(n) for n in REPEATS])
    axes.minorticks_off()
    axes.set_ylim(0, max(1.2, axes.get_ylim()[1]))
    axes.set_xlabel("readings at each point")
    axes.set_ylabel("U as a share of the tolerance")
    axes.legend(loc="lower right", frameon=False, fontsize=10, ncols=3, bbox_to_anchor=(1, 1.0))
    axes.grid(axis="y", color="#dddddd", lw=0.6)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    title = f"{layout.name}: what {show(mark, layout.units)} {layout.units} marks can prove"
    figure.text(0.02, 0.94, title, size=13, weight="bold")
    return figure
