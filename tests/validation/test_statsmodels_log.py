"""
A job log as a filter against statsmodels: weighted least squares without moves, one batch of generalised with them.

Every reading, every stop and every creep of a log is one row of a linear model; statsmodels solves it in one go.
"""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from alignment.machine.survey_text import parse_survey
from alignment.train.moves.stops import levers
from alignment.train.work.standing import stand, targets
from tests.tools.machines import machine

IN = 25.4
CREEP = 0.6
SECTION = {"name": "a-1", "row": "a", "start": "0", "length": "15", "bolts": ["2", "13"], "points": ["0", "6", "15"]}
TAPE = "mark = '1/16'\nset = '1/64'\ntilt = 0\nzero = '1/64'"


@pytest.fixture
def layout():
    return machine([SECTION], units="in", tape=TAPE, rows={"a": "target = '18 3/8'"})


def known(layout, rows):
    log = parse_survey("section,point,reading,kind,u\n" + "\n".join(f"a-1,{row}" for row in rows) + "\n", layout)
    return stand(layout, log, targets(layout, log), creep=CREEP)[0].known, log


def deviation(event):
    return (event.value if hasattr(event, "value") else event.stop) - 18.375 * IN


def at(place):
    return np.array([1 - place / (15 * IN), place / (15 * IN)])


def test_without_moves_it_is_weighted_least_squares(layout):
    """Repeats and readings of different worth: statsmodels WLS, to 1e-9."""
    rows = ["entry,18 3/8,,1/64", "exit,18 7/16,,1/32", "6,18 7/16,,1/64", "exit,18 1/2,,1/64", "entry,18 13/32,,1/128"]
    found, log = known(layout, rows)
    design = np.array([at(r.place) for r in log.readings])
    fit = sm.WLS([deviation(r) for r in log.readings], design, weights=[r.u**-2 for r in log.readings]).fit()
    assert found.mean == pytest.approx(fit.params, abs=1e-9)
    # cov_params is scaled by the scatter found; what the readings are worth is told here
    assert found.covariance == pytest.approx(fit.normalized_cov_params, abs=1e-9)


def batch(layout, log, groups):
    """
    Mean and covariance of the last state by one GLS over readings, stops and creeps.

    Unknowns are both deviations at first and, for each move, of the bolt ends that were loosened what they come to
    and what tightening then does to them. `groups` are runs of events: readings, or the moves made at once.
    """
    section = layout.sections[0]
    size = 2 + sum(2 * len(group) for group in groups if hasattr(group[0], "stop"))
    state = np.zeros((2, size))
    state[:, :2] = np.eye(2)
    rows, values, variances, new = [], [], [], 2
    for group in groups:
        if not hasattr(group[0], "stop"):
            for reading in group:
                rows.append(at(reading.place) @ state)
                values.append(deviation(reading))
                variances.append(reading.u**2)
            continue
        bolts = np.array([at(b) for b in section.bolts]) @ state
        for move in group:
            bolts[move.end] = 0
            bolts[move.end, new] = 1
            new += 1
        state = np.linalg.inv(np.array([at(b) for b in section.bolts])) @ bolts
        for move in group:
            rows.append(at(move.place) @ state)
            values.append(deviation(move))
            variances.append(move.u**2)
        for move in group:
            crept = np.zeros(size)
            crept[new] = 1
            new += 1
            rows.append(crept)
            values.append(0.0)
            variances.append(CREEP**2)
            state = state + np.outer(levers(section, move.end)[3], crept)
    fit = sm.GLS(values, np.array(rows), sigma=np.diag(variances)).fit()
    return state @ fit.params, state @ fit.normalized_cov_params @ state.T


def runs(log):
    """Events of a log, moves made at once and readings between them together."""
    groups = []
    for event in sorted([*log.readings, *log.moves], key=lambda e: e.row):
        if groups and hasattr(groups[-1][0], "stop") == hasattr(event, "stop"):
            groups[-1].append(event)
        else:
            groups.append([event])
    return groups


LOGS = {
    "one end": ["entry,18 3/8,,1/64", "exit,18 9/16,,1/64", "exit,18 3/8,move,1/64", "exit,18 13/32,,1/64"],
    "one end, both read": [
        "entry,18 3/8,,1/64", "exit,18 9/16,,1/32", "exit,18 3/8,move,1/64", "exit,18 13/32,,1/64",
        "entry,18 3/8,,1/64",
    ],
    "both ends": [
        "entry,18 1/4,,1/64", "exit,18 9/16,,1/64", "entry,18 3/8,move,1/64", "exit,18 3/8,move,1/64",
        "entry,18 3/8,,1/64", "exit,18 13/32,,1/64",
    ],
    "one end, then the other, then both": [
        "entry,18 1/4,,1/64", "6,18 3/8,,1/32", "exit,18 9/16,,1/64",
        "exit,18 3/8,move,1/64", "exit,18 13/32,,1/64",
        "entry,18 3/8,move,1/32", "entry,18 11/32,,1/64", "6,18 3/8,,1/64",
        "entry,18 3/8,move,1/64", "exit,18 3/8,move,1/64", "exit,18 3/8,,1/64", "entry,18 3/8,,1/64",
        "entry,18 13/32,,1/64",
    ],
    "moved and not read yet": ["entry,18 3/8,,1/64", "exit,18 9/16,,1/64", "exit,18 3/8,move,1/64"],
}  # fmt: skip


@pytest.mark.parametrize("name", LOGS)
def test_with_moves_it_is_one_batch_of_generalised_least_squares(layout, name):
    """Repeats of a point as their mean, which with a u of their own is the same."""
    found, log = known(layout, LOGS[name])
    mean, covariance = batch(layout, log, runs(log))
    assert found.mean == pytest.approx(mean, abs=1e-9)
    assert found.covariance == pytest.approx(covariance, abs=1e-9)
