"""
The panel as measured, from above: the strip runs to the right, so that the lead end is there.

Along the panel everything is to scale. What departs from a straight, square panel is drawn larger by a stated factor.
Paper is counted in inches, x from the tail end's nominal place, y to the right of the strip (down the page).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alignment.lengths import decimal, show
from alignment.panel.found import Curve, EndCut, PanelResult, WaveFound
from alignment.panel.limits import Finding
from alignment.panel.parts import Side, Spot
from alignment.panel.widths import CrossSizes
from alignment.show.pictures.drawing import INK
from alignment.show.pictures.scales import places_along, round_down
from alignment.show.words.drawings import NO_SWEEP, from_lead_words, sweep_words
from alignment.show.words.pictures import STRIP_RUNS
from alignment.uncertainty import COVERAGE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "BODY",
    "PLAN",
    "QUIET",
    "SHADE",
    "SIDE",
    "WIDTH",
    "along_paper",
    "draw_plan",
    "ink_of",
    "plan_scale",
    "rounded",
]

Floats = NDArray[np.float64]
WIDTH: Final = 11.5
SIDE: Final = 1.6
"""Paper left of the tail end and right of the lead end. [inches]"""
BODY: Final = 1.5
"""Paper for the panel's width. [inches]"""
SWING: Final = 0.5
"""Paper for the largest departure. [inches]"""
PLAN: Final = BODY + 2 * SWING + 1.45
SHADE: Final = "#eceff1"
QUIET: Final = "#5a5a5a"
OUT: Final = "#b34700"
DOTTED: Final = (0, (1, 2))


def along_paper(result: PanelResult) -> float:
    """Paper for each millimetre along the panel. [inches per mm]"""
    return (WIDTH - 2 * SIDE) / result.panel.length


def plan_scale(result: PanelResult) -> tuple[float, float]:
    """Paper for each millimetre of departure, and by what round factor that is larger than lengths along the panel."""
    largest = [1e-9]
    if result.camber:
        limit = result.camber.finding.bounds
        largest += [abs(result.camber.curvature) * result.panel.length**2 / 8]
        largest += [limit.upper * (result.panel.length / result.camber.finding_over) ** 2] if limit else []
    largest += [abs(cut.off_chord) / 2 for cut in _cuts(result) if cut]
    largest += [abs(place.width.value) / 2 for place in result.across if place.width]
    return rounded(SWING / max(largest), along_paper(result))


def rounded(wanted: float, along: float) -> tuple[float, float]:
    """Scale near the wanted one, such that it is a round factor of that along the panel."""
    factor = round_down(min(max(wanted / along, 1.0), 200.0))
    return factor * along, factor


def ink_of(finding: Finding | None) -> str:
    """Ink for what is in or not judged, a dark vermilion for what is out; the verdict stands beside it in words."""
    out = finding is not None and finding.verdict is not None and not finding.verdict.inside
    return OUT if out else INK


def _cuts(result: PanelResult) -> tuple[EndCut | None, EndCut | None]:
    """Tail and lead end cut, as far as told."""
    square = result.square
    if square is None:
        return None, None
    return (square.tail, square.lead) if square.tail or square.lead else (square.both, square.both)


@dataclass(frozen=True, kw_only=True)
class _Outline:
    """Where the panel's edges are on paper; sides are -1 for the left edge, +1 for the right one."""

    result: PanelResult
    scale: float

    @property
    def length(self) -> float:
        """Nominal length on paper."""
        return self.result.panel.length * along_paper(self.result)

    def x(self, side: float, place: ArrayLike) -> Floats:
        """Paper x of places from the tail end [mm]; the end cuts put the corners off by half their out-of-square."""
        tail, lead = (-side * self.scale * (cut.off_chord / 2 if cut else 0.0) for cut in _cuts(self.result))
        along = np.asarray(place, dtype=np.float64) / self.result.panel.length
        return np.asarray(tail + (self.length + lead - tail) * along)

    def y(self, side: float, place: ArrayLike, bend: float | None = None) -> Floats:
        """Paper y of an edge at places from the tail end [mm], with its own curvature or another. [1/mm]"""
        panel, camber = self.result.panel, self.result.camber
        at = np.asarray(place, dtype=np.float64)
        curvature = bend if bend is not None else camber.curvature if camber else 0.0
        arc = curvature / 2 * ((at - panel.length / 2) ** 2 - (panel.length / 2) ** 2)
        widths = [(panel.length - p.across.place, p.width.value) for p in reversed(self.result.across) if p.width]
        wider = np.interp(at, [x for x, _ in widths], [w for _, w in widths]) if widths else np.zeros_like(at)
        return np.asarray(side * BODY / 2 + self.scale * (arc + side * wider / 2))


def draw_plan(axes: Axes, result: PanelResult, scale: float) -> Axes:
    """
    Draw the panel from above.

    Parameters
    ----------
    axes : Axes
        Drawn upon; x and y are inches of paper.
    result : PanelResult
    scale : float
        Paper for each millimetre of departure. [inches per mm]
    """
    panel, outline = result.panel, _Outline(result=result, scale=scale)
    length = outline.length
    axes.set_xlim(-SIDE, WIDTH - SIDE)
    axes.set_ylim(PLAN - BODY / 2 - SWING - 0.5, -BODY / 2 - SWING - 0.5)
    axes.axis("off")
    place = np.linspace(0, panel.length, 121)
    xs, ys = ([f(side, place) for side in (-1, 1)] for f in (outline.x, outline.y))
    axes.fill(np.append(xs[0], xs[1][::-1]), np.append(ys[0], ys[1][::-1]), facecolor=SHADE, lw=0, zorder=1)
    box = [(0, -BODY / 2), (length, -BODY / 2), (length, BODY / 2), (0, BODY / 2), (0, -BODY / 2)]
    axes.plot(*zip(*box, strict=True), color=QUIET, lw=0.9, ls=(0, (5, 3)), zorder=2)
    for x, y in zip(xs, ys, strict=True):
        axes.plot(x, y, color=INK, lw=2.0, solid_capstyle="round", zorder=4)
    for k, cut in zip((0, -1), _cuts(result), strict=True):
        ends = [xs[0][k], xs[1][k]], [ys[0][k], ys[1][k]]
        axes.plot(*ends, color=ink_of(cut.finding if cut else None), lw=3.0, zorder=5, solid_capstyle="round")
        _end(axes, result, cut, Spot.lead if k else Spot.tail, (max if k else min)(ends[0]))
    for edge, y in zip(panel.edges, (min(ys[0].min(), -BODY / 2) - 0.2, max(ys[1].max(), BODY / 2) + 0.2), strict=True):
        axes.text(0.08, y, f"{edge} edge", size=11, weight="bold", va="center", ha="left", color=INK)
    if result.camber:
        _camber(axes, outline, result.camber)
    for wave in result.waves:
        _waves(axes, outline, wave)
    for across in result.across:
        if across.width:
            _width(axes, outline, across, across.width)
    _ruler(axes, result, length)
    return axes


def _end(axes: Axes, result: PanelResult, cut: EndCut | None, name: Spot, x: float) -> None:
    """Name of an end with what was found of its cut, clear of its outermost corner."""
    units = result.panel.units
    at, align = (x + 0.15, "left") if name is Spot.lead else (x - 0.15, "right")
    axes.text(at, -0.42, f"{name} end", size=11, weight="bold", ha=align, va="center", color=INK)
    axes.text(at, -0.22, "out first" if name is Spot.lead else "out last", size=9.5, ha=align, va="center", color=INK)
    if cut is None:
        text = "square\nnot told"
    else:
        off, u = show(abs(cut.finding.value), units), decimal(COVERAGE * cut.finding.u, units)
        text = f"off square {off}\n(U {u})"
        text += f": {cut.finding.verdict.printed}" if cut.finding.verdict else ""
    colour = ink_of(cut.finding if cut else None)
    axes.text(at, 0.26, text, size=9.5, ha=align, va="center", color=colour, linespacing=1.3)


def _width(axes: Axes, outline: _Outline, place: CrossSizes, width: Finding) -> None:
    """A width from edge to edge where it was measured."""
    panel = outline.result.panel
    middle = place.across.spot is Spot.middle
    # clear of the end cuts and of the height of the sweep
    inside = 0.3 / outline.length * panel.length
    at = float(np.clip(panel.length - place.across.place, inside, panel.length - inside)) + inside * middle
    x = float(outline.x(0, at))
    low, high = float(outline.y(-1, at)), float(outline.y(1, at))
    arrow = {"arrowstyle": "<|-|>", "lw": 0.8, "color": ink_of(width), "shrinkA": 1, "shrinkB": 1}
    axes.annotate("", (x, high), (x, low), arrowprops=arrow, zorder=3)
    text = show(width.value + panel.width, panel.units)
    text += f" {width.verdict.printed}" if width.verdict and not width.verdict.inside else ""
    box = {"boxstyle": "round,pad=0.15", "fc": "white", "ec": "none"}
    y = low + (0.8 if middle else 0.5) * (high - low)
    axes.text(x, y, text, size=9, ha="center", va="center", zorder=6, color=ink_of(width), bbox=box)


def _camber(axes: Axes, outline: _Outline, camber: Curve) -> None:
    """Edge curve with its readings, its chord, its height and, dotted, the arc that the limit allows."""
    panel = outline.result.panel
    place = np.linspace(0, panel.length, 121)
    for side in (-1, 1):
        low, high = (outline.y(side, place, camber.curvature + k * COVERAGE * camber.u) for k in (-1, 1))
        axes.fill_between(outline.x(side, place), low, high, color="#3a6ea5", alpha=0.3, lw=0, zorder=3)
    for offsets, arc in camber.sets:
        side = 1 if offsets.side is Side.right else -1
        y = outline.y(side, arc.x) + outline.scale * (arc.y - arc.fitted)
        axes.plot(outline.x(side, arc.x), y, ls="", marker="D", ms=5, mfc="white", mec=INK, mew=1.2, zorder=7)
    centre = outline.length / 2
    if not camber.toward:
        axes.text(centre, BODY / 2 + 0.2, NO_SWEEP, size=10, ha="center", va="center", color=INK)
        return
    side = 1 if camber.toward is Side.right else -1
    colour, bounds = ink_of(camber.finding), camber.finding.bounds
    if bounds:
        allowed = np.sign(camber.curvature) * 8 * bounds.upper / camber.finding_over**2
        y = outline.y(side, place, allowed)
        axes.plot(outline.x(side, place), y, color=INK, lw=1.3, ls=DOTTED, zorder=6)
    three = np.array([0.0, panel.length / 2, panel.length])
    x, y = outline.x(side, three), outline.y(side, three)
    axes.plot(x[[0, 2]], y[[0, 2]], color=colour, lw=1.0, zorder=3)
    arrow = {"arrowstyle": "<|-|>", "lw": 1.6, "color": colour, "shrinkA": 0, "shrinkB": 0}
    axes.annotate("", (x[1], y[1]), (x[1], (y[0] + y[2]) / 2), arrowprops=arrow, zorder=8)
    text = sweep_words(outline.result, camber)
    out = side * max(side * y[0], side * y[2], BODY / 2)
    axes.text(centre + 0.7, out + side * 0.2, text, size=10.5, weight="bold", ha="center", va="center", color=colour)


def _waves(axes: Axes, outline: _Outline, found: WaveFound) -> None:
    """A wavy stroke at each crest, in its zone."""
    panel, wave, colour = outline.result.panel, found.wave, ink_of(found.finding)
    places = [panel.length - place for place in wave.places] or [panel.length / 2]
    # how far across the zone lies, and where its words go, in paper from the left or the right edge
    share, stroke, words = {Side.left: (0.0, 0.16, 0.42), Side.right: (1.0, -0.16, -0.42)}.get(
        wave.side or Side.up, (0.4, 0.0, 0.27)
    )

    def across(place: float) -> float:
        low, high = float(outline.y(-1, place)), float(outline.y(1, place))
        return low + share * (high - low)

    t = np.linspace(-0.5, 0.5, 61)
    wide = min(wave.pitch * along_paper(outline.result) * 0.8, 0.9)
    for place in places:
        for lift in (-0.06, 0.06):
            y = across(place) + stroke + lift + 0.04 * np.cos(4 * np.pi * t)
            axes.plot(float(outline.x(0, place)) + wide * t, y, color=colour, lw=1.5, zorder=6)
    centre = float(np.mean(places))
    name = f"waves, {panel.edge(wave.side)} edge" if wave.side else "oil canning"
    text = f"{name}: {found.i_units:.0f} I-units"
    text += f", verdict {found.finding.verdict.printed}" if found.finding.verdict else ""
    text += "" if wave.places else ", places not noted"
    at = float(outline.x(0, centre)), across(centre) + words
    box = {"boxstyle": "round,pad=0.1", "fc": SHADE, "ec": "none"}
    axes.text(*at, text, size=9.5, ha="center", va="center", color=colour, zorder=6, bbox=box)


def _ruler(axes: Axes, result: PanelResult, length: float) -> None:
    """Places from the lead end, and the way the strip runs."""
    panel, units, along = result.panel, result.panel.units, along_paper(result)
    y = BODY / 2 + SWING + 0.32
    axes.plot([0, length], [y, y], color=QUIET, lw=0.8)
    for place in places_along(units, 0.0, panel.length, 10):
        x = length - place * along
        axes.plot([x, x], [y, y + 0.06], color=QUIET, lw=0.8)
        axes.text(x, y + 0.16, f"{units.of(place):.0f}", size=9, ha="center", va="center", color=INK)
    axes.text(-0.2, y + 0.16, from_lead_words(units), size=9, ha="right", va="center", color=INK)
    arrow = {"arrowstyle": "-|>", "lw": 2.2, "color": "#666666"}
    axes.annotate("", (length + SIDE - 0.3, y - 0.15), (length + 0.3, y - 0.15), arrowprops=arrow)
    axes.text(length + SIDE - 0.3, y + 0.08, STRIP_RUNS, size=9.5, ha="right", va="center", color="#444444")
