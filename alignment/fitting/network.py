"""
Weighted least squares of many unknowns, each observation touching few that lie near one another.

The normal matrix is banded, so that time and memory grow with the number of unknowns and no faster. Of its inverse,
the covariance, the part inside the band is worked out (Takahashi's recursion); the rest is had column by column.
This module knows no machine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alignment.errors import NotEnoughReadingsError

__all__ = ["Network", "fit_network"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Network:
    """
    An adjusted network.

    Attributes
    ----------
    value : (n,) array
        Unknowns.
    band : (b + 1, n) array
        Covariance inside the band: ``band[k, j]`` is that of unknowns j and j + k. A priori.
    residual : (m,) array
        Observation less adjusted value.
    redundancy : (m,) array
        Share of an error in an observation that shows in its own residual.
    """

    value: Floats
    band: Floats
    residual: Floats
    redundancy: Floats
    factor: Floats

    def covariance_times(self, columns: Floats) -> Floats:
        """Covariance matrix times a matrix (n, k)."""
        from scipy.linalg import cho_solve_banded

        return np.asarray(cho_solve_banded((self.factor, True), columns), dtype=np.float64)


def fit_network(index: ArrayLike, coefficient: ArrayLike, y: ArrayLike, u: ArrayLike, unknowns: int) -> Network:
    """
    Adjust a network by weighted least squares.

    Parameters
    ----------
    index : (m, e) int array
        The unknowns that each observation touches; repeat any with a coefficient of zero to fill the row.
    coefficient : (m, e) array
        How they enter it.
    y, u : (m,) array
        Observations and their standard uncertainties.
    unknowns : int
        Number of unknowns.

    Returns
    -------
    Network

    Raises
    ------
    NotEnoughReadingsError
        The observations do not determine every unknown.

    References
    ----------
    .. [1] C. D. Ghilani and P. R. Wolf, Adjustment Computations, 4th ed., chapters 11 and 12.
    .. [2] K. Takahashi, J. Fagan and M. Chin, 1973, on the inverse inside the band (from memory).
    """
    from scipy.linalg import LinAlgError, cho_solve_banded, cholesky_banded

    at, a = np.asarray(index, dtype=np.int64), np.asarray(coefficient, dtype=np.float64)
    value, weight = np.asarray(y, dtype=np.float64), np.asarray(u, dtype=np.float64) ** -2.0
    width = int((at.max(axis=1) - at.min(axis=1)).max(initial=0))
    normal = np.zeros((width + 1, unknowns))
    right = np.zeros(unknowns)
    for i in range(at.shape[1]):
        right += np.bincount(at[:, i], a[:, i] * weight * value, unknowns)
        for j in range(at.shape[1]):
            below = at[:, i] >= at[:, j]
            cell = (at[below, i] - at[below, j]) * unknowns + at[below, j]
            product = a[below, i] * a[below, j] * weight[below]
            normal += np.bincount(cell, product, normal.size).reshape(normal.shape)
    try:
        factor = np.asarray(cholesky_banded(normal, lower=True), dtype=np.float64)
    except LinAlgError:
        raise NotEnoughReadingsError("these observations do not determine every unknown of the network") from None
    solved = np.asarray(cho_solve_banded((factor, True), right), dtype=np.float64)
    band = _inverse_band(factor)
    variance = np.zeros(len(value))
    for i in range(at.shape[1]):
        for j in range(at.shape[1]):
            low, high = np.minimum(at[:, i], at[:, j]), np.maximum(at[:, i], at[:, j])
            variance += a[:, i] * a[:, j] * band[high - low, low]
    return Network(
        value=solved,
        band=band,
        residual=value - np.sum(a * solved[at], axis=1),
        redundancy=1 - weight * variance,
        factor=factor,
    )


def _inverse_band(factor: Floats) -> Floats:
    """Band of the inverse of a matrix from its lower banded Cholesky factor, from the last column up."""
    width, count = factor.shape[0] - 1, factor.shape[1]
    band = np.zeros_like(factor)
    # inverse among the unknowns that follow the present one
    window = np.zeros((width, width))
    for j in range(count - 1, -1, -1):
        pivot = factor[0, j]
        share = factor[1:, j] / pivot
        beside = -window @ share
        own = 1 / pivot**2 - share @ beside
        band[0, j] = own
        band[1:, j] = beside
        if width:
            grown = np.empty_like(window)
            grown[0, 0] = own
            grown[0, 1:] = grown[1:, 0] = beside[:-1]
            grown[1:, 1:] = window[:-1, :-1]
            window = grown
    return band
