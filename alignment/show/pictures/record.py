"""
Pictures for a report: the train and what moved, at a size that can be read, cut into strips where they are too long.

A strip ends where a section does. What is cut off at its edge stands whole on the next one.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from alignment.change.comparison import Comparison
from alignment.machine.layout import Plane, Section
from alignment.panel.found import PanelResult
from alignment.show.pictures.comparison import comparison_key, draw_row, reach_of
from alignment.show.pictures.drawing import (
    draw_ghost,
    draw_moves,
    draw_train,
    lanes_of,
    paper_height,
    rows_down,
    scale_for,
    span_of,
)
from alignment.show.pictures.panel import SIDE_VIEW, draw_bow, panel_key
from alignment.show.pictures.panel_plan import PLAN, WIDTH, draw_plan, plan_scale
from alignment.show.pictures.train import render, train_key
from alignment.train.across import rows_of
from alignment.train.solve import Solution

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from alignment.show.pictures.sheets import Sheet

__all__ = ["Picture", "comparison_pictures", "panel_picture", "state_pictures"]

PAGE: Final = 11.5
"""Width of a picture; on a page that lies on its side it is set six sevenths as large. [inches]"""
LEGIBLE: Final = 0.062
"""Width of a letter that can still be read, a bold one. [inches]"""
LONG_NAME: Final = 24
"""A name of more letters is set in two lines, and so on."""


@dataclass(frozen=True, kw_only=True)
class Picture:
    """One drawing, in one strip or more, with its title and what it shows."""

    title: str
    key: str
    strips: tuple[bytes, ...]
    """SVG, from the entry to the exit."""


def state_pictures(solution: Solution, title: str, *, after: bool = False) -> list[Picture]:
    """
    Draw the train as it was read, with the moves that are wanted, or as it should be after them.

    Parameters
    ----------
    solution : Solution
    title : str
        What the state is called.
    after : bool
        Whether to draw the state that the moves lead to.
    """
    from alignment.show.pictures.sheets import Sheet

    layout, plan = solution.layout, solution.plan
    found = []
    planes = [plane for plane in Plane if rows_of(layout, plane)]
    for plane in planes:
        lanes = lanes_of(layout, plane)
        members = [s for s in layout.sections if s.row in lanes]
        span = span_of(solution.train)[2]
        # the letters of a label are set between the bolts, beside its verdict
        along = max((LEGIBLE * (_letters(s.name) + 6) + 0.3) / (s.bolts[1] - s.bolts[0]) for s in members)
        width = _width(along, span, members, 1.2)
        scale = scale_for(solution, lanes, width - 1.2)
        height = paper_height(lanes)
        total = height + 0.9
        figure = Sheet(figsize=(width, total))
        axes = figure.add_axes((0.6 / width, 0.55 / total, 1 - 1.2 / width, height / total))
        train, state = (plan.after, plan.state) if after else (solution.train, solution.state)
        draw_train(axes, train, state, lanes, scale, height=height)
        (draw_ghost if after else draw_moves)(axes, solution, lanes, scale)
        moving = any(layout.sections[layout.index[step.section]].row in lanes for step in plan.steps) and not after
        view = f", {plane.view}" * (len(planes) > 1)
        key = train_key(solution, scale, width - 1.2, moving)
        if after:
            key += " Dashed: where a moved face was."
        _fold_names(axes, members)
        strips = _strips(figure, axes, members)
        found.append(Picture(title=title + view, key=f"{_rows_words(list(lanes))} {key}", strips=tuple(strips)))
    return found


def _rows_words(rows: Sequence[str]) -> str:
    order = f"From the top: row {', row '.join(rows)}. " if len(rows) > 1 else f"Row {rows[0]}. "
    return f"{order}The entry end of the machine is at the left."


def comparison_pictures(comparison: Comparison) -> Picture:
    """Draw each face in both surveys, row by row."""
    from alignment.show.pictures.sheets import Sheet

    layout, strips = comparison.layout, []
    span = span_of(comparison.before)[2]
    for row in (name for plane in Plane for name in rows_down(layout, plane)):
        members = layout.row_sections(row)
        along = max(max(LEGIBLE * (_letters(s.name) + 9), 1.45) / s.length for s in members)
        width = _width(along, span, members, 1.4)
        figure = Sheet(figsize=(width, 2.9))
        axes = figure.add_axes((1.0 / width, 0.55 / 2.9, 1 - 1.4 / width, 1.95 / 2.9))
        draw_row(axes, comparison, row, reach_of(comparison))
        _fold_names(axes, members)
        strips += _strips(figure, axes, members, of=layout.units.of)
    return Picture(title="Before and after", key=comparison_key(comparison), strips=tuple(strips))


def panel_picture(result: PanelResult) -> Picture:
    """Draw the panel as measured, from above, and its bow from the side."""
    from alignment.show.pictures.sheets import Sheet

    scale, factor = plan_scale(result)
    total = PLAN + (SIDE_VIEW if result.bow else 0)
    figure = Sheet(figsize=(WIDTH, total))
    draw_plan(figure.add_axes((0, 1 - PLAN / total, 1, PLAN / total)), result, scale)
    if result.bow:
        draw_bow(figure.add_axes((0, 0, 1, SIDE_VIEW / total)), result, result.bow)
    return Picture(title="Test panel", key=panel_key(result, factor), strips=(render(figure, ".svg"),))


def _width(along: float, span: float, members: Sequence[Section], margins: float) -> float:
    """Width of a whole drawing, in paper for each millimetre `along`, such that two sections at least fit a page."""
    along = min(along, (PAGE - margins) / (2.2 * max(s.length for s in members)))
    return max(PAGE, margins + along * span)


def _letters(name: str) -> int:
    """Letters in the longest line of a name as it is set."""
    return max(map(len, _folded(name)))


def _folded(name: str) -> list[str]:
    lines = -(-len(name) // LONG_NAME)
    return textwrap.wrap(name, -(-len(name) // lines) + 3)


def _fold_names(axes: Axes, members: Sequence[Section]) -> None:
    """Set long names in several lines, at a size at which they can be read."""
    for section in members:
        if len(section.name) > LONG_NAME:
            for text in axes.texts:
                said = text.get_text()
                if said.startswith(section.name):
                    text.set_text("\n".join(_folded(section.name)) + said.removeprefix(section.name))
                    text.set_fontsize(LEGIBLE * 72 / 0.68)
                    text.set_linespacing(1.0)
                    # a name that stands at the edge of the drawing grows away from it
                    at = float(axes.transAxes.inverted().transform(axes.transData.transform(text.get_position()))[1])
                    text.set_verticalalignment("bottom" if at < 0.15 else "top" if at > 0.85 else "center")


def _strips(
    figure: Sheet, axes: Axes, members: Sequence[Section], *, of: Callable[[float], float] = float
) -> list[bytes]:
    """A drawing cut into pages; `of` turns a place along the machine [mm] into the axes' own."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    whole, height = (float(size) for size in figure.get_size_inches())
    if whole <= PAGE * 1.001:
        return [render(figure, ".svg")]
    place = axes.get_position()
    left, right = place.x0 * whole, (1 - place.x1) * whole
    first, last = axes.get_xlim()
    each = (last - first) / (whole - left - right)
    reach = each * (PAGE - left - right)
    windows, low = [first], first
    while ahead := [of(s.start) for s in members if of(s.end) > low + reach * 1.0001]:
        low = min(ahead) - 0.12 * each
        windows.append(low)
    figure.set_size_inches(PAGE, height)
    figure.set_plain()
    words = [text for text in axes.texts if text.get_visible()]
    frame = (0.0, figure.dpi * PAGE)
    renderer = FigureCanvasAgg(figure).get_renderer()  # type: ignore[no-untyped-call]
    title = axes.get_title(loc="left")
    pages = []
    for number, low in enumerate(windows, 1):
        high = max((of(s.end) for s in members if of(s.end) <= low + reach * 1.0001), default=low + reach)
        high = last if number == len(windows) else high + 0.06 * each
        axes.set_xlim(low, high)
        axes.set_position((left / PAGE, place.y0, (high - low) / each / PAGE, place.height))
        part = f"part {number} of {len(windows)}"
        axes.set_title(f"{title}, {part}" if title else part, loc="left", size=11, weight="bold", pad=5)
        for text in words:
            box = text.get_window_extent(renderer)
            # words whose place is cut off, or that would be cut off themselves, stand on another strip
            here = low <= text.get_position()[0] <= high or text.get_transform() != axes.transData
            text.set_visible(bool(here and box.x0 >= frame[0] and box.x1 <= frame[1]))
        pages.append(render(figure, ".svg"))
        for text in words:
            text.set_visible(True)
    return pages
