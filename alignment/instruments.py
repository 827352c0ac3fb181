"""Tapes and rules: what a reading is worth, what is taken where a file does not say, accuracy classes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from alignment.errors import LengthError, quote
from alignment.lengths import INCH, Units

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

__all__ = ["CLASSES", "MARKS", "USUAL_RULE", "USUAL_TAPE", "Tape", "check_mark", "class_zero", "largest_error"]

USUAL_TAPE: Final = {Units.inch: (float(INCH) / 16, float(INCH) / 64), Units.mm: (1.0, 0.4)}
"""Mark, and standard uncertainty of the zero, of a tape where a file tells none, by the file's units. [mm]"""
USUAL_RULE: Final = {Units.inch: float(INCH) / 64, Units.mm: 0.5}
"""Mark of a rule where a file tells none, by the file's units. [mm]"""
MARKS: Final = {Units.inch: tuple(float(INCH) / parts for parts in (16, 32, 64)), Units.mm: (1.0, 0.5)}
"""Marks of common tapes and rules, coarsest first. [mm]"""

CLASSES: Final = {"I": (0.1, 0.1, 0.1), "II": (0.3, 0.2, 0.2), "III": (0.6, 0.4, 0.3)}
"""a [mm], b [mm for each metre], and c for a length that starts at a hook [mm]."""
COARSEST: Final = float(INCH) / 2
"""Largest distance between two marks of a tape that anyone reads (common practice, no source). [mm]"""
FINEST: Final = 0.001
"""Least step of what is read at a string: a micrometre, of a digital indicator (common practice, no source). [mm]"""


@dataclass(frozen=True, kw_only=True)
class Tape:
    """What the tape and the hand that holds it are worth. [mm], tilt in degrees."""

    mark: float
    """Smallest mark read."""
    placing: float | None = None
    """Standard uncertainty of placing the tape and sighting the string; None: a quarter of the mark."""
    tilt: float
    """The tape is square to the string to within this. [degrees]"""
    zero: float
    """Standard uncertainty of the tape's zero, common to all readings of a survey."""
    strong_shy: bool = False
    """Whether every reading is told as on its mark, strong or shy of it: to a quarter of a mark."""
    feeler: float = 0.08
    """Standard uncertainty of a step measured with straightedge and feeler (our judgement, no source)."""

    @property
    def graduation(self) -> float:
        """What a reading is told to: its mark, or a quarter of it. [mm]"""
        return self.mark / 4 if self.strong_shy else self.mark

    @property
    def set_u(self) -> float:
        """Standard uncertainty of placing and sighting (a quarter mark: our judgement, common practice, no source)."""
        return self.mark / 4 if self.placing is None else self.placing

    # numpy is not loaded for a tape that is only described

    def reading_u(self, reading: ArrayLike) -> NDArray[np.float64]:
        """Independent standard uncertainty of readings, each read once; see `uncertainty.reading_u`. [mm]"""
        from alignment.uncertainty import reading_u

        return reading_u(reading, mark=self.graduation, set_u=self.set_u, tilt=self.tilt)

    def mean_u(self, reading: ArrayLike, count: ArrayLike) -> NDArray[np.float64]:
        """Standard uncertainty of the mean of repeats at one point; see `uncertainty.mean_u`. [mm]"""
        from alignment.uncertainty import mean_u

        return mean_u(reading, count, mark=self.graduation, set_u=self.set_u, tilt=self.tilt)

    def repeats_apart(self, reading: float, count: int, probability: float) -> float:
        """How far apart repeats of one point are at the most; see `uncertainty.repeats_apart`. [mm]"""
        from alignment.uncertainty import repeats_apart

        return repeats_apart(reading, count, probability, mark=self.graduation, set_u=self.set_u, tilt=self.tilt)

    def tilt_mean(self, reading: ArrayLike) -> NDArray[np.float64]:
        """Mean of the tilt, common to all readings as the zero is; see `uncertainty.tilt_mean`. [mm]"""
        from alignment.uncertainty import tilt_mean

        return tilt_mean(reading, self.tilt)


def check_mark(mark: float, text: str) -> float:
    """
    Make sure that a smallest mark can be a tape's, and no reading, count or slip of the pen.

    Stops are counted in marks, so that one of nothing would make them without end.

    Parameters
    ----------
    mark : float
        Distance between two marks. [mm]
    text : str
        As it was written, for the message.

    Raises
    ------
    LengthError
        It is more than half an inch, or less than a micrometre.
    """
    if mark < FINEST:
        raise LengthError(f"{quote(text)} is less than {FINEST} mm, as no mark is. Write for example 1/16 in or 1 mm.")
    if mark > COARSEST:
        raise LengthError(f"{quote(text)} is more than 1/2 in, as no tape has. Write for example 1/16 in or 1 mm.")
    return mark


def largest_error(tape_class: str, length: float, *, hook: bool = False) -> float:
    """
    Maximum permissible error of a tape measure.

    Parameters
    ----------
    tape_class : str
        ``I``, ``II`` or ``III``.
    length : float
        Length measured; it counts as the next whole metre. [mm]
    hook : bool
        Whether it starts at the tape's hook or another end face.

    Returns
    -------
    float
        ``a + b L``, and ``c`` besides from a hook. [mm]

    References
    ----------
    .. [1] Directive 2014/32/EU, annex X (MI-008), chapter I.
    """
    a, b, c = CLASSES[tape_class]
    return a + b * max(math.ceil(length / 1000), 1) + c * hook


def class_zero(tape_class: str, length: float) -> float:
    """
    Standard uncertainty of the zero of a tape of known class, read from its hook.

    The permissible error is the half-width of a rectangular distribution (GUM 4.3.7). It is taken as common to all
    readings of a survey: they are taken with one hook over nearly one stretch of tape. [mm]
    """
    return largest_error(tape_class, length, hook=True) / math.sqrt(3)
