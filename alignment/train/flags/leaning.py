"""Whether all sections of a string lean alike: then it is more likely the string that leans."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from alignment.fitting.lines import fit_line
from alignment.quantiles import chi_square_point, normal_point, student_point
from alignment.train.train import Train

__all__ = ["Lean", "LeanTest", "find_leans", "lean_tests"]

ERROR = 0.01
"""Probability of calling a straight string leaning."""
COVERED = 0.95
POWER = 0.8
"""Probability with which a lean that matters has to be found before its absence is believed."""
TAPE_ALONE = 0.9
"""Section ends within this point of chi-square of one straight line are as straight as the tape can tell."""
PAIR_ALONE = 0.85
"""The same of two sections."""
PAIR = 9.0
"""
Standard uncertainties of the tape beyond which two sections on one straight line lean.

Two sections leave two degrees of freedom, for which Student's t is 9.92 at 1 %. That the scatter is never below the
tape's allows a lower point. With this and `PAIR_ALONE` a straight string is accused in at most 1.0 % of machines,
however far out they are, and 93 to 94 % of leans by 3/8 in are found by a 1/16 or 1 mm tape. From 9.2 on leans that
come to rest on marks are missed: 87 % found by a 1/16 tape; with `PAIR_ALONE` at 0.95 up to 1.25 % are accused.
"""


@dataclass(frozen=True, kw_only=True)
class LeanTest:
    """
    Test of one string's slope against none.

    Attributes
    ----------
    string : str
    count : int
        Measured sections.
    slope, u : float
        Growth of deviations per length downstream, and its standard uncertainty.
    limit : float
        Slope beyond which the string is called leaning; infinite where nothing can be told.
    span : float
        From the first section end to the last. [mm]
    leans : bool or None
        True where the slope is beyond its limit; False where a lean by both offset tolerances over the span would
        have been found in four cases of five; None where the test has no such power, which speaks for nothing.
    """

    string: str
    count: int
    slope: float
    u: float
    limit: float
    span: float
    leans: bool | None


class Lean(NamedTuple):
    """
    A string that leans.

    Attributes
    ----------
    string : str
    slope, expanded : float
        Growth of deviations per length downstream, and its uncertainty at 95 % by Student's t.
    entry, exit : float
        How much nearer to the faces the string should hang at the first and at the last section end. [mm]
    first, last : float
        Machine x of these. [mm]
    share : float
        Share of the squared deviations that this takes away.
    """

    string: str
    slope: float
    expanded: float
    entry: float
    exit: float
    first: float
    last: float
    share: float

    def at(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Deviation that the lean makes at machine x, for the side of the string's first row. [mm]"""
        return np.asarray(self.entry + self.slope * (x - self.first))


def find_leans(train: Train) -> tuple[Lean, ...]:
    """Strings whose slope is significant; see `lean_tests`."""
    return tuple(lean for test, lean in _tested(train) if test.leans)


def lean_tests(train: Train) -> tuple[LeanTest, ...]:
    """
    Test every string for a slope.

    The deviations of both ends of all its sections are regressed on their place, so that each section's skew is one
    more measurement of the same slope: 2 n - 2 degrees of freedom, F at 1 % against no slope (Student's t squared).
    Ends as near one line as the tape can tell are given the tape's uncertainty in place of their own scatter. Where
    sections are out as blocks, both ends alike, ends are no independent measurements: the slope must stand out from
    the scatter of offsets and skews apart too (degrees of freedom by Welch and Satterthwaite, GUM G.4.1).
    """
    return tuple(test for test, _ in _tested(train))


def _tested(train: Train) -> list[tuple[LeanTest, Lean]]:
    found = []
    layout = train.layout
    for string in layout.strings:
        of = np.array([layout.rows[s.row].string == string for s in layout.sections])
        known = train.datum.row_target >= 0
        known |= np.array([layout.rows[s.row].target is not None for s in layout.sections])
        members = np.flatnonzero(of & train.measured & known)
        if len(members):
            found.append(_test(train, string, members))
    return found


def _test(train: Train, string: str, members: NDArray[np.intp]) -> tuple[LeanTest, Lean]:
    sign, n = train.datum.sign[members], len(members)
    length = train.length[members]
    x = np.concatenate([train.start[members], train.start[members] + length])
    d = np.concatenate([sign * end.value[members] for end in train.ends])
    first, last = float(x.min()), float(x.max())
    line = fit_line(x, d, u=1.0)
    slope, moment, dof = float(line.slope[0]), float(1 / line.slope_var[0]), 2 * n - 2
    # the tape's own doubt of each end: what is common to all readings drops out of a slope
    covariance = train.covariance[members]
    half = length / 2
    ends = [covariance[:, 0, 0] + s * length * covariance[:, 0, 1] + half**2 * covariance[:, 1, 1] for s in (-1, 1)]
    tape = float(np.sqrt(np.mean(np.concatenate(ends)) / moment))
    offsets = sign * train.offset.value[members] - line.at(0.0)[0] - slope * train.middle[members]
    turns = sign * train.skew.value[members] - slope * length
    u, limit = tape, math.inf
    if dof:
        left = float(line.chi2[0])
        alone = PAIR_ALONE if n == 2 else TAPE_ALONE
        explained = left <= tape**2 * moment * float(chi_square_point(dof, alone))
        u = tape if explained else max(math.sqrt(left / dof / moment), tape)
        limit = u * (PAIR if n == 2 and explained else student_point(1 - ERROR / 2, dof))
        if n > 2 and not explained:
            apart, free = _apart(offsets, turns, train.middle[members] - float(line.centre_x[0]), length, moment)
            limit = max(limit, apart * student_point(1 - ERROR / 2, free))
            u = max(u, apart)
    span = last - first
    matters = 2 * train.layout.tolerance.offset / span
    leans = True if abs(slope) > limit else False if limit + normal_point(POWER) * u <= matters else None
    total = float(np.sum(d**2))
    lean = Lean(
        string=string,
        slope=slope,
        expanded=u * student_point((1 + COVERED) / 2, max(dof, 1)),
        entry=float(line.at(first)[0]),
        exit=float(line.at(last)[0]),
        first=first,
        last=last,
        share=float(1 - line.chi2[0] / total) if total else 0.0,
    )
    return LeanTest(string=string, count=n, slope=slope, u=u, limit=limit, span=span, leans=leans), lean


def _apart(
    offsets: NDArray[np.float64],
    turns: NDArray[np.float64],
    lever: NDArray[np.float64],
    length: NDArray[np.float64],
    moment: float,
) -> tuple[float, float]:
    """Standard uncertainty of the slope from the scatter of offsets and of skews by themselves, and its dof."""
    n = len(offsets)
    parts = (
        (np.sum(offsets**2) / (n - 2) * np.sum((2 * lever) ** 2) / moment**2, n - 2),
        (np.sum(turns**2) / n * np.sum((length / 2) ** 2) / moment**2, n),
    )
    variance = float(sum(v for v, _ in parts))
    freedom = sum(v**2 / nu for v, nu in parts)
    return math.sqrt(variance), float(variance**2 / freedom) if freedom else float(2 * n - 2)
