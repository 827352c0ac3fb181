"""
Pictures for a record: the train in each state, and the panel, as plain data for the typesetter.

A machine that is too long for the paper stands in strips below one another.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, cast

from alignment.machine.layout import Plane
from alignment.panel.found import PanelResult
from alignment.show.pictures.drawing import (
    draw_train,
    lanes_of,
    paper_height,
    scale_for,
)
from alignment.show.pictures.labels import label_size
from alignment.show.pictures.moves import draw_ghost, draw_moves
from alignment.show.pictures.panel import SIDE_VIEW, draw_bow, width_factor
from alignment.show.pictures.panel_plan import PLAN, WIDTH, draw_plan, plan_scale
from alignment.show.pictures.surface import Surface
from alignment.show.pictures.windows import windows
from alignment.show.words.drawings import panel_key
from alignment.show.words.phrases import VIEWS
from alignment.show.words.pictures import rows_words, train_key
from alignment.train.across import rows_of
from alignment.train.solve import Solution

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Drawn", "Picture", "panel_picture", "state_pictures"]

PAGE: Final = 9.2
"""Width of a strip; on a portrait page it is set about three quarters as large. [inches]"""
MARGIN: Final = 0.6
LEGIBLE: Final = 6.2
"""Size at which a section's label is to be set at least, if need be in strips. [points]"""
PARTS: Final = 12
"""Strips of one picture at most."""


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """One strip: its size [inches] and what is drawn in it."""

    width: float
    height: float
    shapes: tuple[dict[str, Any], ...]


@dataclass(frozen=True, kw_only=True)
class Picture:
    """One drawing, in one strip or more from the entry to the exit, with its title and what it shows."""

    title: str
    key: str
    strips: tuple[Drawn, ...]


def state_pictures(states: Sequence[tuple[str, Solution, bool]]) -> list[Picture]:
    """
    Draw the train in several states, all at one scale.

    Parameters
    ----------
    states : sequence of (str, Solution, bool)
        What each is called; the solution; whether to draw it as it should be after its moves, rather than as it was
        read with the moves that are wanted.
    """
    layout = states[0][1].layout
    planes = [plane for plane in Plane if rows_of(layout, plane)]
    return [
        _state(title + f", {VIEWS[plane]}" * (len(planes) > 1), solution, plane, after, [s for _, s, _ in states])
        for title, solution, after in states
        for plane in planes
    ]


def _state(title: str, solution: Solution, plane: Plane, after: bool, alike: Sequence[Solution]) -> Picture:
    layout, plan = solution.layout, solution.plan
    lanes = lanes_of(layout, plane)
    paper = PAGE - 2 * MARGIN
    parts = windows(layout, lambda span: label_size(layout, lanes, paper / span) >= LEGIBLE, PARTS)
    along = paper / parts[0].span
    scale = min(scale_for(s, lanes, along) for s in alike)
    height = paper_height(lanes)
    train, state = (plan.after, plan.state) if after else (solution.train, solution.state)
    strips = []
    for window in parts:
        surface = Surface(width=PAGE, height=height + 0.45, frame=(MARGIN, 0.05, paper, height))
        axes = cast("Axes", surface)
        draw_train(axes, train, state, lanes, scale, height=height, window=window)
        (draw_ghost if after else draw_moves)(axes, solution, lanes, scale, window)
        surface.make_room()
        strips.append(Drawn(width=PAGE, height=surface.height, shapes=tuple(surface.drawn())))
    moving = any(layout.sections[layout.index[step.section]].row in lanes for step in plan.steps) and not after
    key = train_key(solution, scale / along, moving=moving, ghost=after)
    return Picture(title=title, key=f"{rows_words(list(lanes))} {key}", strips=tuple(strips))


def panel_picture(result: PanelResult) -> Picture:
    """Draw the panel as measured, from above, and its bow from the side."""
    scale, factor = plan_scale(result)
    total = PLAN + (SIDE_VIEW if result.bow else 0)
    plan = Surface(width=WIDTH, height=total, frame=(0, 0, WIDTH, PLAN))
    draw_plan(cast("Axes", plan), result, scale)
    shapes = plan.drawn()
    if result.bow:
        side = Surface(width=WIDTH, height=total, frame=(0, PLAN, WIDTH, SIDE_VIEW))
        draw_bow(cast("Axes", side), result, result.bow)
        shapes += side.drawn()
    strip = Drawn(width=WIDTH, height=total, shapes=tuple(shapes))
    return Picture(title="Test panel", key=panel_key(result, factor, width_factor(result)), strips=(strip,))
