"""The station train before and after, on one sheet, with the moves in words."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from alignment.machine.layout import Layout, Plane
from alignment.show.pictures.drawing import (
    INK,
    Lane,
    draw_train,
    lanes_of,
    paper_height,
    scale_for,
)
from alignment.show.pictures.labels import label_size
from alignment.show.pictures.moves import draw_ghost, draw_moves
from alignment.show.pictures.windows import Window, windows
from alignment.show.words.cautions import FULL, SHORT
from alignment.show.words.flags import flag_words
from alignment.show.words.moves import by_section, read_again_words, step_lines
from alignment.show.words.phrases import VIEWS
from alignment.show.words.pictures import (
    AFTER,
    asked_again,
    before_moving,
    more_doubts,
    more_moves,
    other_sheet,
    part_words,
    train_key,
    verdict_title,
)
from alignment.show.words.solution import summary
from alignment.train.across import rows_of
from alignment.train.solve import Solution

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["picture_paths", "render", "train_pictures", "train_sheet"]

LEGIBLE: Final = 6.5
"""Size at which a section's label is to be set at least. [points]"""
USUAL: Final = (11.5, 12.5)
WIDEST: Final = 30.0
"""Of a sheet. [inches]"""
PARTS: Final = 4
"""Parts of a machine that stand below one another at most."""
LISTED: Final = 8
"""Sections whose moves are written out on the sheet; doubts, too."""


def render(figure: Figure, suffix: str) -> bytes:
    """
    Figure as the bytes of a file, the same for the same figure.

    Parameters
    ----------
    figure : Figure
    suffix : str
        ``.svg``, ``.png`` or ``.pdf``.
    """
    import matplotlib as mpl

    stream = io.BytesIO()
    kind = suffix.lower().lstrip(".")
    dated: dict[str, Any] = {"svg": {"Date": None}, "pdf": {"CreationDate": None}}
    with mpl.rc_context({"svg.hashsalt": "stringtrue", "pdf.fonttype": 42}):
        # a name in letters that the font lacks is drawn as boxes; the warning would be no help to the user
        figure.savefig(stream, format=kind, dpi=150, metadata=dated.get(kind))
    return stream.getvalue()


def picture_paths(layout: Layout, path: Path) -> dict[Plane, Path]:
    """Where each plane of a machine is drawn: at the path, and where both are, heights beside it as ``-heights``."""
    planes = [plane for plane in Plane if rows_of(layout, plane)]
    beside = path.with_stem(f"{path.stem}-heights") if len(planes) > 1 and path.name else path
    return {plane: beside if plane is Plane.height else path for plane in planes}


def train_pictures(solution: Solution, path: Path) -> list[tuple[Path, bytes]]:
    """Sheets of a solution as files; see `picture_paths`."""
    paths = picture_paths(solution.layout, path)
    drawn = []
    for plane, place in paths.items():
        beside = next((other.name for p, other in paths.items() if p is not plane), "")
        drawn.append((place, render(train_sheet(solution, plane, beside=beside), path.suffix)))
    return drawn


def train_sheet(solution: Solution, plane: Plane = Plane.side, *, beside: str = "") -> Figure:
    """
    Sheet with the moves in words, the train as found, and the train as it will be after the moves.

    Parameters
    ----------
    solution : Solution
    plane : Plane
        Which rows: those measured sideways, seen from above, or those measured in height, seen from the side.
    beside : str
        Name of the file with the other plane.

    Returns
    -------
    Figure
        Each row has the same height; a long train stands in parts below one another.
    """
    from alignment.show.pictures.sheets import Sheet, make_room, shown, wrapped

    layout = solution.layout
    lanes = lanes_of(layout, plane)
    width, parts = _parts(layout, lanes, shown)
    along = (width - 1.2) / parts[0].span
    small = int((width - 0.8) / 0.071)
    elsewhere = wrapped(other_sheet(layout, plane, beside), int((width - 0.8) / 0.086))
    words = [*((line, False) for line in elsewhere), *_words(solution, width, lanes)]
    moving = any(layout.sections[layout.index[step.section]].row in lanes for step in solution.plan.steps)
    scale = scale_for(solution, lanes, along)
    key = wrapped(train_key(solution, scale / along, moving=moving, ghost=moving), small)
    full = FULL if moving else ()
    cautions = [line for k, said in enumerate(full, 1) for line in wrapped(f"{k}. {said}", small)]
    height = paper_height(lanes)
    panel = height + 0.95
    foot = 0.3 + 0.18 * (len(key) + len(cautions) + bool(cautions))
    titles = wrapped(f"{layout.name}: {summary(solution)}", int((width - 0.6) / 0.125))
    head = 0.3 + 0.3 * len(titles)
    total = head + 0.215 * len(words) + panel * (1 + moving) * len(parts) + foot
    figure = Sheet(figsize=(width, total))

    def write(y: float, text: str, size: float, *, bold: bool = False) -> None:
        weight = "bold" if bold else "normal"
        figure.text(0.3 / width, 1 - y / total, text, size=size, weight=weight, va="center", color=INK)

    for k, line in enumerate(titles):
        write(0.3 + 0.3 * k, line, 15, bold=True)
    for k, (line, bold) in enumerate(words):
        write(head + 0.08 + 0.215 * k, line, 11 if bold else 10.5, bold=bold)
    top = total - head - 0.215 * len(words)
    taken = solution.survey.record.get("taken", "")
    title = f"As read, {VIEWS[plane]}: {solution.survey.source}{', ' * bool(taken)}{taken}"
    states = [(solution.train, solution.state, title)]
    if moving:
        states.append((solution.plan.after, solution.plan.state, AFTER))
    for train, state, title in states:
        for k, window in enumerate(parts):
            axes = figure.add_axes((0.6 / width, (top - panel + 0.5) / total, 1 - 1.2 / width, height / total))
            draw_train(axes, train, state, lanes, scale, height=height, window=window, letters=shown)
            (draw_moves if train is solution.train else draw_ghost)(axes, solution, lanes, scale, window)
            head_line = f"{title}{part_words(k, len(parts))}"
            room = int((width - 0.9) / 0.098) - len(head_line) - 2
            verdict = f". {verdict_title(state, list(lanes), room)}" if k == 0 else ""
            axes.set_title(f"{head_line}{verdict}", loc="left", size=12, weight="bold", pad=4)
            make_room(axes)
            top -= panel
    for k, line in enumerate([*key, *[""] * bool(cautions), *cautions]):
        write(total - foot + 0.15 + 0.18 * k, line, 9)
    return figure


def _parts(layout: Layout, lanes: Mapping[str, Lane], letters: Callable[[str], str]) -> tuple[float, list[Window]]:
    """Width of a sheet and the parts of the machine below one another on it, such that names can be read."""

    def legible(span: float) -> bool:
        return label_size(layout, lanes, (width - 1.2) / span, letters) >= LEGIBLE

    most = max(len(layout.row_sections(row)) for row in lanes)
    width = float(np.clip(1.15 * most + 2, *USUAL))
    parts = windows(layout, legible, PARTS)
    # wider, within reason, where many parts do not do it
    while width < WIDEST and not legible(parts[0].span):
        width = min(1.1 * width, WIDEST)
    return width, parts


def _words(solution: Solution, width: float, lanes: Mapping[str, Lane]) -> list[tuple[str, bool]]:
    """What to do as lines of text, each bold or not; flags come before the moves."""
    from alignment.show.pictures.sheets import wrapped

    normal, bold = int((width - 0.8) / 0.086), int((width - 0.8) / 0.103)
    lines: list[tuple[str, bool]] = []
    doubts = [before_moving(flag_words(flag, solution.layout)) for flag in solution.flags if flag.harmful]
    doubts += [asked_again(text) for text in read_again_words(solution)]
    doubts = [*doubts[:LISTED], more_doubts(len(doubts) - LISTED)] if len(doubts) > LISTED else doubts
    lines += [(line, True) for text in doubts for line in wrapped(text, bold)]

    layout, mark = solution.layout, solution.survey.tape.mark
    # numbered as in the printed list and at the arrows, whichever plane they are of
    numbered = enumerate(by_section(solution.plan.steps), 1)
    groups = [(n, s) for n, s in numbered if layout.sections[layout.index[s[0].section]].row in lanes]
    # above whatever sends a person to the machine, if only to read again
    if lines or groups:
        lines = [*((line, True) for line in wrapped(" ".join(SHORT), bold)), *lines]
    for number, steps in groups[:LISTED]:
        action, *readings = step_lines(steps, layout, mark)
        do = f"{number}  {steps[0].section}: {action}"
        lines += [(line, True) for line in wrapped(do, bold)]
        indent = " " * 6
        lines += [
            (line, False)
            for line in wrapped(
                " ".join(readings),
                normal,
                initial_indent=indent,
                subsequent_indent=indent,
            )
        ]
    if len(groups) > LISTED:
        lines.append((more_moves(len(groups) - LISTED), True))
    return lines
