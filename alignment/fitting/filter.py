"""
A linear filter that may begin knowing nothing: what is known of a few numbers, as observations and changes come in.

What is known is kept as an information matrix and vector, the inverse of the covariance and that times the mean. So
nothing is a matrix of zeros, and without changes between them observations add up to weighted least squares.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Known"]

Floats = NDArray[np.float64]
FAINT = 1e-12
"""Share of the strongest information below which a direction counts as not known."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Known:
    """
    What is known of n numbers, jointly normal.

    Attributes
    ----------
    information : (n, n) array
        Inverse of the covariance; singular where something is not known yet.
    vector : (n,) array
        The information times the mean.
    """

    information: Floats
    vector: Floats

    @classmethod
    def nothing(cls, size: int) -> Known:
        """Nothing known of so many numbers."""
        return cls(information=np.zeros((size, size)), vector=np.zeros(size))

    @classmethod
    def of(cls, mean: ArrayLike, covariance: ArrayLike) -> Known:
        """A mean (n,) and its covariance (n, n), which has an inverse."""
        information = np.linalg.inv(np.asarray(covariance, dtype=np.float64))
        return cls(information=information, vector=information @ np.asarray(mean, dtype=np.float64))

    @cached_property
    def complete(self) -> bool:
        """Whether all of the numbers are known."""
        strength = np.linalg.eigvalsh(self.information)
        return bool(strength[-1] > 0 and strength[0] > FAINT * strength[-1])

    @cached_property
    def mean(self) -> Floats:
        """Best estimates, (n,); NaN where not all of them are known."""
        if not self.complete:
            return np.full(len(self.vector), np.nan)
        return np.asarray(np.linalg.solve(self.information, self.vector))

    @cached_property
    def covariance(self) -> Floats:
        """Covariance of the mean, (n, n); NaN where not all of them are known."""
        if not self.complete:
            return np.full(self.information.shape, np.nan)
        found = np.linalg.inv(self.information)
        return (found + found.T) / 2

    def observed(self, row: ArrayLike, value: float, variance: float) -> Known:
        """
        After a linear function of the numbers was observed.

        Parameters
        ----------
        row : (n,) array
            Its coefficients.
        value, variance : float
            What was observed, and the variance of that, independent of all that came before.
        """
        h = np.asarray(row, dtype=np.float64)
        return Known(
            information=self.information + np.outer(h, h) / variance, vector=self.vector + h * (value / variance)
        )

    def changed(self, turn: ArrayLike, shift: ArrayLike, noise: ArrayLike) -> Known:
        """
        After the numbers changed: x becomes ``turn @ x + shift + e``.

        Parameters
        ----------
        turn : (n, n) array
            May be singular: what is not carried over is forgotten.
        shift : (n,) array
        noise : (n, n) array
            Covariance of e, independent of all that came before.

        Notes
        -----
        Directions that were not known stay so wherever `turn` takes them; of the rest, mean and covariance are
        carried over [1]_. A change that is known exactly has no inverse and is not taken: give it a small noise.

        References
        ----------
        .. [1] J. Durbin and S. J. Koopman, Time Series Analysis by State Space Methods, 2nd ed., 2012, 4.3 (the
           step of prediction) and 5.2 (diffuse start).
        """
        f = np.asarray(turn, dtype=np.float64)
        strength, axes = np.linalg.eigh(self.information)
        seen = strength > FAINT * max(strength[-1], 0.0)
        known, lost = axes[:, seen], f @ axes[:, ~seen]
        spread = (known / strength[seen]) @ known.T
        mean = spread @ self.vector
        # what is left once the directions of which nothing is known are taken out
        basis, size, _ = np.linalg.svd(lost, full_matrices=True)
        rank = int(np.count_nonzero(size > 1e-9))
        left = basis[:, rank:]
        inner = np.linalg.inv(left.T @ (f @ spread @ f.T + np.asarray(noise, dtype=np.float64)) @ left)
        information = left @ inner @ left.T
        moved = f @ mean + np.asarray(shift, dtype=np.float64)
        return Known(information=information, vector=information @ moved)
