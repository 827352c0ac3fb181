"""
Chances of one section for many places at once, quick enough to try every stop while a person waits.

The same probability as `alignment.train.chance` gives, arranged the other way about: all that does not depend on where
the section is - its limits, the tape's zero, its neighbours - is put on a grid once, and each place is a sum over it.
With a step to a neighbour that is a thirtieth of the time for twelve places, and a hundredth for sixty: every stop of
every end, and what every reading may show, could not be tried with the other within the time of one answer. Tests hold
the two together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.machine.layout import Tolerance
from alignment.quantiles import gauss_nodes
from alignment.train.chance import Beside

__all__ = ["Odds"]

Floats = NDArray[np.float64]
APART: Final = 0.5
"""Standard uncertainties between two lines of the grid, on average and at most."""
FEWEST, MOST = 12, 160
"""Lines of the grid either way."""
FINEST: Final = 2 / (APART * MOST)
"""Share of half the grid that is the least standard uncertainty: one that is less counts as so much."""


@dataclass(frozen=True, kw_only=True)
class Odds:
    """
    What one section is judged by.

    Attributes
    ----------
    tolerance : Tolerance
    zero : float
        Standard uncertainty that all deviations of a row share, and that cancels in skews and steps. [mm]
    up, down : Beside or None
        The facing ends of settled neighbours.
    """

    tolerance: Tolerance
    zero: float
    up: Beside | None = None
    down: Beside | None = None

    def __call__(self, value: Floats, covariance: Floats) -> Floats:
        """
        Chance that the section is within all of its tolerances.

        Parameters
        ----------
        value : (m, 2) array
            Deviation at entry and exit end. [mm]
        covariance : (2, 2) array
            Of these, without what all readings share. [mm^2]

        Returns
        -------
        (m,) array
        """
        # over the skew, and over the offset given the skew: limits on the skew are sharp, and a grid in it meets them
        turn = np.array([[-1.0, 1.0], [0.5, 0.5]])
        own, at = turn @ covariance @ turn.T, value @ turn.T
        half = min(self.tolerance.square, 2 * self.tolerance.offset)
        reach = self.tolerance.offset + 4 * self.zero
        u_skew = max(float(np.sqrt(max(own[0, 0], 0.0))), half * FINEST)
        slope = float(own[0, 1]) / u_skew**2
        u_offset = max(float(np.sqrt(max(own[1, 1] - slope**2 * u_skew**2, 0.0))), reach * FINEST)
        # beside the skew the offset less what follows the skew: the two are independent, and limits on the skew,
        # which are sharp, stay lines of the grid
        reach = reach + abs(slope) * half
        skew, skew_weight = _nodes(half, u_skew)
        rest, rest_weight = _nodes(reach, min(u_offset, max(self.zero, reach * FINEST)))
        inside = self._inside(skew[:, None], rest + slope * skew[:, None], reach * FINEST)
        on_skew = np.exp(-(((skew - at[:, :1]) / u_skew) ** 2) / 2) * skew_weight
        on_rest = np.exp(-(((rest - (at[:, 1:] - slope * at[:, :1])) / u_offset) ** 2) / 2) * rest_weight
        found = np.einsum("mo,mo->m", on_skew @ inside, on_rest)
        return np.asarray(np.clip(found / (2 * np.pi * u_skew * u_offset), 0.0, 1.0))

    def _inside(self, skew: Floats, offset: Floats, least: float) -> Floats:
        """Probability that offset and steps are within their limits, given skew and offset as the tape has them."""
        room = self.tolerance.offset - np.abs(skew) / 2
        zero = max(self.zero, least)
        found = _below((room - offset) / zero) - _below((-room - offset) / zero)
        for beside, sign in ((self.up, -1), (self.down, 1)):
            if beside is not None:
                step, u = offset + sign * skew / 2 - beside.value, max(beside.u, least)
                limit = self.tolerance.step / beside.share
                found = found * (_below((limit - step) / u) - _below((-limit - step) / u))
        return np.maximum(found, 0.0)


def _nodes(half: float, scale: float) -> tuple[Floats, Floats]:
    """Gauss-Legendre nodes and weights from -half to half, close enough together for features of a size."""
    count = int(np.clip(np.ceil(2 * half / (APART * scale)), FEWEST, MOST))
    # few numbers of nodes, so that those of most calls are there already
    x, weight = gauss_nodes(4 * -(-count // 4))
    return half * x, half * weight


def _below(z: Floats) -> Floats:
    """
    Probability that a standard normal quantity stays below `z`, to 3e-4: enough here, and a tenth of the time.

    References
    ----------
    .. [1] E. Page, Approximations to the cumulative normal function and its inverse for use on a pocket calculator,
       Applied Statistics 26 (1977) 75-76 (from memory).
    """
    return np.asarray((1 + np.tanh(0.7978845608 * z * (1 + 0.044715 * z * z))) / 2)
