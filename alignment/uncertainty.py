"""
What a reading is worth, and the one rule by which anything is judged in or out of tolerance.

Everything that has a value, a standard uncertainty and a tolerance is judged here, so that sections, joints,
panels and settings are all judged alike.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = [
    "COVERAGE",
    "SAME",
    "Judged",
    "Verdict",
    "chi_square_point",
    "conformance_probability",
    "f_point",
    "mean_u",
    "noncentrality",
    "normal_below",
    "normal_point",
    "range_point",
    "reading_u",
    "rounding_kept",
    "student_point",
    "tilt_mean",
    "verdict",
    "worst",
]

COVERAGE: Final = 2.0
"""Coverage factor k of every expanded uncertainty U = k u."""
SAME: Final = 1e-6
"""Lengths closer than this are the same [mm]: a nanometre, far above rounding in float64, far below any tape."""

UNKNOWN_BELOW: Final = 0.5
"""With a smaller probability of being within, a best estimate within tolerance says nothing."""
_HARMONICS: Final = np.arange(1.0, 100.0)

Floats = NDArray[np.float64]


class Verdict(enum.StrEnum):
    """
    Within tolerance or out by the best estimate; a question mark where the tape cannot prove it. Worst last.

    A bare question mark: the best estimate is within, yet more likely out than in, or nothing was measured.
    """

    ok = "ok"
    ok_unsure = "ok?"
    unknown = "?"
    out_unsure = "out?"
    out = "out"

    @property
    def rank(self) -> int:
        """0 for the best verdict to 4 for the worst."""
        return list(Verdict).index(self)

    @property
    def inside(self) -> bool:
        """Whether the best estimate is within tolerance, or nothing says that it is not."""
        return self in (Verdict.ok, Verdict.ok_unsure, Verdict.unknown)

    @property
    def accepted(self) -> bool:
        """Whether it is more likely in than out."""
        return self in (Verdict.ok, Verdict.ok_unsure)

    @property
    def sure(self) -> bool:
        """Whether the tape proves it."""
        return self in (Verdict.ok, Verdict.out)

    @property
    def printed(self) -> str:
        """As people read it: OK, OK?, ?, OUT? or OUT."""
        return self.value.upper()


def reading_u(reading: ArrayLike, *, mark: float, set_u: float, tilt: float) -> Floats:
    """
    Independent standard uncertainty of tape readings, each read once.

    What all readings of a survey share is not in it: the tape's zero, and the mean of the tilt, `tilt_mean`.

    Parameters
    ----------
    reading : array
        Distance from face to string. [mm]
    mark : float
        Smallest mark read: a rectangular distribution of that full width [1]_. [mm]
    set_u : float
        Standard uncertainty of placing the tape and sighting the string. [mm]
    tilt : float
        The tape is square to the string to within plus or minus this. [degrees]

    Returns
    -------
    array
        Standard uncertainty of each reading. [mm]

    Notes
    -----
    A tape tilted by theta reads long by r theta^2 / 2. Over a uniform theta of half-width t that has the mean
    r t^2 / 6 and the standard deviation r t^2 / sqrt(45).

    References
    ----------
    .. [1] JCGM 100:2008 (GUM), 4.3.7 and F.2.2.1.
    """
    return np.sqrt(mark**2 / 12 + set_u**2 + _tilt_scatter(reading, tilt) ** 2)


def tilt_mean(reading: ArrayLike, tilt: float) -> Floats:
    """
    By how much tilting makes readings too long on the average, ``r tilt^2 / 6``.

    It is the same for every reading of a survey, is not taken off, and does not shrink with repeats: a standard
    uncertainty beside the tape's zero. Reading in mm, tilt in degrees. [mm]
    """
    return np.asarray(np.asarray(reading, dtype=np.float64) * math.radians(tilt) ** 2 / 6)


def _tilt_scatter(reading: ArrayLike, tilt: float) -> Floats:
    return np.asarray(np.asarray(reading, dtype=np.float64) * math.radians(tilt) ** 2 / math.sqrt(45))


def rounding_kept(stir: ArrayLike, mark: float) -> Floats:
    """
    What of the rounding to marks repeats of one point share: a standard uncertainty that their mean keeps.

    Repeats meet the same mark again. For a scatter s of the hand over marks g the mean rounding error is a sawtooth
    of the true place whose k-th harmonic has the amplitude ``g / (pi k) exp(-2 pi^2 k^2 s^2 / g^2)``. Without scatter
    all of it stays, ``g / sqrt(12)``.

    Parameters
    ----------
    stir : array
        Standard deviation of what differs from repeat to repeat: hand and tilt. [mm]
    mark : float
        [mm]

    Returns
    -------
    array
        [mm]

    References
    ----------
    .. [1] B. Widrow and I. Kollar, Quantization Noise, 2008, on dithering (from memory).
    """
    turns = _HARMONICS * math.pi
    share = np.asarray(stir, dtype=np.float64)[..., None] / mark
    amplitude = np.exp(-2 * (turns * share) ** 2) / turns
    return np.asarray(mark * np.sqrt(np.minimum(np.sum(amplitude**2, axis=-1) / 2, 1 / 12)))


def mean_u(reading: ArrayLike, count: ArrayLike, *, mark: float, set_u: float, tilt: float) -> Floats:
    """
    Standard uncertainty of the mean of ``count`` repeats at one point: what `budget` promises and the fit takes.

    ``sqrt((u^2 - kept^2) / count + kept^2)`` with u that of one reading, `reading_u`, and kept what of the rounding
    stays in the mean, `rounding_kept`. What all readings of a survey share is not in it.

    Parameters
    ----------
    reading : array
        Distance from face to string. [mm]
    count : array of int
        How often the point was read.
    mark, set_u, tilt : float
        As for `reading_u`.

    Returns
    -------
    array
        [mm]
    """
    one = reading_u(reading, mark=mark, set_u=set_u, tilt=tilt)
    kept = rounding_kept(np.hypot(set_u, _tilt_scatter(reading, tilt)), mark)
    return np.asarray(np.sqrt((one**2 - kept**2) / np.asarray(count) + kept**2))


def conformance_probability(value: float, u: float, *, lower: float = -math.inf, upper: float = math.inf) -> float:
    """
    Probability that a quantity lies inside a tolerance interval, given a normal distribution of it.

    Parameters
    ----------
    value, u : float
        Best estimate and its standard uncertainty, in the unit of the limits.
    lower, upper : float
        Limits of the tolerance interval.

    Returns
    -------
    float
        Between 0 and 1; with ``u`` zero, 1 inside and 0 outside.

    References
    ----------
    .. [1] JCGM 106:2012, clause 7.2 to 7.4.
    """
    if u <= 0:
        return float(lower - SAME <= value <= upper + SAME)
    # the half of the error function that keeps its digits in the far tail
    return _phi((upper - value) / u) - _phi((lower - value) / u)


def _phi(z: float) -> float:
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
    over, under = np.zeros_like(size), np.zeros_like(size)
    for factor in _OVER:
        over = over * size + factor
    for factor in _UNDER:
        under = under * size + factor
    share = over / under
    far = size > 7.07106781186547
    if far.any():
        tail = np.maximum(size, 1.0)
        tail = 1 / (2.506628274631 * (tail + 1 / (tail + 2 / (tail + 3 / (tail + 4 / (tail + 0.65))))))
        share = np.where(far, tail, share)
    below = np.exp(-size * size / 2) * share
    return np.where(at > 0, 1 - below, below)


def verdict(value: float, u: float, tolerance: float) -> Verdict:
    """
    Judge a deviation against a symmetric tolerance.

    Parameters
    ----------
    value, u, tolerance : float
        Deviation, its standard uncertainty, and the largest magnitude allowed. [mm]

    Returns
    -------
    Verdict
        ``ok`` where the magnitude is within the tolerance, ``out`` beyond it; unsure where it lies within the
        guard band ``k u`` of the limit; ``unknown`` where it is within, and yet more likely out than in.

    References
    ----------
    .. [1] JCGM 106:2012, clause 8.3 (guard bands); ISO 14253-1 (decision rule).
    """
    beyond = abs(value) - tolerance
    sure = abs(beyond) >= COVERAGE * u - SAME
    if beyond <= SAME:
        if sure:
            return Verdict.ok
        # the same allowance for rounding as above: what reads right at its limit is not below one half by noise
        p_in = conformance_probability(abs(value) - SAME, u, lower=-tolerance, upper=tolerance)
        return Verdict.unknown if p_in < UNKNOWN_BELOW else Verdict.ok_unsure
    return Verdict.out if sure else Verdict.out_unsure


@dataclass(frozen=True, kw_only=True)
class Judged:
    """A deviation from what is wanted, judged against its tolerance. [mm]"""

    value: float
    u: float
    tolerance: float

    @property
    def expanded(self) -> float:
        """Expanded uncertainty U = k u. [mm]"""
        return COVERAGE * self.u

    @property
    def verdict(self) -> Verdict:
        """Within tolerance or out, sure or not."""
        return verdict(self.value, self.u, self.tolerance)

    @property
    def p_in(self) -> float:
        """Probability that the deviation is within its tolerance."""
        return conformance_probability(self.value, self.u, lower=-self.tolerance, upper=self.tolerance)

    @property
    def miss(self) -> float:
        """By how much the best estimate is beyond the tolerance; 0 where it is within. [mm]"""
        return max(abs(self.value) - self.tolerance, 0.0)


def worst(found: Iterable[Verdict]) -> Verdict:
    """Worst of several verdicts, in the order out, out?, ?, ok?, ok; ``ok`` where there is none."""
    return max(found, key=lambda v: v.rank, default=Verdict.ok)


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
    if np.ndim(probability) == 0 and LEAST_TAIL < float(probability) < 1 - LEAST_TAIL:  # type: ignore[arg-type]
        different, places = np.unique(np.asarray(dof, dtype=np.float64), return_inverse=True)
        if (
            len(different) <= FEW
            and (different == np.round(different)).all()
            and 1 <= different.min() <= different.max() <= MOST_DOF
        ):
            found = np.array([_chi_square(int(one), float(probability)) for one in different])  # type: ignore[arg-type]
            return found[places].reshape(np.shape(dof))
    from scipy.special import chdtri

    return chdtri(np.asarray(dof, dtype=np.float64), 1 - np.asarray(probability))


def normal_point(probability: float) -> float:
    """Value that a standard normal quantity stays below with this probability."""
    if not 0 < probability < 1:
        return math.copysign(math.inf, probability - 0.5)
    return _where(_phi, probability, 40.0)


def student_point(probability: float, dof: float) -> float:
    """
    Value that Student's t with ``dof`` degrees of freedom stays below with this probability.

    Notes
    -----
    With t = sqrt(dof) tan(a) the density of a is proportional to cos(a) to the power dof - 1, integrated numerically.
    """
    if 1 <= dof <= MOST_DOF and LEAST_TAIL < probability < 1 - LEAST_TAIL:
        return _where(lambda t: _student_below(t, dof), probability, 1e6)
    from scipy.special import stdtrit

    return float(stdtrit(dof, probability))


MOST_DOF: Final = 400
LEAST_TAIL: Final = 1e-8


FEW: Final = 20


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

    return _where(below, probability, 4000.0)


@lru_cache(maxsize=1)
def _nodes() -> tuple[Floats, Floats]:
    x, weight = np.polynomial.legendre.leggauss(60)
    return (x + 1) / 2, weight / 2


def _student_below(t: float, dof: float) -> float:
    # the density in the angle whose tangent is t / sqrt(dof) is a power of its cosine
    angle = math.atan2(t, math.sqrt(dof))
    x, weight = _nodes()
    area = angle * float(np.sum(weight * np.cos(angle * x) ** (dof - 1)))
    return 0.5 + area * math.exp(math.lgamma((dof + 1) / 2) - math.lgamma(dof / 2)) / math.sqrt(math.pi)


def _where(below: Callable[[float], float], probability: float, reach: float) -> float:
    """Where a rising function of at most this reach meets a probability, by halving."""
    low, high = -reach, reach
    for _ in range(100):
        middle = (low + high) / 2
        low, high = (middle, high) if below(middle) < probability else (low, middle)
    return (low + high) / 2


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


@lru_cache
def range_point(count: int, probability: float = 0.95) -> float:
    """
    Value that the range of ``count`` standard normal readings stays below with this probability.

    The range of n readings is below r with probability n times the integral over z of phi(z) (Phi(z + r) - Phi(z))
    to the power n - 1 (the studentized range with known standard deviation).

    Parameters
    ----------
    count : int
        Number of readings, at least 2.
    probability : float
        Between 0 and 1.

    Returns
    -------
    float
        The range over the standard uncertainty of one reading.
    """
    z = np.linspace(-9, 9, 2001)
    density = np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi) * (z[1] - z[0])

    def below(r: float) -> float:
        return float(count * np.sum(density * (normal_below(z + r) - normal_below(z)) ** (count - 1)))

    return _where(lambda r: below(r) if r > 0 else 0.0, probability, 20.0)
