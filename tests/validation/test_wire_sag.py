"""
Sag of a level stretched line: the parabola ``q S^2 / (8 T)`` and the catenary ``a (cosh(S / 2a) - 1)``, a = H / q.

Worked figures published on an engineering forum (secondary): 0.0007 lb/ft pulled with 30 lb sags 0.0003 ft over 10 ft
and 0.03 ft over 100 ft; a severe case, w 1, L 10, H 5: parabola 2.5, catenary 2.7154031. Longer digits of the catenary
were recomputed with exact arithmetic of our own. Tolerance half a unit of the last digit given. The catenary is asked
again of scipy's integration of its differential equation, y'' = (q / H) sqrt(1 + y'^2).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from alignment.machine.sag import Sag, catenary_sag

FOOT, POUND = 304.8, 4.4482216
WIRE = 0.0007 * POUND / FOOT
"""Weight of the wire. [N/mm]"""


def parabola(span_ft: float) -> Sag:
    return Sag(first=0.0, last=span_ft * FOOT, weight=WIRE, tension=30 * POUND, share_u=0.1)


@pytest.mark.parametrize(
    ("span", "printed", "half_digit", "exact", "catenary"),
    [
        (10, 0.0003, 0.5e-4, 0.0002916666666666667, 0.0002916666622506828),
        (100, 0.03, 0.5e-2, 0.029166666666666664, 0.029166669974450037),
    ],
)
def test_published_wire(span, printed, half_digit, exact, catenary):
    """Ten and a hundred feet: the printed figure, and the digits recomputed."""
    middle = float(parabola(span).at(span * FOOT / 2)) / FOOT
    assert middle == pytest.approx(printed, abs=half_digit)
    assert middle == pytest.approx(exact, rel=1e-12)
    # what is left of the file's catenary at ten feet are digits that cosh - 1 lost
    assert catenary_sag(0.0007, span, 30.0) == pytest.approx(catenary, rel=2e-8)


def test_height_at_a_quarter_of_the_span():
    """0.0072917 ft above the low point at 25 ft from it, as published for the hundred feet."""
    sag = parabola(100).at(np.array([50.0, 25.0, 75.0]) * FOOT) / FOOT
    assert sag[0] - sag[1:] == pytest.approx([0.007291666666666667] * 2, rel=1e-9)


def test_severe_case():
    assert float(Sag(first=0.0, last=10.0, weight=1.0, tension=5.0, share_u=0).at(5.0)) == pytest.approx(2.5)
    # printed as 2.7154031
    assert catenary_sag(1.0, 10.0, 5.0) == pytest.approx(2.7154031740762186, rel=1e-12)


@pytest.mark.parametrize(("weight", "span", "pull"), [(1.0, 10.0, 5.0), (0.0007, 100.0, 30.0), (0.01, 12.0, 80.0)])
def test_catenary_by_integration(weight, span, pull):
    """From the low point to an anchor, by scipy's solver of differential equations."""
    run = solve_ivp(
        lambda _, y: [y[1], weight / pull * np.sqrt(1 + y[1] ** 2)], (0, span / 2), [0, 0], rtol=1e-12, atol=1e-15
    )
    assert catenary_sag(weight, span, pull) == pytest.approx(run.y[0, -1], rel=1e-9)


@pytest.mark.parametrize("share", [1e-4, 1e-3, 1e-2])
def test_how_far_the_parabola_may_be_trusted(share):
    """Sag of up to a hundredth of the span: within a ten thousandth of itself, which is what its docstring says."""
    span, weight = 6000.0, 1e-5
    pull = weight * span / (8 * share)
    sag = Sag(first=0.0, last=span, weight=weight, tension=pull, share_u=0)
    middle = float(sag.at(span / 2))
    assert middle == pytest.approx(share * span)
    assert abs(middle / catenary_sag(weight, span, pull) - 1) < 1.4e-4


@pytest.mark.parametrize(("share", "u"), [(0.25, 0.0), (0.25, 0.1), (1e-3, 0.1)])
def test_what_the_parabola_leaves_out_is_in_u(share, u):
    """A line that hangs as deep as the severe case: scipy's catenary against the parabola, over root 3 (GUM 4.3.7)."""
    span, pull = 10.0, 5.0
    weight = 8 * pull * share / span
    sag = Sag(first=0.0, last=span, weight=weight, tension=pull, share_u=u)
    run = solve_ivp(
        lambda _, y: [y[1], weight / pull * np.sqrt(1 + y[1] ** 2)], (0, span / 2), [0, 0], rtol=1e-12, atol=1e-15
    )
    beyond = run.y[0, -1] / (share * span) - 1
    assert sag.relative_u == pytest.approx(np.hypot(u, beyond / np.sqrt(3)), rel=1e-6)
