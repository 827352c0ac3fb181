"""
The filter against statsmodels: the local level of the Nile with its published variances.

The annual flow of the Nile at Aswan, 1871 to 1970, as statsmodels ships it. J. Durbin and S. J. Koopman, Time Series
Analysis by State Space Methods, 2012, 2.2.5: variance of the observations 15099, of the level 1469.1.
"""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from alignment.fitting.filter import Known

OBSERVED, LEVEL = 15099.0, 1469.1


@pytest.fixture(scope="module")
def flow():
    return np.asarray(sm.datasets.nile.load().data["volume"], dtype=np.float64)


def test_local_level_of_the_nile(flow):
    model = sm.tsa.UnobservedComponents(flow, "llevel")
    model.ssm.initialize_diffuse()
    model.loglikelihood_burn = 0
    theirs = model.filter([OBSERVED, LEVEL])
    known, level, variance = Known.nothing(1), [], []
    for volume in flow:
        if level:
            known = known.changed([[1.0]], [0.0], [[LEVEL]])
        known = known.observed([1.0], float(volume), OBSERVED)
        level.append(known.mean[0])
        variance.append(known.covariance[0, 0])
    assert level == pytest.approx(theirs.filtered_state[0], rel=1e-9)
    assert variance == pytest.approx(theirs.filtered_state_cov[0, 0], rel=1e-9)


def test_the_level_settles_to_the_published_variance(flow):
    """
    The variance of the prediction tends to the root of P = P V / (P + V) + W.

    Durbin and Koopman, 2.11: with q = W / V it is V (q + sqrt(q^2 + 4 q)) / 2.
    """
    known = Known.nothing(1)
    for volume in flow:
        known = known.observed([1.0], float(volume), OBSERVED).changed([[1.0]], [0.0], [[LEVEL]])
    q = LEVEL / OBSERVED
    assert known.covariance[0, 0] == pytest.approx(OBSERVED * (q + np.sqrt(q**2 + 4 * q)) / 2, rel=1e-9)
