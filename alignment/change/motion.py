"""
What moved from one station train to the next, told apart from what the strings did.

Each string is taken by itself. What all its answers agree on is told, and what they do not is left open.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.change.strings import Expected, Status, Stayed, String, StringChange, by_string
from alignment.machine.layout import Layout
from alignment.quantiles import chi_square_point
from alignment.results import Result
from alignment.train.train import Estimates, Train

__all__ = ["PROBABILITY", "Motion", "compare_trains", "face_change"]

Floats = NDArray[np.float64]
PROBABILITY: Final = 0.99
"""With nothing moved, no section at all is named with this probability: naming one sends a person to it."""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Motion(Result):
    """
    What moved between two surveys. Arrays run over ``layout.sections``; NaN where nothing can be told.

    Attributes
    ----------
    change : (n, 2) array
        Change of offset and of skew, what the string did taken off, positive away from the string. [mm]
    covariance : (n, 2, 2) array
        Of `change`; where a section stood still, of the change that could have gone unseen.
    statistic : (n,) array
        Chi-square with two degrees of freedom of the change.
    status : tuple of Status
    strings : tuple of StringChange
    chi2, dof, chi2_limit
        Overall congruency: all sections standing still, the strings as they may have been hung.
    """

    layout: Layout
    stayed: Stayed
    change: Floats
    covariance: Floats
    statistic: Floats
    status: tuple[Status, ...]
    strings: tuple[StringChange, ...]
    chi2: float
    dof: int
    chi2_limit: float

    @property
    def moved(self) -> NDArray[np.int64]:
        """Sections that moved."""
        return self.of(Status.moved)

    def of(self, status: Status) -> NDArray[np.int64]:
        """Sections of one status."""
        return np.flatnonzero([own is status for own in self.status])

    @property
    def congruent(self) -> bool:
        """Whether both surveys fit one machine in which nothing moved."""
        return self.chi2 <= self.chi2_limit

    def at(self, place: Floats) -> Estimates:
        """Change of each face at its own place from its entry end, positive away from the string. [mm]"""
        length = np.array([s.length for s in self.layout.sections])
        return face_change(self.change, self.covariance, np.asarray(place) / length)

    def bolts(self) -> tuple[Estimates, Estimates]:
        """Change at the entry and exit bolt end of each section, as `at`. [mm]"""
        places = np.array([s.bolts for s in self.layout.sections])
        return self.at(places[:, 0]), self.at(places[:, 1])


def face_change(change: Floats, covariance: Floats, share: Floats) -> Estimates:
    """Change of faces at a share of their length, from that of offset and skew. [mm]"""
    local = np.stack([np.ones_like(share), share - 0.5], axis=1)
    value = np.einsum("ni,ni->n", local, change)
    return Estimates(value, np.sqrt(np.einsum("ni,nij,nj->n", local, covariance, local)))


def compare_trains(
    before: Train,
    after: Train,
    *,
    stayed: Stayed = Stayed.unknown,
    expected: Expected | None = None,
    again: NDArray[np.bool_] | None = None,
    one_tape: bool = False,
    probability: float = PROBABILITY,
) -> Motion:
    """
    Tell what moved from one train to the next.

    Parameters
    ----------
    before, after : Train
        Of one layout, their readings independent of each other.
    stayed : Stayed
        Whether the strings stayed up between them.
    expected : Expected, optional
        Changes that were to be made in between.
    again : (n,) bool array, optional
        Sections that were read again; by default all. The others have the same readings in both trains.
    one_tape : bool
        Whether both were read with one tape by one hand, so that what all readings share cancels.
    probability : float
        With which no section at all is named when nothing moved.

    Notes
    -----
    The search and its tests are those of congruency in two epochs [1]_, over all sets of sections rather than one by
    one, so that several that moved do not hide one another; as is proposed for point fields in [2]_.

    References
    ----------
    .. [1] W. Baarda, A testing procedure for use in geodetic networks, 1968 (general form, from memory).
    .. [2] H. Velsink, On the deformation analysis of point fields, Journal of Geodesy 89, 2015, 1071-1087 (abstract).
    """
    layout = before.layout
    measured = before.measured & after.measured
    again = measured if again is None else measured & again
    members = np.flatnonzero(again)
    n = len(layout.sections)
    change, covariance, statistic = np.full((n, 2), np.nan), np.full((n, 2, 2), np.nan), np.full(n, np.nan)
    status = [Status.untouched if told else Status.open for told in measured & ~again]
    groups = by_string(layout, members)
    error = 1 - probability ** (1 / max(len(groups), 1))
    strings, chi2, dof = [], 0.0, 0
    for (name, plane), own in groups.items():
        string = String(before, after, own, one_tape=one_tape)
        answers = string.answers(stayed, expected, error)
        found = string.tell(answers, expected)
        change[own], covariance[own], statistic[own] = found.change, found.covariance, found.statistic
        for i, told in zip(own, string.status(answers, expected, error), strict=True):
            status[i] = told
        strings.append(string.change(name, plane, answers, found, error))
        whole = string.changes(hung=stayed is not Stayed.told)
        everything = np.ones((1, len(own)), dtype=bool)
        chi2, dof = chi2 + float(whole.chi2(everything)[0]), dof + int(whole.dof(everything)[0])
    return Motion(
        layout=layout,
        stayed=stayed,
        change=change,
        covariance=covariance,
        statistic=statistic,
        status=tuple(status),
        strings=tuple(strings),
        chi2=chi2,
        dof=dof,
        chi2_limit=float(chi_square_point(dof, probability)) if dof else 0.0,
    )
