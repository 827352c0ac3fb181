"""
Two states of a machine on one sheet: where each face was, where it is now, and how sure the change is.

Seen from above with the entry at the left, one strip of paper for each row; its string runs along the edge on which
it hangs, so that toward and away on paper are toward and away at the machine.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from alignment.change.comparison import Comparison
from alignment.change.strings import Status
from alignment.lengths import show
from alignment.machine.layout import Plane
from alignment.show.letters import cut, shortened, width_of
from alignment.show.pictures.drawing import INK, rows_down
from alignment.show.pictures.scales import places_along
from alignment.show.pictures.windows import Window, whole, windows
from alignment.show.words.comparison import dated, sentences
from alignment.show.words.phrases import SHORTLY
from alignment.show.words.pictures import (
    CANNOT_TELL,
    MOVED,
    comparison_key,
    deviation_words,
    hung_words,
    part_words,
    place_words,
    row_words,
)
from alignment.train.train import Train
from alignment.uncertainty import COVERAGE

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["comparison_sheet", "draw_row", "reach_of"]

ORANGE: Final = "#d55e00"
BLUE: Final = "#3a6ea5"
LANE: Final = 2.9
"""Paper for each row. [inches]"""
LEGIBLE: Final = 8.0
"""Size at which names are to be set at least. [points]"""
SMALLEST: Final = 5.0
WHOLE: Final = 14
"""Letters of a name that is not cut for want of room, as long as there may be another part."""
FEWEST: Final = 7
"""Letters of a name that stay."""
LINES: Final = 3
"""Lines of a name and what became of its section."""
USUAL: Final = (11.0, 12.5)
WIDEST: Final = 30.0
"""Of a sheet. [inches]"""
PARTS: Final = 6
"""Parts of a machine that stand below one another at most."""


def comparison_sheet(comparison: Comparison) -> Figure:
    """
    Sheet with the two sentences and, row by row, each face in both surveys.

    Parameters
    ----------
    comparison : Comparison

    Returns
    -------
    Figure
    """
    from alignment.show.pictures.sheets import Sheet, make_room, wrapped

    layout = comparison.layout
    most = max(len(layout.row_sections(row)) for row in layout.rows)
    width = float(np.clip(1.45 * most + 2.5, *USUAL))
    parts = windows(layout, lambda span: _legible(comparison, (width - 1.4) / span), PARTS)
    while width < WIDEST and not _legible(comparison, (width - 1.4) / parts[0].span):
        width = min(1.1 * width, WIDEST)
    words = [line for said in sentences(comparison) for line in wrapped(said, int((width - 0.8) / 0.108))]
    key = wrapped(comparison_key(comparison), int((width - 0.8) / 0.074))
    rows = [name for plane in Plane for name in rows_down(layout, plane)]
    head, foot = 0.75 + 0.24 * len(words), 0.35 + 0.19 * len(key)
    shown = [(k, row) for k, part in enumerate(parts) for row in rows if _reached(comparison, row, part)]
    total = head + LANE * len(shown) + foot
    figure = Sheet(figsize=(width, total))

    def write(y: float, text: str, size: float, weight: str = "normal") -> None:
        figure.text(0.35 / width, 1 - y / total, text, size=size, weight=weight, va="center", color=INK)

    surveys = (comparison.before.survey, comparison.after.survey)
    write(0.3, f"{layout.name}: {dated(surveys[0])} against {dated(surveys[1])}", 12)
    for k, line in enumerate(words):
        write(0.63 + 0.24 * k, line, 13, "bold")
    reach = reach_of(comparison)
    for k, (part, row) in enumerate(shown):
        bottom = (total - head - LANE * (k + 1) + 0.55) / total
        axes = figure.add_axes((1.05 / width, bottom, 1 - 1.4 / width, (LANE - 0.95) / total))
        draw_row(axes, comparison, row, reach, window=parts[part], part=part_words(part, len(parts)))
        make_room(axes)
    for k, line in enumerate(key):
        write(total - foot + 0.2 + 0.19 * k, line, 9)
    return figure


def _faces(comparison: Comparison) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Deviation of each face's ends in the first survey, in the second, and U of the change, (n, 2) each. [mm]"""
    before: Train = comparison.before
    first = np.stack([end.value for end in before.ends], axis=1)
    change = [comparison.motion.at(place) for place in (np.zeros_like(before.length), before.length)]
    second = first + np.stack([c.value for c in change], axis=1)
    return first, second, COVERAGE * np.stack([c.u for c in change], axis=1)


def reach_of(comparison: Comparison) -> float:
    """Largest deviation drawn. [mm]"""
    first, second, _ = _faces(comparison)
    moved = comparison.motion.moved
    known = np.concatenate([np.abs(first).ravel(), np.abs(second[moved]).ravel()])
    return 1.35 * max(float(np.nanmax(known)), 1.3 * comparison.layout.tolerance.offset)


def draw_row(
    axes: Axes, comparison: Comparison, row: str, reach: float, *, window: Window | None = None, part: str = ""
) -> Axes:
    """
    Draw one row: x is the machine's place, y the deviation, both in the layout's units.

    Parameters
    ----------
    axes : Axes
    comparison : Comparison
    row : str
    reach : float
        Largest deviation shown. [mm]
    window : Window, optional
        The part of the machine that is drawn; all of it by default.
    part : str
        Which part that is, in words.

    Returns
    -------
    Axes
    """
    layout = comparison.layout
    units = layout.units
    of = units.of
    first, second, u = _faces(comparison)
    members = [i for i, s in enumerate(layout.sections) if s.row == row]
    # looking downstream from the left edge of the page, left is up: a string on the left is at the top
    up = 1 if layout.rows[row].side in ("right", "below") else -1
    # all rows on the same scale, so that facing sections stand below one another
    window = window or whole(layout)
    low, high = _reached(comparison, row, window) or (window.low, window.high)
    axes.set_xlim(of(window.low), of(window.high))
    axes.set_xticks([of(x) for x in places_along(units, window.low, window.high)])
    string = -1.02 * reach
    axes.set_ylim(*(of(y) for y in ((1.4 * reach, 1.25 * string) if up < 0 else (1.25 * string, 1.4 * reach))))
    letters = int((axes.figure.get_figwidth() - 4) / 0.12)  # type: ignore[union-attr]
    title = f"{row_words(cut(row, letters), layout.rows[row].plane)}{part}"
    axes.set_title(title, loc="left", size=12, weight="bold", pad=5)
    tolerance = layout.tolerance.offset
    axes.axhspan(of(-tolerance), of(tolerance), color="#e6e6e6", lw=0, zorder=0)
    axes.axhline(0, color="#888888", lw=0.7, zorder=1)
    axes.plot([of(low), of(high)], [of(string)] * 2, color=INK, lw=1.3, ls=(0, (9, 2, 2, 2)))
    axes.text(
        of(low),
        of(1.04 * string),
        hung_words(comparison, row),
        size=9.5,
        style="italic",
        va="bottom" if up < 0 else "top",
    )
    # where everything is far out, the limits are too near one another to be told at the edge
    apart = (LANE - 0.95) * tolerance / (1.4 * reach - 1.25 * string)
    ticks = [-tolerance, 0.0, tolerance] if apart > 0.17 else [0.0]
    axes.set_yticks([of(t) for t in ticks], [show(t, units, signed=True) for t in ticks], size=9)
    axes.set_ylabel(deviation_words(units), size=9)
    axes.tick_params(axis="x", labelsize=9)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    paper = (axes.figure.get_figwidth() - 1.4) / window.span  # type: ignore[union-attr]
    families = _families(comparison)
    size = max(_size(comparison, paper, families), SMALLEST)
    for i in members:
        if window.holds(layout.sections[i]):
            _draw_section(axes, comparison, i, first[i], second[i], u[i], up, size, paper, families)
    axes.set_xlabel(place_words(units), size=9)
    return axes


def _draw_section(
    axes: Axes,
    comparison: Comparison,
    i: int,
    first: np.ndarray,
    second: np.ndarray,
    u: np.ndarray,
    up: int,
    size: float,
    paper: float,
    families: Mapping[str, tuple[str, ...]],
) -> None:
    layout, motion = comparison.layout, comparison.motion
    units, section = layout.units, layout.sections[i]
    of, row = units.of, layout.rows[section.row]
    x = np.array([of(section.start), of(section.end)])
    gap = 0.01 * (x[1] - x[0])
    x = x + np.array([gap, -gap])
    status = motion.status[i]
    if not np.isnan(first[0]):
        axes.plot(x, [of(v) for v in first], color="#555555", lw=1.8, ls=(0, (3, 2)), zorder=4)
    name_y = _away_edge(axes)
    colour = ORANGE if status is Status.moved else BLUE
    weight = "bold" if status is Status.moved else "normal"
    lines, _ = _label(comparison, i, paper, families)
    edge: dict[str, Any] = {
        "ha": "center",
        "va": "bottom" if up < 0 else "top",
        "weight": weight,
        "color": INK,
        "zorder": 9,
    }
    axes.text(x.mean(), name_y, "\n".join(lines), size=size, **edge)
    if status in (Status.open, Status.doubtful, Status.untouched) or np.isnan(second[0]):
        return
    # the U of a still section is against the few others; its shade would hide the faces
    if status is Status.moved:
        low, high = (np.array([of(v) for v in second + sign * u]) for sign in (-1, 1))
        axes.fill_between(x, low, high, facecolor=colour, alpha=0.22, lw=0, zorder=2)
        # by itself: a pattern would be as faint as the shade, and in some files not there at all
        axes.fill_between(x, low, high, facecolor="none", hatch="////", edgecolor=colour, lw=0, zorder=2.1)
    axes.plot(
        x,
        [of(v) for v in second],
        color=colour,
        lw=3.2 if status is Status.moved else 2.4,
        zorder=5,
        solid_capstyle="butt",
    )
    if status is not Status.moved:
        return
    for bolt in (0, 1):
        change = motion.bolts()[bolt]
        value, reach = float(change.value[i]), COVERAGE * float(change.u[i])
        if abs(value) <= reach:
            continue
        share = section.bolts[bolt] / section.length
        begin = float(first[0] + (first[1] - first[0]) * share)
        at = of(section.start + section.bolts[bolt])
        arrow = {"arrowstyle": "-|>", "lw": 1.8, "color": INK, "shrinkA": 0, "shrinkB": 0, "mutation_scale": 14}
        axes.annotate("", (at, of(begin + value)), (at, of(begin)), arrowprops=arrow, zorder=7)
        axes.annotate(
            f"{show(abs(value), units)} {SHORTLY[row.direction(-value)]}",
            (at, of(begin)),
            (0, -11 * up * (1 if value > 0 else -1)),
            textcoords="offset points",
            size=9,
            weight="bold",
            ha="center",
            va="center",
            zorder=8,
            bbox={"boxstyle": "round,pad=0.12", "fc": "white", "ec": "none", "alpha": 0.85},
        )


def _away_edge(axes: Axes) -> float:
    """Height at which names stand: along the edge away from the string."""
    first, last = axes.get_ylim()
    away = max(first, last)
    return float(away - 0.02 * abs(last - first))


def _reached(comparison: Comparison, row: str, window: Window) -> tuple[float, float] | None:
    """What of a row is in a window. [mm]"""
    members = comparison.layout.row_sections(row)
    return window.clipped(members[0].start, members[-1].end)


def _legible(comparison: Comparison, paper: float) -> bool:
    families = _families(comparison)
    return all(
        _label(comparison, i, paper, families, WHOLE)[1] >= LEGIBLE for i in range(len(comparison.motion.status))
    )


def _families(comparison: Comparison) -> dict[str, tuple[str, ...]]:
    """Names of each row's sections, in the letters in which they are set."""
    from alignment.show.pictures.sheets import shown

    layout = comparison.layout
    return {row: tuple(shown(s.name) for s in layout.row_sections(row)) for row in layout.rows}


def _size(comparison: Comparison, paper: float, families: Mapping[str, tuple[str, ...]]) -> float:
    """Size at which all names fit above their sections; `paper` is inches for a millimetre. [points]"""
    return min(10.5, *(_label(comparison, i, paper, families)[1] for i in range(len(comparison.layout.sections))))


def _label(
    comparison: Comparison, i: int, paper: float, families: Mapping[str, tuple[str, ...]], fewest: int = FEWEST
) -> tuple[list[str], float]:
    """A section's name and what became of it, shortened if need be, and the size at which it fits. [points]"""
    from alignment.show.pictures.sheets import shown

    layout, status = comparison.layout, comparison.motion.status[i]
    section = layout.sections[i]
    how = {Status.still: "", Status.moved: MOVED, Status.untouched: ""}.get(status, CANNOT_TELL)
    family = families[section.row]
    name, room = shown(section.name), 72 * 0.98 * section.length * paper
    for letters in (len(name), *(n for n in (48, 36, 28, 22, 18, 14, 11, 9, 7) if fewest <= n < len(name))):
        short = shortened(name, family, letters)
        halves = textwrap.wrap(short, -(-len(short) // 2) + 2, break_long_words=False)
        for lines in (
            [f"{short}: {how}"] if how else [short],
            [short, *[how] * bool(how)],
            [*halves, *[how] * bool(how)],
        ):
            size = room / max(width_of(line, bold=True) for line in lines)
            if size >= LEGIBLE and len(lines) <= LINES:
                return lines, size
    return [short, *[how] * bool(how)], size
