"""
The station train: every section of a machine fitted to one survey, with one covariance over all of it.

A section's face is the line ``c + s (x - m)``: ``c`` the reading at its mid-length m, ``s`` its slope. A deviation is
that line less the target and less the line to which deviations are taken. Targets and lines that come from the
readings themselves are linear in the ``c`` and ``s`` of some sections; they are carried as such, so that every
uncertainty has its correlations in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alignment.choices import Line
from alignment.errors import NotEnoughReadingsError
from alignment.layout import Layout
from alignment.leastsq import Lines, fit_lines
from alignment.survey import Reading, Survey
from alignment.uncertainty import chi_square_point

__all__ = ["Datum", "Estimates", "Train", "fit_sections", "fit_train"]

Floats = NDArray[np.float64]
SCATTER_PROBABILITY = 0.95
"""Chi-square beyond this point means that readings scatter more than the tape explains."""


class Estimates(NamedTuple):
    """Values and their standard uncertainties. [mm]"""

    value: Floats
    u: Floats


@dataclass(frozen=True, kw_only=True)
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


@dataclass(frozen=True, kw_only=True)
class Train:
    """
    A station train fitted to a survey. Arrays run over ``layout.sections``; NaN where a section is not measured.

    Attributes
    ----------
    lines : Lines
        The fit of each section to its readings.
    face : (n, 2) array
        Reading at mid-length [mm] and slope of each face.
    covariance : (n, 2, 2) array
        Of ``face``, grown where readings scatter; the tape's zero is not in it.
    birge : (n,) array
        By how much standard uncertainties were grown.
    zero : float
        Standard uncertainty of the tape's zero, common to every reading; 0 where it cannot matter. [mm]
    """

    layout: Layout
    survey: Survey
    line: Line
    lines: Lines
    face: Floats
    covariance: Floats
    birge: Floats
    zero: float
    datum: Datum

    @cached_property
    def start(self) -> Floats:
        """Machine x of each entry end. [mm]"""
        return np.array([s.start for s in self.layout.sections])

    @cached_property
    def length(self) -> Floats:
        """Length of each section. [mm]"""
        return np.array([s.length for s in self.layout.sections])

    @property
    def middle(self) -> Floats:
        """Machine x of each mid-length. [mm]"""
        return self.start + self.length / 2

    @property
    def measured(self) -> NDArray[np.bool_]:
        """Which sections were read at two distinct points at least."""
        return ~np.isnan(self.face[:, 1])

    def reading_at(self, x: ArrayLike) -> Floats:
        """Reading that the tape would show at machine ``x`` of each section's face. [mm]"""
        return self.face[:, 0] + self.face[:, 1] * (np.asarray(x) - self.middle)

    def target_at(self, x: ArrayLike) -> Floats:
        """Reading at which the face of each section has no deviation at machine ``x``. [mm]"""
        h = self._datum_terms(np.broadcast_to(np.asarray(x, dtype=np.float64), self.start.shape))
        return self.datum.target - h @ self.datum.value

    def _datum_terms(self, x: Floats, at_x: float = 1.0) -> Floats:
        """
        How a deviation at ``x`` takes the datum's numbers, (n, k).

        ``at_x = 0`` gives the terms of a difference over a length ``x`` along one section instead.
        """
        terms = np.zeros((len(self.start), len(self.datum.value)))
        n = np.arange(len(terms))
        has = self.datum.row_target >= 0
        terms[n[has], self.datum.row_target[has]] = -at_x
        has = self.datum.shift >= 0
        terms[n[has], self.datum.shift[has]] = -at_x * self.datum.sign[has]
        terms[n[has], self.datum.shift[has] + 1] = -self.datum.sign[has] * x[has]
        return terms

    @cached_property
    def _shared(self) -> tuple[Floats, Floats, Floats]:
        """Covariance of faces with the datum (n, 2, k), of the datum (k, k), and its share of the zero (k,)."""
        weight = self.datum.weight
        cross = np.einsum("nij,knj->nik", np.nan_to_num(self.covariance), weight)
        return cross, np.einsum("kni,nil->kl", weight, cross), weight[:, :, 0].sum(axis=1)

    def _variance(self, terms: list[tuple[NDArray[np.int64], Floats]], h: Floats) -> Floats:
        """
        Variance of linear functions of faces and datum.

        Parameters
        ----------
        terms : list of (index, coefficients)
            For each function (rows), a section and the coefficients (m, 2) of its ``c`` and ``s``. Sections of
            different terms must differ: their readings are independent.
        h : (m, k) array
            Coefficients of the datum's numbers.
        """
        cross, among, zeros = self._shared
        variance = np.einsum("mk,kl,ml->m", h, among, h)
        through_zero = h @ zeros
        for at, coefficient in terms:
            variance = variance + np.einsum("mi,mij,mj->m", coefficient, self.covariance[at], coefficient)
            variance = variance + 2 * np.einsum("mi,mik,mk->m", coefficient, cross[at], h)
            through_zero = through_zero + coefficient[:, 0]
        return np.asarray(np.maximum(variance + (self.zero * through_zero) ** 2, 0.0))

    def deviation(self, x: ArrayLike) -> Estimates:
        """Deviation of each section's face at machine ``x`` (one per section). [mm]"""
        place = np.broadcast_to(np.asarray(x, dtype=np.float64), self.start.shape)
        local = np.stack([np.ones_like(place), place - self.middle], axis=1)
        h = self._datum_terms(place)
        value = self.reading_at(place) - self.target_at(place)
        return Estimates(value, np.sqrt(self._variance([(np.arange(len(place)), local)], h)))

    @cached_property
    def offset(self) -> Estimates:
        """Deviation of each face at its mid-length. [mm]"""
        return self.deviation(self.middle)

    @cached_property
    def ends(self) -> tuple[Estimates, Estimates]:
        """Deviation of each face at its entry and exit end. [mm]"""
        return self.deviation(self.start), self.deviation(self.start + self.length)

    @cached_property
    def skew(self) -> Estimates:
        """How much farther from the line each face is at its exit end than at its entry end. [mm]"""
        local = np.stack([np.zeros_like(self.length), self.length], axis=1)
        h = self._datum_terms(self.length, at_x=0.0)
        value = self.face[:, 1] * self.length + h @ self.datum.value
        return Estimates(value, np.sqrt(self._variance([(np.arange(len(local)), local)], h)))

    @cached_property
    def joint_index(self) -> NDArray[np.int64]:
        """Upstream and downstream section of each joint, (j, 2)."""
        index = self.layout.index
        pairs = [(index[j.upstream], index[j.downstream]) for j in self.layout.joints]
        return np.array(pairs, dtype=np.int64).reshape(-1, 2)

    @cached_property
    def steps(self) -> Estimates:
        """
        Step at each joint: how much farther from the string the downstream face is, less the nominal step. [mm]

        The tape's zero and the row's target cancel.
        """
        up, down = self.joint_index.T
        x_up, x_down = self.start[up] + self.length[up], self.start[down]
        nominal = np.array([0.0 if j.step is None else j.step for j in self.layout.joints])
        set_by_joint = np.array([j.step is not None for j in self.layout.joints], dtype=bool)
        # a nominal step that is given stands in place of the one that the setbacks make
        setbacks = np.array([s.setback for s in self.layout.sections])
        nominal = nominal - np.where(set_by_joint, setbacks[down] - setbacks[up], 0.0)
        local_up = -np.stack([np.ones(len(up)), self.length[up] / 2], axis=1)
        local_down = np.stack([np.ones(len(down)), -self.length[down] / 2], axis=1)
        h = np.zeros((len(up), len(self.datum.value)))
        has = self.datum.shift[up] >= 0
        h[has, self.datum.shift[up][has] + 1] = -(self.datum.sign[up] * (x_down - x_up))[has]
        gap = self.ends[0].value[down] - self.ends[1].value[up]
        variance = self._variance([(up, local_up), (down, local_down)], h)
        return Estimates(gap - nominal, np.sqrt(variance))

    @property
    def string_lines(self) -> dict[str, tuple[float, float]]:
        """Shift at the machine's zero mark [mm] and slope taken off the deviations of each string's first row."""
        found = dict.fromkeys(self.layout.strings, (0.0, 0.0))
        for section, k in zip(self.layout.sections, self.datum.shift, strict=True):
            if k >= 0:
                found[self.layout.rows[section.row].string] = (self.datum.value[k], self.datum.value[k + 1])
        return found

    def moved(self, moves: Floats) -> Train:
        """
        The train as it will be after moves.

        Parameters
        ----------
        moves : (n, 2) array
            Move of the entry and exit bolt end of each section, toward the string positive. [mm]

        Returns
        -------
        Train
            With the uncertainties that a repeat of the same survey would have; targets and lines stay where they
            are.
        """
        bolts = np.array([s.bolts for s in self.layout.sections])
        turn = (moves[:, 1] - moves[:, 0]) / (bolts[:, 1] - bolts[:, 0])
        at_middle = moves[:, 0] + turn * (self.length / 2 - bolts[:, 0])
        return replace(self, face=self.face - np.stack([at_middle, turn], axis=1))

    def on_line(self, lines: Mapping[str, tuple[float, float]]) -> Train:
        """
        The train seen from lines chosen by the planner: shift at the zero mark [mm] and slope of each string.

        A line that may be put anywhere takes up the tape's zero, which is left out of the uncertainties.
        """
        datum, rows = self.datum, self.layout.rows
        relative = len(datum.value)
        order = {name: relative + 2 * i for i, name in enumerate(lines)}
        chosen = np.array([number for pair in lines.values() for number in pair])
        value = np.concatenate([datum.value, chosen])
        blank = np.zeros((len(chosen), *datum.weight.shape[1:]))
        shift = np.array([order[rows[s.row].string] for s in self.layout.sections])
        weight = np.concatenate([datum.weight, blank])
        return replace(self, line=Line.free, zero=0.0, datum=replace(datum, value=value, weight=weight, shift=shift))


def fit_train(layout: Layout, survey: Survey, *, line: Line = Line.string) -> Train:
    """
    Fit every section of a machine to a survey.

    Parameters
    ----------
    layout : Layout
        The machine.
    survey : Survey
        Its readings; closing readings are not fitted.
    line : Line
        What deviations are taken from. `Line.free` is for the planner: until it has chosen, the string is taken.

    Returns
    -------
    Train

    Raises
    ------
    NotEnoughReadingsError
        No section was read at two distinct points.
    """
    readings = survey.fitted
    lines = fit_sections(layout, readings)
    measured = ~np.isnan(lines.slope)
    if not measured.any():
        raise NotEnoughReadingsError(
            f"{survey.source}: no section was read at two distinct points, so no face can be drawn. "
            "Read each section at its entry and exit points."
        )
    excess = np.where(lines.dof > 0, lines.chi2 / np.maximum(lines.dof, 1), 0.0)
    beyond = lines.chi2 > chi_square_point(np.maximum(lines.dof, 1), SCATTER_PROBABILITY)
    birge = np.where((lines.dof > 0) & beyond & (excess > 1), np.sqrt(np.maximum(excess, 1)), 1.0)
    middle = np.array([s.middle for s in layout.sections])
    lever = middle - lines.centre_x
    face = np.stack([lines.at(middle), lines.slope], axis=1)
    covariance = np.empty((len(middle), 2, 2))
    covariance[:, 0, 0] = lines.centre_var + lines.slope_var * lever**2
    covariance[:, 0, 1] = covariance[:, 1, 0] = lines.slope_var * lever
    covariance[:, 1, 1] = lines.slope_var
    return Train(
        layout=layout,
        survey=survey,
        line=line,
        lines=lines,
        face=face,
        covariance=covariance * (birge**2)[:, None, None],
        birge=birge,
        zero=survey.tape.zero,
        datum=_datum(layout, face, covariance, fitted=line is Line.fitted),
    )


def fit_sections(layout: Layout, readings: tuple[Reading, ...]) -> Lines:
    """Fit every section of a layout to its readings, x along the machine. [mm]"""
    index = layout.index
    group = np.array([index[r.section] for r in readings], dtype=np.int64)
    starts = np.array([s.start for s in layout.sections])
    x = np.array([r.place for r in readings]) + starts[group]
    y = np.array([r.value for r in readings])
    return fit_lines(group, x, y, np.array([r.u for r in readings]), groups=len(starts))


def _datum(layout: Layout, face: Floats, covariance: Floats, *, fitted: bool) -> Datum:
    """Row targets and, where the line is fitted, the shift and slope of each string."""
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
            weights.append(weight)
            values.append(float(np.mean(known[from_these, 0] - setback[from_these])))
    shift = np.full(count, -1)
    sign = np.array([_sign(layout, name) for name in rows])
    if fitted:
        for string in layout.strings:
            members = np.array([layout.rows[name].string == string for name in rows])
            use = members & measured & hold
            use = use if use.any() else members & measured
            if not use.any():
                continue
            through = np.flatnonzero(use)
            weight, value = _line_through(layout, through, sign, known, covariance, target, row_target, weights, values)
            shift[members] = len(values)
            weights += list(weight)
            values += list(value)
    stacked = np.array(weights).reshape(len(weights), count, 2)
    return Datum(value=np.array(values), weight=stacked, target=target, row_target=row_target, shift=shift, sign=sign)


def _sign(layout: Layout, row: str) -> float:
    """+1 where the row sees its string from the same side as the string's first row, else -1."""
    string, side = layout.rows[row].string, layout.rows[row].side
    first = next(r.side for r in layout.rows.values() if r.string == string)
    return -1.0 if side and first and side != first else 1.0


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
