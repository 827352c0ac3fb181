"""
The station train before and after, on one sheet, seen from above with the entry at the left.

Along the machine everything is to scale; across it, deviations are drawn larger by a stated factor, and the distance
to the string is not to scale. Lengths across are laid out in inches of paper.
"""

from __future__ import annotations

import io
import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from alignment.cautions import CAUTIONS, LIMITS
from alignment.lengths import Units, show
from alignment.openings import rows_across
from alignment.solution import Solution
from alignment.state import SectionState, State
from alignment.train import Train
from alignment.uncertainty import COVERAGE, Verdict
from alignment.wording import by_section, doubted, step_lines, summary

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["draw_train", "render", "train_sheet"]

LANE: Final = 2.0
"""Paper given to each row. [inches]"""
SWING: Final = 0.55
"""Paper for the largest deviation, either way. [inches]"""
STRING: Final = 1.1
"""Where the string is drawn, from the face line. [inches]"""
BODY: Final = 0.3
"""Depth with which a section is drawn. [inches]"""
STRIP: Final = 0.35
"""Paper for the strip where no second row leaves room for it. [inches]"""
LISTED: Final = 8
"""Sections whose moves are written out on the sheet."""

# told apart by lightness and hatch as well as by hue (blue and vermilion, safe for the colour-blind)
FILL: Final = {
    Verdict.inside: ("#cfe3f2", ""),
    Verdict.inside_unsure: ("#e9f1f7", ""),
    Verdict.outside_unsure: ("#f2b48a", "///"),
    Verdict.outside: ("#d55e00", "///"),
}
INK: Final = "#1a1a1a"
MOVE: Final = "#000000"


@dataclass(frozen=True, kw_only=True)
class _Lane:
    """One row on paper. Directions across are +1 down the page (right, looking downstream), -1 up."""

    row: str
    y: float
    away: int
    """Direction in which deviations grow."""
    body: int
    """Direction from the face to the body of its sections."""


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
        figure.savefig(stream, format=kind, dpi=150, metadata=dated.get(kind))
    return stream.getvalue()


def train_sheet(solution: Solution) -> Figure:
    """
    Sheet with the moves in words, the train as found, and the train as it will be after the moves.

    Parameters
    ----------
    solution : Solution

    Returns
    -------
    Figure
        Sized so that each row has the same height and long trains are wider.
    """
    from matplotlib.figure import Figure

    layout = solution.layout
    most = max(len(layout.row_sections(row)) for row in layout.rows)
    width = float(np.clip(1.15 * most + 2, 11.5, 30))
    words = _words(solution, width)
    moving = bool(solution.plan.steps)
    lanes = _lanes(solution)
    scale = _scale(solution, width - 1.2)
    small = int((width - 0.8) / 0.071)
    key = textwrap.wrap(_key(solution, scale, width - 1.2, moving), small)
    cautions = textwrap.wrap(" ".join((*CAUTIONS, LIMITS)), small) if moving else []
    panel = LANE * len(layout.rows) + 0.75 + STRIP * (len(layout.rows) == 1)
    foot = 0.3 + 0.18 * (len(key) + len(cautions) + bool(cautions))
    total = 0.6 + 0.215 * len(words) + panel * (1 + moving) + foot
    figure = Figure(figsize=(width, total))

    def write(y: float, text: str, size: float, *, bold: bool = False) -> None:
        weight = "bold" if bold else "normal"
        figure.text(0.3 / width, 1 - y / total, text, size=size, weight=weight, va="center", color=INK)

    write(0.3, f"{layout.name}: {summary(solution)}", 15, bold=True)
    for k, (line, bold) in enumerate(words):
        write(0.68 + 0.215 * k, line, 11 if bold else 10.5, bold=bold)
    top = total - 0.6 - 0.215 * len(words)
    taken = solution.survey.record.get("taken", "")
    title = f"As read: {solution.survey.source}{', ' * bool(taken)}{taken}"
    states = [(solution.train, solution.state, title)]
    if moving:
        states.append((solution.plan.after, solution.plan.state, "After the moves, as the tape should then read"))
    for train, state, title in states:
        axes = figure.add_axes((0.6 / width, (top - panel + 0.3) / total, 1 - 1.2 / width, (panel - 0.75) / total))
        draw_train(axes, train, state, lanes, scale, height=panel - 0.75)
        axes.set_title(f"{title}. {_verdict_words(state)}", loc="left", size=12, weight="bold", pad=4)
        if train is solution.train:
            _draw_moves(axes, solution, lanes, scale)
        else:
            _ghost(axes, solution, lanes, scale)
        top -= panel
    for k, line in enumerate([*key, *[""] * bool(cautions), *cautions]):
        write(total - foot + 0.15 + 0.18 * k, line, 9)
    return figure


def _words(solution: Solution, width: float) -> list[tuple[str, bool]]:
    """What to do as lines of text, each bold or not; flags come before the moves."""
    normal, bold = int((width - 0.8) / 0.086), int((width - 0.8) / 0.112)
    lines: list[tuple[str, bool]] = []
    for flag in solution.flags:
        if flag.flag != "lone":
            lines += [(line, True) for line in textwrap.wrap(f"Before moving: {flag.message}", bold)]

    groups, doubts = by_section(solution.plan.steps), doubted(solution)
    for number, steps in enumerate(groups[:LISTED], 1):
        action, *readings = step_lines(steps, solution.layout)
        again = "if it still reads so when read again, " if steps[0].section in doubts else ""
        do = f"{'First: ' if number == 1 else ''}{number}  {steps[0].section}: {again}{action}."
        lines += [(line, True) for line in textwrap.wrap(do, bold)]
        indent = " " * 6
        lines += [
            (line, False)
            for line in textwrap.wrap(
                "; ".join(line.strip() for line in readings) + ".",
                normal,
                initial_indent=indent,
                subsequent_indent=indent,
            )
        ]
    if len(groups) > LISTED:
        lines.append((f"and {len(groups) - LISTED} more sections: the printed list has them all.", True))
    return lines


def _verdict_words(state: State) -> str:
    out = [s.name for s in state.sections if not s.verdict.is_in]
    if not out:
        return "Every section in tolerance" + ("" if state.verdict.sure else ", not all proved")
    return f"Out: {', '.join(out)}" if len(out) <= 6 else f"{len(out)} of {len(state.sections)} sections out"


def _key(solution: Solution, scale: float, paper: float, moving: bool) -> str:
    layout = solution.layout
    t, units = layout.tolerance, layout.units
    factor = scale / (paper / _span(solution)[2])
    told = (
        f"Deviations drawn {factor:.0f} times larger than lengths along the machine. Grey band: offset tolerance "
        f"{show(t.offset, units)} {units}, about the target. Heavy line: fitted face; shade: its uncertainty U; "
        "diamond: a reading. Distance to the string and depth of the sections are not to scale."
    )
    return told + (" Filled ring: bolt end to move. Triangle: pivot, keep snug." if moving else "")


def _span(solution: Solution) -> tuple[float, float, float]:
    """First and last x of the machine and the length drawn. [mm]"""
    train = solution.train
    low, high = float(train.start.min()), float((train.start + train.length).max())
    margin = 0.02 * (high - low)
    return low - margin, high + margin, high - low + 2 * margin


def _scale(solution: Solution, paper: float) -> float:
    """Paper for each millimetre of deviation, such that the stated factor is a round number. [inches per mm]"""
    largest = [1.4 * solution.layout.tolerance.offset]
    for train in (solution.train, solution.plan.after):
        for end in train.ends:
            largest += [float(np.nanmax(np.abs(end.value) + 0.6 * COVERAGE * end.u))]
    along = paper / _span(solution)[2]
    factor = SWING / max(largest) / along
    power = 10.0 ** np.floor(np.log10(factor))
    nice = max(n for n in (1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8) if n * power <= factor * 1.0001) * power
    return float(nice * along)


def _lanes(solution: Solution) -> dict[str, _Lane]:
    """Rows across the page, left one uppermost, each with its directions."""
    layout = solution.layout
    across = rows_across(layout)
    order = list(dict.fromkeys(name for pair in across for name in pair))
    order += [name for name in layout.rows if name not in order]
    lanes = {}
    for k, name in enumerate(order):
        side = layout.rows[name].side or ("left" if k == 0 else "right")
        away = 1 if side == "left" else -1
        # facing rows stand back to back with the strip between them; a row alone stands beyond its string
        body = away if not across else -1 if k == 0 else 1
        centre = LANE * (k + 0.5) + (STRING - BODY) / 2 * away
        lanes[name] = _Lane(row=name, y=centre, away=away, body=body)
    return lanes


def draw_train(axes: Axes, train: Train, state: State, lanes: dict[str, _Lane], scale: float, *, height: float) -> Axes:
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

    Returns
    -------
    Axes
    """
    layout, units = train.layout, train.layout.units
    low, high = float(train.start.min()), float((train.start + train.length).max())
    margin = 0.02 * (high - low)
    axes.set_xlim(low - margin, high + margin)
    axes.set_ylim(height, 0)
    axes.set_yticks([])
    axes.tick_params(axis="x", labelsize=9, length=3)
    ticks = [t for t in axes.get_xticks() if low - margin <= t <= high + margin]
    if units is Units.inch:
        step = _inch_step(high - low)
        ticks = list(np.arange(np.ceil(low / step) * step, high + 1, step))
    axes.set_xticks(ticks, [show(t, units) if units is Units.inch else f"{t:.0f}" for t in ticks])
    for side in ("top", "left", "right"):
        axes.spines[side].set_visible(False)
    along = _paper_width(axes) / (high - low + 2 * margin)
    size = min(_label_size(train, i, along) for i in range(len(layout.sections)))
    for lane in lanes.values():
        _row(axes, train, state, lane, scale, along, size)
    _strip(axes, lanes, low, high)
    return axes


def _paper_width(axes: Axes) -> float:
    """Width of the axes. [inches]"""
    figure = axes.get_figure(root=True)
    return 0.0 if figure is None else float(figure.get_size_inches()[0]) - 1.2


def _label_size(train: Train, i: int, along: float) -> float:
    """Size at which a section's label fits between its bolts. [points]"""
    section = train.layout.sections[i]
    room = (section.bolts[1] - section.bolts[0]) * along - 0.3
    return float(np.clip(room * 72 / (0.68 * (len(section.name) + 6)), 4.5, 10.5))


def _inch_step(span: float) -> float:
    """Distance between ticks along a machine drawn in inches. [mm]"""
    return float(next((s for s in (6, 12, 24, 48, 96, 192) if span / 25.4 / s <= 14), 384) * 25.4)


def _strip(axes: Axes, lanes: dict[str, _Lane], low: float, high: float) -> None:
    ys = sorted(lane.y for lane in lanes.values())
    y = (ys[0] + ys[1]) / 2 if len(ys) > 1 else float(axes.get_ylim()[0]) - STRIP / 2
    middle = (low + high) / 2
    reach = 0.08 * (high - low)
    axes.annotate(
        "", (middle + reach, y), (middle - reach, y), arrowprops={"arrowstyle": "-|>", "lw": 2.2, "color": "#666666"}
    )
    axes.text(middle - 1.1 * reach, y, "strip runs", size=10, ha="right", va="center", color="#444444")


def _row(axes: Axes, train: Train, state: State, lane: _Lane, scale: float, along: float, size: float) -> None:
    layout = train.layout
    members = [i for i, s in enumerate(layout.sections) if s.row == lane.row]
    first, last = train.start[members].min(), (train.start + train.length)[members].max()
    tolerance = layout.tolerance.offset * scale
    axes.fill_between([first, last], lane.y - tolerance, lane.y + tolerance, color="#e4e4e4", lw=0, zorder=0)
    for edge in (-tolerance, tolerance):
        axes.plot([first, last], [lane.y + edge] * 2, color="#555555", lw=0.7, ls=(0, (1, 2)), zorder=5)
    string = lane.y - lane.away * STRING
    axes.plot([first, last], [string, string], color=INK, lw=1.3, ls=(0, (9, 2, 2, 2)), zorder=1)
    side = "below" if lane.away < 0 else "above"
    at = 0.1 if side == "below" else -0.1
    name = layout.rows[lane.row].string
    axes.text(first, string + at, f"string {name}", size=9.5, style="italic", va="top" if at > 0 else "bottom")
    for i in members:
        section = state.sections[i]
        if section.measured:
            _section(axes, train, section, i, lane, scale, along, string, size)
        else:
            x = train.start[i], train.start[i] + train.length[i]
            axes.fill_between(x, lane.y, lane.y + lane.body * BODY, facecolor="none", edgecolor=INK, ls=":", lw=1)
            label = f"{section.name}\nnot measured enough"
            axes.text(train.middle[i], lane.y + lane.body * BODY / 2, label, size=8.5, ha="center", va="center")


def _section(
    axes: Axes,
    train: Train,
    section: SectionState,
    i: int,
    lane: _Lane,
    scale: float,
    along: float,
    string: float,
    size: float,
) -> None:
    """One section as the rigid piece it is, with its uncertainty, its readings and its verdict."""
    layout, units = train.layout, train.layout.units
    length, start = train.length[i], train.start[i]
    x = np.linspace(start, start + length, 9)
    found = [train.deviation(np.full(len(train.start), place)) for place in x]
    face = lane.y + lane.away * scale * np.array([f.value[i] for f in found])
    u = scale * COVERAGE * np.array([f.u[i] for f in found])
    colour, hatch = FILL[section.verdict]
    back = face + lane.body * BODY
    corners = [(x[0], face[0]), (x[-1], face[-1]), (x[-1], back[-1]), (x[0], back[0])]
    dashed = "-" if section.verdict.sure else (0, (3, 2))
    axes.fill(*zip(*corners, strict=True), facecolor=colour, edgecolor=INK, lw=0.8, ls=dashed, hatch=hatch, zorder=2)
    axes.fill_between(x, face - u, face + u, color="#3a6ea5", alpha=0.28, lw=0, zorder=3)
    axes.plot(x[[0, -1]], face[[0, -1]], color=INK, lw=2.4, solid_capstyle="butt", zorder=4)
    box = {"boxstyle": "round,pad=0.12", "fc": "white", "ec": "none", "alpha": 0.88}
    bolts = layout.sections[i].bolts
    label = f"{section.name}  {section.verdict}"
    middle = (face[0] + face[-1]) / 2 + lane.body * BODY * 0.55
    room = length * along
    axes.text(
        start + sum(bolts) / 2, middle, label, size=size, ha="center", va="center", weight="bold", bbox=box, zorder=6
    )
    places: dict[float, list[float]] = {}
    for reading in train.survey.fitted:
        if reading.section == section.name:
            places.setdefault(reading.place, []).append(reading.value)
    # the readings move along with the face where this is a state after moves
    shift = train.face[i] - np.array([train.lines.at(train.middle)[i], train.lines.slope[i]])
    for place, values in places.items():
        at = start + place
        moved = shift[0] + shift[1] * (at - train.middle[i])
        target = float(train.target_at(at)[i])
        shown = np.array(values) + moved - target
        ys = lane.y + lane.away * scale * shown
        predicted = abs(moved) > 1e-9
        if not predicted:
            axes.plot(np.full(len(ys), at), ys, ls="none", marker="D", ms=5, mfc="white", mec=INK, mew=1.1, zorder=7)
        axes.plot([at, at], [np.mean(ys), string], color="#777777", lw=0.6, ls=":", zorder=1)
        # what the tape reads there, or should read; a point in the middle gives way on a short section
        shown_size = float(np.clip(72 * room / (5.2 * len(places)), 5, 9.5))
        if shown_size > 6:
            inward = 0 if 0.2 < place / length < 0.8 else 1 if place < length / 2 else -1
            reads = float(train.reading_at(at)[i]) if predicted else float(np.mean(values))
            axes.text(
                at + inward * 0.06 / along,
                string + lane.away * 0.16,
                show(reads, units),
                size=shown_size,
                ha={0: "center", 1: "left", -1: "right"}[inward],
                va="center",
                weight="bold" if predicted else "normal",
                zorder=6,
            )


def _draw_moves(axes: Axes, solution: Solution, lanes: dict[str, _Lane], scale: float) -> None:
    """Arrows and amounts at the bolt ends to move, the snug ones marked as pivots."""
    layout, train = solution.layout, solution.train
    along = _paper_width(axes) / _span(solution)[2]
    order = [steps[0].section for steps in by_section(solution.plan.steps)]
    for i, section in enumerate(layout.sections):
        lane = lanes[section.row]
        if not train.measured[i]:
            continue
        for bolt in (0, 1):
            at = section.start + section.bolts[bolt]
            y = lane.y + lane.away * scale * float(train.deviation(np.full(len(train.start), at)).value[i])
            y += lane.body * BODY / 2
            move = solution.plan.moves[i, bolt]
            if move:
                axes.plot(at, y, marker="o", ms=9, mfc=MOVE, mec="white", mew=1.4, zorder=8)
                toward = -lane.away if move > 0 else lane.away
                tip = y + toward * max(abs(move) * scale, 0.3)
                arrow = {
                    "arrowstyle": "-|>",
                    "lw": 2.4,
                    "color": MOVE,
                    "shrinkA": 3,
                    "shrinkB": 0,
                    "mutation_scale": 17,
                }
                axes.annotate("", (at, tip), (at, y), arrowprops=arrow, zorder=8)
                # on a long train the two amounts of a section stand one above the other
                crowded = (section.bolts[1] - section.bolts[0]) * along < 0.9
                place = tip + toward * (0.13 + 0.2 * (crowded and bolt))
                amount = show(abs(move), layout.units, to=layout.moves.notch)
                text = f"{order.index(section.name) + 1}: {amount}"
                box = {"boxstyle": "round,pad=0.2", "fc": "white", "ec": MOVE, "lw": 1.0}
                size = 8 if crowded else 11
                axes.text(at, place, text, size=size, weight="bold", ha="center", va="center", bbox=box, zorder=9)
            else:
                pivot = section.name in order
                marker, size = ("^", 9) if pivot else ("o", 4)
                axes.plot(at, y, marker=marker, ms=size, mfc="white", mec=INK, mew=1.2, zorder=7)


def _ghost(axes: Axes, solution: Solution, lanes: dict[str, _Lane], scale: float) -> None:
    """Outline of where moved faces were."""
    train = solution.train
    entry, exit_ = train.ends
    for i in np.flatnonzero(solution.plan.moves.any(axis=1)):
        section = solution.layout.sections[i]
        lane = lanes[section.row]
        ys = [lane.y + lane.away * scale * float(end.value[i]) for end in (entry, exit_)]
        axes.plot([section.start, section.end], ys, color="#777777", lw=1.2, ls=(0, (2, 2)), zorder=3)
