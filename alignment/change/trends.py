"""
What drifts over many surveys, told apart from the string of each day.

For the sections of one string

    v_it = a_i + b_i t + X_i s_t + e_it

``v_it``: offset and skew of section i on date t; ``a_i`` its level, a new one each time that it moved; ``b_i`` its
drift; ``s_t`` shift and slope of the string as it was hung that day, a pair of its own for each date. Which sections
drift is asked as which moved is between two surveys: the fewest such that the rest is steady, by an F test against
the scatter found. What all sections of a string share is the string's: whether that goes one way all the time is
tested by Student's t against how differently it was hung from day to day.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.change.search import sets_of
from alignment.quantiles import f_point, student_point
from alignment.results import Result
from alignment.uncertainty import SAME

__all__ = ["FEWEST_DATES", "STRING_DATES", "Common", "Series", "Trends", "common_trend", "find_trends"]

Floats = NDArray[np.float64]
Masks = NDArray[np.bool_]
FEWEST_DATES: Final = 4
"""Dates that a drift needs: of three, one that is off already makes one."""
MANY: Final = 2_000
"""Sets of one size that are tried one and all."""
STRING_DATES: Final = 8
"""Dates that a drift of a string needs: how differently it was hung must be known first."""
ENDS: Final = np.array([[1.0, 1.0], [-0.5, 0.5]])
"""From shift at the middle and slope over the string to the shifts at its ends."""
FLAT: Final = 1e-9
"""Share of the largest eigenvalue below which a direction is not determined."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Series:
    """
    Sections of one string over many dates.

    Attributes
    ----------
    time : (t,) array
        Of each survey, in any unit.
    value : (t, n, 2) array
        Offset and skew; NaN where a section was not measured. [mm]
    covariance : (t, n, 2, 2) array
    line : (n, 2, 2) array
        What shift and slope of the string do to offset and skew.
    stretch : (t, n) int array
        Number of the stretch between two moves in which a section was on each date.
    """

    time: Floats
    value: Floats
    covariance: Floats
    line: Floats
    stretch: NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Common(Result):
    """
    Drift that all sections of a string share, at its first and last section's ends. [mm per unit of time]

    `u` comes from how differently the string was hung from date to date.
    """

    value: Floats
    u: Floats
    dof: int
    significant: bool


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Trends(Result):
    """
    Drifts of the sections of one string against the others.

    Attributes
    ----------
    hung : (t, n, 2) array
        What the string of each date does to offset and skew, on average nothing. [mm]
    drift, u : (n, 2) array
        Of offset and skew; NaN where there are too few dates. [mm per unit of time]
    dof : int
        Degrees of freedom of the scatter that is in `u`.
    scatter : float
        By how much `u` was grown: 1 where values scatter as their uncertainties say, or less.
    answers : tuple of tuple of int
        The fewest sections that drift, by each answer that leaves the rest steady; none where it is too early.
    common : Common or None
    """

    hung: Floats
    drift: Floats
    u: Floats
    dof: int
    scatter: float
    answers: tuple[tuple[int, ...], ...]
    common: Common | None

    @property
    def drifting(self) -> frozenset[int]:
        """Sections that drift by every answer."""
        return frozenset.intersection(*map(frozenset, self.answers)) if self.answers else frozenset()

    @property
    def doubtful(self) -> frozenset[int]:
        """Sections that drift by some answers."""
        return frozenset().union(*self.answers) - self.drifting


class _Sums:
    """Each section's normal equations for the string of each date, its own unknowns taken out, steady and drifting."""

    def __init__(self, series: Series) -> None:
        t, n, _ = series.value.shape
        known = np.asarray(~np.isnan(series.value).any(axis=2))
        time = series.time - series.time.mean()
        self.matrix = np.zeros((2, n, 2 * t, 2 * t))
        self.right = np.zeros((2, n, 2 * t))
        self.square = np.zeros((2, n))
        self.dof = np.zeros((2, n), dtype=np.int64)
        self.own: list[dict[int, tuple[Floats, Floats, NDArray[np.int64]]]] = [{}, {}]
        for i in range(n):
            at = np.flatnonzero(known[:, i])
            if not len(at):
                continue
            weight = np.linalg.inv(series.covariance[at, i])
            stretches = (series.stretch[at, i][:, None] == np.unique(series.stretch[at, i])).astype(np.float64)
            for drifts in (0, 1):
                base = np.concatenate([stretches, time[at][:, None]], axis=1) if drifts else stretches
                # offset and skew have levels and drifts of their own
                own = np.kron(base, np.eye(2))
                whole = np.zeros((2 * len(at), 2 * len(at)))
                for k in range(len(at)):
                    whole[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] = weight[k]
                pull = own.T @ whole
                inverse = np.linalg.pinv(pull @ own, rcond=FLAT, hermitian=True)
                left = whole - pull.T @ inverse @ pull
                string = np.kron(np.eye(len(at)), series.line[i])
                y = series.value[at, i].ravel()
                index = np.ravel(np.stack([2 * at, 2 * at + 1], axis=1))
                self.matrix[drifts, i][np.ix_(index, index)] = string.T @ left @ string
                self.right[drifts, i][index] = string.T @ left @ y
                self.square[drifts, i] = y @ left @ y
                self.dof[drifts, i] = 2 * len(at) - np.linalg.matrix_rank(own)
                self.own[drifts][i] = (np.asarray(inverse @ pull), np.asarray(inverse), index)
        self.series = series

    def fit(self, steady: Masks) -> tuple[float, int, Floats, Floats]:
        """Sum of squares, degrees of freedom, the string of each date and its covariance, one set being steady."""
        pick = np.where(steady, 0, 1), np.arange(len(steady))
        matrix, right = self.matrix[pick].sum(axis=0), self.right[pick].sum(axis=0)
        value, vector = np.linalg.eigh(matrix)
        told = value > FLAT * max(float(value[-1]), 1e-300)
        inverse = (vector[:, told] / value[told]) @ vector[:, told].T
        string = inverse @ right
        rest = max(float(self.square[pick].sum() - right @ string), 0.0)
        return rest, int(self.dof[pick].sum()) - int(told.sum()), string, inverse

    def drift(self, steady: Masks, i: int) -> tuple[Floats, Floats]:
        """Drift of one section that is not among the steady ones, and its covariance a priori."""
        trial = steady.copy()
        trial[i] = False
        _, _, string, covariance = self.fit(trial)
        solve, inverse, index = self.own[1][i]
        at = index[::2] // 2
        lever = solve @ np.kron(np.eye(len(at)), self.series.line[i])
        own = solve @ self.series.value[at, i].ravel() - lever @ string[index]
        spread = inverse + lever @ covariance[np.ix_(index, index)] @ lever.T
        return own[-2:], spread[-2:, -2:]


def find_trends(series: Series, *, error: float) -> Trends:
    """
    Tell what drifts among the sections of one string.

    Parameters
    ----------
    series : Series
    error : float
        Probability of calling anything a drift where there is none; half of it for sections, a quarter for strings.

    References
    ----------
    .. [1] R. Christensen, Plane Answers to Complex Questions, chapter 3: F test of nested linear models (from memory).
    """
    t, n, _ = series.value.shape
    sums = _Sums(series)
    dates = (~np.isnan(series.value[:, :, 0])).sum(axis=0)
    steady = np.ones(n, dtype=bool)
    drift, u = np.full((n, 2), np.nan), np.full((n, 2), np.nan)
    rest, dof, _, _ = sums.fit(~steady)
    early = t < FEWEST_DATES or dof <= 0 or n < 2
    answers: tuple[tuple[int, ...], ...] = ()
    scatter = 1.0
    if not early:
        scatter = math.sqrt(max(rest / dof, 1.0))
        found = _fewest(sums, (rest, dof), scatter, error / 2)
        answers = tuple(tuple(int(i) for i in np.flatnonzero(~mask)) for mask in found)
        steady = ~np.isin(np.arange(n), [i for answer in answers for i in answer])
        if not steady.any():
            steady = found[0]
        for i in np.flatnonzero(dates >= FEWEST_DATES):
            drift[i], covariance = sums.drift(steady, int(i))
            u[i] = scatter * np.sqrt(np.maximum(np.diag(covariance), 0.0))
    string = sums.fit(steady)[2].reshape(t, 2)
    seen = (~np.isnan(series.value[:, :, 0])).any(axis=1)
    string = string - string[seen].mean(axis=0)
    hung = np.einsum("nij,tj->tni", series.line, string) if n > 1 else np.zeros_like(series.value)
    return Trends(
        hung=hung,
        drift=drift,
        u=u,
        dof=dof,
        scatter=scatter,
        answers=answers,
        common=common_trend(series.time[seen], string[seen] @ ENDS, error=error / 4),
    )


def _fewest(sums: _Sums, whole: tuple[float, int], scatter: float, error: float) -> Masks:
    """All sets of steady sections with the fewest that drift."""
    n = len(sums.square[0])

    def steady(mask: Masks) -> bool:
        rest, dof, _, _ = sums.fit(mask)
        more = dof - whole[1]
        return more <= 0 or (rest - whole[0]) / more / scatter**2 <= f_point(1 - error, more, whole[1])

    for moved in range(n):
        if math.comb(n, moved) > MANY:
            return _one_by_one(sums, steady)
        found = [mask for mask in sets_of(n, moved) if steady(mask)]
        if found:
            order = np.argsort([sums.fit(mask)[0] for mask in found], kind="stable")
            return np.array(found)[order]
    return np.zeros((1, n), dtype=bool)


def _one_by_one(sums: _Sums, steady: Callable[[Masks], bool]) -> Masks:
    """Where there are too many sets: the section whose drift explains most, and again, until the rest is steady."""
    n = len(sums.square[0])
    mask = np.ones(n, dtype=bool)
    while mask.sum() > 1 and not steady(mask):
        trials = []
        for i in np.flatnonzero(mask):
            trial = mask.copy()
            trial[i] = False
            trials.append((sums.fit(trial)[0], i))
        mask[min(trials)[1]] = False
    return mask[None]


def common_trend(time: Floats, ends: Floats, *, error: float) -> Common | None:
    """
    Straight lines through how a string hung at both its ends, by ordinary least squares.

    Parameters
    ----------
    time : (t,) array
    ends : (t, k) array
        Shift of the string at each place. [mm]
    error : float
        Probability that any of them is called significant where none is.

    Returns
    -------
    Common or None
        Student's t with t - 2 degrees of freedom; None for fewer than `STRING_DATES` dates.
    """
    if len(set(time)) < STRING_DATES:
        return None
    t = time - time.mean()
    dof = len(t) - 2
    value = t @ ends / (t @ t)
    left = ends - ends.mean(axis=0) - np.outer(t, value)
    u = np.sqrt((left**2).sum(axis=0) / dof / (t @ t))
    point = student_point(1 - error / 2 / ends.shape[1], dof)
    # what is no more than rounding is no drift
    beyond = (np.abs(value) > point * u) & (np.abs(value) * np.ptp(t) > SAME)
    return Common(value=value, u=u, dof=dof, significant=bool(beyond.any()))
