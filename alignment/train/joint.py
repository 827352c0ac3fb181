"""The deviations of all section ends together: joint covariance, chance of each section, chance of them all."""

from __future__ import annotations

from collections.abc import Collection
from random import Random
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from alignment.train.chance import chance
from alignment.train.train import Train

__all__ = ["Parts", "Whole", "chance_of_all", "ends_parts", "section_chances"]

Floats = NDArray[np.float64]
DRAWS: Final = 6_000
"""Machines drawn for the chance of all of them: it is then known to 0.007 (one standard deviation) or better."""
SEED: Final = 20_000
TOGETHER: Final = 64
"""Sections whose steps are worked out at once: more would ask for more of what they do not share."""
LARGEST: Final = 400
"""Sections up to which all are drawn with every correlation; beyond, rows count as independent."""


class Parts(NamedTuple):
    """
    What the covariance of the two deviations of each section is made of, (n, 2, 2) each. [mm^2]

    With K what a move keeps of the ends and N what it brings anew, the covariance after it is
    ``K own K' + N + K cross + (K cross)' + rest``.
    """

    own: Floats
    cross: Floats
    rest: Floats

    def after(self, lever: Floats, fresh: Floats) -> Floats:
        """Covariance of each section's deviations after each of k moves, lever and fresh (n, k, 2, 2)."""
        own, cross, rest = self.own[:, None], self.cross[:, None], self.rest[:, None]
        turned, across = np.swapaxes(lever, -1, -2), lever @ cross
        return np.asarray(lever @ own @ turned + fresh + across + np.swapaxes(across, -1, -2) + rest)


def _ends_of_face(train: Train) -> Floats:
    """Deviations at both ends from face, (n, 2, 2)."""
    half, one = train.length / 2, np.ones_like(train.length)
    return np.moveaxis(np.array([[one, -half], [one, half]]), 2, 0)


def _datum_of_ends(train: Train) -> Floats:
    """How both ends take the numbers of the datum, (n, 2, k)."""
    at = np.arange(len(train.start))
    return np.stack([train.datum_terms(at, x) for x in (train.start, train.start + train.length)], axis=1)


def _terms(train: Train) -> tuple[Floats, Floats]:
    """How both ends of every section take faces and datum."""
    return _ends_of_face(train), _datum_of_ends(train)


def ends_parts(train: Train) -> Parts:
    """What each section's covariance is made of."""
    ends, datum = _terms(train)
    cross, among, common = train.shared
    shared = np.einsum("nij,qnj->qni", ends, train.common) + np.einsum("nik,qk->qni", datum, common)
    own = ends @ np.nan_to_num(train.covariance) @ np.swapaxes(ends, 1, 2)
    return Parts(
        own=own,
        cross=ends @ cross @ np.swapaxes(datum, 1, 2),
        rest=datum @ among @ np.swapaxes(datum, 1, 2) + np.einsum("qni,qnj->nij", shared, shared),
    )


class Whole(NamedTuple):
    """Deviations (2 m) of some sections, entry then exit, and their covariance. [mm], [mm^2]"""

    members: NDArray[np.int64]
    value: Floats
    covariance: Floats


def whole(train: Train, members: NDArray[np.int64], terms: tuple[Floats, Floats] | None = None) -> Whole:
    """Every deviation of some measured sections, with every correlation; `terms` are those of `_terms`, if at hand."""
    ends, datum = (term[members] for term in terms or _terms(train))
    count = len(members)
    weight = np.zeros((2 * count, len(train.start), 2))
    rows = np.arange(2 * count)
    weight[rows, np.repeat(members, 2)] = ends.reshape(-1, 2)
    turned = datum.reshape(2 * count, -1)
    cross, among, common = train.shared
    faces = np.einsum("nij,njk->nik", ends, train.adjusted.covariance_times(weight)[members]).reshape(2 * count, -1)
    mixed = np.einsum("nij,njk->nik", ends, cross[members]).reshape(2 * count, -1) @ turned.T
    shared = np.einsum("nij,qnj->qni", ends, train.common[:, members]).reshape(len(common), -1) + common @ turned.T
    value = np.stack([train.ends[0].value, train.ends[1].value], axis=1)[members].ravel()
    covariance = faces + mixed + mixed.T + turned @ among @ turned.T + shared.T @ shared
    return Whole(members=members, value=value, covariance=covariance)


def section_chances(train: Train, settled: Collection[str]) -> Floats:
    """
    Chance that each section is within all of its tolerances, (n,); NaN where it is not measured.

    Parameters
    ----------
    train : Train
    settled : collection of str
        Sections whose steps count for their neighbours.
    """
    found = np.full(len(train.start), np.nan)
    layout = train.layout
    steps: dict[int, list[tuple[int, int, float]]] = {}
    for j, (up, down) in enumerate(train.joint_index):
        step = float(train.steps.value[j])
        if np.isnan(step):
            continue
        for own, other, at in ((int(up), int(down), 1), (int(down), int(up), 0)):
            if layout.sections[other].name in settled:
                steps.setdefault(own, []).append((other, at, step))
    parts = ends_parts(train)
    value = np.stack([train.ends[0].value, train.ends[1].value], axis=1)
    alone = np.array([i for i in np.flatnonzero(train.measured) if i not in steps], dtype=np.int64)
    if len(alone):
        covariance = parts.own + parts.cross + np.swapaxes(parts.cross, 1, 2) + parts.rest
        found[alone] = chance(value[alone], covariance[alone], layout.tolerance)
    terms = _terms(train)
    for count in (1, 2):
        alike = [i for i, beside in steps.items() if len(beside) == count]
        for first in range(0, len(alike), TOGETHER):
            some = alike[first : first + TOGETHER]
            group = np.array(some)
            other, at, step = np.moveaxis(np.array([steps[i] for i in some]), 2, 0)
            covariance = _with_steps(train, group, other.astype(np.int64), at.astype(np.int64), terms)
            found[group] = chance(np.column_stack([value[group], step]), covariance, layout.tolerance)
    return found


def _with_steps(
    train: Train, own: NDArray[np.int64], other: NDArray[np.int64], at: NDArray[np.int64], terms: tuple[Floats, Floats]
) -> Floats:
    """
    Covariance of the deviations of sections and of the steps to their neighbours, (m, 2 + k, 2 + k).

    Parameters
    ----------
    train : Train
    own : (m,) int array
    other, at : (m, k) int arrays
        The neighbours, and at which end they stand: 0 entry, 1 exit.
    terms : tuple
        Of `_terms`.
    """
    near, place = np.unique(np.column_stack([own, other]), return_inverse=True)
    place = 2 * place.reshape(len(own), -1)
    taken = np.column_stack([place[:, 0], place[:, 0] + 1, place[:, 1:] + 1 - at])
    ends = whole(train, near, terms).covariance[taken[:, :, None], taken[:, None, :]]
    # a step is the downstream face less the upstream one
    turn = np.tile(np.eye(taken.shape[1]), (len(own), 1, 1))
    row, number = np.arange(len(own))[:, None], 2 + np.arange(at.shape[1])
    turn[row, number, at], turn[row, number, number] = 1 - 2 * at, 2 * at - 1
    return np.asarray(turn @ ends @ np.swapaxes(turn, 1, 2))


def chance_of_all(train: Train, names: Collection[str]) -> float:
    """
    Chance that some sections, and the joints among them, are all within their tolerances at once.

    Drawn from the joint distribution with a fixed seed, so that the same machine gives the same answer.
    """
    # the standard library's generator is here already, and numpy's is a tenth of the time of a small answer
    layout, rng = train.layout, Random(SEED)  # noqa: S311  # to try chances, not to keep secrets
    members = np.array([i for i in np.flatnonzero(train.measured) if layout.sections[i].name in names], dtype=np.int64)
    rows = np.array([layout.sections[i].row for i in members])
    groups = [members] if len(members) <= LARGEST else [members[rows == row] for row in dict.fromkeys(rows)]
    return float(np.prod([_drawn(train, group, rng) for group in groups if len(group)]))


def _drawn(train: Train, members: NDArray[np.int64], rng: Random) -> float:
    limits = train.layout.tolerance
    joined = whole(train, members)
    scale, turn = np.linalg.eigh(joined.covariance)
    root = turn * np.sqrt(np.maximum(scale, 0.0))
    normal = _normal(rng, DRAWS // 2, len(root))
    half = normal @ root.T
    off = np.concatenate([half, -half]) + joined.value
    entry, exit_ = off[:, 0::2], off[:, 1::2]
    ok = (np.abs(off) <= limits.offset).all(axis=1) & (np.abs(exit_ - entry) <= limits.square).all(axis=1)
    place = {int(i): k for k, i in enumerate(members)}
    for j, (up, down) in enumerate(train.joint_index):
        if int(up) in place and int(down) in place:
            a, b = place[int(up)], place[int(down)]
            gap = entry[:, b] - exit_[:, a]
            nominal = joined.value[2 * b] - joined.value[2 * a + 1] - float(train.steps.value[j])
            ok &= np.abs(gap - nominal) <= limits.step
    return float(ok.mean())


def _normal(rng: Random, rows: int, columns: int) -> Floats:
    """Independent standard normal numbers, by the formula of Box and Muller (1958); `columns` is even."""
    bits = np.frombuffer(rng.randbytes(4 * rows * columns), dtype=np.uint32)
    length, turn = (1.0 + bits).reshape(2, rows, columns // 2) / 2.0**32
    off = np.sqrt(-2 * np.log(length))
    return np.concatenate([off * np.cos(2 * np.pi * turn), off * np.sin(2 * np.pi * turn)], axis=1)
