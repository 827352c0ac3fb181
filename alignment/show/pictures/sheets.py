"""
The figure that all pictures are drawn on. It loads matplotlib, and is therefore loaded only where something is drawn.

Words come from files and people. They are set as they stand: a dollar begins no mathematics, and a letter that the
usual font lacks is taken from one of the computer's own, or written in Latin letters, and never drawn as a box.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Iterator
from functools import cache
from typing import Any, Final

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backend_bases import RendererBase
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.text import Annotation, Text
from matplotlib.transforms import BboxBase

from alignment.errors import printable
from alignment.show.letters import MARK, latin, left_to_right

__all__ = ["EM", "Sheet", "make_room", "shown", "wrapped"]

USUAL: Final = "DejaVu Sans"
"""The font that matplotlib brings along: Latin, Greek, Cyrillic, Arabic and Hebrew letters, and many signs."""
OTHERS: Final = (
    "Noto Sans CJK SC", "Noto Sans CJK JP", "Noto Sans CJK KR", "Noto Sans CJK TC", "Source Han Sans SC",
    "Microsoft YaHei", "SimSun", "Yu Gothic", "MS Gothic", "Malgun Gothic", "Microsoft JhengHei",
    "PingFang SC", "Hiragino Sans", "Apple SD Gothic Neo", "Arial Unicode MS",
    "WenQuanYi Micro Hei", "WenQuanYi Zen Hei", "Droid Sans Fallback", "IPAGothic", "NanumGothic",
    "Nirmala UI", "Leelawadee UI", "Noto Sans Devanagari", "Noto Sans Tamil", "Noto Sans Thai",
)  # fmt: skip
"""Fonts that computers have for other scripts, in the order in which they are asked (names from memory)."""


WINDOW: Final = 960
"""Width at which a notebook shows a sheet. [pixels]"""
EM: Final = 0.62 / 72
"""Usual width of a letter for each point of its size. [inches]"""


class Sheet(Figure):
    """A figure whose words are set as they stand, whoever draws it: a command, a record or a notebook."""

    def draw(self, renderer: RendererBase) -> None:
        """Draw it, with its words made plain first, and lines that are too long for it set smaller."""
        with mpl.rc_context({"text.parse_math": False, "text.usetex": False}):
            self.set_plain()
            for text in self.findobj(Text):
                _set_in(text, self.bbox, renderer)
            super().draw(renderer)

    def _repr_png_(self) -> tuple[bytes, dict[str, int]]:
        """As a notebook shows it: no wider than a window."""
        from alignment.show.pictures.train import render

        size = self.get_size_inches()
        return render(self, ".png"), {"width": WINDOW, "height": round(WINDOW * float(size[1] / size[0]))}

    def set_plain(self) -> None:
        """Let its words be as they will be drawn, for whoever needs to know how much room they take."""
        for text in self.findobj(Text):
            _set_plain(text)


def _set_in(text: Text, page: BboxBase, renderer: RendererBase) -> None:
    """Set a line smaller that begins on the page and would run out of it."""
    if text.get_text() and text.get_horizontalalignment() == "left":
        box = text.get_window_extent(renderer)
        room = float(page.x1 - box.x0)
        if box.x1 > page.x1 and room > 0:
            text.set_fontsize(0.95 * float(text.get_fontsize()) * room / box.width)


def wrapped(text: str, letters: int, **how: Any) -> list[str]:
    """A text parted into lines of so many letters at most, in the letters in which it will be set."""
    # a whole number and its fraction are one number
    joined = re.sub(r"(?<=\d) (?=\d+/\d)", "\u00a0", shown(text))
    return [line.replace("\u00a0", " ") for line in textwrap.wrap(joined, letters, **how)]


def shown(text: str) -> str:
    """A text in the letters in which it will be set."""
    return latin(text, _found(text, "bold")[1])


def make_room(axes: Axes, least: float = 6.0) -> None:
    """
    Let no words of a drawing meet: of two that do, those that lie below are set off, set smaller or left out.

    What has a place of its own, an annotation at an offset from its point, is first tried farther off.

    Parameters
    ----------
    axes : Axes
        Drawn upon. What lies on top, by its zorder, has its place first.
    least : float
        Size that nothing is set below. [points]
    """
    from matplotlib.backends.backend_agg import RendererAgg

    figure = axes.get_figure(root=True)
    if figure is None:
        return
    # only to measure with
    renderer = RendererAgg(1, 1, figure.dpi)  # type: ignore[no-untyped-call]
    for text in axes.texts:
        _set_plain(text)
    taken: list[BboxBase] = []
    for text in sorted((t for t in axes.texts if t.get_text()), key=lambda t: -t.get_zorder()):
        for _ in _tries(text, least):
            box = _room_of(text, renderer).padded(0.01 * figure.dpi)
            inside = box.x0 >= 0 and box.x1 <= figure.bbox.x1
            if isinstance(text, Annotation):  # below it is the ruler
                inside &= box.y0 >= axes.bbox.y0 and box.y1 <= axes.bbox.y1
            if inside and not any(box.overlaps(other) for other in taken):
                taken.append(box)
                break
        else:
            text.set_visible(False)


def _room_of(text: Text, renderer: RendererBase) -> BboxBase:
    """Where some words are, with their frame. [pixels]"""
    words = text.get_window_extent(renderer)
    frame = text.get_bbox_patch()
    if frame is None:
        return words
    text.update_bbox_position_size(renderer)
    return frame.get_window_extent(renderer)


def _tries(text: Text, least: float) -> Iterator[None]:
    """Set some words in one way after another, the best first."""
    size = float(text.get_fontsize())
    first = text.xyann if isinstance(text, Annotation) else None
    for smaller in dict.fromkeys((size, max(0.85 * size, min(size, least)), min(size, least))):
        text.set_fontsize(smaller)
        for farther in range(4 if isinstance(text, Annotation) else 1):
            if isinstance(text, Annotation) and first is not None:
                text.xyann = (first[0], first[1] + farther * 1.25 * smaller * (1 if first[1] > 0 else -1))
            yield


def _set_plain(text: Text) -> None:
    """Let one text be set as it stands, in letters that there are."""
    text.set_parse_math(False)
    text.set_usetex(False)
    said = text.get_text()
    if said.isascii():
        text.set_text(printable(said, "\n"))
        return
    weight, style = str(text.get_fontweight()), text.get_fontstyle()
    if style != "normal" and _missing(said, USUAL, style, weight):
        # a slanted face has fewer letters than the upright one
        text.set_fontstyle("normal")
    fonts, missing = _found(said, weight)
    text.set_fontfamily(fonts)
    text.set_text(left_to_right(printable(latin(said.replace(MARK, ""), missing), "\n")))


def _found(text: str, weight: str) -> tuple[list[str], set[str]]:
    """Fonts that together have the letters of a text, in upright faces, and the letters that none has."""
    fonts, missing = [USUAL], set() if text.isascii() else _missing(text, USUAL, "normal", weight)
    for name in OTHERS if missing else ():
        left = _missing(missing, name, "normal", weight)
        if left < missing:
            fonts.append(name)
            missing = left
    return fonts, missing


def _missing(characters: Iterable[str], name: str, style: Any, weight: str) -> set[str]:
    """Those of some characters that a font does not have."""
    return {c for c in characters if not c.isspace() and ord(c) not in _letters(name, style, weight)}


@cache
def _letters(name: str, style: Any, weight: str) -> frozenset[int]:
    """Characters of a font, none where the computer has no such font."""
    try:
        path = findfont(FontProperties(family=[name], style=style, weight=weight), fallback_to_default=False)
    except ValueError:
        return frozenset()
    return frozenset(get_font(path).get_charmap())
