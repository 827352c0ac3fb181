"""
The sheet that is taken to the machine: a drawing with the points numbered as they are read, and boxes to write in.

One kind is for a survey, another for the work, section by section. Places in the drawing are shares of its width.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby, pairwise
from typing import Any, Final

import numpy as np

from alignment import __version__
from alignment.choices import Paper
from alignment.lengths import show_exact
from alignment.machine.entry import Ask
from alignment.machine.layout import Layout, Plane, Row, Section
from alignment.show.paper.typesetting import paper_name, typeset
from alignment.show.pictures.drawing import Lane, lanes_of
from alignment.show.words import sheet as words
from alignment.show.words.cautions import SHORT
from alignment.show.words.phrases import VIEWS
from alignment.train.across import rows_of
from alignment.train.sheet import Sheet

__all__ = ["render"]

ABREAST: Final = 6
"""Sections of a row that are drawn beside one another."""
DISC: Final = 0.0155
"""Radius of a point's number, as a share of the drawing's width."""


def render(sheet: Sheet, paper: Paper, made: datetime.date) -> bytes:
    """The sheet as a PDF."""
    layout = sheet.layout
    numbers = {_key(ask): k for k, ask in enumerate(sheet.points, 1)}

    def named(ask: Ask) -> dict[str, Any]:
        section = layout.sections[layout.index[ask.section]]
        name = section.point_name(ask.place, layout.units)
        point = name if name[0].isalpha() else f"at {show_exact(ask.place, layout.units)}"
        return {
            "number": numbers[_key(ask)],
            "section": ask.section,
            "point": point,
            "wanted": words.wanted(layout, ask),
        }

    sections = [
        {"section": name, "points": [named(ask) for ask in asks]}
        for name, asks in groupby(sheet.points, key=lambda ask: ask.section)
    ]
    data = {
        "paper": paper_name(paper),
        "made": [made.year, made.month, made.day],
        "version": __version__,
        "machine": layout.name,
        "layout": layout.source,
        "units": str(layout.units),
        "title": words.title(sheet),
        "fields": list(words.FIELDS),
        "views": [_view(layout, plane, numbers) for plane in Plane if rows_of(layout, plane)],
        "columns": words.columns(sheet),
        "work": sheet.work,
        "sections": sections,
        "closing": [named(ask) for ask in sheet.closing],
        "closing_words": words.CLOSING,
        "instructions": words.instructions(sheet),
        "cautions": list(SHORT),
    }
    return typeset("sheet", data)


def _key(ask: Ask) -> tuple[str, float]:
    return ask.section, ask.place


def _view(layout: Layout, plane: Plane, numbers: Mapping[tuple[str, float], int]) -> dict[str, Any]:
    """Drawing of the rows of one plane, cut where it would be too long for the page."""
    lanes = lanes_of(layout, plane)
    stretches = _stretches([layout.row_sections(row) for row in lanes])
    extents = [(min(s.start for s in members), max(s.end for s in members)) for members in stretches]
    span = max(high - low for low, high in extents)
    return {
        "title": VIEWS[plane],
        "stretches": [
            [_lane(layout.rows[row], lane, members, (low, span), numbers) for row, lane in lanes.items()]
            for members, (low, _) in zip(stretches, extents, strict=True)
        ],
    }


def _stretches(rows: Sequence[Sequence[Section]]) -> list[list[Section]]:
    """Sections in groups along the machine, no group with more than `ABREAST` of the row that has most."""
    most = max(rows, key=len)
    pieces = -(-len(most) // ABREAST)
    firsts = [round(k * len(most) / pieces) for k in range(1, pieces)]
    cuts = [(a.middle + b.middle) / 2 for a, b in pairwise(most)]
    edges = [cuts[k - 1] for k in firsts]
    groups: list[list[Section]] = [[] for _ in range(pieces)]
    for section in (s for row in rows for s in row):
        groups[int(np.searchsorted(edges, section.middle))].append(section)
    return groups


def _lane(
    row: Row,
    lane: Lane,
    members: Iterable[Section],
    scale: tuple[float, float],
    numbers: Mapping[tuple[str, float], int],
) -> dict[str, Any]:
    """One row of one stretch; places as shares of the width, from `scale`: where it begins and how long it is."""
    low, span = scale
    own = [s for s in members if s.row == row.name]
    radius = min([DISC, *(s.length / span / (2 * len(s.points)) for s in own)])
    return {
        "row": row.name,
        "string": row.string,
        "above": lane.away > 0,
        "inside": lane.body == -lane.away,
        "radius": radius,
        "sections": [
            {
                "name": s.name,
                "from": (s.start - low) / span,
                "to": (s.end - low) / span,
                "points": [
                    {"number": numbers[s.name, place], "x": (s.start + place - low) / span, "at": at}
                    for place, at in zip(s.points, _discs(s, low, span, radius), strict=True)
                ],
            }
            for s in own
        ],
    }


def _discs(section: Section, low: float, span: float, radius: float) -> list[float]:
    """Where the numbers of a section's points stand: over their points, but within the section and side by side."""
    first, last = (section.start - low) / span + radius, (section.end - low) / span - radius
    at = [min(max((section.start + p - low) / span, first), last) for p in section.points]
    crowded = any(b - a < 2 * radius * 0.999 for a, b in pairwise(at))
    return [float(x) for x in np.linspace(first, last, len(at))] if crowded else at
