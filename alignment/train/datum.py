"""What deviations are taken from: targets and lines that come from the readings themselves, with their correlations."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from alignment.machine.layout import Layout
from alignment.train.faces import Adjustment

__all__ = ["Datum", "take_datum"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Datum:
    """
    What deviations are taken from: numbers common to many sections, each linear in the fitted faces.

    Attributes
    ----------
    value : (k,) array
        The numbers: relative row targets, then shift [mm] and slope of each string.
    weight : (k, n, 2) array
        How each depends on ``c`` and ``s`` of each section; zero where it is a constant.
    target : (n,) array
        Constant part of each section's target, setback included. [mm]
    row_target : (n,) int array
        Which number is the row's relative target; -1 where the target is a number of the layout.
    shift : (n,) int array
        Which number is the shift of the section's string; its slope is the next. -1 where the string is the truth.
    sign : (n,) array
        +1, or -1 for a row that sees its string from the other side than the string's first row.
    """

    value: Floats
    weight: Floats
    target: Floats
    row_target: NDArray[np.int64]
    shift: NDArray[np.int64]
    sign: Floats
    references: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Sections that a row takes its target from, where the layout has none."""


def take_datum(layout: Layout, adjusted: Adjustment, *, fitted: bool) -> Datum:
    """
    Row targets and, where the line is fitted, the shift and slope of each string with two measured sections or more.

    The line runs through the sections on hold, or through all where none is. One section on hold gives the shift
    alone, and all together the slope.

    A row's target is the number of the layout; else the mean of its sections on hold, less their setbacks; else its
    first measured section.
    """
    # weights of readings are those of the tape, whether or not they scatter
    face, covariance = adjusted.face, adjusted.covariance / adjusted.birge[:, None, None] ** 2
    count = len(face)
    measured = ~np.isnan(face[:, 1])
    known = np.nan_to_num(face)
    setback = np.array([s.setback for s in layout.sections])
    rows = np.array([s.row for s in layout.sections])
    hold = np.array([s.hold for s in layout.sections])
    target = setback.copy()
    row_target = np.full(count, -1)
    weights: list[Floats] = []
    values: list[float] = []
    references: dict[str, tuple[str, ...]] = {}
    for name, row in layout.rows.items():
        members = rows == name
        if row.target is not None:
            target[members] += row.target
        elif (members & measured).any():
            held = members & measured & hold
            from_these = np.flatnonzero(held) if held.any() else np.flatnonzero(members & measured)[:1]
            weight = np.zeros((count, 2))
            weight[from_these, 0] = 1 / len(from_these)
            row_target[members] = len(values)
            references[name] = tuple(layout.sections[i].name for i in from_these)
            weights.append(weight)
            values.append(float(np.mean(known[from_these, 0] - setback[from_these])))
    shift = np.full(count, -1)
    sign = np.array([_sign(layout, name) for name in rows])
    if fitted:
        for string in layout.strings:
            members = np.array([layout.rows[name].string == string for name in rows])
            use = members & measured
            # a line through one section alone would call any skew of it none
            if np.count_nonzero(use) < 2:
                continue
            held = np.flatnonzero(use & hold)
            through = held if len(held) > 1 else np.flatnonzero(use)
            weight, value = _line_through(layout, through, sign, known, covariance, target, row_target, weights, values)
            if len(held) == 1:
                # one section says where the line lies, and not which way it runs: by itself it would have no skew
                own, off = _deviation(held[0], known, target, row_target, weights, values)
                middle = layout.sections[held[0]].middle
                weight[0] = sign[held[0]] * own - middle * weight[1]
                value[0] = sign[held[0]] * off - middle * value[1]
            shift[members] = len(values)
            weights += list(weight)
            values += list(value)
    stacked = np.array(weights).reshape(len(weights), count, 2)
    return Datum(
        value=np.array(values),
        weight=stacked,
        target=target,
        row_target=row_target,
        shift=shift,
        sign=sign,
        references=references,
    )


def _sign(layout: Layout, row: str) -> float:
    """+1 where the row sees its string from the same side as the string's first row, else -1."""
    string, side = layout.rows[row].string, layout.rows[row].side
    first = next(r.side for r in layout.rows.values() if r.string == string)
    return -1.0 if side and first and side != first else 1.0


def _deviation(
    section: int,
    face: Floats,
    target: Floats,
    row_target: NDArray[np.int64],
    weights: list[Floats],
    values: list[float],
) -> tuple[Floats, float]:
    """Deviation of a section at its mid-length, and the weights (n, 2) with which it depends on every face."""
    weight = np.zeros((len(face), 2))
    weight[section, 0] = 1.0
    value, k = float(face[section, 0] - target[section]), row_target[section]
    if k >= 0:
        weight -= weights[k]
        value -= values[k]
    return weight, value


def _line_through(
    layout: Layout,
    through: NDArray[np.int64],
    sign: Floats,
    face: Floats,
    covariance: Floats,
    target: Floats,
    row_target: NDArray[np.int64],
    weights: list[Floats],
    values: list[float],
) -> tuple[Floats, Floats]:
    """
    Shift and slope of the weighted least-squares line through the deviations of some sections.

    Returns the weights (2, n, 2) with which it depends on every face, and the two numbers.
    """
    middle = np.array([layout.sections[i].middle for i in through])
    design = np.zeros((len(through), 2, 2))
    design[:, 0, 0] = sign[through]
    design[:, 0, 1] = sign[through] * middle
    design[:, 1, 1] = sign[through]
    precision = np.linalg.inv(covariance[through])
    pull = np.einsum("nji,njk->nik", design, precision)
    normal = np.einsum("nij,njk->ik", pull, design)
    solve = np.einsum("ij,njk->ink", np.linalg.inv(normal), pull)
    own = face[through].copy()
    own[:, 0] -= target[through]
    weight = np.zeros((2, len(face), 2))
    weight[:, through] = solve
    for i, section in enumerate(through):
        k = row_target[section]
        if k >= 0:
            own[i, 0] -= values[k]
            weight -= solve[:, i, 0][:, None, None] * weights[k]
    return weight, np.einsum("inj,nj->i", solve, own)
