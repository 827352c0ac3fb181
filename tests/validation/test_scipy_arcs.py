"""
Arcs against two general-purpose fitters: ``scipy.odr`` and ``scipy.optimize.curve_fit``, on noisy arcs.

Both fit the circle in a form of their own, written here: centre and radius, not slope and curvature.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from alignment.fitting import nonlinear
from alignment.fitting.arcs import fit_arc

U = 0.3


def circle(x, curvature, at, deepest):
    """Lower half of a circle: least y and the place where it is; the centre lies above."""
    radius = 1 / curvature
    return deepest + radius - np.sqrt(radius**2 - (x - at) ** 2)


def noisy(seed: int, curvature: float, spread: float = U) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(0, 3000, 9))
    return x, circle(x, curvature, 1400.0, 2.0) + rng.normal(0, spread, len(x))


def lost(arc) -> float:
    """Chi-square of an arc."""
    return float(np.sum(((arc.y - arc.fitted) / U) ** 2))


cases = pytest.mark.parametrize(
    ("seed", "curvature", "spread"),
    [(1, 1e-5, U), (2, 4e-5, U), (3, 2e-4, U), (4, 6e-5, 4 * U), (5, 4e-5, 4 * U), (6, 2e-4, 4 * U)],
)


@cases
def test_curve_fit(seed, curvature, spread):
    """Readings that scatter beyond their u: its own scaling by the residuals, which is the Birge ratio's square."""
    x, y = noisy(seed, curvature, spread)
    scatters = spread > U
    best, covariance = optimize.curve_fit(
        circle, x, y, p0=(curvature, 1400, 2), sigma=np.full(len(x), U), absolute_sigma=not scatters, xtol=1e-14,
        ftol=1e-14, gtol=1e-14, x_scale=(1e-5, 1000, 1), method="trf",
    )  # fmt: skip
    arc = fit_arc(x, y, np.full(len(x), U))
    assert arc.curvature == pytest.approx(best[0], rel=1e-5)
    assert arc.scattered is scatters
    assert arc.u == pytest.approx(np.sqrt(covariance[0, 0]), rel=1e-3)


@cases
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_odr(seed, curvature, spread):
    """Ordinary least squares of the ODRPACK of SciPy; covariance before its scaling by the residuals."""
    from scipy import odr

    x, y = noisy(seed, curvature, spread)
    model = odr.Model(lambda beta, x: circle(x, beta[0] * 1e-5, beta[1] * 1000, beta[2]))
    fit = odr.ODR(odr.RealData(x, y, sy=U), model, beta0=[curvature * 1e5, 1.4, 2.0], sstol=1e-15, partol=1e-15)
    fit.set_job(fit_type=2)
    out = fit.run()
    arc = fit_arc(x, y, np.full(len(x), U))
    assert arc.curvature == pytest.approx(out.beta[0] * 1e-5, rel=1e-5)
    grown = np.sqrt(out.res_var) if spread > U else 1.0
    assert arc.u == pytest.approx(grown * np.sqrt(out.cov_beta[0, 0]) * 1e-5, rel=1e-3)
    assert lost(arc) == pytest.approx(out.sum_square, rel=1e-6)


def test_gauss_newton_against_least_squares():
    """A decay curve with three unknowns: parameters, covariance and chi-square of scipy.optimize.curve_fit."""
    rng = np.random.default_rng(4)
    t = np.linspace(0, 5, 20)

    def decay(t, a, rate, floor):
        return a * np.exp(-rate * t) + floor

    y = decay(t, 3, 0.8, 0.5) + rng.normal(0, 0.05, len(t))
    u = np.full(len(t), 0.05)
    best, covariance = optimize.curve_fit(decay, t, y, p0=(2, 1, 0), sigma=u, absolute_sigma=True)
    found = nonlinear.fit(lambda p: decay(t, *p), [2.0, 1.0, 0.0], y, u)
    np.testing.assert_allclose(found.unknowns, best, rtol=1e-5)
    np.testing.assert_allclose(found.covariance, covariance, rtol=1e-4)
    np.testing.assert_allclose(found.hat.sum(), 3, rtol=1e-9)
