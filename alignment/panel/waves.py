"""
Waves in a sheet: how steep they are, and how much longer that makes the wavy zone.

A wave has a height H from flat to crest and a pitch L from crest to crest.
"""

from __future__ import annotations

import math

__all__ = ["i_units", "i_units_u", "steepness"]


def steepness(height: float, pitch: float) -> float:
    """Height over pitch, as a plain ratio."""
    return height / pitch


def i_units(height: float, pitch: float) -> float:
    """
    Flatness in I-units: by how many parts in 100,000 the wavy zone is longer than the flat.

    ``I = (pi H / (2 L))^2 * 1e5``: the sine of that height and pitch is longer than its chord by that much, to the
    second order.

    References
    ----------
    .. [1] ASTM A1030/A1030M, practice for measuring flatness of steel sheet; formula as reproduced in secondary
       texts, the standard's own table not seen.

    Examples
    --------
    >>> round(i_units(0.125, 18), 3)
    11.899
    """
    return (math.pi * height / (2 * pitch)) ** 2 * 1e5


def i_units_u(height: float, pitch: float, *, height_u: float, pitch_u: float) -> float:
    """Standard uncertainty of the I-units, to the second order so that a height of zero has one too (GUM 5.1.2)."""
    scale = (math.pi / (2 * pitch)) ** 2 * 1e5
    return math.hypot(
        scale * math.hypot(2 * height * height_u, math.sqrt(2) * height_u**2),
        2 * i_units(height, pitch) * pitch_u / pitch,
    )
