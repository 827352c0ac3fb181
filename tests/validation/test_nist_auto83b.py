"""
NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.3: two-sample t test on AUTO83B.DAT.

Miles per gallon of 249 and
79 cars. The handbook's summary figures are from memory; scipy's own t test ties them together below.

Printed values; tolerance half a unit of the last digit.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtri
from scipy.stats import ttest_ind, ttest_ind_from_stats

from alignment.change.motion import compare_trains
from alignment.change.strings import Stayed
from alignment.train.train import fit_train
from tests.tools.machines import machine, readings

N1, MEAN1, SD1 = 249, 20.14458, 6.414700
N2, MEAN2, SD2 = 79, 30.48101, 6.107710
POOLED, T = 6.342600, -12.62059


def sample(n: int, mean: float, sd: float) -> np.ndarray:
    """Numbers with exactly this mean and standard deviation."""
    z = ndtri((np.arange(n) + 0.5) / n)
    return mean + sd * (z - z.mean()) / z.std(ddof=1)


def test_the_figures_hang_together():
    """Scipy on the summary figures, and on samples that have them, gives the handbook's T."""
    by_summary = ttest_ind_from_stats(MEAN1, SD1, N1, MEAN2, SD2, N2)
    by_sample = ttest_ind(sample(N1, MEAN1, SD1), sample(N2, MEAN2, SD2))
    assert by_summary.statistic == pytest.approx(T, abs=0.5e-5)
    assert by_sample.statistic == pytest.approx(T, abs=0.5e-5)
    assert by_sample.df == 326


def test_change_of_one_section():
    """
    One section read 249 and 79 times under a string that stayed up: its change over its u is T.

    Every number is read at both ends with sqrt(2) times the pooled standard deviation as its u, so that the offset has
    the variance of the mean; the tape has no zero error.
    """
    layout = machine(
        [{"name": "a", "row": "a", "start": "0", "length": "100"}], tape="mark = '1'\ntilt = 0\nzero = '0'"
    )

    def survey(values):
        u = POOLED * np.sqrt(2)
        rows = [("a", end, f"{value + 100:.9f}", f"{u:.9f}") for value in values for end in ("entry", "exit")]
        return fit_train(layout, readings(layout, rows, header="section,point,reading,u"))

    one, two = survey(sample(N1, MEAN1, SD1)), survey(sample(N2, MEAN2, SD2))
    motion = compare_trains(two, one, stayed=Stayed.told)
    u = np.sqrt(motion.covariance[0, 0, 0])
    assert motion.change[0, 0] / u == pytest.approx(T, abs=0.5e-5)
    assert motion.statistic[0] == pytest.approx(T**2, abs=2 * 12.7 * 0.5e-5)
    assert motion.moved.tolist() == [0]
