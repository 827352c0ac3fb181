"""
What the sections of one string say of it and of one another, as accounts that leave nothing unexplained.

The string was hung anew for the second survey, or it stayed up; the changes that were to be made were made, or nothing
was; and of the sections some few moved otherwise. Those accounts are answers that need the fewest of these.
"""

from __future__ import annotations

import enum
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.change.congruency import Changes, Fit
from alignment.change.search import fewest_moved
from alignment.machine.layout import Layout, Plane
from alignment.machine.survey import Survey
from alignment.quantiles import chi_square_point
from alignment.results import Result
from alignment.train.train import Train

__all__ = ["Answer", "Expected", "Status", "Stayed", "String", "StringChange", "by_string", "recorded", "string_line"]

Floats = NDArray[np.float64]
STRING: Final = "string"
"""Line of a survey's record that names the string."""
SEEN: Final = 0.05
"""Common errors that a string's line takes up but for less than this, in standard uncertainties, are its own."""
SELDOM: Final = 0.1
"""
Share of the error probability with which moves that were to be made are refused.

That somebody did not do what the log or the plan says is no error of the tape, and is said of fewer jobs than that.
"""
FITTED: Final = 24
"""Answers that are worked out one by one; of more the sections alone are told."""


class Status(enum.StrEnum):
    """What is known of one section."""

    moved = "moved"
    still = "still"
    """Did not move as far as this tape can tell."""
    doubtful = "doubtful"
    """Moved by one answer and stood by another that needs no more moved sections."""
    untouched = "untouched"
    """No move of it is in the job log, and it was not read again."""
    open = "open"
    """Not measured in both surveys, or alone on a string that was hung anew."""


class Stayed(enum.StrEnum):
    """Whether the strings stayed up between the two surveys."""

    told = "told"
    """The user says so."""
    recorded = "recorded"
    """Both surveys name one string, or are of one log: taken first, and dropped where the readings contradict it."""
    unknown = "unknown"


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Expected(Result):
    """
    Changes that were to be made on purpose.

    Attributes
    ----------
    change : (n, 2) array
        Of offset and skew of each section of the layout; zero where nothing was to be done. [mm]
    covariance : (n, 2, 2) array
        What carrying them out adds: tightening moves a bolt end a little. [mm^2]
    """

    change: Floats
    covariance: Floats


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Answer(Result):
    """
    One account of a string's sections that leaves nothing unexplained.

    Attributes
    ----------
    hung : bool
        Whether it takes the string as hung anew.
    done : bool
        Whether it takes the expected changes as made.
    otherwise : tuple of int
        Sections of the layout whose change is neither.
    chi2, dof, limit
        Joint test of the rest.
    fit : Fit or None
        In the order of the string's sections, the expected changes taken off where `done`; None for an answer that
        is one of too many.
    """

    hung: bool
    done: bool
    otherwise: tuple[int, ...]
    chi2: float
    dof: int
    limit: float
    fit: Fit | None


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class StringChange(Result):
    """
    What one string and its sections did, positive where readings of its first row grew. [mm]

    Attributes
    ----------
    string : str
    plane : Plane
        A string of side readings and of heights moves sideways and up or down independently.
    members : tuple of int
        Sections of the layout that were measured from it in both surveys.
    places : (entry, exit)
        Machine x of the first and last end of these.
    change, u : (2,) array
        At these places, where it was hung anew; the tape's zero is in `u`, since another zero shows as a shift. NaN
        where that cannot be told, or where the string stayed up.
    changed : bool
        Whether it is significant.
    answers : tuple of Answer
        Equally good ones, the likeliest first.
    """

    string: str
    plane: Plane
    members: tuple[int, ...]
    places: tuple[float, float]
    change: Floats
    u: Floats
    changed: bool
    answers: tuple[Answer, ...]

    @property
    def known(self) -> bool:
        """Whether what it did is determined, or given."""
        if len({answer.hung for answer in self.answers}) > 1:
            return False
        return not self.answers[0].hung or not bool(np.isnan(self.change).any())


def recorded(before: Survey, after: Survey) -> Stayed:
    """What the records of two surveys say of the string: whether both name one and the same."""
    names = [" ".join(survey.record.get(STRING, "").split()).lower() for survey in (before, after)]
    return Stayed.recorded if names[0] and names[0] == names[1] else Stayed.unknown


def by_string(layout: Layout, members: NDArray[np.int64]) -> dict[tuple[str, Plane], NDArray[np.int64]]:
    """Sections by the string from which they are measured; hung anew, it moves sideways and up or down apart."""
    rows = [layout.rows[layout.sections[i].row] for i in members]
    keys = [(row.string, row.plane) for row in rows]
    return {key: members[[own == key for own in keys]] for key in dict.fromkeys(keys)}


def string_line(layout: Layout, own: NDArray[np.int64]) -> tuple[Floats, tuple[float, float]]:
    """
    What shift and slope of a string do to offset and skew of its sections.

    Returns
    -------
    line : (n, 2, 2) array
        Columns: shift at the middle of the string's sections, and by how much it grows over them.
    places : (entry, exit)
        Machine x of the first and last end of these sections. [mm]
    """
    sections = [layout.sections[i] for i in own]
    length, middle = (np.array([getattr(s, what) for s in sections]) for what in ("length", "middle"))
    # a row on the string's other side sees its readings fall where those of the first row grow
    sides = [layout.rows[s.row].side for s in sections]
    sign = np.array([-1.0 if side and sides[0] not in ("", side) else 1.0 for side in sides])
    low, high = float((middle - length / 2).min()), float((middle + length / 2).max())
    line = np.zeros((len(own), 2, 2))
    line[:, 0, 0] = sign
    line[:, 0, 1] = sign * (middle - (low + high) / 2) / (high - low)
    line[:, 1, 1] = sign * length / (high - low)
    return line, (low, high)


class String:
    """The sections of one string that were measured in both surveys, and what may have become of them."""

    def __init__(self, before: Train, after: Train, own: NDArray[np.int64], *, one_tape: bool) -> None:
        layout = before.layout
        self.own = own
        count = len(own)
        scale = np.stack([np.ones(count), before.length[own]], axis=1)
        self.y = (after.face - before.face)[own] * scale
        self.covariance = (before.covariance + after.covariance)[own] * scale[:, :, None] * scale[:, None, :]
        self.tied = None
        if before.adjusted.network is not None or after.adjusted.network is not None:
            both = _covariance(before, own) + _covariance(after, own)
            self.tied = both * np.outer(scale, scale)
        self.line, self.places = string_line(layout, own)
        shared = [np.zeros((0, count, 2))]
        if not one_tape:
            shared = [train.common[:, own] * scale for train in (before, after)]
        self.shared = np.concatenate(shared)
        self._whiten = np.linalg.inv(np.linalg.cholesky(self.covariance))

    def _columns(self, *, hung: bool) -> tuple[Floats, Floats]:
        """Common errors as columns of the design, and the covariance of what of them the string's line takes up."""
        white = np.einsum("nij,qnj->niq", self._whiten, self.shared).reshape(2 * len(self.own), -1)
        taken = np.zeros((2, 2))
        if hung and white.shape[1]:
            line = np.einsum("nij,njk->nik", self._whiten, self.line).reshape(-1, 2)
            part = np.linalg.lstsq(line, white, rcond=None)[0]
            if np.linalg.norm(white - line @ part) < SEEN:
                return np.zeros((len(self.own), 2, 0)), part @ part.T
        left, size, _ = np.linalg.svd(white, full_matrices=False)
        seen = size > SEEN
        columns = (left * size)[:, seen].reshape(len(self.own), 2, -1)
        return np.linalg.solve(self._whiten, columns), taken

    def changes(self, *, hung: bool) -> Changes:
        """Everything that this string tells, it being hung anew or not."""
        columns = self._columns(hung=hung)[0]
        design = np.concatenate([self.line, columns], axis=2) if hung else columns
        return Changes(y=self.y, covariance=self.covariance, design=design, string=2 * hung, tied=self.tied)

    def answers(self, stayed: Stayed, expected: Expected | None, error: float) -> tuple[Answer, ...]:
        """
        Accounts with the fewest sections that moved otherwise, and with fewer where these barely pass.

        That a string was hung anew counts as one, where the record says that it was not.
        """
        to_do = expected is not None and bool(expected.change[self.own].any())
        strings = {Stayed.told: [(False, 0)], Stayed.unknown: [(True, 0)], Stayed.recorded: [(False, 0), (True, 1)]}
        options = [
            (hung, done, cost) for hung, cost in strings[stayed] for done in ((True, False) if to_do else (False,))
        ]
        found: list[tuple[int, bool, bool, Changes, NDArray[np.bool_], float]] = []
        least = len(self.own) + 1
        for hung, done, cost in options:
            changes = self.changes(hung=hung)
            if done and expected is not None:
                changes = changes.less(expected.change[self.own], expected.covariance[self.own])
            if least < cost:
                continue
            # not where the record is wrong about the string, too
            refused = error * SELDOM if done and not cost else error
            masks, clear = fewest_moved(changes, refused, most=least - cost)
            needed = [cost + len(self.own) - int(mask.sum()) for mask in masks]
            least = min(least, needed[0]) if clear else least
            found += [(need, hung, done, changes, mask, refused) for need, mask in zip(needed, masks, strict=True)]
        best = [one for one in found if one[0] <= least]
        return tuple(
            self._answer(hung, done, changes, mask, refused, worked_out=k < FITTED)
            for k, (_, hung, done, changes, mask, refused) in enumerate(best)
        )

    def _answer(
        self, hung: bool, done: bool, changes: Changes, mask: NDArray[np.bool_], error: float, *, worked_out: bool
    ) -> Answer:
        dof = int(changes.dof(mask[None])[0])
        return Answer(
            hung=hung,
            done=done,
            otherwise=tuple(int(i) for i in self.own[~mask]),
            chi2=float(changes.chi2(mask[None])[0]),
            dof=dof,
            limit=float(chi_square_point(dof, 1 - error)) if dof else 0.0,
            fit=changes.fit(mask) if worked_out else None,
        )

    def _expected(self, answer: Answer, expected: Expected | None) -> Floats:
        return expected.change[self.own] if answer.done and expected is not None else np.zeros_like(self.y)

    def tell(self, answers: Sequence[Answer], expected: Expected | None) -> Fit:
        """
        The numbers that are told: changes against those sections that stand in every answer of the first's kind.

        The expected changes are in them again.
        """
        first = answers[0]
        alike = [a for a in answers if (a.hung, a.done) == (first.hung, first.done)]
        otherwise = {i for answer in alike for i in answer.otherwise}
        changes = self.changes(hung=first.hung)
        due = self._expected(first, expected)
        if first.done and expected is not None:
            changes = changes.less(due, expected.covariance[self.own])
        fit = changes.fit(np.array([int(i) not in otherwise for i in self.own]))
        change = fit.change + due
        change[np.isnan(fit.statistic)] = np.nan
        return replace(fit, change=change, statistic=_squared(change, fit.covariance))

    def status(self, answers: Sequence[Answer], expected: Expected | None, error: float) -> list[Status]:
        """What all answers together say of each section."""
        if len(answers) == 1 and answers[0].dof == 0 and not answers[0].otherwise:
            return [Status.open] * len(self.own)
        limit = float(chi_square_point(2, 1 - error))
        accounts = []
        for answer in answers:
            moved = np.isin(self.own, answer.otherwise)
            if answer.fit is not None:
                # a change that was expected, or that stands in its place, may be too small to be seen
                change = answer.fit.change + self._expected(answer, expected)
                seen = np.nan_to_num(_squared(change, answer.fit.covariance)) > limit
                due = self._expected(answer, expected).any(axis=1)
                moved = np.where(due, seen, moved)
            accounts.append(moved)
        every = np.array(accounts)
        agreed, some = np.asarray(every.all(axis=0)), np.asarray(every.any(axis=0))
        return [
            Status.moved if agreed[k] else Status.doubtful if some[k] else Status.still for k in range(len(self.own))
        ]

    def change(self, name: str, plane: Plane, answers: Sequence[Answer], fit: Fit, error: float) -> StringChange:
        """What the string did."""
        value, u, changed = np.full(2, np.nan), np.full(2, np.nan), False
        if answers[0].hung and not np.isnan(fit.line).any() and answers[0].dof:
            ends = np.array([[1.0, -0.5], [1.0, 0.5]])
            line = fit.line[:2]
            covariance = fit.line_covariance[:2, :2] + self._columns(hung=True)[1]
            value, u = ends @ line, np.sqrt(np.einsum("pi,ij,pj->p", ends, covariance, ends))
            changed = float(line @ np.linalg.solve(covariance, line)) > float(chi_square_point(2, 1 - error))
        return StringChange(
            string=name,
            plane=plane,
            members=tuple(int(i) for i in self.own),
            places=self.places,
            change=value,
            u=u,
            changed=changed,
            answers=tuple(answers),
        )


def _squared(change: Floats, covariance: Floats) -> Floats:
    """Chi-square with two degrees of freedom of each change."""
    found = np.full(len(change), np.nan)
    known = ~(np.isnan(change).any(axis=1) | np.isnan(covariance).any(axis=(1, 2)))
    whitened = np.linalg.solve(covariance[known], change[known][:, :, None])[:, :, 0]
    found[known] = np.einsum("ni,ni->n", change[known], whitened)
    return found


def _covariance(train: Train, members: NDArray[np.int64]) -> Floats:
    """Covariance of the faces of some sections, one after the other: mid-length reading and slope."""
    count = len(members)
    pick = np.zeros((2 * count, len(train.face), 2))
    own = np.arange(count)
    pick[2 * own, members, 0] = pick[2 * own + 1, members, 1] = 1.0
    found = train.adjusted.covariance_times(pick)[members].reshape(2 * count, 2 * count)
    return np.asarray(found, dtype=np.float64)
