"""The station train before and after, on one sheet, with the moves in words."""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from alignment.choices import Line
from alignment.lengths import show
from alignment.machine.layout import Layout, Plane
from alignment.show.pictures.drawing import (
    INK,
    Lane,
    draw_ghost,
    draw_moves,
    draw_train,
    lanes_of,
    paper_height,
    scale_for,
    span_of,
)
from alignment.show.pictures.labels import label_size
from alignment.show.words.cautions import FULL, SHORT
from alignment.show.words.flags import flag_words
from alignment.show.words.moves import by_section, read_again_words, step_lines
from alignment.show.words.phrases import VIEWS
from alignment.show.words.pictures import other_sheet
from alignment.show.words.solution import summary
from alignment.train.across import rows_of
from alignment.train.solve import Solution
from alignment.train.state import State

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["picture_paths", "render", "train_key", "train_pictures", "train_sheet"]

LEGIBLE: Final = 6.5
"""Size at which a section's label is to be set at least. [points]"""
WIDEST: Final = 40.0
"""Of a sheet. [inches]"""
LISTED: Final = 8
"""Sections whose moves are written out on the sheet."""


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
        Sized so that each row has the same height and long trains are wider.
    """
    from alignment.show.pictures.sheets import Sheet, make_room, shown, wrapped

    layout = solution.layout
    lanes = lanes_of(layout, plane)
    most = max(len(layout.row_sections(row)) for row in lanes)
    width = float(np.clip(1.15 * most + 2, 11.5, 30))
    # wider, within reason, where names would be cut or too small to be read
    while width < WIDEST and label_size(layout, lanes, (width - 1.2) / span_of(solution.train)[2], shown) < LEGIBLE:
        width = min(1.1 * width, WIDEST)
    small = int((width - 0.8) / 0.071)
    elsewhere = wrapped(other_sheet(layout, plane, beside), int((width - 0.8) / 0.086))
    words = [*((line, False) for line in elsewhere), *_words(solution, width, lanes)]
    moving = any(layout.sections[layout.index[step.section]].row in lanes for step in solution.plan.steps)
    scale = scale_for(solution, lanes, width - 1.2)
    key = wrapped(train_key(solution, scale, width - 1.2, moving), small)
    full = FULL if moving else ()
    cautions = [line for k, said in enumerate(full, 1) for line in wrapped(f"{k}. {said}", small)]
    height = paper_height(lanes)
    panel = height + 0.95
    foot = 0.3 + 0.18 * (len(key) + len(cautions) + bool(cautions))
    titles = wrapped(f"{layout.name}: {summary(solution)}", int((width - 0.6) / 0.125))
    head = 0.3 + 0.3 * len(titles)
    total = head + 0.215 * len(words) + panel * (1 + moving) + foot
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
        states.append((solution.plan.after, solution.plan.state, "After the moves, as the tape should then read"))
    for train, state, title in states:
        axes = figure.add_axes((0.6 / width, (top - panel + 0.5) / total, 1 - 1.2 / width, height / total))
        draw_train(axes, train, state, lanes, scale, height=height, letters=shown)
        room = int((width - 0.9) / 0.098) - len(title) - 2
        axes.set_title(f"{title}. {_verdict_words(state, lanes, room)}", loc="left", size=12, weight="bold", pad=4)
        if train is solution.train:
            draw_moves(axes, solution, lanes, scale)
        else:
            draw_ghost(axes, solution, lanes, scale)
        make_room(axes)
        top -= panel
    for k, line in enumerate([*key, *[""] * bool(cautions), *cautions]):
        write(total - foot + 0.15 + 0.18 * k, line, 9)
    return figure


def _words(solution: Solution, width: float, lanes: Mapping[str, Lane]) -> list[tuple[str, bool]]:
    """What to do as lines of text, each bold or not; flags come before the moves."""
    from alignment.show.pictures.sheets import wrapped

    normal, bold = int((width - 0.8) / 0.086), int((width - 0.8) / 0.103)
    lines: list[tuple[str, bool]] = []
    for flag in solution.flags:
        if flag.harmful:
            lines += [(line, True) for line in wrapped(f"Before moving: {flag_words(flag, solution.layout)}", bold)]

    for text in read_again_words(solution):
        lines += [(line, True) for line in wrapped(f"Read again: {text}", bold)]

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
        lines.append((f"and {len(groups) - LISTED} more sections: the printed list has them all.", True))
    return lines


def _verdict_words(state: State, lanes: Mapping[str, Lane], room: int) -> str:
    """Which sections are out, or how many where their names take more letters than there is room for."""
    shown = [s for s in state.sections if s.row in lanes]
    out = [s.name for s in shown if not s.verdict.inside]
    if not out:
        return "Every section in tolerance" + ("" if state.verdict.sure else ", not all proved")
    names = f"Out: {', '.join(out)}"
    return names if len(names) <= room else f"{len(out)} of {len(shown)} sections out"


def train_key(solution: Solution, scale: float, paper: float, moving: bool) -> str:
    """What a drawing of a train shows, and by what factor; `paper` is its width [inches], `scale` [inches per mm]."""
    layout = solution.layout
    t, units = layout.tolerance, layout.units
    factor = scale / (paper / span_of(solution.train)[2])
    told = (
        f"Deviations drawn {factor:.0f} times larger than lengths along the machine. Grey band: offset tolerance "
        f"{show(t.offset, units)} {units}, about the target. Heavy line: fitted face; shade: its uncertainty U; "
        "diamond: a reading. Hatched: OUT or OUT?; dashed outline: not proved. "
        "Distance to the string and depth of the sections are not to scale."
    )
    if solution.train.line is not Line.string:
        told += " Deviations are taken from a line laid beside the string; the string is drawn as it hangs beside it."
    return told + (
        " Numbered disc: bolt end to loosen, as numbered in the list; arrow: which way it goes. Triangle: pivot."
        if moving
        else ""
    )
