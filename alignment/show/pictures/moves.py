"""The moves on a drawing of a train: discs, arrows and pivots, and where moved faces were."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

import numpy as np

from alignment.show.pictures.drawing import INK, Lane, paper_width
from alignment.show.pictures.labels import BODY, DISC, discs_at
from alignment.show.pictures.windows import Window, whole
from alignment.train.solve import Solution

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["draw_ghost", "draw_moves"]

MOVE: Final = "#000000"


def draw_moves(
    axes: Axes, solution: Solution, lanes: Mapping[str, Lane], scale: float, window: Window | None = None
) -> None:
    """A numbered disc with an arrow at each bolt end to move, a triangle at each that its section turns on."""
    layout, train = solution.layout, solution.train
    window = window or whole(layout)
    along = paper_width(axes) / window.span
    order = list(dict.fromkeys(step.section for step in solution.plan.steps))
    for i, section in enumerate(layout.sections):
        if section.row not in lanes or not train.measured[i] or not window.holds(section):
            continue
        lane = lanes[section.row]
        for bolt, at in enumerate(discs_at(section, along)):
            y = lane.y + lane.away * scale * float(train.deviation(np.full(len(train.start), at)).value[i])
            y += lane.body * BODY / 2
            move = float(solution.plan.moves[i, bolt])
            if not move:
                marker, ms = ("^", 9) if section.name in order else ("o", 4)
                axes.plot(at, y, marker=marker, ms=ms, mfc="white", mec=INK, mew=1.2, zorder=7)
                continue
            toward = -lane.away if move > 0 else lane.away
            tip = y + toward * max(abs(move) * scale, DISC / 2 + 0.22)
            arrow = {"arrowstyle": "-|>", "lw": 2.4, "color": MOVE, "shrinkA": 0, "shrinkB": 0, "mutation_scale": 17}
            axes.annotate("", (at, tip), (at, y), arrowprops=arrow, zorder=8)
            axes.plot(at, y, marker="o", ms=72 * DISC, mfc=MOVE, mec="white", mew=1.2, zorder=8.5)
            number = str(order.index(section.name) + 1)
            box = {"boxstyle": "circle,pad=0.2", "fc": "none", "ec": "none"}
            axes.text(
                at, y, number, size=10 if len(number) < 2 else 8, weight="bold", color="white", ha="center",
                va="center", bbox=box, zorder=9,
            )  # fmt: skip


def draw_ghost(
    axes: Axes, solution: Solution, lanes: Mapping[str, Lane], scale: float, window: Window | None = None
) -> None:
    """Outline of where moved faces were."""
    window = window or whole(solution.layout)
    train = solution.train
    for i in np.flatnonzero(solution.plan.moves.any(axis=1)):
        section = solution.layout.sections[i]
        if section.row not in lanes or not window.holds(section):
            continue
        lane = lanes[section.row]
        ys = [lane.y + lane.away * scale * float(end.value[i]) for end in train.ends]
        axes.plot([section.start, section.end], ys, color="#777777", lw=1.2, ls=(0, (2, 2)), zorder=3)
