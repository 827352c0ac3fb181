"""
Drawing a station train from above or from the side, with the entry at the left.

Along the machine everything is to scale; across it, deviations are drawn larger by a stated factor, and the distance
to the string is not to scale. Lengths across are laid out in inches of paper.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from alignment.lengths import show
from alignment.machine.layout import Layout, Plane
from alignment.show.letters import shortened, width_of
from alignment.show.pictures.labels import BESIDE, BODY, Number, discs_at, fitted, label_size, numbers_size
from alignment.show.pictures.scales import places_along, round_down
from alignment.show.pictures.windows import Window, whole
from alignment.show.words.pictures import (
    STRIP_RUNS,
    UNREAD,
    UNREAD_SHORT,
    place_words,
    step_words,
    string_words,
    wanted_words,
)
from alignment.show.words.stops import reading_words
from alignment.train.across import rows_across, rows_of
from alignment.train.solve import Solution
from alignment.train.state import SectionState, State
from alignment.train.train import Train
from alignment.uncertainty import COVERAGE, Verdict

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "FILL",
    "INK",
    "Lane",
    "draw_train",
    "lanes_of",
    "paper_height",
    "paper_width",
    "rows_down",
    "scale_for",
]

SWING: Final = 0.55
"""Paper for the largest deviation, either way. [inches]"""
STRING: Final = 1.1
"""Where the string is drawn, from the face line. [inches]"""
SLANT: Final = 0.3
"""Paper for the slant of a string that is seen from another line, either way. [inches]"""
STRIP: Final = 0.35
"""Paper for the strip where no second row leaves room for it. [inches]"""
# told apart by lightness and hatch as well as by hue (blue and vermilion, safe for the colour-blind)
FILL: Final = {
    Verdict.ok: ("#cfe3f2", ""),
    Verdict.ok_unsure: ("#e9f1f7", ""),
    Verdict.unknown: ("#e9f1f7", ""),
    Verdict.out_unsure: ("#f2b48a", "///"),
    Verdict.out: ("#d55e00", "///"),
}
INK: Final = "#1a1a1a"


@dataclass(frozen=True, kw_only=True)
class Lane:
    """One row on paper. Directions across are +1 down the page (to the right looking downstream, or down), -1 up."""

    row: str
    y: float
    away: int
    """Direction in which deviations grow."""
    body: int
    """Direction from the face to the body of its sections."""

    def room(self, direction: int) -> float:
        """Paper that the row needs above (-1) or below (+1) its face line. [inches]"""
        if direction == -self.away:
            return STRING + 0.32
        return SWING + (BODY if self.body == direction else 0.2)


def scale_for(solution: Solution, lanes: Mapping[str, Lane], along: float) -> float:
    """
    Paper for each millimetre of deviation, such that the stated factor is a round number. [inches per mm]

    `along` is the paper for a millimetre along the machine.
    """
    largest = [1.4 * solution.layout.tolerance.offset]
    shown = np.array([s.row in lanes for s in solution.layout.sections]) & solution.train.measured
    for train in (solution.train, solution.plan.after):
        for end in train.ends:
            largest += [float(np.max((np.abs(end.value) + 0.6 * COVERAGE * end.u)[shown], initial=0.0))]
    machine = whole(solution.layout)
    # a string that slants must not run into the title or the next row
    for shift, slope in solution.train.string_lines.values():
        largest += [abs(shift + slope * x) * SWING / SLANT for x in (machine.low, machine.high)]
    return round_down(SWING / max(largest) / along) * along


def rows_down(layout: Layout, plane: Plane) -> list[str]:
    """Rows of one plane as they stand down the page: those that face others from left to right, then the rest."""
    across = rows_across(layout) if plane is Plane.side else []
    return list(dict.fromkeys([*(name for pair in across for name in pair), *rows_of(layout, plane)]))


def lanes_of(layout: Layout, plane: Plane) -> dict[str, Lane]:
    """
    Rows of one plane across the page, each with its directions.

    Seen from above, the left row looking downstream stands uppermost; seen from the side, up is up.
    """
    facing = plane is Plane.side and bool(rows_across(layout))
    lanes = {}
    top = 0.0
    for k, name in enumerate(rows_down(layout, plane)):
        side = layout.rows[name].side or ("left" if k == 0 else "right")
        away = 1 if side in ("left", "above") else -1
        # facing rows stand back to back with the strip between them; a row alone stands beyond its string
        body = away if not facing else -1 if k == 0 else 1
        lane = Lane(row=name, y=0.0, away=away, body=body)
        lanes[name] = replace(lane, y=top + lane.room(-1))
        top += lane.room(-1) + lane.room(1)
    return lanes


def paper_height(lanes: Mapping[str, Lane]) -> float:
    """Paper that all rows need, and the strip where it does not run between them. [inches]"""
    return sum(lane.room(-1) + lane.room(1) for lane in lanes.values()) + STRIP * (not _facing(lanes))


def _facing(lanes: Mapping[str, Lane]) -> bool:
    """Whether the strip runs between the first two rows."""
    first, *others = lanes.values()
    return bool(others) and first.body < 0 < others[0].body


def draw_train(
    axes: Axes,
    train: Train,
    state: State,
    lanes: dict[str, Lane],
    scale: float,
    *,
    height: float,
    window: Window | None = None,
    letters: Callable[[str], str] = str,
) -> Axes:
    """
    Draw one state of a train.

    Parameters
    ----------
    axes : Axes
        Drawn upon; x is set to the machine's place [mm], y to inches of paper, down the page.
    train, state
        The train and its verdicts.
    lanes : dict
        Where each row is drawn.
    scale : float
        Inches of paper for each millimetre of deviation.
    height : float
        Height of the axes. [inches]
    window : Window, optional
        The part of the machine that is drawn; all of it by default.
    letters : callable
        Gives a name in the letters in which it can be set.

    Returns
    -------
    Axes
    """
    layout, units = train.layout, train.layout.units
    window = window or whole(layout)
    low, high = window.low, window.high
    axes.set_xlim(low, high)
    axes.set_ylim(height, 0)
    axes.set_yticks([])
    axes.tick_params(axis="x", labelsize=9, length=3)
    axes.set_xlabel(place_words(units), size=9, labelpad=2)
    places = places_along(units, low, high)
    axes.set_xticks(places, [f"{units.of(x):.0f}" for x in places])
    for side in ("top", "left", "right"):
        axes.spines[side].set_visible(False)
    size = label_size(layout, lanes, paper_width(axes) / window.span, letters)
    for lane in lanes.values():
        _row(axes, train, state, lane, scale, window, size, letters)
    _joints(axes, train, state, lanes, scale, window)
    _strip(axes, lanes, low, high)
    return axes


def paper_width(axes: Axes) -> float:
    """Width of the axes. [inches]"""
    figure = axes.get_figure(root=True)
    return 0.0 if figure is None else float(figure.get_size_inches()[0]) - 1.2


def _strip(axes: Axes, lanes: dict[str, Lane], low: float, high: float) -> None:
    ys = sorted(lane.y for lane in lanes.values())
    y = (ys[0] + ys[1]) / 2 if _facing(lanes) else float(axes.get_ylim()[0]) - STRIP / 2
    middle = (low + high) / 2
    reach = 0.08 * (high - low)
    axes.annotate(
        "", (middle + reach, y), (middle - reach, y), arrowprops={"arrowstyle": "-|>", "lw": 2.2, "color": "#666666"}
    )
    axes.text(middle - 1.1 * reach, y, STRIP_RUNS, size=10, ha="right", va="center", color="#444444")


def _row(
    axes: Axes,
    train: Train,
    state: State,
    lane: Lane,
    scale: float,
    window: Window,
    size: float,
    letters: Callable[[str], str],
) -> None:
    layout, along = train.layout, paper_width(axes) / window.span
    members = [i for i, s in enumerate(layout.sections) if s.row == lane.row]
    reaches = window.clipped(train.start[members].min(), (train.start + train.length)[members].max())
    if reaches is None:
        return
    first, last = reaches
    tolerance = layout.tolerance.offset * scale
    axes.fill_between([first, last], lane.y - tolerance, lane.y + tolerance, color="#e4e4e4", lw=0, zorder=0)
    for edge in (-tolerance, tolerance):
        axes.plot([first, last], [lane.y + edge] * 2, color="#555555", lw=0.7, ls=(0, (1, 2)), zorder=5)
    string = lane.y - lane.away * STRING
    name = layout.rows[lane.row].string
    # seen from another line than its own, the string is what slants
    shift, slope = train.string_lines.get(name, (0.0, 0.0))
    sign = float(train.datum.sign[members[0]])

    def hangs(x: float) -> float:
        return float(string - lane.away * sign * scale * (shift + slope * x))

    axes.plot([first, last], [hangs(first), hangs(last)], color=INK, lw=1.3, ls=(0, (9, 2, 2, 2)), zorder=1)
    side = "below" if lane.away < 0 else "above"
    at = 0.1 if side == "below" else -0.1
    looks: dict[str, Any] = {"size": 9.5, "style": "italic", "va": "top" if at > 0 else "bottom"}
    wanted = {i: _wanted(train, i) for i in members if train.measured[i]}
    alike = dict.fromkeys(wanted.values())
    axes.text(first, hangs(first) + at, string_words(name, next(iter(alike)) if len(alike) == 1 else ""), **looks)
    for i in wanted if len(alike) > 1 else ():
        if window.holds(layout.sections[i]):
            end = float(train.start[i] + train.length[i])
            axes.text(end, hangs(end) + at, wanted_words(wanted[i]), ha="right", zorder=3.5, **looks)
    family = tuple(letters(layout.sections[i].name) for i in members)
    for i in members:
        section = state.sections[i]
        if not window.holds(layout.sections[i]):
            continue
        if section.measured:
            _section(axes, train, section, i, lane, scale, along, hangs, size, letters(section.name), family)
        else:
            x = train.start[i], train.start[i] + train.length[i]
            axes.fill_between(x, lane.y, lane.y + lane.body * BODY, facecolor="none", edgecolor=INK, ls=":", lw=1)
            lines = [letters(section.name), UNREAD]
            fits = 72 * train.length[i] * along / max(map(width_of, lines))
            if fits < 5:
                lines = [shortened(lines[0], family, 9), UNREAD_SHORT]
                fits = 72 * train.length[i] * along / max(map(width_of, lines))
            label = "\n".join(lines)
            centre = {"x": train.middle[i], "y": lane.y + lane.body * BODY / 2, "ha": "center", "va": "center"}
            axes.text(**centre, s=label, size=float(np.clip(fits, 4.5, 8.5)), zorder=6)


def _wanted(train: Train, i: int) -> str:
    """The reading wanted at a section; both where it differs from end to end, as beside a string of another line."""
    ends = map(float, train.targets(np.array([i, i]), train.start[i] + np.array([0.0, train.length[i]])))
    tape = train.survey.tape
    return " to ".join(dict.fromkeys(reading_words(end, tape.mark, train.layout.units) for end in ends))


def _joints(axes: Axes, train: Train, state: State, lanes: dict[str, Lane], scale: float, window: Window) -> None:
    """A bar from face to face at each joint that is out of step, with the step beside it."""
    units = train.layout.units
    for (up, down), joint in zip(train.joint_index, state.joints, strict=True):
        lane = lanes.get(train.layout.sections[up].row)
        if lane is None or joint.step is None or joint.step.verdict.inside:
            continue
        x = (train.start[up] + train.length[up] + train.start[down]) / 2
        if not window.low <= x <= window.high:
            continue
        ys = [lane.y + lane.away * scale * float(d) for d in (train.ends[1].value[up], train.ends[0].value[down])]
        axes.plot([x, x], ys, color=INK, lw=1.4, zorder=6)
        for y in ys:
            axes.plot(x, y, marker="_", ms=7, mew=1.4, color=INK, zorder=6)
        text = step_words(show(abs(joint.step.value), units))
        far = max(ys) if lane.body < 0 else min(ys)
        box = {"boxstyle": "round,pad=0.1", "fc": "white", "ec": "none", "alpha": 0.85}
        axes.text(x, far - lane.body * 0.12, text, size=8, ha="center", va="center", bbox=box, zorder=6)


def _section(
    axes: Axes,
    train: Train,
    section: SectionState,
    i: int,
    lane: Lane,
    scale: float,
    along: float,
    hangs: Callable[[float], float],
    size: float,
    name: str,
    family: tuple[str, ...],
) -> None:
    """One section as the rigid piece it is, with its uncertainty, its readings and its verdict."""
    layout, units = train.layout, train.layout.units
    length, start = train.length[i], train.start[i]
    x = np.linspace(start, start + length, 9)
    found = train.deviations(np.full(len(x), i), x)
    face = lane.y + lane.away * scale * found.value
    u = scale * COVERAGE * found.u
    colour, hatch = FILL[section.verdict]
    back = face + lane.body * BODY
    corners = [(x[0], face[0]), (x[-1], face[-1]), (x[-1], back[-1]), (x[0], back[0])]
    dashed = "-" if section.verdict.sure else (0, (3, 2))
    axes.fill(*zip(*corners, strict=True), facecolor=colour, edgecolor=INK, lw=0.8, ls=dashed, hatch=hatch, zorder=2)
    axes.fill_between(x, face - u, face + u, color="#3a6ea5", alpha=0.28, lw=0, zorder=3)
    axes.plot(x[[0, -1]], face[[0, -1]], color=INK, lw=2.4, solid_capstyle="butt", zorder=4)
    # nothing shows through it: in a state after moves the dashed old face may run below
    box = {"boxstyle": "round,pad=0.15", "fc": "white", "ec": "none"}
    lines, _ = fitted(layout.sections[i], along, name, family)
    label = "\n".join([*lines[:-1], f"{lines[-1]}  {section.verdict.printed}".lstrip()])
    middle = (face[0] + face[-1]) / 2 + lane.body * BODY * 0.55
    centred = {"ha": "center", "va": "center", "weight": "bold", "bbox": box, "zorder": 6, "linespacing": 1.1}
    axes.text(sum(discs_at(layout.sections[i], along)) / 2, middle, label, size=size, **centred)  # type: ignore[arg-type]
    places: dict[float, list[float]] = {}
    for reading in train.survey.fitted:
        if reading.section == section.name:
            places.setdefault(reading.place, []).append(reading.value)
    # the readings move along with the face where this is a state after moves
    shift = train.face[i] - train.adjusted.face[i]
    numbers: list[Number] = []
    for place, values in sorted(places.items()):
        at = start + place
        moved = shift[0] + shift[1] * (at - train.middle[i])
        here = np.array([i]), np.array([at])
        target = float(train.targets(*here)[0])
        ys = lane.y + lane.away * scale * (np.array(values) + moved - target)
        predicted = abs(moved) > 1e-9
        if not predicted:
            axes.plot(np.full(len(ys), at), ys, ls="none", marker="D", ms=5, mfc="white", mec=INK, mew=1.1, zorder=7)
        axes.plot([at, at], [np.mean(ys), hangs(at)], color="#777777", lw=0.6, ls=":", zorder=1)
        reads = float(train.readings(*here)[0]) if predicted else float(np.mean(values))
        beside = 0 if 0.2 < place / length < 0.8 else 1 if place < length / 2 else -1
        numbers.append(
            Number(
                at=place * along,
                beside=beside,
                said=reading_words(reads, train.survey.tape.mark, units),
                bold=predicted,
            )
        )
    # what the tape reads there, or should read; all of them, or none where a section is too short
    shown_size = numbers_size(numbers, length * along)
    for number in numbers if shown_size else ():
        at = start + number.at / along
        axes.text(
            at + number.beside * BESIDE / along,
            hangs(at) + lane.away * 0.16,
            number.said,
            size=shown_size,
            ha={0: "center", 1: "left", -1: "right"}[number.beside],
            va="center",
            weight="bold" if number.bold else "normal",
            zorder=6,
        )
