"""
What moved from one station train to the next, told apart from what the string did.

The string is hung anew for the second survey, so each string may be shifted and sloped against the first. Both are
estimated together with the changes of the sections that moved, by generalised least squares over all sections that
were measured twice:

    y = X b + E d + e        y: change of offset and skew of every section, covariance from both surveys

``X b`` is what the strings did and ``E d`` the two numbers of each section taken to have moved. Which ones these are
is found from a robust start (least absolute sum) and then by testing each section against the line of the rest.
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from alignment.machine.layout import Layout, Plane
from alignment.train.train import Estimates, Train
from alignment.uncertainty import chi_square_point

__all__ = ["PROBABILITY", "Motion", "Status", "StringChange", "compare_trains", "least_absolute_line"]

Floats = NDArray[np.float64]
PROBABILITY: Final = 0.99
"""With nothing moved, no section at all is named with this probability: naming one sends a person to it."""
FEWEST_TOLD: Final = 3
"""Sections that a string needs for telling which of them moved: two that differ accuse each other."""


class Status(enum.StrEnum):
    """What is known of one section."""

    moved = "moved"
    still = "still"
    """Did not move as far as this tape can tell."""
    open = "open"
    """Not measured in both surveys, or its string has too few sections to tell."""


@dataclass(frozen=True, kw_only=True)
class StringChange:
    """
    How one string hangs in the second survey against the first, positive where readings of its first row grew. [mm]

    Attributes
    ----------
    places : (entry, exit)
        Machine x of the first and last end of the sections that it serves.
    change, u : (2,) array
        At these places; the tape's zero is in `u`, since another zero shows as a shift.
    changed : bool
        Whether it is significant.
    sections, still : tuple of str
        Those that were measured from it in both surveys, and those of them that stood still and so carry the line.
    """

    string: str
    sections: tuple[str, ...]
    places: tuple[float, float]
    change: Floats
    u: Floats
    changed: bool
    still: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Motion:
    """
    What moved from one train to the next. Arrays run over ``layout.sections``; NaN where nothing can be told.

    Attributes
    ----------
    change : (n, 2) array
        Change of offset and of skew against the line of the other sections that stood still: unbiased whether the
        section moved or not. Positive away from the string. [mm]
    left : (n, 2) array
        What is left of the change when the line of all that stood still is taken off: `change` itself where the
        section moved, and its residual where it stood still. [mm]
    covariance : (n, 2, 2) array
        Of `change`, the line of the other sections included.
    statistic : (n,) array
        Change over its covariance: chi-square with two degrees of freedom where the section stood still.
    limit : float
        Beyond this a section is named (Bonferroni over the sections tested).
    status : tuple of Status
    strings : tuple of StringChange
        Those whose change can be told.
    chi2, dof, chi2_limit
        Overall congruency: all sections standing still, the strings hung anew.
    """

    layout: Layout
    change: Floats
    left: Floats
    covariance: Floats
    statistic: Floats
    limit: float
    status: tuple[Status, ...]
    strings: tuple[StringChange, ...]
    chi2: float
    dof: int
    chi2_limit: float

    @property
    def moved(self) -> NDArray[np.int64]:
        """Sections that moved."""
        return np.flatnonzero([status is Status.moved for status in self.status])

    @property
    def congruent(self) -> bool:
        """Whether both surveys fit one machine in which nothing moved."""
        return self.chi2 <= self.chi2_limit

    def at(self, place: Floats, *, left: bool = False) -> Estimates:
        """
        Change of each face at its own place from its entry end, positive away from the string. [mm]

        With ``left`` the value is that of `left`; the uncertainty stays that of the change, which is what could have
        gone unseen.
        """
        length = np.array([s.length for s in self.layout.sections])
        local = np.stack([np.ones_like(length), np.asarray(place) / length - 0.5], axis=1)
        value = np.einsum("ni,ni->n", local, self.left if left else self.change)
        return Estimates(value, np.sqrt(np.einsum("ni,nij,nj->n", local, self.covariance, local)))

    def bolts(self, *, left: bool = False) -> tuple[Estimates, Estimates]:
        """Change at the entry and exit bolt end of each section, as `at`. [mm]"""
        places = np.array([s.bolts for s in self.layout.sections])
        return self.at(places[:, 0], left=left), self.at(places[:, 1], left=left)


class _Fit(NamedTuple):
    """One generalised least-squares fit with some sections taken to have moved; NaN where a change is undetermined."""

    beta: Floats
    beta_covariance: Floats
    change: Floats
    covariance: Floats
    statistic: Floats
    chi2: float


def compare_trains(
    before: Train, after: Train, *, same_string: bool = False, probability: float = PROBABILITY
) -> Motion:
    """
    Tell what moved from one train to the next.

    Parameters
    ----------
    before, after : Train
        Of one layout, their readings independent of each other.
    same_string : bool
        Whether the string stayed up between them.
    probability : float
        With which no section at all is named when nothing moved.

    Notes
    -----
    A section's change is its two numbers ``d`` in the fit that takes it, besides those found to have moved, out of
    the line; its statistic ``d' C^-1 d`` is that of a test for an error in two observations at once [1]_.

    References
    ----------
    .. [1] W. Baarda, A testing procedure for use in geodetic networks, 1968 (general form, from memory).
    """
    layout = before.layout
    members = np.flatnonzero(before.measured & after.measured)
    problem = _Problem(before, after, members, same_string=same_string)
    tests = max(len(members), 1)
    limit = float(chi_square_point(2, 1 - (1 - probability) / tests))
    moved, fit = problem.search(limit)
    n = len(layout.sections)
    change, left = np.full((2, n, 2), np.nan)
    covariance, statistic = np.full((n, 2, 2), np.nan), np.full(n, np.nan)
    change[members], covariance[members], statistic[members] = fit.change, fit.covariance, fit.statistic
    left[members] = problem.y - (problem.design @ fit.beta).reshape(-1, 2)
    left[np.isnan(statistic)] = np.nan
    status = [Status.open] * n
    for k, i in enumerate(members):
        if math.isfinite(fit.statistic[k]) and (fit.statistic[k] <= limit or problem.told[k]):
            status[i] = Status.moved if moved[k] or fit.statistic[k] > limit else Status.still
    whole = problem.fit(np.zeros(len(members), dtype=bool))
    dof = 2 * len(members) - problem.design.shape[1]
    return Motion(
        layout=layout,
        change=change,
        left=left,
        covariance=covariance,
        statistic=statistic,
        limit=limit,
        status=tuple(status),
        strings=problem.string_changes(fit, status, probability),
        chi2=whole.chi2 if dof else 0.0,
        dof=dof,
        chi2_limit=float(chi_square_point(dof, probability)) if dof else 0.0,
    )


def _covariance(train: Train, members: NDArray[np.int64]) -> Floats:
    """Covariance of the faces of some sections, one after the other: mid-length reading and slope."""
    count = len(members)
    pick = np.zeros((2 * count, len(train.face), 2))
    own = np.arange(count)
    pick[2 * own, members, 0] = pick[2 * own + 1, members, 1] = 1.0
    found = train.adjusted.covariance_times(pick)[members].reshape(2 * count, 2 * count)
    # what all readings of a survey share: its tape's zero, and how far its string hangs through
    for shared in train.common:
        common = shared[members].ravel()
        found = found + np.outer(common, common)
    return np.asarray(found, dtype=np.float64)


class _Problem:
    """Changes of the sections that were measured twice, their covariance, and what the strings may have done."""

    def __init__(self, before: Train, after: Train, members: NDArray[np.int64], *, same_string: bool) -> None:
        layout = before.layout
        count = len(members)
        self.layout, self.members = layout, members
        self.length = before.length[members]
        self.middle = before.middle[members]
        scale = np.stack([np.ones(count), self.length], axis=1)
        self.y = (after.face - before.face)[members] * scale
        self.own = (before.covariance + after.covariance)[members] * scale[:, :, None] * scale[:, None, :]
        covariance = (_covariance(before, members) + _covariance(after, members)) * np.outer(scale, scale)
        self.weight = np.linalg.inv(covariance)
        rows = [layout.rows[layout.sections[i].row] for i in members]
        # hung anew, a string moves sideways and up or down independently
        names = np.array([f"{r.string} (heights)" if r.plane is Plane.height else r.string for r in rows], dtype=object)
        self.strings = {name: np.flatnonzero(names == name) for name in dict.fromkeys(names)}
        self.sign = np.ones(count)
        for own in self.strings.values():
            # a row on the string's other side sees its readings fall where those of the first row grow
            self.sign[own] = [
                -1.0 if rows[k].side and rows[own[0]].side not in ("", rows[k].side) else 1.0 for k in own
            ]
        self.same_string = same_string
        self.span = {
            name: (float((self.middle - self.length / 2)[own].min()), float((self.middle + self.length / 2)[own].max()))
            for name, own in self.strings.items()
        }
        self.design = np.zeros((2 * count, 0 if same_string else 2 * len(self.strings)))
        self.told = np.full(count, same_string)
        if not same_string:
            for p, (name, own) in enumerate(self.strings.items()):
                low, high = self.span[name]
                # change at the middle of the string's sections, and by how much it grows over them
                self.design[2 * own, 2 * p] = self.sign[own]
                self.design[2 * own, 2 * p + 1] = self.sign[own] * (self.middle[own] - (low + high) / 2) / (high - low)
                self.design[2 * own + 1, 2 * p + 1] = self.sign[own] * self.length[own] / (high - low)
                self.told[own] = len(own) >= FEWEST_TOLD

    def fit(self, moved: NDArray[np.bool_]) -> _Fit:
        """Fit with the numbers of some sections free."""
        count, fixed = len(moved), self.design.shape[1]
        at = [int(i) for i in np.flatnonzero(moved)]
        extra = np.zeros((2 * count, 2 * len(at)))
        for k, i in enumerate(at):
            extra[2 * i, 2 * k] = extra[2 * i + 1, 2 * k + 1] = 1.0
        design = np.hstack([self.design, extra])
        pull = design.T @ self.weight
        inverse = np.linalg.inv(pull @ design)
        y = self.y.ravel()
        estimate = inverse @ (pull @ y)
        left = self.weight - pull.T @ inverse @ pull
        rest = left @ y
        change, covariance = np.full((count, 2), np.nan), np.full((count, 2, 2), np.nan)
        # a section alone on its string is taken up by the line
        lone = ~moved & (self._still(moved) < 2) & (not self.same_string)
        own = np.flatnonzero(~moved & ~lone)
        covariance[own] = np.linalg.inv(left.reshape(count, 2, count, 2)[own, :, own, :])
        change[own] = np.einsum("nij,nj->ni", covariance[own], rest.reshape(count, 2)[own])
        for k, i in enumerate(at):
            pair = slice(fixed + 2 * k, fixed + 2 * k + 2)
            change[i], covariance[i] = estimate[pair], inverse[pair, pair]
        statistic = np.full(count, np.nan)
        known = ~np.isnan(change[:, 0])
        whitened = np.linalg.solve(covariance[known], change[known][:, :, None])[:, :, 0]
        statistic[known] = np.einsum("ni,ni->n", change[known], whitened)
        beta_covariance = np.asarray(inverse[:fixed, :fixed], dtype=np.float64)
        return _Fit(estimate[:fixed], beta_covariance, change, covariance, statistic, max(float(y @ rest), 0.0))

    def _still(self, moved: NDArray[np.bool_]) -> NDArray[np.int64]:
        """For each section, how many sections of its string stand still."""
        counts = np.zeros(len(moved), dtype=np.int64)
        for own in self.strings.values():
            counts[own] = int((~moved[own]).sum())
        return counts

    def search(self, limit: float) -> tuple[NDArray[np.bool_], _Fit]:
        """
        Sections that moved, and the fit with them free.

        From the sections that fit a robust line, the nearest of the others is let in while it passes the test, and
        the farthest one in is put out where it fails.
        """
        moved = self._start(limit) & self.told
        seen: set[bytes] = set()
        while True:
            fit = self.fit(moved)
            seen.add(moved.tobytes())
            trial = moved.copy()
            out = np.where(moved, fit.statistic, np.inf)
            # two sections at least carry the line of each string
            may_leave = ~moved & self.told & (self.same_string | (self._still(moved) >= FEWEST_TOLD))
            within = np.where(may_leave, np.nan_to_num(fit.statistic), -np.inf)
            if moved.any() and out.min() <= limit:
                trial[out.argmin()] = False
            elif len(within) and within.max() > limit:
                trial[within.argmax()] = True
            if trial.tobytes() in seen:
                return moved, fit
            moved = trial

    def _start(self, limit: float) -> NDArray[np.bool_]:
        """Sections off the robust line of their string; two at least stay on it."""
        moved = np.zeros(len(self.y), dtype=bool)
        for own in self.strings.values():
            y, cov, sign = self.y[own], self.own[own], self.sign[own]
            left = y
            if not self.same_string:
                half = np.array([[1.0, -0.5], [1.0, 0.5]])
                ends = (y @ half.T) * sign[:, None]
                u = np.sqrt(np.einsum("pi,nij,pj->np", half, cov, half))
                x = self.middle[own][:, None] + self.length[own][:, None] * half[:, 1]
                shift, slope = least_absolute_line(x.ravel(), ends.ravel(), u.ravel())
                line = np.stack([shift + slope * self.middle[own], slope * self.length[own]], axis=1)
                left = y - sign[:, None] * line
            statistic = np.einsum("ni,ni->n", left, np.linalg.solve(cov, left[:, :, None])[:, :, 0])
            off = statistic > limit
            off[np.argsort(statistic)[: FEWEST_TOLD - 1]] = False
            moved[own] = off
        return moved

    def string_changes(self, fit: _Fit, status: list[Status], probability: float) -> tuple[StringChange, ...]:
        """What each string did, where its sections can tell."""
        found = []
        for p, (name, own) in enumerate(self.strings.items()):
            sections = {self.layout.sections[i].name: status[i] for i in self.members[own]}
            still = [section for section, told in sections.items() if told is Status.still]
            if self.same_string or len(still) < FEWEST_TOLD - 1:
                continue
            pair = slice(2 * p, 2 * p + 2)
            beta, cov = fit.beta[pair], fit.beta_covariance[pair, pair]
            ends = np.array([[1.0, -0.5], [1.0, 0.5]])
            statistic = float(beta @ np.linalg.solve(cov, beta))
            limit = float(chi_square_point(2, 1 - (1 - probability) / len(self.strings)))
            found.append(
                StringChange(
                    string=name,
                    sections=tuple(sections),
                    places=self.span[name],
                    change=ends @ beta,
                    u=np.sqrt(np.einsum("pi,ij,pj->p", ends, cov, ends)),
                    changed=statistic > limit,
                    still=tuple(still),
                )
            )
        return tuple(found)


def least_absolute_line(x: Floats, y: Floats, u: Floats, *, rounds: int = 60) -> tuple[float, float]:
    """
    Value at zero and slope of the line with the least sum of absolute residuals over their standard uncertainties.

    By reweighted least squares, each residual's weight being one over its magnitude; near enough for telling which
    points lie off the line.
    """
    middle, span = float(x.mean()), float(np.ptp(x)) or 1.0
    design = np.stack([np.ones_like(x), (x - middle) / span], axis=1) / u[:, None]
    value = y / u
    weight = np.ones_like(x)
    for k in range(rounds):
        pull = design.T * weight
        line = np.linalg.solve(pull @ design, pull @ value)
        # the floor comes down step by step, so that early rounds are not caught by chance zeros
        weight = 1 / np.maximum(np.abs(value - design @ line), max(10.0 ** (-k / 6), 1e-6))
    return float(line[0] - line[1] * middle / span), float(line[1] / span)
