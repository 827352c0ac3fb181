"""
Straight lines by weighted least squares, any number of them in one pass.

This module knows no machine: x, y and u are whatever the caller means by them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alignment.errors import NotEnoughReadingsError

__all__ = ["Lines", "fit_line", "fit_lines"]

Floats = NDArray[np.float64]
CHECKED = 1e-9
"""Redundancy above which a reading counts as checked by others."""
BLOCK = 8_000
"""Lines fitted at a time."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Lines:
    """
    Fitted straight lines, one entry per group of readings.

    Each line is ``y = centre_y + slope (x - centre_x)``, taken about the weighted mean place, where the two
    parameters are uncorrelated. A group without two distinct places has NaN everywhere but in ``count``.

    Attributes
    ----------
    count : (g,) int array
        Readings of each group.
    centre_x, centre_y : (g,) array
        Weighted mean place and value.
    slope : (g,) array
        Change of y per unit of x.
    centre_var, slope_var : (g,) array
        A priori variances of ``centre_y`` and ``slope``.
    group : (n,) int array
        Line to which each reading belongs.
    x, y, u : (n,) array
        Place, value and independent standard uncertainty of each reading.
    repeats : Repeats or None
        What readings of one place share besides; None where they share nothing.
    """

    count: NDArray[np.int64]
    centre_x: Floats
    centre_y: Floats
    slope: Floats
    centre_var: Floats
    slope_var: Floats
    group: NDArray[np.intp]
    x: Floats
    y: Floats
    u: Floats
    repeats: Repeats | None = None

    # worked out when asked for: a fit of very many lines is often wanted for its parameters alone

    @cached_property
    def weight(self) -> Floats:
        """Weight of each reading by itself, ``1 / u**2``."""
        return np.asarray(self.u**-2.0)

    @cached_property
    def dx(self) -> Floats:
        """Place of each reading from the weighted mean place of its group."""
        return self.x - self.centre_x[self.group]

    @cached_property
    def residual(self) -> Floats:
        """Reading less fitted value, (n,)."""
        return self.y - self.centre_y[self.group] - self.slope[self.group] * self.dx

    @property
    def points(self) -> tuple[NDArray[np.intp], Floats, Floats, Floats]:
        """Group, place, mean and standard uncertainty of the mean of the readings at each place."""
        if self.repeats is None:
            return self.group, self.x, self.y, self.u
        return _means(self.group, self.x, self.y, self.u, self.repeats)

    @property
    def _damped(self) -> Floats | float:
        """Share of the weight of a place's readings that is left when what they share is reckoned in, (n,) or 1."""
        return 1.0 if self.repeats is None else self.repeats.damped[self.repeats.point]

    @property
    def _face_weight(self) -> Floats:
        """How the fitted line enters the weighted residual of each reading, (n,)."""
        return self.weight * self._damped

    @cached_property
    def hat(self) -> Floats:
        """Leverage of each reading, the diagonal of the hat matrix, (n,)."""
        return self._face_weight * self._line_var

    @property
    def _line_var(self) -> Floats:
        """Variance of the fitted line at each reading, (n,)."""
        return self.centre_var[self.group] + self.dx**2 * self.slope_var[self.group]

    @cached_property
    def _score(self) -> Floats:
        """Residuals times the inverse of the readings' covariance, (n,)."""
        if self.repeats is None:
            return self.weight * self.residual
        shared = self.repeats.mean_of(self.weight, self.residual)
        return self.weight * (self.residual - (1 - self._damped) * shared[self.repeats.point])

    @cached_property
    def precision(self) -> Floats:
        """One over the variance of the slip that the others find in each reading, (n,); nothing where none checks."""
        own = self.weight
        if self.repeats is not None:
            own = own - own**2 * (self.repeats.variance * self.repeats.damped)[self.repeats.point]
        return np.maximum(own - self._face_weight**2 * self._line_var, 0.0)

    @cached_property
    def chi2(self) -> Floats:
        """Sum of squared residuals over squared standard uncertainties, (g,)."""
        return np.bincount(self.group, self._score * self.residual, len(self.count)).astype(np.float64, copy=False)

    @property
    def w(self) -> Floats:
        """
        Normalised residual of each reading, ``v / (u sqrt(redundancy))``; NaN where nothing checks the reading.

        Standard normal where there is no slip (data snooping, Baarda 1968).
        """
        return np.where(self.checked, self._score, np.nan) / np.sqrt(np.maximum(self.precision, 1e-300))

    @property
    def slip(self) -> Floats:
        """By how much each reading is too large by what the others say, (n,); NaN where nothing checks it."""
        return np.where(self.checked, self._score, np.nan) / np.maximum(self.precision, 1e-300)

    @property
    def slip_u(self) -> Floats:
        """Standard uncertainty of `slip`, (n,); infinite where nothing checks the reading."""
        return self.detectable(1.0)

    @cached_property
    def checked(self) -> NDArray[np.bool_]:
        """Readings of which an error would show in a residual."""
        return self.redundancy > CHECKED

    def detectable(self, delta0: float) -> Floats:
        """
        Smallest slip of each reading that the test of its ``w`` would find (minimal detectable bias).

        Parameters
        ----------
        delta0 : float
            Noncentrality that goes with the test's error probability and power, `uncertainty.noncentrality`.

        Returns
        -------
        (n,) array
            In the unit of y; infinite where nothing checks the reading.
        """
        seen = delta0 / np.sqrt(np.maximum(self.precision, 1e-300))
        return np.where(self.checked, seen, np.inf)

    @property
    def dof(self) -> NDArray[np.int64]:
        """Degrees of freedom of each group, ``count - 2`` but never below zero."""
        return np.maximum(self.count - 2, 0)

    @property
    def redundancy(self) -> Floats:
        """Redundancy number of each reading: the share of an error in it that shows in its own residual."""
        return 1 - self.hat

    def at(self, x: ArrayLike) -> Floats:
        """Value of each line at its own place ``x`` (scalar or one per line)."""
        return self.centre_y + self.slope * (np.asarray(x, dtype=np.float64) - self.centre_x)

    def u_at(self, x: ArrayLike) -> Floats:
        """
        A priori standard uncertainty of each line at its own place ``x``.

        The covariance of intercept and slope vanishes about the weighted mean (GUM H.3.5), so the two add.
        """
        return np.sqrt(self.centre_var + self.slope_var * (np.asarray(x, dtype=np.float64) - self.centre_x) ** 2)


@dataclass(frozen=True, kw_only=True, eq=False)
class Repeats:
    """
    Readings of one place, and what they share. Arrays run over the p places.

    Attributes
    ----------
    point : (n,) int array
        Place to which each reading belongs.
    weight : (p,) array
        Sum of the weights of a place's readings.
    variance : (p,) array
        What they share.
    """

    point: NDArray[np.intp]
    weight: Floats
    variance: Floats

    @cached_property
    def damped(self) -> Floats:
        """Variance of the mean of a place's readings by themselves, over that with what they share."""
        return 1 / (1 + self.variance * self.weight)

    def mean_of(self, weight: Floats, values: Floats) -> Floats:
        """Weighted mean of values (n,) at each place."""
        return np.asarray(np.bincount(self.point, weight * values, len(self.weight)) / self.weight)


def _repeats(group: NDArray[np.intp], x: Floats, u: Floats, shared: Floats) -> Repeats | None:
    """Places of the readings; None where no two of one group are of one place, or they share nothing."""
    order = np.lexsort((x, group))
    along, at = x[order], group[order]
    new = np.ones(len(x), dtype=bool)
    new[1:] = (at[1:] != at[:-1]) | (np.diff(along) > 1e-9 * (1 + np.abs(along[1:])))
    if new.all() or not shared.any():
        return None
    point = np.empty(len(x), dtype=np.intp)
    point[order] = np.cumsum(new) - 1
    weight = np.bincount(point, u**-2.0).astype(np.float64)
    return Repeats(point=point, weight=weight, variance=np.bincount(point, shared**2 * u**-2.0) / weight)


def fit_lines(
    group: ArrayLike,
    x: ArrayLike,
    y: ArrayLike,
    u: ArrayLike,
    *,
    groups: int | None = None,
    shared: ArrayLike | None = None,
) -> Lines:
    """
    Fit a straight line to each group of readings by weighted least squares.

    Parameters
    ----------
    group : (n,) int array
        Line to which each reading belongs, counted from zero, in any order.
    x, y : (n,) array
        Place and value of each reading.
    u : (n,) array
        Standard uncertainty of each value; weights are ``1 / u**2``.
    groups : int, optional
        Number of lines; by default the highest group and one.
    shared : (n,) array, optional
        Standard uncertainty, besides ``u``, that a value shares with the others of its group at the same place; of
        one that stands alone at its place it has to be nothing. Then the fit is that of the places' means.

    Returns
    -------
    Lines
        Groups with fewer than two distinct places have NaN.

    Raises
    ------
    ValueError
        Arrays of different lengths, or a standard uncertainty that is not positive and finite.

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), H.3.
    """
    at = np.asarray(group, dtype=np.intp)
    place, value, sigma = (np.asarray(a, dtype=np.float64) for a in (x, y, u))
    if not at.shape == place.shape == value.shape == sigma.shape or at.ndim != 1:
        raise ValueError("group, x, y and u must be one-dimensional and of one length")
    if not (np.isfinite(sigma).all() and (sigma > 0).all()):
        raise ValueError("every standard uncertainty must be positive and finite")
    size = (int(at.max(initial=-1)) + 1) if groups is None else groups
    repeats = None if shared is None else _repeats(at, place, sigma, np.asarray(shared, dtype=np.float64))
    if repeats is not None:
        means = fit_lines(*_means(at, place, value, sigma, repeats), groups=size)
        count = np.bincount(at, minlength=size)
        return replace(means, count=count, group=at, x=place, y=value, u=sigma, repeats=repeats)
    if (at[1:] >= at[:-1]).all():
        ordered = at, place, value, sigma
    else:
        order = np.argsort(at, kind="stable")
        ordered = at[order], place[order], value[order], sigma[order]
    found = np.empty((5, size))
    # block by block, so that the work stays in the processor's cache
    edges = np.searchsorted(ordered[0], np.arange(0, size + BLOCK, BLOCK))
    for k, first in enumerate(range(0, size, BLOCK)):
        own = slice(edges[k], edges[k + 1])
        x_, y_, u_ = (a[own] for a in ordered[1:])
        _fit_block(ordered[0][own] - first, x_, y_, u_, found[:, first : first + BLOCK])
    centre_x, centre_y, slope, centre_var, slope_var = found
    return Lines(
        count=np.bincount(at, minlength=size),
        centre_x=centre_x,
        centre_y=centre_y,
        slope=slope,
        centre_var=centre_var,
        slope_var=slope_var,
        group=at,
        x=place,
        y=value,
        u=sigma,
    )


def _means(
    at: NDArray[np.intp], place: Floats, value: Floats, sigma: Floats, repeats: Repeats
) -> tuple[NDArray[np.intp], Floats, Floats, Floats]:
    """Group, place, mean and standard uncertainty of the mean at each place."""
    weight = sigma**-2.0
    own = np.empty(len(repeats.weight), dtype=np.intp)
    own[repeats.point] = at
    u = np.sqrt(1 / repeats.weight + repeats.variance)
    return own, repeats.mean_of(weight, place), repeats.mean_of(weight, value), u


def _fit_block(at: NDArray[np.intp], place: Floats, value: Floats, sigma: Floats, found: Floats) -> None:
    """Fit the lines of one block of groups into the rows of ``found`` (5, g)."""
    size = found.shape[1]
    weight = sigma * sigma
    np.reciprocal(weight, out=weight)
    scratch = np.empty_like(weight)

    def total(a: Floats, b: Floats) -> Floats:
        return np.bincount(at, np.multiply(a, b, out=scratch), size).astype(np.float64, copy=False)

    with np.errstate(divide="ignore", invalid="ignore"):
        centre_var = 1 / np.bincount(at, weight, size)
        centre_x = total(weight, place) * centre_var
        centre_y = total(weight, value) * centre_var
        dx = place - centre_x[at]
        dy = value - centre_y[at]
        np.multiply(weight, dx, out=weight)
        moment = total(weight, dx)
        # places that differ by rounding alone are one place
        alone = ~(moment * centre_var > (1e-9 * (1 + np.abs(centre_x))) ** 2)
        found[:] = centre_x, centre_y, total(weight, dy) / moment, centre_var, 1 / moment
    found[:, alone] = np.nan


def fit_line(x: ArrayLike, y: ArrayLike, *, u: ArrayLike) -> Lines:
    """
    Fit one straight line by weighted least squares.

    Parameters
    ----------
    x, y : (n,) array
        Place and value of each reading.
    u : float or (n,) array
        Standard uncertainty of each value.

    Returns
    -------
    Lines
        With one entry.

    Raises
    ------
    NotEnoughReadingsError
        Fewer than two distinct places.
    """
    place = np.asarray(x, dtype=np.float64)
    sigma = np.broadcast_to(np.asarray(u, dtype=np.float64), place.shape)
    lines = fit_lines(np.zeros(place.shape, dtype=np.intp), place, y, sigma, groups=1)
    if np.isnan(lines.slope[0]):
        raise NotEnoughReadingsError("a line needs readings at two distinct places at least")
    return lines
