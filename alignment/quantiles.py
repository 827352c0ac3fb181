"""
Points and probabilities of the usual distributions, without the third of a second that scipy takes to load.

Normal, Student's t, chi-square and the non-centrality of a test, worked out here; Fisher's F
and what is out of their reach come from scipy.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache
from statistics import NormalDist
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "chi_square_point",
    "f_point",
    "gauss_nodes",
    "noncentrality",
    "normal_below",
    "normal_point",
    "phi",
    "student_point",
]

Floats = NDArray[np.float64]

MOST_DOF: Final = 400
LEAST_TAIL: Final = 1e-8
FEW: Final = 20
"""Different degrees of freedom that are worked out one by one."""


def phi(z: float) -> float:
    """Probability that a standard normal quantity stays below `z`, for one number."""
    return 0.5 * math.erfc(-z / math.sqrt(2))


_OVER: Final = (
    3.52624965998911e-02, 0.700383064443688, 6.37396220353165, 33.912866078383, 112.079291497871, 221.213596169931,
    220.206867912376,
)  # fmt: skip
_UNDER: Final = (
    8.83883476483184e-02, 1.75566716318264, 16.064177579207, 86.7807322029461, 296.564248779674, 637.333633378831,
    793.826512519948, 440.413735824752,
)  # fmt: skip


def normal_below(z: ArrayLike) -> Floats:
    """
    Probability that a standard normal quantity stays below `z`, for arrays, without scipy's start-up time.

    Parameters
    ----------
    z : array

    Returns
    -------
    array
        To 1e-14.

    References
    ----------
    .. [1] J. F. Hart et al., Computer Approximations, 1968, algorithm 5666, as given by G. West, Better
       approximations to cumulative normal functions, Wilmott Magazine, 2005.
    """
    at = np.asarray(z, dtype=np.float64)
    size = np.minimum(np.abs(at), 38.0)
    share = _polynomial(_OVER, size)
    share /= _polynomial(_UNDER, size)
    far = size > 7.07106781186547
    if far.any():
        tail = size[far]
        share[far] = 1 / (2.506628274631 * (tail + 1 / (tail + 2 / (tail + 3 / (tail + 4 / (tail + 0.65))))))
    share *= np.exp(-size * size / 2)
    return np.where(at > 0, 1 - share, share)


def _polynomial(factors: tuple[float, ...], x: Floats) -> Floats:
    """Its value, factors of the highest power first; in place, since memory is what takes time."""
    found = np.asarray(factors[0] * x)
    for factor in factors[1:-1]:
        found += factor
        found *= x
    found += factors[-1]
    return found


def chi_square_point(dof: ArrayLike, probability: ArrayLike) -> Any:
    """
    Value that chi-square with ``dof`` degrees of freedom stays below with this probability.

    References
    ----------
    .. [1] Abramowitz and Stegun, Handbook of Mathematical Functions, 26.4.4 and 26.4.5, for whole degrees of freedom.
    """
    if np.size(dof) == 0:
        return np.zeros(np.shape(dof))
    # scipy takes a third of a second to load: a few points are found without
    pairs = np.asarray(dof, dtype=np.float64) + 1j * np.asarray(probability, dtype=np.float64)
    different, places = np.unique(pairs, return_inverse=True)
    wanted, below = different.real, different.imag
    whole = (wanted == np.round(wanted)).all() and 1 <= wanted.min() <= wanted.max() <= MOST_DOF
    if len(different) <= FEW and whole and LEAST_TAIL < below.min() <= below.max() < 1 - LEAST_TAIL:
        found = np.array([_chi_square(int(one), float(part)) for one, part in zip(wanted, below, strict=True)])
        return found[places].reshape(pairs.shape)
    from scipy.special import chdtri

    return chdtri(np.asarray(dof, dtype=np.float64), 1 - np.asarray(probability))


@lru_cache(maxsize=4096)
def normal_point(probability: float) -> float:
    """Value that a standard normal quantity stays below with this probability."""
    if not 0 < probability < 1:
        return math.copysign(math.inf, probability - 0.5)
    return NormalDist().inv_cdf(probability)


@lru_cache(maxsize=4096)
def student_point(probability: float, dof: float) -> float:
    """
    Value that Student's t with ``dof`` degrees of freedom stays below with this probability.

    Notes
    -----
    With t = sqrt(dof) tan(a) the density of a is proportional to cos(a) to the power dof - 1, integrated numerically.
    """
    if 1 <= dof <= MOST_DOF and LEAST_TAIL < probability < 1 - LEAST_TAIL:
        found = _where(lambda t: _student_below(t, dof), max(probability, 1 - probability))
        return math.copysign(found, probability - 0.5)
    from scipy.special import stdtrit

    return float(stdtrit(dof, probability))


@lru_cache(maxsize=256)
def _chi_square(dof: int, probability: float) -> float:
    def below(x: float) -> float:
        if x <= 0:
            return 0.0
        half, root = x / 2, math.sqrt(x)
        if dof % 2:
            above, term = math.erfc(root / math.sqrt(2)), math.exp(-half) * root * math.sqrt(2 / math.pi)
            for k in range(1, dof - 1, 2):
                above, term = above + term, term * x / (k + 2)
        else:
            above, term = 0.0, math.exp(-half)
            for k in range(1, dof // 2 + 1):
                above, term = above + term, term * half / k
        return 1 - above

    return _where(below, probability)


@lru_cache
def gauss_nodes(count: int) -> tuple[Floats, Floats]:
    """
    Nodes and weights of Gauss and Legendre from -1 to 1, (count,), without the start-up time of numpy.polynomial.

    References
    ----------
    .. [1] G. H. Golub, J. H. Welsch, Calculation of Gauss quadrature rules, Mathematics of Computation 23, 1969.
    """
    k = np.arange(1, count)
    beside = np.diag(k / np.sqrt(4.0 * k**2 - 1), 1)
    x, vectors = np.linalg.eigh(beside + beside.T)
    return x, 2 * vectors[0] ** 2


def _student_below(t: float, dof: float) -> float:
    # the density in the angle whose tangent is t / sqrt(dof) is a power of its cosine
    angle = math.atan2(t, math.sqrt(dof))
    x, weight = gauss_nodes(60)
    x, weight = (x + 1) / 2, weight / 2
    if dof < 2:
        # what is left to the right angle, where the power has no slope: places crowded there make up for it
        rest = math.atan2(math.sqrt(dof), t)
        area = float(np.sum(weight * 8 * x**7 * rest * np.sin(rest * x**8) ** (dof - 1)))
        return 1 - area * math.exp(math.lgamma((dof + 1) / 2) - math.lgamma(dof / 2)) / math.sqrt(math.pi)
    area = angle * float(np.sum(weight * np.cos(angle * x) ** (dof - 1)))
    return 0.5 + area * math.exp(math.lgamma((dof + 1) / 2) - math.lgamma(dof / 2)) / math.sqrt(math.pi)


def _where(below: Callable[[float], float], probability: float) -> float:
    """Where a rising function of what is not negative meets a probability, by false position as of Illinois."""
    low, high = 0.0, 1.0
    while below(high) < probability:
        low, high = high, 2 * high
    under, over = below(low) - probability, below(high) - probability
    kept = 0
    while high - low > 1e-14 * high:
        middle = low - under * (high - low) / (over - under)
        if not low < middle < high:
            middle = (low + high) / 2
            if not low < middle < high:
                break
        at = below(middle) - probability
        # the end that stays a second time counts half, so that both come in
        if at < 0:
            low, under, over = middle, at, over / (2 if kept < 0 else 1)
            kept = -1
        else:
            high, over, under = middle, at, under / (2 if kept > 0 else 1)
            kept = 1
        if at == 0:
            return middle
    return high


def f_point(probability: float, between: float, within: float) -> float:
    """Value that Fisher's F with these degrees of freedom stays below with this probability."""
    from scipy.special import fdtri

    return float(fdtri(between, within, probability))


def noncentrality(error: float = 0.001, power: float = 0.8) -> float:
    """
    Slip over standard uncertainty that a two-sided test of this error probability finds with this power.

    References
    ----------
    .. [1] W. Baarda, A testing procedure for use in geodetic networks, 1968: 4.13 for 0.1 % and 80 %.
    """
    return normal_point(1 - error / 2) + normal_point(power)
