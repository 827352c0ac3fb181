"""
The chance that a section is within all of its tolerances, from the joint covariance of what they are on.

A section is two deviations, at its entry and exit end; offset and skew bound these two alone, and each step to a
neighbour that is settled is one number more. All are jointly normal. The deviation at the entry end is integrated
by Gauss-Legendre between the places where a limit begins to act; given it, the one at the exit end is bounded on both
sides and has a closed form. A step is taken given both deviations.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alignment.machine.layout import Tolerance
from alignment.quantiles import gauss_nodes, normal_below

__all__ = ["Beside", "chance", "inside", "shared", "with_steps"]

Floats = NDArray[np.float64]
FAR: Final = 5.0
"""Standard uncertainties beyond which less than a millionth is left of a normal distribution."""
NODES: Final = 5
"""Gauss-Legendre nodes between two places where a limit begins to act: chances to 1e-5."""
NODES_OF_STEPS: Final = 6
"""The same where there are steps, over two deviations: chances to 1e-4."""
LEAST_SHARE: Final = 1e-9
"""Share of all that may be that a point has to stand for to be looked at; there are some thousand."""
LEAST_U: Final = 1e-6
"""Standard uncertainty below which a deviation counts as known. [mm]"""


class Beside(NamedTuple):
    """
    The facing end of a settled neighbour.

    Attributes
    ----------
    value : float
        Deviation at which the step is nothing: the neighbour's deviation and the nominal step. [mm]
    u : float
        Its standard uncertainty, without what both sections share. [mm]
    share : float
        How much of what the own end changes the step changes: less than 1 where the step itself was measured.
    """

    value: float
    u: float
    share: float = 1.0


def chance(value: ArrayLike, covariance: ArrayLike, tolerance: Tolerance) -> Floats:
    """
    Chance that sections are within their tolerances.

    Parameters
    ----------
    value : (..., 2 + k) array
        Deviation at entry and exit end, then the steps to k settled neighbours (k from 0 to 2). [mm]
    covariance : (..., 2 + k, 2 + k) array
        Of these, all that they share included. [mm^2]
    tolerance : Tolerance
        Of offset, square and step.

    Returns
    -------
    (...) array
        Between 0 and 1.

    Notes
    -----
    Two steps are not quite independent of each other given the deviations: their joint probability is the product
    plus the first terms of the tetrachoric series in the correlation that is left.
    """
    at, spread = np.asarray(value, dtype=np.float64), np.asarray(covariance, dtype=np.float64)
    shape = np.broadcast_shapes(at.shape[:-1], spread.shape[:-2])
    size = at.shape[-1]
    at = np.broadcast_to(at, (*shape, size)).reshape(-1, size)
    spread = np.broadcast_to(spread, (*shape, size, size)).reshape(-1, size, size)
    # some at a time, as many as stay in the cache: with steps each asks for some thousand points, else for some ten
    together, way = (512, inside) if size == 2 else (32, _with_steps_inside)
    parts = np.array_split(np.arange(len(at)), max(len(at) // together, 1))
    found: Floats = np.concatenate([way(at[part], spread[part], tolerance) for part in parts])
    return np.clip(found, 0.0, 1.0).reshape(shape)


def inside(value: Floats, covariance: Floats, tolerance: Tolerance) -> Floats:
    """Chance that both deviations (m, 2) and their difference are within offset and square, (m,)."""
    entry, places = _entry_nodes(value, covariance, _edges(tolerance), NODES)
    low, high = _exit_limits(entry.x, tolerance)
    share = np.zeros(places)
    share[entry.at] = entry.weight * _between(low - entry.middle, high - entry.middle, entry.u_exit)
    return np.asarray(share.sum(axis=1))


def with_steps(
    value: Floats, covariance: Floats, *, up: Beside | None = None, down: Beside | None = None
) -> tuple[Floats, Floats]:
    """
    A section's deviations with the steps to its settled neighbours, as `chance` takes them.

    Parameters
    ----------
    value : (..., 2) array
        Deviation at entry and exit end. [mm]
    covariance : (..., 2, 2) array
        Without what neighbours share with it, as the tape's zero: that cancels in a step and is added afterwards by
        `shared`. [mm^2]
    up, down : Beside, optional
        The upstream neighbour's exit end and the downstream neighbour's entry end.

    Returns
    -------
    value, covariance : (..., 2 + k) and (..., 2 + k, 2 + k) arrays
        A step is positive where the downstream face is farther from the string.
    """
    turn = [np.array([1.0, 0.0]), np.array([0.0, 1.0])]
    taken, own = [0.0, 0.0], [0.0, 0.0]
    for beside, way, sign in ((up, turn[0], 1.0), (down, turn[1], -1.0)):
        if beside is not None:
            turn = [*turn, sign * beside.share * way]
            taken.append(sign * beside.share * beside.value)
            own.append((beside.share * beside.u) ** 2)
    to = np.array(turn)
    return value @ to.T - np.array(taken), to @ covariance @ to.T + np.diag(own)


def shared(covariance: Floats, u: float) -> Floats:
    """The covariance of `with_steps` with an error added that the section shares with its neighbours. [mm]"""
    both = np.zeros(covariance.shape[-2:])
    both[:2, :2] = u**2
    return np.asarray(covariance + both)


@lru_cache
def _legendre(nodes: int) -> tuple[Floats, Floats]:
    """Nodes and weights from 0 to 1."""
    x, weight = gauss_nodes(nodes)
    return (x + 1) / 2, weight / 2


def _nodes(edges: Floats, nodes: int) -> tuple[Floats, Floats]:
    """Nodes and weights (..., s * nodes) over the stretches between sorted edges (..., s + 1)."""
    x, weight = _legendre(nodes)
    width = np.diff(edges, axis=-1)[..., None]
    shape = (*edges.shape[:-1], (edges.shape[-1] - 1) * nodes)
    return (edges[..., :-1, None] + width * x).reshape(shape), (width * weight).reshape(shape)


def _edges(tolerance: Tolerance) -> Floats:
    """Entry deviations at which another limit begins to hold the exit end."""
    turn = abs(tolerance.offset - tolerance.square)
    return np.array([-tolerance.offset, -turn, turn, tolerance.offset])


class _Entry(NamedTuple):
    """
    Entry deviations to integrate over, and the exit end given them, (j,) arrays.

    Attributes
    ----------
    at : (j,) and (j,) int array
        Section and node of each; those of stretches without length are left out.
    x, weight : (j,) arrays
        Entry deviation, and the weight with the density in it.
    middle, u_exit : (j,) arrays
        Exit deviation to be expected, and its standard uncertainty.
    """

    at: tuple[NDArray[np.int64], ...]
    x: Floats
    weight: Floats
    middle: Floats
    u_exit: Floats


def _entry_nodes(value: Floats, covariance: Floats, edges: Floats, nodes: int) -> tuple[_Entry, tuple[int, ...]]:
    """The entry deviations between edges, (s,) or (m, s), and how many sections and nodes there are with the empty."""
    u = np.sqrt(np.maximum(covariance[:, 0, 0], LEAST_U**2))[:, None]
    slope = covariance[:, 0, 1][:, None] / u**2
    u_exit = np.sqrt(np.maximum(covariance[:, 1, 1][:, None] - slope**2 * u**2, LEAST_U**2))
    middle = value[:, :1]
    low = np.maximum(edges[..., :1], middle - FAR * u)
    high = np.maximum(np.minimum(edges[..., -1:], middle + FAR * u), low)
    turns = [np.broadcast_to(edges, (len(value), edges.shape[-1])), middle - 2 * u, middle, middle + 2 * u]
    # where the exit end, following, meets its limits: sharp where the two ends go together
    with np.errstate(divide="ignore", invalid="ignore"):
        met = middle + (np.array([edges[..., 0], edges[..., -1]]).T.reshape(-1, 2) - value[:, 1:2]) / slope
        turns += [np.nan_to_num(met + k * u_exit / np.abs(slope), nan=0.0) for k in (-2, 0, 2)]
    own = np.concatenate(turns, axis=1)
    places, width = _nodes(np.sort(np.clip(own, low, high), axis=1), nodes)
    at = np.nonzero(width)
    x, u, off = places[at], u[at[0], 0], places[at] - value[at[0], 0]
    density = np.exp(-((off / u) ** 2) / 2) / (u * np.sqrt(2 * np.pi))
    expected = value[at[0], 1] + slope[at[0], 0] * off
    return _Entry(at, x, width[at] * density, expected, u_exit[at[0], 0]), width.shape


def _exit_limits(x: Floats, tolerance: Tolerance) -> tuple[Floats, Floats]:
    """Between what the exit end has to be, given the entry end."""
    return np.maximum(-tolerance.offset, x - tolerance.square), np.minimum(tolerance.offset, x + tolerance.square)


def _between(low: Floats, high: Floats, u: Floats) -> Floats:
    """Probability of a normal quantity about zero between two limits."""
    return np.asarray(np.where(high > low, normal_below(high / u) - normal_below(low / u), 0.0))


def _with_steps_inside(value: Floats, covariance: Floats, tolerance: Tolerance) -> Floats:
    own, cross, among = covariance[:, :2, :2], covariance[:, 2:, :2], covariance[:, 2:, 2:]
    steady = own + LEAST_U**2 * np.eye(2)
    gain = cross @ np.linalg.inv(steady)
    left = among - gain @ np.swapaxes(cross, 1, 2)
    u = np.sqrt(np.maximum(np.diagonal(left, axis1=1, axis2=2), LEAST_U**2))
    # entry deviations at which a step's limit is met where it follows that end
    at_entry = _meets(value, gain, 0, tolerance.step)
    edges = np.concatenate([np.broadcast_to(_edges(tolerance), (len(value), 4)), at_entry], axis=1)
    edges = np.clip(edges, -tolerance.offset, tolerance.offset)
    entry, _ = _entry_nodes(value, own, np.sort(edges, axis=1), NODES_OF_STEPS)
    section, middle, u_exit = entry.at[0], entry.middle, entry.u_exit
    low, high = (
        np.clip(limit, middle - FAR * u_exit, middle + FAR * u_exit) for limit in _exit_limits(entry.x, tolerance)
    )
    high = np.maximum(high, low)
    met = _meets(value, gain, 1, tolerance.step)[section]
    own_edges = np.clip(np.column_stack([low, high, middle, met]), low[:, None], high[:, None])
    y, exit_weight = _nodes(np.sort(own_edges, axis=1), NODES_OF_STEPS)
    z = (y - middle[:, None]) / u_exit[:, None]
    density = np.exp(-(z**2) / 2) / (u_exit[:, None] * np.sqrt(2 * np.pi))
    share = entry.weight[:, None] * exit_weight * density
    # stretches between limits that meet are empty, and most of the rest is too far off to count
    at = np.nonzero(share > LEAST_SHARE)
    section = section[at[0]]
    entry_off, exit_off = entry.x[at[0]] - value[section, 0], y[at] - value[section, 1]
    ends = []
    for k in range(value.shape[1] - 2):
        step = value[section, 2 + k] + gain[section, k, 0] * entry_off + gain[section, k, 1] * exit_off
        ends.append(((-tolerance.step - step) / u[section, k], (tolerance.step - step) / u[section, k]))
    r = np.clip(left[:, 0, -1] / (u[:, 0] * u[:, -1]), -0.95, 0.95)[section]
    return np.asarray(np.bincount(section, share[at] * _both(ends, r), minlength=len(value)), dtype=np.float64)


def _meets(value: Floats, gain: Floats, end: int, step: float) -> Floats:
    """Deviations of one end at which each step meets its limits, the other end as it stands, (m, 2 k)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        found = [
            value[:, end] + (limit - value[:, 2 + k]) / gain[:, k, end]
            for k in range(value.shape[1] - 2)
            for limit in (-step, step)
        ]
    return np.nan_to_num(np.stack(found, axis=1), nan=0.0, posinf=0.0, neginf=0.0)


def _both(ends: list[tuple[Floats, Floats]], r: Floats) -> Floats:
    """Probability that one step, or two of correlation r, are within limits (low, high) in standard uncertainties."""
    one = [normal_below(high) - normal_below(low) for low, high in ends]
    if len(one) == 1:
        return np.asarray(one[0])
    found, term, order = one[0] * one[1], r, 1
    # tetrachoric series: sum of r^k / k! times the (k-1)-th derivatives of both densities over their limits
    for a, b in zip(*(_derivatives(low, high) for low, high in ends), strict=True):
        found = found + term * a * b
        order += 1
        term = term * r / order
    return np.asarray(np.clip(found, 0.0, 1.0))


def _derivatives(low: Floats, high: Floats) -> list[Floats]:
    """Hermite polynomials times the normal density, at the upper limit less those at the lower: the first four."""
    found: list[list[Floats]] = []
    for z in (low, high):
        density = np.exp(-z * z / 2) / np.sqrt(2 * np.pi)
        found.append([density, z * density, (z * z - 1) * density, z * (z * z - 3) * density])
    return [above - under for under, above in zip(*found, strict=True)]
