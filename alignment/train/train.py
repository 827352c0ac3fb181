"""
The station train: every section of a machine fitted to one survey, with one covariance over all of it.

A section's face is the line ``c + s (x - m)``: ``c`` the reading at its mid-length m, ``s`` its slope. A deviation is
that line less the target and less the line to which deviations are taken. Targets and lines that come from the
readings themselves are linear in the ``c`` and ``s`` of some sections; they are carried as such, so that every
uncertainty has its correlations in it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alignment.choices import Line
from alignment.errors import NotEnoughReadingsError
from alignment.fitting.lines import Lines
from alignment.machine.layout import Layout
from alignment.machine.log import now
from alignment.machine.survey import Survey
from alignment.train.datum import Datum, take_datum
from alignment.train.faces import Adjustment, adjust, corrections, string_sags

__all__ = ["Estimates", "Train", "fit_train"]

Floats = NDArray[np.float64]


class Estimates(NamedTuple):
    """Values and their standard uncertainties. [mm]"""

    value: Floats
    u: Floats


@dataclass(frozen=True, kw_only=True, eq=False)
class Train:
    """
    A station train fitted to a survey. Arrays run over ``layout.sections``; NaN where a section is not measured.

    Attributes
    ----------
    adjusted : Adjustment
        The fit to the readings.
    face : (n, 2) array
        Reading at mid-length [mm] and slope of each face: as fitted, or as they will be after moves.
    """

    layout: Layout
    survey: Survey
    line: Line
    adjusted: Adjustment
    face: Floats
    datum: Datum

    @property
    def lines(self) -> Lines:
        """The fit of each section to its own tape readings."""
        return self.adjusted.lines

    @property
    def covariance(self) -> Floats:
        """Covariance of each face, (n, 2, 2), grown where readings scatter; the tape's zero is not in it."""
        return self.adjusted.covariance

    @property
    def birge(self) -> Floats:
        """By how much standard uncertainties were grown, (n,)."""
        return self.adjusted.birge

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
        place = np.broadcast_to(np.asarray(x, dtype=np.float64), self.start.shape)
        return self.readings(np.arange(len(place)), place)

    def readings(self, at: NDArray[np.int64], x: Floats) -> Floats:
        """Reading that the tape would show at machine ``x`` of the faces of sections ``at``, both (m,). [mm]"""
        sag = corrections(self.layout, at, x)
        return np.asarray(self.face[at, 0] + self.face[at, 1] * (x - self.middle[at]) - sag)

    def target_at(self, x: ArrayLike) -> Floats:
        """Reading at which the face of each section has no deviation at machine ``x``. [mm]"""
        return self.targets(np.arange(len(self.start)), np.broadcast_to(np.asarray(x), self.start.shape))

    def targets(self, at: NDArray[np.int64], x: Floats) -> Floats:
        """Reading at which the faces of sections ``at`` have no deviation at machine ``x``, both (m,). [mm]"""
        sag = corrections(self.layout, at, x)
        return np.asarray(self.datum.target[at] - self.datum_terms(at, x) @ self.datum.value - sag)

    def datum_terms(self, at: NDArray[np.int64], x: Floats, at_x: float = 1.0) -> Floats:
        """
        How deviations of sections ``at`` at ``x`` take the datum's numbers, (m, k).

        ``at_x = 0`` gives the terms of a difference over a length ``x`` along one section instead.
        """
        datum = self.datum
        terms = np.zeros((len(at), len(datum.value)))
        m = np.arange(len(at))
        has = datum.row_target[at] >= 0
        terms[m[has], datum.row_target[at][has]] = -at_x
        has = datum.shift[at] >= 0
        sign, shift = datum.sign[at][has], datum.shift[at][has]
        terms[m[has], shift] = -at_x * sign
        terms[m[has], shift + 1] = -sign * x[has]
        return terms

    @cached_property
    def common(self) -> Floats:
        """
        Standard errors that all readings share, as what they do to each face, (q, n, 2).

        The tape's zero, the mean of its tilt at each section's reading, and the strings' sags.
        """
        tape = self.survey.tape
        tilt = tape.tilt_mean(np.nan_to_num(self.adjusted.face[:, 0]))
        found = []
        # a line that may be put anywhere takes these up; not so where rows see one string from both sides
        taken = (self.line is Line.free) & (self.datum.shift >= 0) & (self.datum.sign > 0).all()
        for error in (tape.zero, tilt):
            both = np.zeros((len(self.start), 2))
            both[:, 0] = np.where(taken, 0.0, error)
            found.append(both)
        rows = [self.layout.rows[s.row] for s in self.layout.sections]
        sags = {row.string: sag for row, sag in zip(rows, string_sags(self.layout), strict=True) if sag is not None}
        for name, sag in sags.items():
            # what is too much from above is too little from below
            way = [0.0 if row.string != name else -1.0 if row.side == "below" else 1.0 for row in rows]
            shape = np.stack([sag.at(self.middle), sag.slope_at(self.middle)], axis=1)
            found.append(np.array(way)[:, None] * shape * sag.relative_u)
        return np.array(found)

    @cached_property
    def shared(self) -> tuple[Floats, Floats, Floats]:
        """Covariance of faces with the datum (n, 2, k), of the datum (k, k), and common errors of it (q, k)."""
        weight = self.datum.weight
        cross = self.adjusted.covariance_with_survey(weight)
        surveyed = self.adjusted.surveyed or self.adjusted
        among = np.einsum("kni,nil->kl", weight, surveyed.covariance_times(weight))
        return cross, among, np.einsum("kni,qni->qk", weight, self.common)

    def _variance(self, terms: list[tuple[NDArray[np.int64], Floats]], h: Floats) -> Floats:
        """
        Variance of linear functions of faces and datum.

        Parameters
        ----------
        terms : list of (index, coefficients)
            For each function (rows), a section and the coefficients (m, 2) of its ``c`` and ``s``; of two terms
            the second is of the next section downstream.
        h : (m, k) array
            Coefficients of the datum's numbers.
        """
        cross, among, _ = self.shared
        variance = np.einsum("mk,kl,ml->m", h, among, h)
        for at, coefficient in terms:
            variance = variance + np.einsum("mi,mij,mj->m", coefficient, self.covariance[at], coefficient)
            variance = variance + 2 * np.einsum("mi,mik,mk->m", coefficient, cross[at], h)
        if len(terms) == 2:
            (at, one), (_, other) = terms
            variance = variance + 2 * np.einsum("mi,mij,mj->m", one, self.adjusted.cross[at], other)
        return np.asarray(np.maximum(variance + self._common_variance(terms, h), 0.0))

    def _common_variance(self, terms: list[tuple[NDArray[np.int64], Floats]], h: Floats) -> Floats:
        """What of the variance of the same functions all readings share, (m,)."""
        found = self.shared[2] @ h.T
        for at, coefficient in terms:
            found = found + np.einsum("mi,qmi->qm", coefficient, self.common[:, at])
        return np.asarray(np.sum(found**2, axis=0))

    def combine(self, parts: Sequence[tuple[int, float, float]], *, readings: bool = False) -> tuple[float, float]:
        """
        Weighted sum of deviations, or readings, of any sections at any places, and its standard uncertainty.

        Parameters
        ----------
        parts : sequence of (section, x, factor)
            Section by its place in the layout, machine x [mm], and factor.
        readings : bool
            Whether readings rather than deviations are summed.

        Returns
        -------
        value, u : float
            With every correlation. [mm]
        """
        weight = np.zeros((1, *self.face.shape))
        datum = np.zeros(len(self.datum.value))
        value = 0.0
        for i, x, factor in parts:
            at, place = np.array([i]), np.array([x])
            weight[0, i] += factor * np.array([1.0, x - self.middle[i]])
            sag = float(corrections(self.layout, at, place)[0])
            value += factor * (float(self.face[i] @ [1.0, x - self.middle[i]]) - sag)
            if not readings:
                value -= factor * float(self.targets(at, place)[0])
                datum += factor * self.datum_terms(at, place)[0]
        cross, among, common = self.shared
        own = float(np.sum(weight[0] * self.adjusted.covariance_times(weight)[..., 0]))
        own += 2 * float(np.einsum("ni,nik,k->", weight[0], cross, datum)) + float(datum @ among @ datum)
        shared = np.einsum("ni,qni->q", weight[0], self.common) + common @ datum
        return value, float(np.sqrt(max(own + float(shared @ shared), 0.0)))

    def _deviation_terms(
        self, at: NDArray[np.int64], x: Floats
    ) -> tuple[list[tuple[NDArray[np.int64], Floats]], Floats]:
        local = np.stack([np.ones_like(x), x - self.middle[at]], axis=1)
        return [(at, local)], self.datum_terms(at, x)

    def deviation(self, x: ArrayLike) -> Estimates:
        """Deviation of each section's face at machine ``x`` (one per section). [mm]"""
        place = np.broadcast_to(np.asarray(x, dtype=np.float64), self.start.shape)
        return self.deviations(np.arange(len(place)), place)

    def deviations(self, at: NDArray[np.int64], x: Floats) -> Estimates:
        """Deviation of the faces of sections ``at`` at machine ``x``, both (m,). [mm]"""
        value = self.readings(at, x) - self.targets(at, x)
        return Estimates(value, np.sqrt(self._variance(*self._deviation_terms(at, x))))

    def shared_u(self, x: ArrayLike) -> Floats:
        """What of the u of each deviation at machine ``x`` no more readings make less: tape's zero, string's sag."""
        place = np.broadcast_to(np.asarray(x, dtype=np.float64), self.start.shape)
        return np.asarray(np.sqrt(self._common_variance(*self._deviation_terms(np.arange(len(place)), place))))

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
        at = np.arange(len(local))
        h = self.datum_terms(at, self.length, at_x=0.0)
        value = self.face[:, 1] * self.length + h @ self.datum.value
        return Estimates(value, np.sqrt(self._variance([(at, local)], h)))

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
        h = self.datum_terms(up, x_down - x_up, at_x=0.0)
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

    def moved(self, ends: Floats, lever: Floats, fresh: Floats) -> Train:
        """
        The train as it will be after moves.

        Parameters
        ----------
        ends : (n, 2) array
            Deviation of the entry and exit end of each section. [mm]
        lever, fresh : (n, 2, 2) array
            After the moves the ends are ``lever`` times what they were, with an error of their own of this
            covariance. [mm^2]

        Returns
        -------
        Train
            Targets and lines stay where they are.
        """
        half = self.length / 2
        one = np.ones_like(half)
        to_ends = np.moveaxis(np.array([[one, -half], [one, half]]), 2, 0)
        to_face = np.linalg.inv(to_ends)
        by = ends - np.stack([self.ends[0].value, self.ends[1].value], axis=1)
        adjusted = self.adjusted.moved(to_face @ lever @ to_ends, to_face @ fresh @ np.swapaxes(to_face, 1, 2))
        return replace(self, face=self.face + np.einsum("nij,nj->ni", to_face, by), adjusted=adjusted)

    def on_line(self, lines: Mapping[str, tuple[float, float]]) -> Train:
        """
        The train seen from lines chosen by the planner: shift at the zero mark [mm] and slope of each string.

        A string that is not among them stays as it hangs.
        """
        datum, rows = self.datum, self.layout.rows
        relative = len(datum.value)
        order = {name: relative + 2 * i for i, name in enumerate(lines)}
        chosen = np.array([number for pair in lines.values() for number in pair])
        value = np.concatenate([datum.value, chosen])
        blank = np.zeros((len(chosen), *datum.weight.shape[1:]))
        shift = np.array([order.get(rows[s.row].string, -1) for s in self.layout.sections])
        weight = np.concatenate([datum.weight, blank])
        return replace(self, line=Line.free, datum=replace(datum, value=value, weight=weight, shift=shift))

    def on_string(self) -> Train:
        """The train seen from its strings as they hang, whatever line deviations are taken from."""
        datum = replace(self.datum, shift=np.full_like(self.datum.shift, -1))
        return replace(self, line=Line.string, datum=datum)


def fit_train(layout: Layout, survey: Survey, *, line: Line = Line.string) -> Train:
    """
    Fit every section of a machine to a survey.

    Parameters
    ----------
    layout : Layout
        The machine.
    survey : Survey
        Its readings; closing readings are not fitted, and of a job log only those that say how things stand now.
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
    survey = now(survey)
    adjusted = adjust(layout, survey)
    if np.isnan(adjusted.face[:, 1]).all():
        raise NotEnoughReadingsError(
            "no section was read at two distinct points, so no face can be drawn. "
            "Read each section at its entry and exit points.",
            survey.source,
        )
    return Train(
        layout=layout,
        survey=survey,
        line=line,
        adjusted=adjusted,
        face=adjusted.face,
        datum=take_datum(layout, adjusted, fitted=line is Line.fitted),
    )
