"""
Pictures for a record: the train in each state, and the panel, as plain data for the typesetter.

A machine that is too long for the paper is cut into strips. A strip ends where a section does; what is cut off at its
edge stands whole on the next one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, cast

from alignment.machine.layout import Plane, Section
from alignment.panel.found import PanelResult
from alignment.show.pictures.drawing import (
    Lane,
    draw_ghost,
    draw_moves,
    draw_train,
    lanes_of,
    paper_height,
    scale_for,
    span_of,
)
from alignment.show.pictures.labels import fitted
from alignment.show.pictures.panel import SIDE_VIEW, draw_bow, panel_key
from alignment.show.pictures.panel_plan import PLAN, WIDTH, draw_plan, plan_scale
from alignment.show.pictures.surface import Surface
from alignment.show.pictures.train import train_key
from alignment.show.words.phrases import VIEWS
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
    width = _width(solution, lanes)
    scale = min(scale_for(s, lanes, width - 2 * MARGIN) for s in alike)
    height = paper_height(lanes)
    surface = Surface(width=width, height=height + 0.45, frame=(MARGIN, 0.05, width - 2 * MARGIN, height))
    axes = cast("Axes", surface)
    train, state = (plan.after, plan.state) if after else (solution.train, solution.state)
    draw_train(axes, train, state, lanes, scale, height=height)
    (draw_ghost if after else draw_moves)(axes, solution, lanes, scale)
    moving = any(layout.sections[layout.index[step.section]].row in lanes for step in plan.steps) and not after
    key = train_key(solution, scale, width - 2 * MARGIN, moving) + " Dashed: where a moved face was." * after
    members = [s for s in layout.sections if s.row in lanes]
    return Picture(title=title, key=f"{_rows_words(list(lanes))} {key}", strips=tuple(_strips(surface, members)))


def _width(solution: Solution, lanes: dict[str, Lane]) -> float:
    """Width of a whole drawing such that its labels are legible, but two sections at least stand on a strip."""
    layout, span = solution.layout, span_of(solution.train)[2]
    longest = max(s.length for s in layout.sections if s.row in lanes)
    most = max(PAGE, 2 * MARGIN + (PAGE - 2 * MARGIN) / (2.2 * longest) * span)
    width = PAGE
    members = [s for s in layout.sections if s.row in lanes]
    while width < most and min(fitted(s, (width - 2 * MARGIN) / span, s.name)[1] for s in members) < LEGIBLE:
        width = min(1.15 * width, most)
    return width


def _rows_words(rows: Sequence[str]) -> str:
    order = f"From the top: row {', row '.join(rows)}. " if len(rows) > 1 else f"Row {rows[0]}. "
    return f"{order}The entry end of the machine is at the left."


def _strips(surface: Surface, members: Sequence[Section]) -> list[Drawn]:
    """A drawing cut into strips of a page's width."""
    if surface.width <= PAGE * 1.001:
        return [_drawn(surface, 0.0, surface.width)]
    reach = PAGE - 0.5
    edges = [(surface.along(s.start), surface.along(s.end)) for s in members]
    found: list[float] = []
    low = 0.0
    while ahead := [begin for begin, end in edges if end > low + reach + 0.01]:
        begin = min(ahead) - 0.25 if found or min(ahead) > low else low
        found.append(low)
        low = max(begin, low + 0.5)
    found.append(low)
    return [_drawn(surface, low, min(low + PAGE, surface.width)) for low in found]


def _drawn(surface: Surface, left: float, right: float) -> Drawn:
    return Drawn(width=PAGE, height=surface.height, shapes=tuple(surface.drawn(left, right)))


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
    return Picture(title="Test panel", key=panel_key(result, factor), strips=(strip,))
