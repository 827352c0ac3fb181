"""
Curves by weighted least squares where the unknowns do not enter linearly: Gauss-Newton with numeric derivatives.

This module knows no machine and no panel; it is meant for a handful of unknowns near a good first guess.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alignment.errors import NotEnoughReadingsError

__all__ = ["Fit", "fit"]

Floats = NDArray[np.float64]
Model = Callable[[Floats], Floats]
ROUNDS = 30


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """
    Unknowns that fit readings best.

    Attributes
    ----------
    unknowns : (p,) array
    covariance : (p, p) array
        A priori, from the readings' own uncertainties.
    residual : (n,) array
        Reading less fitted value.
    hat : (n,) array
        Leverage of each reading; one less it is the reading's redundancy number.
    chi2 : float
        Sum of squared residuals over squared standard uncertainties.
    """

    unknowns: Floats
    covariance: Floats
    residual: Floats
    hat: Floats
    chi2: float

    @property
    def dof(self) -> int:
        """Degrees of freedom: readings less unknowns."""
        return len(self.residual) - len(self.unknowns)

    def u_of(self, function: Callable[[Floats], float]) -> float:
        """Standard uncertainty of a number that depends on the unknowns (GUM 5.2.2, first order)."""
        slope = _slopes(lambda p: np.array([function(p)]), self.unknowns)[0]
        return float(np.sqrt(max(slope @ self.covariance @ slope, 0.0)))


def _slopes(model: Model, at: Floats) -> Floats:
    """Derivatives of a model by central differences, (n, p)."""
    step = 1e-6 * (1 + np.abs(at))
    columns = []
    for k, h in enumerate(step):
        aside = np.zeros_like(at)
        aside[k] = h
        columns.append((model(at + aside) - model(at - aside)) / (2 * h))
    return np.stack(columns, axis=1)


def fit(model: Model, start: ArrayLike, value: ArrayLike, u: ArrayLike) -> Fit:
    """
    Fit unknowns to readings.

    Parameters
    ----------
    model : callable
        Takes the unknowns (p,) and gives what should be read (n,).
    start : (p,) array
        First guess, scaled so that a change of 1e-6 (1 + |p|) is small.
    value, u : (n,) array
        Readings and their independent standard uncertainties.

    Raises
    ------
    NotEnoughReadingsError
        The readings do not fix the unknowns.

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), 5.2; NIST/SEMATECH e-Handbook of Statistical Methods, 4.4.3.
    """
    unknowns = np.array(start, dtype=np.float64)
    reading, sigma = np.asarray(value, dtype=np.float64), np.asarray(u, dtype=np.float64)
    for _ in range(ROUNDS):
        weighted = _slopes(model, unknowns) / sigma[:, None]
        # columns brought to one size, so that the rank does not hang on the units of the unknowns
        size = np.linalg.norm(weighted, axis=0)
        if not (size > 0).all() or np.linalg.matrix_rank(weighted / size, tol=1e-8) < len(unknowns):
            raise NotEnoughReadingsError("the readings do not fix what is to be fitted")
        step = np.linalg.lstsq(weighted / size, (reading - model(unknowns)) / sigma)[0] / size
        unknowns = unknowns + step
        if np.max(np.abs(step) / (1e-12 + np.abs(unknowns) + np.sqrt(len(sigma)) / size)) < 1e-9:
            break
    weighted = _slopes(model, unknowns) / sigma[:, None]
    covariance: Floats = np.linalg.inv(weighted.T @ weighted).astype(np.float64, copy=False)
    residual = reading - model(unknowns)
    return Fit(
        unknowns=unknowns,
        covariance=covariance,
        residual=residual,
        hat=np.einsum("ni,ij,nj->n", weighted, covariance, weighted),
        chi2=float(np.sum((residual / sigma) ** 2)),
    )
