"""
Steps of a log against one weighted least squares over all of its readings, by statsmodels.

A step is one observation more, of the difference of two facing ends; what each section is known to be, and each step
given both sections, has to be what the batch fit says of them.
"""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from alignment.machine.survey_text import parse_survey
from alignment.train.work.odds import Odds
from alignment.train.work.standing import stand, targets
from alignment.train.work.steps import tied
from tests.tools.machines import machine

LENGTH, TARGET = 400.0, 467.0


@pytest.fixture(params=range(4))
def job(request):
    """Four sections, three joints, two of them measured, one twice; and the design of the same as one regression."""
    rng = np.random.default_rng(request.param)
    parts = [{"name": f"s{k}", "row": "a", "start": 410.0 * k, "length": LENGTH, "setback": 0.5 * k} for k in range(4)]
    layout = machine(parts, rows={"a": "target = 467"}, joints=[(f"s{k}", f"s{k + 1}") for k in range(3)])
    rows, x, y, u = [], [], [], []
    for k in range(4):
        for place in (0.0, 100.0, 400.0):
            value = TARGET + rng.normal(0.5 * k, 0.5)
            rows.append((f"s{k}", f"{place:g}", f"{value:.3f}"))
            at = np.zeros(8)
            at[2 * k : 2 * k + 2] = 1 - place / LENGTH, place / LENGTH
            x.append(at)
            y.append(float(f"{value:.3f}") - TARGET - 0.5 * k)
            u.append(None)
    for k in (0, 1, 1):
        value = rng.normal(0.5, 0.2)
        rows.append((f"s{k}", "joint", f"{value:.3f}"))
        at = np.zeros(8)
        at[2 * k + 1], at[2 * k + 2] = -1.0, 1.0
        x.append(at)
        y.append(float(f"{value:.3f}") - 0.5)
        u.append(layout.tape.feeler)
    text = "section,point,reading\n" + "".join(f"{','.join(row)}\n" for row in rows)
    log = parse_survey(text, layout)
    own = iter(reading.u for reading in log.readings)
    fit = sm.WLS(y, np.array(x), weights=[(next(own) if one is None else one) ** -2 for one in u]).fit()
    return layout, log, fit


def test_what_is_known_of_each_section_is_the_batch_fit(job):
    layout, log, fit = job
    wanted = targets(layout, log)
    found, ties = tied(layout, log, stand(layout, log, wanted, creep=0.4), wanted)
    assert sorted(ties) == [(0, 1), (1, 2)]
    covariance = fit.normalized_cov_params
    for k, standing in enumerate(found):
        own = slice(2 * k, 2 * k + 2)
        assert standing.known.mean == pytest.approx(fit.params[own], abs=1e-9)
        assert standing.known.covariance == pytest.approx(covariance[own, own], abs=1e-9)


@pytest.mark.parametrize(("way", "pair"), [(-1, (0, 1)), (1, (1, 2))])
def test_the_chance_of_a_measured_step_is_that_of_the_batch_fit(job, way, pair):
    """The middle section with one neighbour, its tolerances wide but for the step: normal probability, by scipy."""
    layout, log, fit = job
    wanted = targets(layout, log)
    found, ties = tied(layout, log, stand(layout, log, wanted, creep=0.4), wanted)
    beside = ties[pair].beside(0.0, way)
    row = np.zeros(8)
    row[2 * pair[0] + 1], row[2 * pair[1]] = -1.0, 1.0
    step, u = float(row @ fit.params), float(np.sqrt(row @ fit.normalized_cov_params @ row))
    limit = abs(step) + 0.3 * u
    wide = machine(
        [{"name": "s", "row": "a", "start": 0.0, "length": 400.0}],
        tolerance=f"""square = 6
offset = 6
step = {limit}""",
    ).tolerance
    known = found[1].known
    odds = Odds(tolerance=wide, zero=0.1, up=beside if way < 0 else None, down=beside if way > 0 else None)
    exact = stats.norm.cdf((limit - step) / u) - stats.norm.cdf((-limit - step) / u)
    assert odds(known.mean[None], known.covariance)[0] == pytest.approx(exact, abs=4e-3)
