"""How far a taut string hangs below the straight line between its anchors."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Sag", "catenary_sag"]


@dataclass(frozen=True, kw_only=True)
class Sag:
    """
    A string between two anchors at one height.

    Attributes
    ----------
    first, last : float
        Machine x of the anchors. [mm]
    weight : float
        Weight per length. [N/mm]
    tension : float
        [N]
    share_u : float
        Relative standard uncertainty of weight over tension.
    """

    first: float
    last: float
    weight: float
    tension: float
    share_u: float

    def at(self, x: ArrayLike) -> NDArray[np.float64]:
        """
        Depth below the line between the anchors at machine ``x``: the parabola ``q x (S - x) / (2 T)``. [mm]

        It differs from the catenary by little more than a ten thousandth of itself while the sag is below a hundredth
        of the span.
        """
        place = np.asarray(x, dtype=np.float64) - self.first
        return self.weight * place * (self.last - self.first - place) / (2 * self.tension)

    def slope_at(self, x: ArrayLike) -> NDArray[np.float64]:
        """Change of the depth per length downstream."""
        place = np.asarray(x, dtype=np.float64) - self.first
        return self.weight * (self.last - self.first - 2 * place) / (2 * self.tension)

    @property
    def relative_u(self) -> float:
        """
        Relative standard uncertainty of a depth: of weight over tension, and of a parabola taken for a catenary.

        The difference of the two at mid-span is the half-width of a rectangular distribution (GUM 4.3.7).
        """
        middle = float(self.at((self.first + self.last) / 2))
        if not middle:
            return self.share_u
        beyond = catenary_sag(self.weight, self.last - self.first, self.tension) / middle - 1
        return math.hypot(self.share_u, beyond / math.sqrt(3))


def catenary_sag(weight: float, span: float, pull: float) -> float:
    """
    Exact sag at mid-span of a uniform line.

    Parameters
    ----------
    weight, span, pull : float
        Weight per length, span, and horizontal component of the tension, in one system of units.

    Returns
    -------
    float
        ``a (cosh(S / 2a) - 1)`` with ``a`` the pull over the weight.
    """
    a = pull / weight
    # 2 sinh^2 keeps the digits that cosh - 1 would lose in a shallow line
    return 2 * a * math.sinh(span / (4 * a)) ** 2
