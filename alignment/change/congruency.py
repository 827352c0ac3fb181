"""
What one string's sections tell of what changed: which of them can have stood still, tested jointly.

For every section that was measured twice there are two numbers, the change of its offset and of its skew. What the
string did is common to all of them; so is what all readings of a survey share (the tape's zero). Sections stand still
where the string's line explains their numbers:

    y = X b + e        y: change of offset and skew; X b: shift and slope of the string, and the common errors

With errors that are independent from section to section the normal equations of any set of sections are sums over
its sections, so that all sets are tested at once. Where steps measured at joints tie the sections together each set
is fitted on its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.quantiles import chi_square_point

__all__ = ["Changes", "Fit", "congruent", "limits"]

Floats = NDArray[np.float64]
Masks = NDArray[np.bool_]
FEW: Final = 4
"""Degrees of freedom up to which one joint test says it all."""
CHUNK: Final = 2_000_000
"""Numbers held at a time while many sets are tested."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """
    One set of sections taken to stand still, the others free.

    Attributes
    ----------
    line, line_covariance : (k,) and (k, k) array
        What the string did, and the common errors.
    change : (n, 2) array
        Of offset and skew, less what the string did: what is left where a section stands, its own change where it
        is free; NaN where that is not determined. [mm]
    covariance : (n, 2, 2) array
        Of a free section's change; of a standing one's, had it been free: what could have gone unseen.
    statistic : (n,) array
        Chi-square with two degrees of freedom that the section stands: by how much chi-square of all would grow, or
        falls, with it.
    chi2 : float
        Of the sections that stand.
    """

    line: Floats
    line_covariance: Floats
    change: Floats
    covariance: Floats
    statistic: Floats
    chi2: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Changes:
    """
    Changes of the sections of one string.

    Attributes
    ----------
    y : (n, 2) array
        Change of offset and of skew. [mm]
    covariance : (n, 2, 2) array
        Of each section's own two numbers.
    design : (n, 2, k) array
        What the string's shift and slope do to them, then common errors.
    string : int
        How many of the k are the string's: 2 where it was hung anew, 0 where it stayed up. The others are common
        errors, with a standard uncertainty of one.
    tied : (2n, 2n) array or None
        The whole covariance, where sections hang together.
    """

    y: Floats
    covariance: Floats
    design: Floats
    string: int
    tied: Floats | None = None

    @cached_property
    def _weight(self) -> Floats:
        return np.asarray(np.linalg.inv(self.covariance))

    @cached_property
    def _pull(self) -> Floats:
        return np.asarray(np.einsum("nik,nij->nkj", self.design, self._weight))

    @cached_property
    def _terms(self) -> tuple[Floats, Floats, Floats]:
        """What each section adds to the normal matrix, its right side, and the sum of squares."""
        normal = np.einsum("nkj,njl->nkl", self._pull, self.design)
        right = np.einsum("nkj,nj->nk", self._pull, self.y)
        return normal, right, np.einsum("ni,nij,nj->n", self.y, self._weight, self.y)

    @cached_property
    def _prior(self) -> Floats:
        return np.diag(np.repeat([0.0, 1.0], [self.string, self.design.shape[2] - self.string]))

    @cached_property
    def _whole(self) -> Floats:
        return np.zeros((0, 0)) if self.tied is None else self.tied

    @property
    def count(self) -> int:
        """Number of sections."""
        return len(self.y)

    def less(self, expected: Floats, covariance: Floats | None = None) -> Changes:
        """The changes less those expected of some sections, whose covariance grows by their own. [mm]"""
        own, tied = self.covariance, self.tied
        if covariance is not None:
            own = own + covariance
            if tied is not None:
                tied = tied.copy()
                for i, extra in enumerate(covariance):
                    tied[2 * i : 2 * i + 2, 2 * i : 2 * i + 2] += extra
        return Changes(y=self.y - expected, covariance=own, design=self.design, string=self.string, tied=tied)

    def alone(self) -> Changes:
        """The same with each section's own uncertainty only, for a first search where sections hang together."""
        return Changes(y=self.y, covariance=self.covariance, design=self.design, string=self.string)

    def dof(self, standing: Masks) -> NDArray[np.int64]:
        """Degrees of freedom of each set that stands, (m,)."""
        return np.asarray(np.maximum(2 * standing.sum(axis=-1) - self.string, 0))

    def chi2(self, standing: Masks) -> Floats:
        """Chi-square of each set of sections that stand, (m, n) in, (m,) out."""
        found = np.zeros(len(standing))
        testable = np.flatnonzero(self.dof(standing) > 0)
        if self.tied is not None:
            for m in testable:
                found[m] = self._dense(standing[m])[3]
            return found
        for part in np.array_split(testable, max(1, len(testable) * self.count // CHUNK + 1)):
            if not len(part):
                continue
            use = standing[part].astype(np.float64)
            normal, right = self._sums(use)
            line = np.linalg.solve(normal, right[:, :, None])[:, :, 0]
            found[part] = np.maximum(use @ self._terms[2] - np.einsum("mk,mk->m", line, right), 0.0)
        return found

    def _sums(self, use: Floats) -> tuple[Floats, Floats]:
        k = self.design.shape[2]
        own, right, _ = self._terms
        normal = (use @ own.reshape(len(own), k * k)).reshape(len(use), k, k) + self._prior
        return normal, use @ right

    def statistics(self, standing: Masks) -> Floats:
        """
        Of each section in each set, chi-square with two degrees of freedom that it stands with the rest, (m, n).

        For a section that stands, what chi-square of the set would lose without it; for another, what it would gain
        with it. NaN where the rest does not fix the string's line.
        """
        if self.tied is not None:
            return np.array([self.fit(mask).statistic for mask in standing]).reshape(len(standing), self.count)
        found = np.empty((len(standing), self.count))
        for part in np.array_split(np.arange(len(standing)), len(standing) * self.count * 4 // CHUNK + 1):
            if len(part):
                found[part] = self._parts(standing[part])[2]
        return found

    def _parts(self, standing: Masks) -> tuple[Floats, Floats, Floats]:
        """Change, its covariance and statistic of every section in each set, sections independent."""
        use = standing.astype(np.float64)
        normal, right = self._sums(use)
        # where one section alone carries the line, taking it out leaves nothing
        enough = 2 * standing.sum(axis=1) >= self.string
        normal[~enough] += np.eye(normal.shape[1])
        inverse = np.linalg.inv(normal)
        line = np.einsum("mkl,ml->mk", inverse, right)
        left = self.y - np.tensordot(line, self.design, (1, 2))
        half = np.tensordot(inverse, self.design, (2, 2))
        spread = np.einsum("nik,mknj->mnij", self.design, half)
        covariance = self.covariance + spread
        inside = np.nonzero(standing)
        with np.errstate(divide="ignore", invalid="ignore"):
            # of one that stands, had it been free: L = W - W X N X' W, change L^-1 W (y - X b), its covariance L^-1
            weight = self._weight[inside[1]]
            apart = _inverse(weight - weight @ spread[inside] @ weight)
            covariance[inside] = apart
            change = left.copy()
            change[inside] = np.einsum("qij,qjk,qk->qi", apart, weight, left[inside])
            precision = _inverse(covariance)
            statistic = (
                precision[..., 0, 0] * change[..., 0] ** 2
                + 2 * precision[..., 0, 1] * change[..., 0] * change[..., 1]
                + precision[..., 1, 1] * change[..., 1] ** 2
            )
        few = (2 * (standing.sum(axis=1)[:, None] - standing) < self.string) | ~enough[:, None]
        statistic[few] = np.nan
        covariance[few] = np.nan
        return left, covariance, statistic

    def fit(self, standing: Masks) -> Fit:
        """One set in full, (n,) in."""
        if self.tied is not None:
            return self._tied_fit(standing)
        use = standing[None].astype(np.float64)
        normal, right = self._sums(use)
        k = normal.shape[1]
        if 2 * int(standing.sum()) < self.string:
            return self._unknown(k)
        inverse = np.linalg.inv(normal[0])
        change, covariance, statistic = (part[0] for part in self._parts(standing[None]))
        return Fit(
            line=inverse @ right[0],
            line_covariance=inverse,
            change=change,
            covariance=covariance,
            statistic=statistic,
            chi2=float(self.chi2(standing[None])[0]),
        )

    def _unknown(self, k: int) -> Fit:
        n = self.count
        nan = np.full((n, 2, 2), np.nan)
        return Fit(
            line=np.full(k, np.nan),
            line_covariance=np.full((k, k), np.nan),
            change=nan[:, :, 0],
            covariance=nan,
            statistic=nan[:, 0, 0],
            chi2=0.0,
        )

    def _dense(self, standing: Masks) -> tuple[Floats, Floats, Floats, float]:
        """Weight less what the line takes, its inverse normal matrix, the line, and chi-square of a tied set."""
        pick = np.repeat(standing, 2)
        weight = np.linalg.inv(self._whole[np.ix_(pick, pick)])
        design = self.design.reshape(2 * self.count, -1)[pick]
        pull = design.T @ weight
        inverse = np.linalg.inv(pull @ design + self._prior)
        y = self.y.ravel()[pick]
        line = inverse @ (pull @ y)
        left = weight - pull.T @ inverse @ pull
        return np.asarray(left), np.asarray(inverse), np.asarray(line), max(float(y @ left @ y), 0.0)

    def _tied_fit(self, standing: Masks) -> Fit:
        n, k = self.count, self.design.shape[2]
        if 2 * int(standing.sum()) < self.string or not standing.any():
            return self._unknown(k)
        left, inverse, line, chi2 = self._dense(standing)
        pick = np.repeat(standing, 2)
        y, design = self.y.ravel(), self.design.reshape(2 * n, k)
        change = (y - design @ line).reshape(n, 2)
        covariance, statistic = np.full((n, 2, 2), np.nan), np.full(n, np.nan)
        rest = (left @ y[pick]).reshape(-1, 2)
        for j, i in enumerate(np.flatnonzero(standing)):
            if 2 * (int(standing.sum()) - 1) >= self.string:
                covariance[i] = np.linalg.inv(left[2 * j : 2 * j + 2, 2 * j : 2 * j + 2])
                statistic[i] = rest[j] @ covariance[i] @ rest[j]
        free = np.flatnonzero(~standing)
        if len(free):
            out = ~pick
            # the standing tell what the free ones' errors are likely to be
            carry = self._whole[np.ix_(out, pick)] @ np.linalg.inv(self._whole[np.ix_(pick, pick)])
            own = self._whole[np.ix_(out, out)] - carry @ self._whole[np.ix_(pick, out)]
            lever = design[out] - carry @ design[pick]
            whole = own + lever @ inverse @ lever.T
            change[free] -= (carry @ change.ravel()[pick]).reshape(-1, 2)
            for j, i in enumerate(free):
                covariance[i] = whole[2 * j : 2 * j + 2, 2 * j : 2 * j + 2]
                statistic[i] = change[i] @ np.linalg.solve(covariance[i], change[i])
        return Fit(
            line=line,
            line_covariance=inverse,
            change=change,
            covariance=covariance,
            statistic=statistic,
            chi2=chi2,
        )


def _inverse(matrix: Floats) -> Floats:
    """Inverse of many two-by-two matrices by their determinants."""
    a, b, c, d = matrix[..., 0, 0], matrix[..., 0, 1], matrix[..., 1, 0], matrix[..., 1, 1]
    adjugate = np.stack([np.stack([d, -b], axis=-1), np.stack([-c, a], axis=-1)], axis=-2)
    return np.asarray(adjugate / (a * d - b * c)[..., None, None])


def limits(changes: Changes, standing: Masks, error: float) -> tuple[Floats, Floats]:
    """
    What chi-square of each set, and of its worst section alone, may come to, (m,) each.

    Half the error probability goes to the joint test, which sees many small changes, and half to that of the worst
    section (Bonferroni over those that stand), which sees one change among many sections. With few degrees of freedom
    the joint test has all of it, and the worst section is not tested alone.
    """
    count, dof = standing.sum(axis=-1), changes.dof(standing)
    few = dof <= FEW
    joint = chi_square_point(np.maximum(dof, 1), np.where(few, 1 - error, 1 - error / 2))
    single = chi_square_point(2, 1 - error / 2 / np.maximum(count, 1))
    return np.asarray(joint), np.where(few, np.inf, single)


def congruent(changes: Changes, standing: Masks, error: float) -> Masks:
    """Which sets of sections can have stood still, all of them, (m, n) in, (m,) out."""
    joint, single = limits(changes, standing, error)
    passed = changes.chi2(standing) <= joint
    testable = changes.dof(standing) > 0
    found = passed | ~testable
    at = np.flatnonzero(passed & testable)
    if len(at):
        worst = np.where(standing[at], np.nan_to_num(changes.statistics(standing[at])), 0.0).max(axis=1)
        found[at] = worst <= single[at]
    return found
