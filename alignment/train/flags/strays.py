"""Readings that the others of their section contradict: data snooping, largest first, one at a time."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from alignment.fitting.lines import Lines
from alignment.machine.survey import Reading, Survey
from alignment.quantiles import noncentrality, normal_point
from alignment.train.faces import fit_sections
from alignment.train.flags.flag import Basis
from alignment.train.flags.neighbours import Expectation, Neighbours
from alignment.train.train import Train

__all__ = ["Stray", "critical_w", "find_strays", "without"]

ERROR = 0.05
"""Probability of calling any reading of a clean survey a stray."""
TIED = 0.95
"""Readings whose w is within this share of the largest cannot be told apart by their own section."""


class Stray(NamedTuple):
    """
    A reading that the others contradict.

    Attributes
    ----------
    reading : Reading
    w : float
        Its normalised residual when it was found.
    slip, u_slip : float
        By how much it reads too long by what the others say, and the standard uncertainty of that. [mm]
    detectable : float
        Smallest slip that would have been found here in four cases of five. [mm]
    tied : tuple of Reading
        Other readings of the section that could be the wrong one by its readings alone.
    decided : bool
        Whether it was told from those, by its neighbours where need be.
    """

    reading: Reading
    w: float
    slip: float
    u_slip: float
    detectable: float
    tied: tuple[Reading, ...]
    decided: bool


def critical_w(tests: int) -> float:
    """Bonferroni point of the normalised residual over so many tests, two-sided."""
    return normal_point(1 - ERROR / (2 * tests)) if tests else np.inf


def without(survey: Survey, readings: list[Reading]) -> Survey:
    """The survey less some of its readings."""
    dropped = {id(r) for r in readings}
    return replace(survey, readings=tuple(r for r in survey.readings if id(r) not in dropped))


def find_strays(train: Train) -> tuple[Stray, ...]:
    """
    Find the strays of a survey.

    The reading with the largest normalised residual beyond the Bonferroni point is set aside, the section fitted
    anew, and so on until none is left. Where readings of a section cannot be told apart, as with three points read
    once, the one is taken whose absence leaves the section nearest to where its neighbours lead one to expect it.

    Returns
    -------
    tuple of Stray
        In the order found, the worst first.

    References
    ----------
    .. [1] W. Baarda, A testing procedure for use in geodetic networks, 1968.
    """
    delta0 = noncentrality()
    found: list[Stray] = []
    survey = train.survey
    lines = train.lines
    critical = critical_w(int(lines.checked.sum()))
    neighbours = Neighbours(train)
    while True:
        w = np.nan_to_num(np.abs(lines.w))
        if not len(w) or w.max() <= critical:
            return tuple(found)
        k, tied, decided = _worst(neighbours, survey, lines, w)
        reading = survey.fitted[k]
        found.append(
            Stray(
                reading=reading,
                w=float(lines.w[k]),
                slip=float(lines.slip[k]),
                u_slip=float(lines.slip_u[k]),
                detectable=float(lines.detectable(delta0)[k]),
                tied=tuple(survey.fitted[j] for j in tied),
                decided=decided,
            )
        )
        survey = without(survey, [reading])
        lines = fit_sections(train.layout, survey)


def _worst(neighbours: Neighbours, survey: Survey, lines: Lines, w: np.ndarray) -> tuple[int, list[int], bool]:
    """Reading to set aside, those of its section that have as much against them, and whether it was told from them."""
    largest = int(np.argmax(w))
    section = int(lines.group[largest])
    alike = [int(k) for k in np.flatnonzero((lines.group == section) & (w >= TIED * w[largest]))]
    expectation = _expected(neighbours, section) if len(alike) > 1 else None
    if expectation is None:
        return largest, [k for k in alike if k != largest], len(alike) == 1
    members = [int(k) for k in np.flatnonzero(lines.group == section)]
    train = neighbours.train
    best = min(alike, key=lambda k: _strangeness(train, survey, section, [j for j in members if j != k], expectation))
    return best, [k for k in alike if k != best], True


def _expected(neighbours: Neighbours, section: int) -> Expectation | None:
    """Where a section should be by its neighbours; with too few of them, by the wanted reading."""
    found = neighbours.expect(section) or neighbours.expect_alone(section, ())
    return None if found is not None and found.basis is Basis.others else found


def _strangeness(train: Train, survey: Survey, section: int, members: list[int], expectation: Expectation) -> float:
    """How far some readings of a section lie from what its neighbours lead one to expect: mean square. [mm2]"""
    x = train.start[section] + np.array([survey.fitted[k].place for k in members])
    target = train.targets(np.full(len(members), section), x)
    off = np.array([survey.fitted[k].value for k in members]) - target - expectation.at(x)
    return float(np.mean(off**2))
