"""What the other sections of a string lead one to expect of a reading; robust, so that no slip hides itself."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.train.train import Train
from alignment.uncertainty import SAME

__all__ = ["Expectation", "Neighbours"]

Floats = NDArray[np.float64]
NEAREST: Final = 60
"""Readings that are looked at; on a very long train those farther off say nothing of a section."""


@dataclass(frozen=True, kw_only=True)
class Expectation:
    """
    Straight line through the deviations of a string's readings, and how far they lie about it. [mm]

    Attributes
    ----------
    at_zero, slope : float
        Deviation expected at the machine's zero mark, and its change per length downstream.
    spread : float
        Standard deviation of the readings about the line, from their median absolute distance.
    """

    at_zero: float
    slope: float
    spread: float

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
        self._u = float(np.median([r.u for r in readings]))
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
            None where fewer than two other sections were read. The spread is never less than what the tape and the
            tolerance leave open.
        """
        train, x, of = self.train, self.x, self.section
        # a row on the other side of the string sees a leaning string the other way
        d = self.deviation * train.datum.sign[of]
        use = (self._string == self._string[section])[of] & (of != section) & ~np.isnan(d)
        if len(set(of[use])) < 2:
            return None
        if use.sum() > NEAREST:
            far = np.partition(np.abs(x[use] - train.middle[section]), NEAREST)[NEAREST]
            use &= np.abs(x - train.middle[section]) <= far
        x, d, of = x[use], d[use], of[use]
        i, j = np.triu_indices(len(x), k=1)
        # rows on both sides of a string are read at the same places, which tell nothing of its slope
        apart = (of[i] != of[j]) & (np.abs(x[j] - x[i]) > SAME)
        i, j = i[apart], j[apart]
        slope = float(np.median((d[j] - d[i]) / (x[j] - x[i]))) if len(i) and len(set(of)) > 2 else 0.0
        at_zero = float(np.median(d - slope * x))
        spread = 1.4826 * float(np.median(np.abs(d - at_zero - slope * x)))
        sign = train.datum.sign[section]
        least = float(np.hypot(self._u, train.layout.tolerance.offset))
        return Expectation(at_zero=sign * at_zero, slope=sign * slope, spread=max(spread, least))
