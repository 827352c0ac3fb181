"""
JCGM 106:2012, the role of measurement uncertainty in conformity assessment: its worked examples.

Numbers from memory; tolerance half a unit of the last printed digit.
"""

from __future__ import annotations

import pytest

from alignment.uncertainty import conformance_probability


def test_lubricant_between_two_limits():
    """Kinematic viscosity 13.6 with u 1.8 between 12.5 and 16.3: conformance probability 0.66 (clause 7.4)."""
    assert conformance_probability(13.6, 1.8, lower=12.5, upper=16.3) == pytest.approx(0.66, abs=0.005)


def test_zener_voltage_below_an_upper_limit():
    """Breakdown voltage -5.47 with u 0.05 below -5.40: conformance probability 0.92 (clause 7.3)."""
    assert conformance_probability(-5.47, 0.05, upper=-5.40) == pytest.approx(0.92, abs=0.005)
