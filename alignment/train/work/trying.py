"""What a section may become: after each stop that a bolt end can be brought to, and after each reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from alignment.machine.layout import Section
from alignment.train.moves.stops import at_place, grid, levers

__all__ = ["Family", "families", "seen"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Family:
    """
    Moves of the same bolt ends to different stops: what is known afterwards is alike, where the section is differs.

    Attributes
    ----------
    ends : tuple of int
        0 for the entry, 1 for the exit bolt end.
    stops : (m, k) array
        Readings at which to stop, a column for each end. [mm]
    carry : (2, 2) array
        What of the deviations at both ends before the move is left after it.
    reach : (m, 2) array
        Deviations that the stops bring, so that after the move they are ``carry @ before + reach``. [mm]
    noise : (2, 2) array
        Covariance of what is new. [mm^2]
    """

    ends: tuple[int, ...]
    stops: Floats
    carry: Floats
    reach: Floats
    noise: Floats

    def after(self, value: Floats, covariance: Floats) -> tuple[Floats, Floats]:
        """Deviations (..., m, 2) after each stop from those before (..., 2), and their covariance."""
        return (value @ self.carry.T)[..., None, :] + self.reach, self.carry @ covariance @ self.carry.T + self.noise


def families(
    section: Section, wanted: tuple[float, float], *, mark: float, within: float, u: float, creep: float
) -> list[Family]:
    """
    Moves of either bolt end, and of both, to stops on marks and halfway between them.

    Parameters
    ----------
    wanted : (float, float)
        Readings wanted at the first and the last point. [mm]
    mark, within : float
        Smallest mark of the tape, and how far from the wanted reading to stop at most. [mm]
    u, creep : float
        Standard uncertainty of the reading at a stop, and of what tightening does to a bolt end. [mm]
    """
    places = (section.points[0], section.points[-1])
    stops = [grid(w, mark, within) for w in wanted]
    found, crept = [], []
    for end in (0, 1):
        at_pivot, kept, told, own = levers(section, end, places[end])
        crept.append(np.outer(own, own) * creep**2)
        found.append(
            Family(
                ends=(end,),
                stops=stops[end][:, None],
                carry=np.outer(kept, at_pivot),
                reach=np.outer(stops[end] - wanted[end], told),
                noise=u**2 * np.outer(told, told) + crept[end],
            )
        )
    # with both ends loose nothing speaks for a stop far from the wanted reading
    near = [s[np.abs(s - w) <= 0.75 * mark] for s, w in zip(stops, wanted, strict=True)]
    both = np.stack(np.meshgrid(*near, indexing="ij"), axis=-1).reshape(-1, 2)
    turn = np.linalg.inv(np.array([at_place(section.length, place) for place in places]))
    found.append(
        Family(
            ends=(0, 1),
            stops=both,
            carry=np.zeros((2, 2)),
            reach=(both - np.array(wanted)) @ turn.T,
            noise=u**2 * turn @ turn.T + crept[0] + crept[1],
        )
    )
    return found


def seen(
    value: Floats, covariance: Floats, rows: Sequence[Floats], variances: Sequence[float]
) -> tuple[Floats, Floats, Floats]:
    """
    What may be known after readings that are still to come.

    Parameters
    ----------
    value, covariance : (2,) and (2, 2) array
        Now. [mm]
    rows : sequence of (2,) array
        Deviation at each place to be read, from those at both ends.
    variances : sequence of float
        Of each reading. [mm^2]

    Returns
    -------
    value : (j, 2) array
        Best estimates that may come out.
    weight : (j,) array
        Their probabilities.
    covariance : (2, 2) array
        Whatever is read.
    """
    h, r = np.array(rows), np.diag(variances)
    cross = covariance @ h.T
    among = h @ cross + r
    left = covariance - cross @ np.linalg.solve(among, cross.T)
    gain = covariance - left
    size, axes = np.linalg.eigh(gain)
    nodes, weight = _nodes(len(rows))
    spread = axes[:, -len(rows) :] * np.sqrt(np.maximum(size[-len(rows) :], 0.0))
    return value + nodes @ spread.T, weight, (left + left.T) / 2


@lru_cache
def _nodes(dimensions: int) -> tuple[Floats, Floats]:
    """Gauss-Hermite nodes (j, d) of independent standard normal numbers, and their weights."""
    x, w = np.polynomial.hermite_e.hermegauss(5 if dimensions == 1 else 3)
    w = w / w.sum()
    if dimensions == 1:
        return x[:, None], w
    grid_x = np.stack(np.meshgrid(x, x, indexing="ij"), axis=-1).reshape(-1, 2)
    return grid_x, np.outer(w, w).ravel()
