"""
A surface for our drawings that keeps what is drawn on it as plain data, for a typesetter that draws it again.

It takes the place of matplotlib's Axes in the record: as much of it as our drawings use, under the same names and with
the same meaning, without the half second that loading and drawing with matplotlib takes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike

from alignment.show.letters import width_of

__all__ = ["Surface", "Words"]

Point = tuple[float, float]
COLOURS: Final = {"white": "#ffffff", "black": "#000000", "none": ""}
BARE: Final = {":": (1.0, 1.65), "--": (3.7, 1.6), "-.": (6.4, 1.6, 1.0, 1.6), "-": (), "none": (), "": ()}
"""Dashes by their short names, in widths of the line."""


@dataclass(kw_only=True, eq=False)
class Words:
    """Words on a surface; what is asked of one and changed at it is as at matplotlib's Text."""

    x: float
    y: float
    text: str
    size: float
    ha: str
    va: str
    bold: bool
    italic: bool
    colour: str
    box: Mapping[str, Any] | None
    spacing: float
    z: float
    name: str

    def get_position(self) -> Point:
        """Place in the surface's own measures."""
        return self.x, self.y

    def get_text(self) -> str:
        """The words."""
        return self.text

    def get_fontsize(self) -> float:
        """Size. [points]"""
        return self.size

    def get_horizontalalignment(self) -> str:
        """Which side of them stands at their place."""
        return self.ha

    def set_fontsize(self, size: float) -> None:
        """Set the size. [points]"""
        self.size = size

    def set_y(self, y: float) -> None:
        """Set the place."""
        self.y = y


class _Spine:
    def set_visible(self, seen: bool) -> None:
        """Spines are never drawn, but for the ruler."""


@dataclass(kw_only=True, eq=False)
class Surface:
    """
    A part of a drawing.

    Attributes
    ----------
    width, height : float
        Of the whole drawing. [inches]
    frame : (left, top, width, height)
        Where on it the surface is. [inches]
    """

    width: float
    height: float
    frame: tuple[float, float, float, float]
    texts: list[Words] = field(default_factory=list)
    _shapes: list[tuple[float, dict[str, Any]]] = field(default_factory=list)
    _x: Point = (0.0, 1.0)
    _y: Point = (0.0, 1.0)
    _ticks: tuple[Sequence[float], Sequence[str]] = ((), ())
    _label: str = ""

    @property
    def spines(self) -> dict[str, _Spine]:
        """Sides of the surface."""
        return {side: _Spine() for side in ("top", "left", "right", "bottom")}

    def get_figure(self, **_: Any) -> Surface:
        """What has the size of the whole drawing."""
        return self

    def get_size_inches(self) -> Point:
        """Size of the whole drawing. [inches]"""
        return self.width, self.height

    def set_xlim(self, low: float, high: float) -> None:
        """Measures along: what stands at the left and the right edge."""
        self._x = (low, high)

    def set_ylim(self, low: float, high: float) -> None:
        """Measures across: what stands at the lower and the upper edge."""
        self._y = (low, high)

    def get_ylim(self) -> Point:
        """What stands at the lower and the upper edge."""
        return self._y

    def set_xticks(self, places: Sequence[float], labels: Sequence[str]) -> None:
        """Marks of the ruler under the surface."""
        self._ticks = (places, labels)

    def set_xlabel(self, words: str, **_: Any) -> None:
        """What the ruler is of."""
        self._label = words

    def set_yticks(self, places: Sequence[float]) -> None:
        """Nothing: there is no ruler across."""

    def tick_params(self, **_: Any) -> None:
        """Nothing: a ruler has looks of its own."""

    def axis(self, what: str) -> None:
        """Nothing: without marks there is no ruler."""

    def plot(
        self,
        x: ArrayLike,
        y: ArrayLike,
        *,
        color: str = "black",
        lw: float = 1.0,
        ls: Any = "-",
        zorder: float = 2.0,
        marker: str = "",
        ms: float = 6.0,
        mfc: str = "white",
        mec: str = "black",
        mew: float = 1.0,
        solid_capstyle: str = "butt",
    ) -> None:
        """A line through points, or a marker at each."""
        points = list(zip(_list(x), _list(y), strict=True))
        if marker:
            look = {
                "kind": "mark",
                "mark": marker,
                "size": ms,
                "fill": _colour(mfc),
                "edge": _colour(mec),
                "width": mew,
            }
            for at in points:
                self._add(zorder, [at], look)
        if len(points) > 1 and ls not in ("none", ""):
            look = {"kind": "line", "edge": _colour(color), "width": lw, "dash": _dash(ls, lw), "cap": solid_capstyle}
            self._add(zorder, points, look)

    def fill(
        self,
        x: ArrayLike,
        y: ArrayLike,
        *,
        facecolor: str = "none",
        edgecolor: str = "none",
        lw: float = 1.0,
        ls: Any = "-",
        hatch: str = "",
        alpha: float = 1.0,
        zorder: float = 1.0,
    ) -> None:
        """An area."""
        look = {
            "kind": "area",
            "fill": _colour(facecolor, alpha),
            "edge": _colour(edgecolor) if lw else "",
            "width": lw,
        }
        look |= {"dash": _dash(ls, lw), "hatch": bool(hatch)}
        self._add(zorder, list(zip(_list(x), _list(y), strict=True)), look)

    def fill_between(
        self, x: ArrayLike, low: ArrayLike, high: ArrayLike, *, color: str = "", facecolor: str = "none", **looks: Any
    ) -> None:
        """The area between two lines."""
        along = np.asarray(x, dtype=np.float64)
        one, other = (np.broadcast_to(np.asarray(y, dtype=np.float64), along.shape) for y in (low, high))
        around = np.append(along, along[::-1]), np.append(one, other[::-1])
        self.fill(*around, facecolor=color or facecolor, **looks)

    def annotate(
        self, _text: str, xy: Point, xytext: Point, *, arrowprops: Mapping[str, Any], zorder: float = 4.0
    ) -> None:
        """An arrow from `xytext` to `xy`, headed at both ends where its style says so."""
        look = {"kind": "arrow", "edge": _colour(arrowprops["color"]), "width": arrowprops["lw"]}
        look |= {"both": arrowprops["arrowstyle"].startswith("<"), "head": arrowprops.get("mutation_scale", 14) * 0.5}
        self._add(zorder, [xytext, xy], look)

    def text(
        self,
        x: float,
        y: float,
        s: str,
        *,
        size: float = 10.0,
        ha: str = "left",
        va: str = "bottom",
        weight: str = "normal",
        style: str = "normal",
        color: str = "black",
        bbox: Mapping[str, Any] | None = None,
        linespacing: float = 1.2,
        zorder: float = 3.0,
        label: str = "",
    ) -> Words:
        """Words at a place, and the name in them."""
        made = Words(
            x=float(x),
            y=float(y),
            text=s,
            size=size,
            ha=ha,
            va=va,
            bold=weight == "bold",
            italic=style == "italic",
            colour=color,
            box=bbox,
            spacing=linespacing,
            z=zorder,
            name=label,
        )
        self.texts.append(made)
        return made

    def _add(self, z: float, points: Sequence[Point], look: dict[str, Any]) -> None:
        self._shapes.append((z, look | {"points": points}))

    def along(self, x: float) -> float:
        """Paper from the left edge of the drawing. [inches]"""
        left, _, wide, _ = self.frame
        return left + (x - self._x[0]) / (self._x[1] - self._x[0]) * wide

    def _down(self, y: float) -> float:
        _, top, _, high = self.frame
        return top + (self._y[1] - y) / (self._y[1] - self._y[0]) * high

    def make_room(self, least: float = 5.0) -> None:
        """
        Let no words meet: of two that do, those that lie below are set smaller or left out.

        Parameters
        ----------
        least : float
            Size that nothing is set below. [points]
        """
        taken: list[tuple[float, float, float, float]] = []
        for words in sorted(self.texts, key=lambda words: -words.z):
            for size in dict.fromkeys((words.size, max(0.85 * words.size, min(words.size, least)))):
                words.size = size
                box = self._box(words)
                if not any(box[0] < o[2] and box[2] > o[0] and box[1] < o[3] and box[3] > o[1] for o in taken):
                    taken.append(box)
                    break
            else:
                self.texts.remove(words)

    def _box(self, words: Words) -> tuple[float, float, float, float]:
        """Room that words take: left, top, right, bottom. [inches]"""
        lines = words.text.split("\n")
        wide = max(width_of(line, bold=words.bold) for line in lines) * words.size / 72
        high = words.size * (len(lines) - 1 + 0.75) * words.spacing / 72
        left = self.along(words.x) - {"left": 0.0, "center": 0.5, "right": 1.0}[words.ha] * wide
        top = self._down(words.y) - {"top": 0.0, "center": 0.5, "bottom": 1.0}[words.va] * high
        return left, top, left + wide, top + high

    def drawn(self) -> list[dict[str, Any]]:
        """What was drawn, what lies on top last; places in inches from the upper left corner."""
        found = [
            (z, shape | {"points": [[round(self.along(x), 4), round(self._down(y), 4)] for x, y in shape["points"]]})
            for z, shape in self._shapes
        ]
        found += [(words.z, _said(words, self.along(words.x), self._down(words.y))) for words in self.texts]
        shapes = [shape for _, shape in sorted(found, key=lambda item: item[0])]
        return [*shapes, *self._ruler()]

    def _ruler(self) -> list[dict[str, Any]]:
        places, labels = self._ticks
        y = self.frame[1] + self.frame[3]
        begin, end = self.frame[0], self.frame[0] + self.frame[2]
        ink: dict[str, Any] = {"kind": "line", "edge": "#000000", "width": 0.8, "dash": [], "cap": "butt"}
        found = [ink | {"points": [[begin, y], [end, y]]}] if len(places) else []
        for place, label in zip(places, labels, strict=True):
            at = self.along(place)
            found.append(ink | {"points": [[at, y], [at, y + 0.04]]})
            found.append(_plain(label, at, y + 0.14))
        return [*found, _plain(self._label, (begin + end) / 2, y + 0.3)] if self._label else found


def _plain(words: str, x: float, y: float) -> dict[str, Any]:
    made = Surface(width=1, height=1, frame=(0, 0, 1, 1)).text(x, y, words, size=9, ha="center", va="center")
    return _said(made, x, y)


def _said(words: Words, x: float, y: float) -> dict[str, Any]:
    box = words.box or {}
    return {
        "kind": "words",
        "points": [[x, y]],
        "lines": words.text.split("\n"),
        "size": words.size,
        "ha": words.ha,
        "va": words.va,
        "bold": words.bold,
        "italic": words.italic,
        "edge": _colour(words.colour),
        "spacing": words.spacing,
        "box": {"fill": _colour(box["fc"], box.get("alpha", 1.0)), "edge": _colour(box["ec"])} if box else {},
    }


def _list(values: ArrayLike) -> list[float]:
    return [float(v) for v in np.atleast_1d(np.asarray(values, dtype=np.float64))]


def _colour(name: str, alpha: float = 1.0) -> str:
    code = COLOURS.get(name, name)
    return code + (f"{round(255 * alpha):02x}" if alpha < 1 else "")


def _dash(ls: Any, lw: float) -> list[float]:
    """Dashes and gaps of a line. [points]"""
    return [part * lw for part in (BARE[ls] if isinstance(ls, str) else ls[1])]
