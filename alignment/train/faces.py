"""
The faces of all sections from one survey.

Without steps measured at joints each section is a line of its own. With them the sections of a row hang together,
and tape and feeler readings are adjusted as one network.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alignment.fitting.lines import Lines, fit_lines
from alignment.machine.layout import Layout, Plane
from alignment.machine.survey import StepReading, Survey
from alignment.quantiles import chi_square_point
from alignment.uncertainty import SAME

if TYPE_CHECKING:
    from alignment.fitting.network import Network
    from alignment.machine.sag import Sag

__all__ = ["Adjustment", "adjust", "corrections", "fit_sections", "point_worth", "string_sags"]

Floats = NDArray[np.float64]
SCATTER_PROBABILITY = 0.95
"""Chi-square beyond this point means that readings scatter more than the tape explains."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Adjustment:
    """
    Fitted faces. Arrays run over the layout's sections; NaN where one was not read at two distinct points.

    Attributes
    ----------
    lines : Lines
        The fit of each section to its own tape readings.
    birge : (n,) array
        By how much standard uncertainties were grown, where readings scatter or steps contradict them.
    face : (n, 2) array
        Reading at mid-length [mm] and slope.
    covariance : (n, 2, 2) array
        Of ``face``; the tape's zero is not in it.
    cross : (n, 2, 2) array
        Covariance of each face (rows) with that of the next section (columns).
    steps : tuple of StepReading
        Steps that were used: both their sections are measured.
    network : Network or None
        Joint adjustment of the measured sections, two unknowns each; None where no step was measured. Its
        observations are the tape readings of those sections, then the steps.
    growth : (n,) array
        By how much the network's standard uncertainties were grown.
    surveyed : Adjustment or None
        After moves, the adjustment of the survey before them.
    lever, fresh : (n, 2, 2) array or None
        After moves a face is ``lever`` times what it was, with an error of its own of covariance ``fresh``.
    """

    lines: Lines
    birge: Floats
    face: Floats
    covariance: Floats
    cross: Floats
    steps: tuple[StepReading, ...]
    network: Network | None
    growth: Floats
    surveyed: Adjustment | None = None
    lever: Floats | None = None
    fresh: Floats | None = None

    @cached_property
    def known(self) -> Floats:
        """``covariance``, nothing where it is not known."""
        return np.nan_to_num(self.covariance)

    def moved(self, lever: Floats, fresh: Floats) -> Adjustment:
        """The adjustment after moves, see `lever` and `fresh`; both are one and nothing where a section stays."""
        onward = np.concatenate([lever[1:], np.zeros((1, 2, 2))])
        return replace(
            self,
            covariance=lever @ self.covariance @ np.swapaxes(lever, 1, 2) + fresh,
            cross=lever @ self.cross @ np.swapaxes(onward, 1, 2),
            surveyed=self,
            lever=lever,
            fresh=fresh,
        )

    def covariance_with_survey(self, weight: Floats) -> Floats:
        """Covariance of all faces with linear functions of them as surveyed: weights (k, n, 2) in, (n, 2, k) out."""
        if self.surveyed is None or self.lever is None:
            return self.covariance_times(weight)
        return np.asarray(self.lever @ self.surveyed.covariance_times(weight))

    def covariance_times(self, weight: Floats) -> Floats:
        """Covariance of all faces with linear functions of them: weights (k, n, 2) in, (n, 2, k) out."""
        if self.surveyed is not None and self.lever is not None and self.fresh is not None:
            before = self.covariance_with_survey(np.einsum("nji,knj->kni", self.lever, weight))
            return np.asarray(before + np.einsum("nij,knj->nik", self.fresh, weight))
        if self.network is None or not len(weight):
            return np.asarray(np.einsum("nij,knj->nik", self.known, weight))
        measured = ~np.isnan(self.face[:, 1])
        found = np.zeros((len(measured), 2, len(weight)))
        columns = weight[:, measured].reshape(len(weight), -1).T
        found[measured] = self.network.covariance_times(columns).reshape(-1, 2, len(weight))
        # sections of one chain have grown alike, and those of different chains share nothing
        return found * (self.growth**2)[:, None, None]


def string_sags(layout: Layout) -> list[Sag | None]:
    """How the string of each section hangs in the plane that is measured; None where that does not matter."""
    rows = [layout.rows[s.row] for s in layout.sections]
    return [layout.strings[row.string].sag if row.plane is Plane.height else None for row in rows]


def corrections(layout: Layout, at: NDArray[np.int64], x: Floats) -> Floats:
    """What is added to readings of sections ``at`` at machine ``x`` for the sag of their strings, (m,). [mm]"""
    found = np.zeros(len(at))
    if any(string.sag for string in layout.strings.values()):
        sags = string_sags(layout)
        for k, (i, place) in enumerate(zip(at, x, strict=True)):
            sag = sags[i]
            if sag is not None:
                # a string above hangs nearer than it should, one below farther
                below = layout.rows[layout.sections[i].row].side == "below"
                found[k] = (-1 if below else 1) * float(sag.at(place))
    return found


def point_worth(survey: Survey) -> tuple[Floats, Floats]:
    """
    What the fitted readings of a survey are worth beside repeats of the same point.

    Returns
    -------
    own, shared : (n,) array
        Standard uncertainty of each reading by itself, and what it shares with the other readings of its point, so
        that their mean is worth `uncertainty.mean_u`. A reading whose u stands in the file shares nothing. [mm]
    """
    readings, tape = survey.fitted, survey.tape
    u = np.array([r.u for r in readings])
    often = Counter((r.section, r.place) for r in readings)
    count = np.array([often[r.section, r.place] for r in readings])
    value = np.array([r.value for r in readings])
    by_tape = np.abs(u - tape.reading_u(value)) < SAME
    again = np.flatnonzero((count > 1) & by_tape)
    shared = np.zeros(len(u))
    if len(again):
        mean, n = tape.mean_u(value[again], count[again]), count[again]
        # two readings on either side of the middle between two marks differ by a whole one, however still the hand:
        # their scatter is never tested against less than half of what one reading's variance is
        variance = np.maximum((u[again] ** 2 - mean**2) * n / (n - 1), u[again] ** 2 / 2)
        u[again] = np.sqrt(variance)
        shared[again] = np.sqrt(np.maximum(mean**2 - variance / n, 0.0))
    return u, shared


def fit_sections(layout: Layout, survey: Survey) -> Lines:
    """Fit every section of a layout to its readings, taken to a string without sag, x along the machine. [mm]"""
    readings, index = survey.fitted, layout.index
    group = np.array([index[r.section] for r in readings], dtype=np.int64)
    starts = np.array([s.start for s in layout.sections])
    x = np.array([r.place for r in readings]) + starts[group]
    y = np.array([r.value for r in readings]) + corrections(layout, group, x)
    u, shared = point_worth(survey)
    return fit_lines(group, x, y, u, groups=len(starts), shared=shared)


def adjust(layout: Layout, survey: Survey) -> Adjustment:
    """
    Fit the faces of all sections to a survey.

    Parameters
    ----------
    layout, survey
        The machine and its readings; closing readings are not fitted.

    Returns
    -------
    Adjustment
        Where readings of a section scatter beyond the 95 % point of chi-square, or those of a chain of sections and
        the steps between them do, their uncertainties are grown by the Birge ratio; they are never shrunk.
    """
    lines = fit_sections(layout, survey)
    birge = _birge(lines.chi2, lines.dof)
    middle = np.array([s.middle for s in layout.sections])
    lever = middle - lines.centre_x
    covariance = np.empty((len(middle), 2, 2))
    covariance[:, 0, 0] = lines.centre_var + lines.slope_var * lever**2
    covariance[:, 0, 1] = covariance[:, 1, 0] = lines.slope_var * lever
    covariance[:, 1, 1] = lines.slope_var
    alone = Adjustment(
        lines=lines,
        birge=birge,
        face=np.stack([lines.at(middle), lines.slope], axis=1),
        covariance=covariance * (birge**2)[:, None, None],
        cross=np.zeros_like(covariance),
        steps=(),
        network=None,
        growth=np.ones(len(middle)),
    )
    measured = ~np.isnan(lines.slope)
    steps = tuple(
        s for s in survey.steps if measured[layout.index[s.upstream]] and measured[layout.index[s.downstream]]
    )
    return _joined(layout, alone, steps) if steps else alone


def _birge(chi2: NDArray[Any], dof: NDArray[np.int64]) -> Floats:
    """Birge ratio of each group where chi-square is beyond its 95 % point, else 1."""
    ratio = np.ones(len(dof))
    # of the many sections read once at each end there is nothing to ask
    checked = np.flatnonzero(dof > 0)
    if len(checked):
        excess = chi2[checked] / dof[checked]
        beyond = chi2[checked] > chi_square_point(dof[checked], SCATTER_PROBABILITY)
        ratio[checked] = np.where(beyond & (excess > 1), np.sqrt(np.maximum(excess, 1)), 1.0)
    return ratio


def _joined(layout: Layout, alone: Adjustment, steps: tuple[StepReading, ...]) -> Adjustment:
    """The adjustment of tape readings and steps together."""
    from alignment.fitting.network import fit_network

    measured = np.flatnonzero(~np.isnan(alone.face[:, 1]))
    position = np.full(len(alone.face), -1)
    position[measured] = np.arange(len(measured))
    middle = np.array([s.middle for s in layout.sections])
    of, x, value, value_u = alone.lines.points
    use = position[of] >= 0
    of, x, value, value_u = of[use], x[use], value[use], value_u[use]
    own, blank = 2 * position[of], np.zeros(len(of))
    up, down = (
        np.array([layout.index[name] for name in names])
        for names in ([s.upstream for s in steps], [s.downstream for s in steps])
    )
    half = np.array([s.length / 2 for s in layout.sections])
    one = np.ones(len(steps))
    index = np.concatenate(
        [
            np.stack([own, own + 1, own, own], axis=1),
            np.stack([2 * position[up], 2 * position[up] + 1, 2 * position[down], 2 * position[down] + 1], axis=1),
        ]
    )
    coefficient = np.concatenate(
        [
            np.stack([blank + 1, x - middle[of], blank, blank], axis=1),
            np.stack([-one, -half[up], one, -half[down]], axis=1),
        ]
    )
    y = np.concatenate([value, [s.value for s in steps]])
    u = np.concatenate([value_u * alone.birge[of], [s.u for s in steps]])
    network = fit_network(index, coefficient, y, u, 2 * len(measured))
    # a chain: sections of a row with a step measured between each and the next
    tied = np.zeros(len(measured), dtype=np.int64)
    tied[position[down]] = 1
    chain = np.cumsum(1 - tied) - 1
    of_chain = chain[index[:, 0] // 2]
    dof = np.bincount(of_chain) - 2 * np.bincount(chain)
    growth = np.ones(len(alone.face))
    growth[measured] = _birge(np.bincount(of_chain, (network.residual / u) ** 2), dof)[chain]
    face, covariance, cross = alone.face.copy(), alone.covariance.copy(), alone.cross.copy()
    face[measured] = network.value.reshape(-1, 2)
    band, k = network.band, 2 * np.arange(len(measured))
    covariance[measured] = _blocks([[band[0, k], band[1, k]], [band[1, k], band[0, k + 1]]])
    # sections joined by a step are neighbours, so that they follow one another here too
    k = k[:-1]
    beside = np.zeros((len(measured), 2, 2))
    # where one between was not measured no step ties the two, and nothing is shared
    beside[:-1] = _blocks([[band[2, k], band[3, k]], [band[1, k + 1], band[2, k + 1]]])
    cross[measured] = beside
    grown = (growth**2)[:, None, None]
    return Adjustment(
        lines=alone.lines,
        birge=alone.birge * growth,
        face=face,
        covariance=covariance * grown,
        cross=cross * grown,
        steps=steps,
        network=network,
        growth=growth,
    )


def _blocks(cells: ArrayLike) -> Floats:
    """Two-by-two matrices from their cells given as arrays."""
    return np.moveaxis(np.array(cells), 2, 0)
