"""What the other sections of a string lead one to expect of a reading; robust, so that no slip hides itself."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from alignment.fitting.lines import fit_line
from alignment.train.flags.flag import Basis
from alignment.train.flags.leaning import Lean
from alignment.train.train import Train
from alignment.uncertainty import SAME

__all__ = ["Expectation", "Neighbours"]

Floats = NDArray[np.float64]
NEAREST: Final = 60
"""Readings that are looked at; on a very long train those farther off say nothing of a section."""


class Expectation(NamedTuple):
    """
    Straight line on which the readings of a section are expected. [mm]

    Attributes
    ----------
    at_zero, slope : float
        Deviation expected at the machine's zero mark, and its change per length downstream.
    scatter : float
        Standard deviation of the neighbours' readings about the line, as found; nothing where there are too few.
    basis : Basis
        What it rests on.
    """

    at_zero: float
    slope: float
    scatter: float = 0.0
    basis: Basis = Basis.neighbours

    def at(self, x: Floats) -> Floats:
        """Deviation expected at machine x. [mm]"""
        return self.at_zero + self.slope * x


class Neighbours:
    """
    The readings of a survey as deviations, and what those of other sections lead one to expect of a section.

    Attributes
    ----------
    x, deviation : (m,) array
        Machine x and deviation of each fitted reading; NaN where a target is not known. [mm]
    section : (m,) int array
        Section of each reading, by its place in the layout.
    """

    def __init__(self, train: Train) -> None:
        layout, readings = train.layout, train.survey.fitted
        self.train = train
        self.section = np.array([layout.index[r.section] for r in readings], dtype=np.int64)
        self.x = np.array([r.place for r in readings]) + train.start[self.section]
        self.deviation = np.array([r.value for r in readings]) - train.targets(self.section, self.x)
        # a row without a target takes it from its measured sections; where there is none, nothing is known
        known = np.array([layout.rows[s.row].target is not None for s in layout.sections])
        self.deviation[~(known | (train.datum.row_target >= 0))[self.section]] = np.nan
        self._string = np.array([layout.rows[s.row].string for s in layout.sections], dtype=object)

    def expect(self, section: int) -> Expectation | None:
        """
        Expectation for one section from the other sections of its string.

        The line is that of Theil and Sen: the median of the slopes between readings of different sections, through
        the median of what is left. Medians pass over a few wrong readings.

        Parameters
        ----------
        section : int
            Index of the section, whose own readings are left out.

        Returns
        -------
        Expectation or None
            None where fewer than two other sections were read.
        """
        train = self.train
        x, d, of = self._others(section)
        if len(set(of)) < 2:
            return None
        i, j = np.triu_indices(len(x), k=1)
        # rows on both sides of a string are read at the same places, which tell nothing of its slope
        apart = (of[i] != of[j]) & (np.abs(x[j] - x[i]) > SAME)
        i, j = i[apart], j[apart]
        sloped = len(i) > 0 and len(set(of)) > 2
        slope = float(median((d[j] - d[i]) / (x[j] - x[i]))) if sloped else 0.0
        at_zero = float(median(d - slope * x))
        # the line runs through the middle of these readings: as many as it has parameters say nothing of the scatter
        free = len(x) / max(len(x) - 1 - sloped, 1)
        scatter = 1.4826 * float(median(np.abs(d - at_zero - slope * x))) * free**0.5
        sign = train.datum.sign[section]
        return Expectation(at_zero=sign * at_zero, slope=sign * slope, scatter=scatter)

    def _others(self, section: int) -> tuple[Floats, Floats, NDArray[np.int64]]:
        """Place, deviation as the string's first row sees it, and section of the string's other readings."""
        train, x, of = self.train, self.x, self.section
        # a row on the other side of the string sees a leaning string the other way
        d = self.deviation * train.datum.sign[of]
        use = (self._string == self._string[section])[of] & (of != section) & ~np.isnan(d)
        if use.sum() > NEAREST:
            far = np.partition(np.abs(x[use] - train.middle[section]), NEAREST)[NEAREST]
            use &= np.abs(x - train.middle[section]) <= far
        return x[use], d[use], of[use]

    def roughness(self, section: int) -> float:
        """How well the faces beside a section follow one another: scatter of the others about a straight line. [mm]"""
        x, d, _ = self._others(section)
        if len(x) < 3:
            return 0.0
        line = fit_line(x, d, u=1.0)
        return 1.4826 * float(median(np.abs(line.residual)))

    def expect_alone(self, section: int, leans: Sequence[Lean]) -> Expectation | None:
        """
        Expectation for a section with no neighbours to speak of: the wanted reading, or else its row's other readings.

        A string that is seen to lean is taken as it leans.
        """
        train = self.train
        row = train.layout.rows[train.layout.sections[section].row]
        if row.target is not None:
            lean = next((lean for lean in leans if lean.string == row.string), None)
            if lean is None:
                return Expectation(at_zero=0.0, slope=0.0, basis=Basis.target)
            sign = train.datum.sign[section]
            at_zero = sign * (lean.entry - lean.slope * lean.first)
            return Expectation(at_zero=at_zero, slope=sign * lean.slope, basis=Basis.target)
        beside = [i for i, s in enumerate(train.layout.sections) if s.row == row.name]
        known = self.deviation[np.isin(self.section, beside)]
        if len(known) < 2 or np.isnan(known).any():
            return None
        return Expectation(at_zero=float(median(known)), slope=0.0, basis=Basis.others)
