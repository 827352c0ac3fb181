"""
C. D. Ghilani and P. R. Wolf, Adjustment Computations, 4th ed. (2006), section 12.6, example 12.1: a levelling network.

Six differences in height, three unknown heights, A fixed at 437.596 m. Heights as printed in the book. Its reference
standard deviation of 0.6575 is a known misprint; that, the weighted sum of squares, the standard deviations and the
residuals are those of F. Krumm, Geodetic Network Adjustment Examples (2020), example 2.1. Observations, and the
redundancy numbers and normalised residuals recomputed by independent arithmetic, are in data/ghilani_12_1_levelnet.csv.
Tolerance half a unit of the last printed digit.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from alignment.fitting.network import Network, fit_network

FIXED = {"A": 437.596}
HEIGHTS = {"B": 448.1087, "C": 453.4685, "D": 444.9436}
FILE = Path(__file__).parent / "data" / "ghilani_12_1_levelnet.csv"
ROWS = list(csv.DictReader(line for line in FILE.read_text(encoding="utf-8").splitlines() if not line.startswith("#")))


def column(name: str) -> np.ndarray:
    return np.array([float(row[name]) for row in ROWS])


SIGMA = column("sigma_m")


@pytest.fixture(scope="module")
def network() -> Network:
    """Each difference touches two heights; a fixed one is taken to the other side and leaves a coefficient of zero."""
    unknowns = list(HEIGHTS)
    index, coefficient, y = [], [], []
    for row, dh in zip(ROWS, column("dH_m"), strict=True):
        ends = [(row["from"], -1.0), (row["to"], 1.0)]
        y.append(dh - sum(sign * FIXED[name] for name, sign in ends if name in FIXED))
        free = [(unknowns.index(name), sign) for name, sign in ends if name in HEIGHTS]
        free += [(free[0][0], 0.0)] * (2 - len(free))
        index.append([at for at, _ in free])
        coefficient.append([sign for _, sign in free])
    return fit_network(index, coefficient, y, SIGMA, len(unknowns))


def test_heights(network):
    assert network.value == pytest.approx(list(HEIGHTS.values()), abs=0.5e-4)


def test_residuals(network):
    """Published as adjusted less observed, in millimetres."""
    published = {"AB": 3.71, "BC": -0.24, "CD": -1.86, "DA": 0.39, "BD": 1.89, "AC": -8.53}
    order = [row["from"] + row["to"] for row in ROWS]
    # 0.395 stands as 0.39: half a unit and what rounding to even leaves
    assert -1000 * network.residual == pytest.approx([published[name] for name in order], abs=0.51e-2)
    assert 1000 * network.residual == pytest.approx(column("resid_obs_minus_adj_mm(computed)"), abs=0.51e-3)


def test_standard_deviations(network):
    """The book scales by the reference standard deviation; ours are a priori."""
    chi2 = float(np.sum((network.residual / SIGMA) ** 2))
    assert chi2 == pytest.approx(1.27212, abs=0.5e-5)
    s0 = np.sqrt(chi2 / (len(ROWS) - len(HEIGHTS)))
    assert s0 == pytest.approx(0.6512, abs=0.5e-4)
    assert 1000 * s0 * np.sqrt(network.band[0]) == pytest.approx([2.30, 2.64, 1.76], abs=0.5e-2)


def test_redundancy_and_normalised_residuals(network):
    assert network.redundancy == pytest.approx(column("redundancy_r(computed)"), abs=0.51e-5)
    assert network.redundancy.sum() == pytest.approx(len(ROWS) - len(HEIGHTS), abs=1e-9)
    w = network.residual / (SIGMA * np.sqrt(network.redundancy))
    assert w == pytest.approx(column("w=v/sigma_v(computed,a-priori)"), abs=0.51e-4)
