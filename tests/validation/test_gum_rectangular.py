"""
Rectangular distributions: JCGM 100:2008 (GUM) 4.3.7 and F.2.2.1, and the Eurachem/CITAC guide (QUAM), appendix E.

Numbers from memory; tolerance half a unit of the last printed digit.
"""

from __future__ import annotations

import numpy as np
import pytest

from alignment.uncertainty import reading_u, tilt_mean


def test_resolution_of_an_indication():
    """GUM F.2.2.1: an indication rounded to d has a standard uncertainty of 0.29 d (0.2887 d)."""
    assert reading_u(600.0, mark=1.0, set_u=0.0, tilt=0.0) == pytest.approx(0.2887, abs=0.5e-4)


def test_half_width():
    """QUAM appendix E: limits of plus and minus 1.5 give 0.87."""
    assert reading_u(600.0, mark=3.0, set_u=0.0, tilt=0.0) == pytest.approx(0.87, abs=0.005)


def test_rounding_simulated():
    """The spread of rounding to the mark, simulated: within four standard errors of the formula."""
    rng = np.random.default_rng(3)
    true = rng.uniform(600, 800, 200_000)
    error = np.round(true / 1.5875) * 1.5875 - true
    expected = float(reading_u(600.0, mark=1.5875, set_u=0.0, tilt=0.0))
    # the square of a rectangular error has variance a^4 (1/5 - 1/9) about its mean a^2 / 3
    four_sigma = 4 * expected**2 * np.sqrt((1 / 5 - 1 / 9) * 9 / len(error))
    assert np.mean(error**2) == pytest.approx(expected**2, abs=four_sigma)


def test_tilt_simulated():
    """Mean and spread of what a tilted tape reads too long, by exact trigonometry: within four standard errors."""
    rng = np.random.default_rng(4)
    theta = np.radians(rng.uniform(-2, 2, 200_000))
    long = 467 / np.cos(theta) - 467
    mean, u = float(tilt_mean(467.0, 2.0)), float(reading_u(467.0, mark=1e-12, set_u=0.0, tilt=2.0))
    # the formulas keep the first term of the cosine's series; the next is smaller by theta^2
    series = 2 * np.radians(2) ** 2
    assert np.mean(long) == pytest.approx(mean, abs=4 * u / np.sqrt(len(long)) + mean * series)
    four_sigma = 4 * np.std((long - mean) ** 2) / np.sqrt(len(long))
    assert np.var(long) == pytest.approx(u**2, abs=four_sigma + u**2 * series)


def test_parts_add_in_quadrature():
    """Mark, placing and tilt are independent: GUM 5.1.2."""
    parts = [
        reading_u(467.0, mark=1.0, set_u=0.0, tilt=0.0),
        reading_u(467.0, mark=0.0, set_u=0.4, tilt=0.0),
        reading_u(467.0, mark=0.0, set_u=0.0, tilt=2.0),
    ]
    together = reading_u(467.0, mark=1.0, set_u=0.4, tilt=2.0)
    assert together == pytest.approx(np.sqrt(sum(float(p) ** 2 for p in parts)), rel=1e-12)
