"""Accuracy classes of tapes, as a named choice for the uncertainty of a tape's zero."""

from __future__ import annotations

import math
from typing import Final

__all__ = ["CLASSES", "class_zero", "largest_error"]

CLASSES: Final = {"I": (0.1, 0.1, 0.1), "II": (0.3, 0.2, 0.2), "III": (0.6, 0.4, 0.3)}
"""a [mm], b [mm for each metre], and c for a length that starts at a hook [mm]."""


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
