"""The clear distance between facing rows, from one string or from two whose spacing was measured."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from alignment.layout import Layout
from alignment.train import Train

__all__ = ["Opening", "openings", "rows_across"]


@dataclass(frozen=True, kw_only=True)
class Opening:
    """Opening between two rows at one place along the machine. [mm]"""

    rows: tuple[str, str]
    x: float
    opening: float
    u: float


def rows_across(layout: Layout) -> list[tuple[str, str]]:
    """Pairs of facing rows, left one first looking downstream, as far as strings and sides tell."""
    across = {}
    for name, row in layout.rows.items():
        at = layout.strings[row.string].at
        targets = [s.setback + (row.target or 0.0) for s in layout.row_sections(name)]
        if row.side and at is not None and targets:
            across[name] = at + (1 if row.side == "left" else -1) * float(np.mean(targets))
    return list(pairwise(sorted(across, key=lambda name: across[name])))


def openings(train: Train) -> tuple[Opening, ...]:
    """
    Openings at every section end that has a measured face across from it.

    A face lies at the string's place plus its reading where the string hangs on its left, less it on its right.

    Returns
    -------
    tuple of Opening
        In the order of x. Empty where strings or sides are not told. The spacing of two strings is taken as exact.
    """
    found = []
    layout = train.layout
    for left, right in rows_across(layout):
        members = [np.flatnonzero([s.row == name for s in layout.sections] & train.measured) for name in (left, right)]
        places = sorted(
            {round(x, 6) for i in np.concatenate(members) for x in (train.start[i], train.start[i] + train.length[i])}
        )
        for x in places:
            faces = [
                next((i for i in side if -1e-6 <= x - train.start[i] <= train.length[i] + 1e-6), None)
                for side in members
            ]
            if faces[0] is None or faces[1] is None:
                continue
            opening = variance = zeros = 0.0
            for name, i, outward in zip((left, right), faces, (-1, 1), strict=True):
                row = layout.rows[name]
                away = 1 if row.side == "left" else -1
                place = (layout.strings[row.string].at or 0.0) + away * float(train.reading_at(x)[i])
                local = np.array([1.0, x - train.middle[i]])
                opening += outward * place
                variance += float(local @ train.covariance[i] @ local)
                zeros += outward * away
            u = float(np.sqrt(variance + (zeros * train.survey.tape.zero) ** 2))
            found.append(Opening(rows=(left, right), x=x, opening=float(opening), u=u))
    return tuple(found)
