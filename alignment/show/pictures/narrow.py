"""
One row of a train drawn down a narrow page, entry at the top, so that it is legible on a phone.

Along the machine everything is to one scale unless sections are short; across it, deviations are drawn larger by a
stated factor, and the distance to the string is not to scale. What a section is like is said by a word and an outline,
never by a colour alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.axes import Axes

from alignment.show.letters import cut, shortened
from alignment.show.pictures.scales import round_down
from alignment.show.pictures.sheets import Sheet, shown, wrapped
from alignment.show.words.narrow import NOTE, row_title, section_words
from alignment.show.words.stops import reading_words
from alignment.show.words.work import STATES
from alignment.train.work.next_act import Act, Next, SectionWork, State

__all__ = ["NarrowMove", "NarrowSection", "row_sheet", "work_sheet"]

WIDTH: Final = 4.5
"""Of the page; shown at 360 points of a phone, 12.5 points here are 10 there. [inches]"""
SIZE: Final = 12.5
LEAST: Final = 1.25
"""Paper for the shortest section. [inches]"""
STRING: Final = 0.35
FACE: Final = 1.95
SWING: Final = 0.45
"""Paper for the largest deviation, either way. [inches]"""
BODY: Final = 1.25
INK: Final = "#1a1a1a"
HEAD: Final = 0.75
TITLE: Final = 20
"""Letters of a row's name in the title."""
LETTERS: Final = 32
"""Of a name, in lines of half as many."""
LINES: Final = 3
GAP: Final = 0.12
"""Least paper between two sections. [inches]"""


@dataclass(frozen=True, kw_only=True)
class NarrowMove:
    """
    A bolt end to loosen.

    Attributes
    ----------
    place : float
        From the section's entry end. [mm]
    toward : bool
        Toward the string, or away from it.
    number : int
        As in the list of moves.
    """

    place: float
    toward: bool
    number: int


@dataclass(frozen=True, kw_only=True)
class NarrowSection:
    """
    One section as it is to be drawn.

    Attributes
    ----------
    start, length : float
        Along the machine. [mm]
    ends : (float, float) or None
        Deviation at entry and exit end, positive too far from the string; None where it was not read. [mm]
    readings : (str, str)
        What the tape reads there, empty where it was not read.
    words : str
        How it is: a verdict or a state.
    good : bool
        Whether it is to be left as it is.
    """

    name: str
    start: float
    length: float
    ends: tuple[float, float] | None
    readings: tuple[str, str]
    words: str
    good: bool
    moves: tuple[NarrowMove, ...] = ()


def work_sheet(found: Next, row: str) -> Sheet:
    """
    One row as a job log has it now, with the move that is asked for.

    Parameters
    ----------
    found : Next
    row : str
        Its name in the layout.
    """
    layout = found.layout
    members = [work for work in found.sections if work.section.row == row]
    wanted = [_wanted(found, work) for work in members]
    alike = len(set(wanted)) == 1
    return row_sheet(
        [_worked(found, work, "" if alike else own) for work, own in zip(members, wanted, strict=True)],
        title=row_title(cut(shown(row), TITLE), wanted[0] if alike else ""),
        note=NOTE,
        tolerance=layout.tolerance.offset,
        left=layout.rows[row].side != "right",
    )


def _wanted(found: Next, work: SectionWork) -> str:
    """The reading wanted at a section; both where it differs from end to end."""
    mark, units = found.log.tape.mark, found.layout.units
    return " to ".join(dict.fromkeys(reading_words(float(w), mark, units) for w in work.wanted))


def _worked(found: Next, work: SectionWork, wanted: str) -> NarrowSection:
    known, mark, units = work.standing.known, found.log.tape.mark, found.layout.units
    ends = (float(known.mean[0]), float(known.mean[1])) if known.complete else None
    reads = [reading_words(w + d, mark, units) for w, d in zip(work.wanted, ends or (), strict=False)]
    moves: tuple[NarrowMove, ...] = ()
    if found.act is Act.move and found.section is work.section:
        moves = tuple(
            NarrowMove(
                place=work.section.bolts[stop.end], toward=float(work.decision.move[stop.end]) > 0, number=k,
            )
            for k, stop in enumerate(work.decision.stops, 1)
        )  # fmt: skip
    return NarrowSection(
        name=work.section.name,
        start=work.section.start,
        length=work.section.length,
        ends=ends,
        readings=(reads[0], reads[1]) if ends else ("", ""),
        words=section_words(STATES[work.state], wanted),
        good=work.state in (State.done, State.kept),
        moves=moves,
    )


def row_sheet(sections: Sequence[NarrowSection], *, title: str, note: str, tolerance: float, left: bool) -> Sheet:
    """
    Draw a row.

    Parameters
    ----------
    sections : sequence of NarrowSection
        Entry to exit.
    title, note : str
        Which row; ``note`` may hold ``{factor}``, by which deviations are larger than lengths.
    tolerance : float
        Of the offset: a band about where faces should be. [mm]
    left : bool
        Whether the string hangs on the left of the faces, looking downstream (down the page).

    Returns
    -------
    Sheet
        4.5 inches wide, as high as the row needs.
    """
    along = LEAST / min(s.length for s in sections)
    along = min(along, 14.0 / (sections[-1].start + sections[-1].length - sections[0].start))
    tops, y = [], HEAD
    for k, section in enumerate(sections):
        if k:
            apart = section.start - sections[k - 1].start - sections[k - 1].length
            y += max(apart * along, GAP)
        tops.append(y)
        y += max(section.length * along, LEAST)
    height = y + 0.95
    largest = max([1.4 * tolerance] + [abs(d) for s in sections if s.ends for d in s.ends])
    # a millimetre of deviation, in inches of paper; told against the scale along the machine
    scale = round_down(SWING / largest / along) * along
    figure = Sheet(figsize=(WIDTH, height))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim((0, WIDTH) if left else (WIDTH, 0))
    axes.set_ylim(height, 0)
    axes.set_axis_off()
    side = "left" if left else "right"
    axes.text(0.2 if left else WIDTH - 0.2, 0.22, title, size=SIZE, weight="bold", va="center", ha="left", color=INK)
    axes.plot([STRING, STRING], [HEAD - 0.15, y + 0.1], color=INK, lw=1.6, ls=(0, (9, 2, 2, 2)))
    axes.fill_betweenx([HEAD, y], FACE - tolerance * scale, FACE + tolerance * scale, color="#e4e4e4", lw=0, zorder=0)
    family = tuple(shown(section.name) for section in sections)
    for section, top in zip(sections, tops, strict=True):
        _section(axes, section, top, max(section.length * along, LEAST), scale, side, family)
    words = note.format(factor=f"{scale / along:.0f}")
    for k, line in enumerate(wrapped(words, 46)):
        axes.text(
            0.2 if left else WIDTH - 0.2, y + 0.3 + 0.2 * k, line, size=SIZE - 1.2, va="center", ha="left", color=INK
        )
    return figure


def _section(
    axes: Axes,
    section: NarrowSection,
    top: float,
    paper: float,
    scale: float,
    side: str,
    family: tuple[str, ...],
) -> None:
    bottom = top + paper
    entry, exit_ = (FACE + scale * d for d in section.ends or (0.0, 0.0))
    corners = [(entry, top), (exit_, bottom), (exit_ + BODY, bottom), (entry + BODY, top)]
    known = section.ends is not None
    axes.fill(
        *zip(*corners, strict=True),
        facecolor="#ffffff" if not known else "#dcebf7" if section.good else "#f2b48a",
        edgecolor=INK,
        lw=0.9,
        ls="-" if known else (0, (2, 2)),
        hatch="" if section.good or not known else "//",
        zorder=2,
    )
    if known:
        axes.plot([entry, exit_], [top, bottom], color=INK, lw=3, solid_capstyle="butt", zorder=4)
    box = {"boxstyle": "round,pad=0.2", "fc": "white", "ec": "none"}
    lines = wrapped(shortened(shown(section.name), family, LETTERS), LETTERS // 2)[:LINES]
    middle = (entry + exit_) / 2 + BODY / 2
    axes.text(
        middle, top + paper / 2, "\n".join([*lines, section.words]), size=SIZE - 1.5, weight="bold", ha="center",
        va="center", bbox=box, zorder=5, label=section.name,
    )  # fmt: skip
    for at, x, reading, sense in ((top, entry, section.readings[0], 1), (bottom, exit_, section.readings[1], -1)):
        if reading:
            axes.plot([STRING, x], [at, at], color="#777777", lw=0.8, ls=":", zorder=1)
            axes.text(STRING + 0.08, at + sense * 0.14, reading, size=SIZE, ha=side, va="center", color=INK, zorder=6)
    for move in section.moves:
        share = float(np.clip(move.place / section.length, 0.12, 0.88))
        y = top + share * paper
        x = entry + share * (exit_ - entry) + 0.16
        tip = x + (-0.75 if move.toward else 0.55)
        arrow = {"arrowstyle": "-|>", "lw": 2.4, "color": "black", "shrinkA": 0, "shrinkB": 0, "mutation_scale": 18}
        axes.annotate("", (tip, y), (x, y), arrowprops=arrow, zorder=7)
        axes.plot(x, y, marker="o", ms=19, mfc="black", mec="white", mew=1.4, zorder=8)
        axes.text(
            x, y, str(move.number), size=SIZE - 1, weight="bold", color="white", ha="center", va="center", zorder=9
        )
