"""
Straight lines by weighted least squares, any number of them in one pass.

This module knows no machine: x, y and u are whatever the caller means by them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alignment.errors import NotEnoughReadingsError

__all__ = ["Lines", "fit_line", "fit_lines"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
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
    chi2 : (g,) array
        Sum of squared residuals over squared standard uncertainties.
    residual, hat : (n,) array
        Reading less fitted value, and leverage (the diagonal of the hat matrix), in the order of the readings.
    """

    count: NDArray[np.int64]
    centre_x: Floats
    centre_y: Floats
    slope: Floats
    centre_var: Floats
    slope_var: Floats
    chi2: Floats
    residual: Floats
    hat: Floats

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


def fit_lines(group: ArrayLike, x: ArrayLike, y: ArrayLike, u: ArrayLike, *, groups: int | None = None) -> Lines:
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

    def total(of: Floats) -> Floats:
        return np.bincount(at, of, size).astype(np.float64, copy=False)

    weight = sigma**-2.0
    count = np.bincount(at, minlength=size)
    with np.errstate(divide="ignore", invalid="ignore"):
        weights = total(weight)
        centre_x = total(weight * place) / weights
        centre_y = total(weight * value) / weights
        dx = place - centre_x[at]
        dy = value - centre_y[at]
        moment = total(weight * dx * dx)
        # places that differ by rounding alone are one place
        spread = moment / weights > (1e-9 * (1 + np.abs(centre_x))) ** 2
        moment = np.where(spread, moment, np.nan)
        slope = total(weight * dx * dy) / moment
        residual = dy - slope[at] * dx
        hat = weight * (1 / weights[at] + dx * dx / moment[at])
    blank = np.where(spread, 0.0, np.nan)
    return Lines(
        count=count,
        centre_x=centre_x + blank,
        centre_y=centre_y + blank,
        slope=slope,
        centre_var=1 / weights + blank,
        slope_var=1 / moment,
        chi2=total(weight * residual**2),
        residual=residual,
        hat=hat,
    )


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
