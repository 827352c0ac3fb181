"""
Two states of a machine on one sheet: where each face was, where it is now, and how sure the change is.

Seen from above with the entry at the left, one strip of paper for each row; its string runs along the edge on which
it hangs, so that toward and away on paper are toward and away at the machine.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from alignment.change.comparison import Comparison
from alignment.change.strings import Status
from alignment.lengths import show
from alignment.machine.layout import Plane
from alignment.show.letters import cut, width_of
from alignment.show.pictures.drawing import INK, rows_down, span_of
from alignment.show.pictures.scales import place_words, places_along
from alignment.show.words.comparison import dated, sentences
from alignment.show.words.phrases import SHORTLY
from alignment.train.train import Train
from alignment.uncertainty import COVERAGE

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["comparison_key", "comparison_sheet", "draw_row", "reach_of"]

MOVED: Final = "#d55e00"
STILL: Final = "#3a6ea5"
LANE: Final = 2.9
"""Paper for each row. [inches]"""


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
    width = float(np.clip(1.45 * most + 2.5, 11, 34))
    words = [line for said in sentences(comparison) for line in wrapped(said, int((width - 0.8) / 0.108))]
    key = wrapped(comparison_key(comparison), int((width - 0.8) / 0.074))
    rows = [name for plane in Plane for name in rows_down(layout, plane)]
    head, foot = 0.75 + 0.24 * len(words), 0.35 + 0.19 * len(key)
    total = head + LANE * len(rows) + foot
    figure = Sheet(figsize=(width, total))

    def write(y: float, text: str, size: float, weight: str = "normal") -> None:
        figure.text(0.35 / width, 1 - y / total, text, size=size, weight=weight, va="center", color=INK)

    surveys = (comparison.before.survey, comparison.after.survey)
    write(0.3, f"{layout.name}: {dated(surveys[0])} against {dated(surveys[1])}", 12)
    for k, line in enumerate(words):
        write(0.63 + 0.24 * k, line, 13, "bold")
    reach = reach_of(comparison)
    for k, row in enumerate(rows):
        bottom = (foot + LANE * (len(rows) - 1 - k) + 0.55) / total
        axes = figure.add_axes((1.05 / width, bottom, 1 - 1.4 / width, (LANE - 0.95) / total))
        draw_row(axes, comparison, row, reach)
        make_room(axes)
    for k, line in enumerate(key):
        write(total - foot + 0.2 + 0.19 * k, line, 9)
    return figure


def comparison_key(comparison: Comparison) -> str:
    """What a drawing of two states shows."""
    units = comparison.layout.units
    hung = any(answer.hung for string in comparison.motion.strings for answer in string.answers)
    string = ", less what the string did between the surveys" if hung else ""
    return (
        f"Dashed: face in the first survey. Solid: in the second{string}; shade: U of its change. Orange, hatched and "
        f"with an arrow: moved; blue: no change that this tape can see. Amounts: at the bolt ends "
        f"({units}); those without room are in the list. "
        "Grey band: offset tolerance. Deviations are drawn much larger than lengths along the machine."
    )


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


def draw_row(axes: Axes, comparison: Comparison, row: str, reach: float) -> Axes:
    """
    Draw one row: x is the machine's place, y the deviation, both in the layout's units.

    Parameters
    ----------
    axes : Axes
    comparison : Comparison
    row : str
    reach : float
        Largest deviation shown. [mm]

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
    low, high = layout.sections[members[0]].start, layout.sections[members[-1]].end
    # all rows on the same scale, so that facing sections stand below one another
    begins, ends, span = span_of(comparison.before)
    axes.set_xlim(of(begins), of(ends))
    axes.set_xticks([of(x) for x in places_along(units, begins, ends)])
    string = -1.02 * reach
    axes.set_ylim(*(of(y) for y in ((1.4 * reach, 1.25 * string) if up < 0 else (1.25 * string, 1.4 * reach))))
    heights = " (heights)" if layout.rows[row].plane is Plane.height else ""
    letters = int((axes.figure.get_figwidth() - 3) / 0.12)  # type: ignore[union-attr]
    axes.set_title(f"Row {cut(row, letters)}{heights}", loc="left", size=12, weight="bold", pad=5)
    tolerance = layout.tolerance.offset
    axes.axhspan(of(-tolerance), of(tolerance), color="#e6e6e6", lw=0, zorder=0)
    axes.axhline(0, color="#888888", lw=0.7, zorder=1)
    axes.plot([of(low), of(high)], [of(string)] * 2, color=INK, lw=1.3, ls=(0, (9, 2, 2, 2)))
    axes.text(
        of(low),
        of(1.04 * string),
        _string_words(comparison, row),
        size=9.5,
        style="italic",
        va="bottom" if up < 0 else "top",
    )
    # where everything is far out, the limits are too near one another to be told at the edge
    apart = (LANE - 0.95) * tolerance / (1.4 * reach - 1.25 * string)
    ticks = [-tolerance, 0.0, tolerance] if apart > 0.17 else [0.0]
    axes.set_yticks([of(t) for t in ticks], [show(t, units, signed=True) for t in ticks], size=9)
    axes.set_ylabel(f"deviation ({units})", size=9)
    axes.tick_params(axis="x", labelsize=9)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    paper = (axes.figure.get_figwidth() - 1.4) / span  # type: ignore[union-attr]
    for i in members:
        _draw_section(axes, comparison, i, first[i], second[i], u[i], up, paper)
    axes.set_xlabel(place_words(units), size=9)
    return axes


def _string_words(comparison: Comparison, row: str) -> str:
    layout, units = comparison.layout, comparison.layout.units
    told = layout.rows[row]
    said = f"string {told.string} ({SHORTLY[told.direction(1)]} is this way)"
    sections = {layout.index[s.name] for s in layout.row_sections(row)}
    found = next((s for s in comparison.motion.strings if sections & set(s.members)), None)
    if found is None or not found.changed:
        return said
    ends = [show(float(v), units, signed=True) for v in found.change]
    return f"{said}: hung {ends[0]} at the entry, {ends[1]} at the exit (+ farther off)"


def _draw_section(
    axes: Axes,
    comparison: Comparison,
    i: int,
    first: np.ndarray,
    second: np.ndarray,
    u: np.ndarray,
    up: int,
    paper: float,
) -> None:
    from alignment.show.pictures.sheets import shown

    layout, motion = comparison.layout, comparison.motion
    units, section = layout.units, layout.sections[i]
    of, row = units.of, layout.rows[section.row]
    x = np.array([of(section.start), of(section.end)])
    gap = 0.01 * (x[1] - x[0])
    x = x + np.array([gap, -gap])
    status = motion.status[i]
    room = 0.98 * section.length * paper
    if not np.isnan(first[0]):
        axes.plot(x, [of(v) for v in first], color="#555555", lw=1.8, ls=(0, (3, 2)), zorder=4)
    name_y = _away_edge(axes)
    colour = MOVED if status is Status.moved else STILL
    weight = "bold" if status is Status.moved else "normal"
    how = {Status.still: "", Status.moved: "moved", Status.untouched: ""}.get(status, "cannot be told")
    said, size = _name(shown(section.name), how, room)
    edge: dict[str, Any] = {
        "ha": "center",
        "va": "bottom" if up < 0 else "top",
        "weight": weight,
        "color": INK,
        "zorder": 9,
    }
    axes.text(x.mean(), name_y, said, size=size, **edge)
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


def _name(name: str, how: str, room: float) -> tuple[str, float]:
    """A name and what became of it, in a line or two and cut if need be, and the size at which they fit. [points]"""
    said = f"{name}: {how}" if how else name
    size = 72 * room / width_of(said, bold=True)
    if size >= 8:
        return said, min(size, 11.0)
    for letters in (len(name), *(n for n in (48, 36, 28, 22, 18, 14, 11, 9, 7) if n < len(name))):
        lines = [cut(name, letters), *[how] * bool(how)]
        size = 72 * room / max(width_of(line, bold=True) for line in lines)
        if size >= 7:
            break
    return "\n".join(lines), float(np.clip(size, 5.0, 11.0))
