"""U against the number of readings at each point, as a share of each tolerance."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist
from typing import TYPE_CHECKING, Final

from alignment.show.pictures.drawing import INK
from alignment.show.words.drawings import (
    PROVED_SHARE,
    READINGS,
    SHADED,
    TOLERANCE_LINE,
    asked_words,
    budget_title,
    promise_words,
)
from alignment.train.budget import PROVED, Budget, expected
from alignment.train.state import Measurand
from alignment.uncertainty import COVERAGE

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["SHARE", "draw_budget"]

REPEATS: Final = (1, 2, 3, 4, 6, 8, 12, 16, 24)
# wide and pale below, thin and dark above, so that curves that fall together are all to be seen
STYLE: Final = {
    Measurand.step: {"ls": "-", "lw": 6, "color": "#bdbdbd", "marker": "^", "ms": 13, "mec": "#8a8a8a", "zorder": 2},
    Measurand.square: {"ls": "--", "lw": 1.8, "color": INK, "marker": "s", "ms": 6, "mfc": "white", "zorder": 3},
    Measurand.offset: {"ls": "-", "lw": 1.4, "color": "#1f4e79", "marker": "o", "ms": 6, "zorder": 4},
}
SHARE: Final = COVERAGE / (COVERAGE + NormalDist().inv_cdf((1 + PROVED) / 2))
"""U as a share of the tolerance at which something dead true is just proved in often enough: T - U leaves room for
its estimate, which is normal about nought."""


def draw_budget(budget: Budget) -> Figure:
    """
    Draw the expanded uncertainty of offset, skew and step against the readings at each point.

    The share of the tolerance that U takes is what counts, so each curve is drawn as U over its own tolerance: at 1
    nothing can be proved, and at `SHARE` what is dead true is proved in often enough to count.
    """
    from alignment.show.pictures.sheets import Sheet

    layout = budget.layout
    units, asked = layout.units, budget.means.repeats
    counts = sorted({*REPEATS, asked})
    largest = [expected(layout, replace(budget.means, repeats=n)) for n in counts]
    figure = Sheet(figsize=(8.6, 5))
    axes = figure.add_axes((0.085, 0.12, 0.655, 0.72))
    told = {promise.what: promise for promise in budget.promises}
    for what, style in STYLE.items():
        if what in told:
            tolerance = told[what].tolerance
            ys = [COVERAGE * us[what] / tolerance for us in largest]
            axes.plot(counts, ys, label=promise_words(what, tolerance, units), **style)  # type: ignore[arg-type]
    axes.set_xscale("log")
    axes.set_xticks(counts, [str(n) for n in counts])
    axes.minorticks_off()
    axes.set_xlim(0.9 * counts[0], 1.1 * counts[-1])
    axes.set_ylim(0, max(1.3, axes.get_ylim()[1]))
    axes.axhspan(0, SHARE, color="#cfe3f2", lw=0, zorder=0)
    axes.axhline(SHARE, color="#3a6ea5", lw=1.0, zorder=1)
    axes.axhline(1, color="#d55e00", lw=1.6, zorder=1)
    axes.axvline(asked, color=INK, lw=1.0, ls=":", zorder=1)
    # words stand beside the curves, where none can run through them
    beside = {"x": 1.02, "ha": "left", "size": 9.5, "transform": axes.get_yaxis_transform()}
    axes.text(y=1, s=TOLERANCE_LINE, va="center", **beside)  # type: ignore[arg-type]
    axes.text(y=SHARE, s=SHADED, va="top", **beside)  # type: ignore[arg-type]
    near = {"ha": "left" if asked < counts[-1] / 2 else "right", "va": "bottom", "size": 9.5}
    axes.text(asked, 1.01, asked_words(asked), transform=axes.get_xaxis_transform(), **near)  # type: ignore[arg-type]
    axes.set_xlabel(READINGS)
    axes.set_ylabel(PROVED_SHARE)
    figure.legend(loc="upper right", frameon=False, fontsize=10, ncols=3, bbox_to_anchor=(0.99, 0.945))
    axes.grid(axis="y", color="#dddddd", lw=0.6)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    figure.text(0.02, 0.95, budget_title(budget), size=13, weight="bold")
    return figure
