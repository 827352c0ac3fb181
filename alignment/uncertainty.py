"""
What a reading is worth, and the one rule by which anything is judged in or out of tolerance.

Everything that has a value, a standard uncertainty and a tolerance is judged here, so that sections, joints,
panels and settings are all judged alike.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from alignment.quantiles import normal_below, phi

__all__ = [
    "COVERAGE",
    "SAME",
    "Judged",
    "Verdict",
    "conformance_probability",
    "mean_u",
    "reading_u",
    "repeats_apart",
    "rounding_kept",
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
_CELLS: Final = 24
"""Steps in which places between two marks, and tilts, are taken."""

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
        return _RANK[self]

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


_RANK: Final = {found: rank for rank, found in enumerate(Verdict)}


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
    # repeats of a long survey are of few different values
    different, places = np.unique(np.asarray(stir, dtype=np.float64), return_inverse=True)
    turns = _HARMONICS * math.pi
    amplitude = np.exp(-2 * (turns * different[:, None] / mark) ** 2) / turns
    kept = mark * np.sqrt(np.minimum(np.sum(amplitude**2, axis=-1) / 2, 1 / 12))
    return np.asarray(kept[places].reshape(np.shape(stir)))


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


@lru_cache(maxsize=512)
def repeats_apart(reading: float, count: int, probability: float, *, mark: float, set_u: float, tilt: float) -> float:
    """
    How far apart repeats of one point are at the most, with this probability: a whole number of marks.

    Repeats are rounded to marks, so that their range is too, and no continuous distribution says how often it is one
    mark or two. Worked out for a point that lies anywhere between two marks, a normal hand, and a tilt that is uniform.

    Parameters
    ----------
    reading : float
        Distance from face to string. [mm]
    count : int
        Number of repeats, at least 2.
    probability : float
        With which they are no farther apart than this.
    mark, set_u, tilt : float
        As for `reading_u`.

    Returns
    -------
    float
        [mm]
    """
    hand = max(set_u / mark, 1e-6)
    middles = (np.arange(_CELLS) + 0.5) / _CELLS
    # a tilted tape reads long; in marks
    long = reading * np.square(math.radians(tilt) * middles) / 2 / mark
    reach = math.ceil(8 * hand + float(long.max())) + 1
    edges = np.arange(-reach, reach + 1) + 0.5
    true = (middles - 0.5)[:, None, None] + long[None, :, None]
    below = normal_below((edges - true) / hand).mean(axis=1)
    for apart in range(2 * reach):
        # all repeats on some mark and the next few, the lowest of them met
        within = below[:, apart + 1 :] - below[:, : -apart - 1]
        inner = below[:, apart + 1 :] - below[:, 1 : below.shape[1] - apart]
        if float(np.sum(within**count - inner**count, axis=1).mean()) >= probability:
            return apart * mark
    return 2 * reach * mark


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
    return phi((upper - value) / u) - phi((lower - value) / u)


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

    # asked for again and again, by every table and sentence

    @cached_property
    def verdict(self) -> Verdict:
        """Within tolerance or out, sure or not."""
        return verdict(self.value, self.u, self.tolerance)

    @cached_property
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
