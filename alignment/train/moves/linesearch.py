"""
Where to lay a free line so that the fewest bolt ends are moved, joints left aside.

A line is told by what it takes off at the first and last end of the train: a point of the plane. Boxes of that
plane are bounded from below by interval arithmetic, section by section, and split until the best point is boxed in
(branch and bound). This is far quicker than the general programme, whose bounds are weak where a line may go
anywhere; the bound holds for trains with joints as well, since joints can only ask for more.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["Faces", "enclose", "fewest_ends", "search_line"]

Floats = NDArray[np.float64]
NEAR: Final = 1e-6
"""Lengths that count as nothing. [mm]"""
BATCH: Final = 2048
"""Boxes split at a time."""
FORBIDDEN: Final = 10_000
"""Cost of a section that may not move and would be out."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Faces:
    """
    Sections that share one line, as the planner sees them. Lengths in mm.

    Attributes
    ----------
    deviation : (n, 2) array
        At entry and exit end.
    x, bolts : (n, 2) array
        Machine x of the two ends and of the two bolt ends, in any one unit.
    fixed : (n,) bool array
        Sections that must not move.
    sign : (n,) array
        +1 or -1: how what the line takes off enters a section's deviation.
    offset, square, step : float
        Tolerances.
    band : float
        Share of the tolerance into which a section that is touched is to come: room for stops on marks, for the
        creep of tightening and for what the tape cannot tell.
    travel : float
        Largest move either way; infinite where slots do not limit it.
    joints : (j, 2) int array
        Upstream and downstream section of each joint.
    nominal : (j,) array
        What is taken off the difference of deviations at each joint to give the step.
    """

    deviation: Floats
    x: Floats
    bolts: Floats
    fixed: NDArray[np.bool_]
    sign: Floats
    offset: float
    square: float
    step: float
    band: float
    travel: float
    joints: NDArray[np.int64]
    nominal: Floats

    @cached_property
    def lever(self) -> Floats:
        """What a millimetre at each bolt end (last axis) takes off the deviation at each end, (n, 2, 2)."""
        share = (self.x - self.bolts[:, :1]) / (self.bolts[:, 1:] - self.bolts[:, :1])
        return np.stack([1 - share, share], axis=2)

    @cached_property
    def share(self) -> Floats:
        """Where each end lies between the first (0) and the last (1) end of the train, (n, 2)."""
        first = self.x.min()
        return np.asarray((self.x - first) / (self.x.max() - first))

    @property
    def near(self) -> float:
        """Twice as far from the string as any face: no line beyond saves movement worth having."""
        return 2 * float(np.abs(self.deviation).max(initial=0.0) + self.offset)

    @property
    def reach(self) -> float:
        """
        How far from the string a line can be that asks for the fewest bolt ends.

        If it leaves any section alone it passes within tolerance of that section's ends, and so slants no more than
        that section's skew and its tolerance let it; if it leaves none alone, any line does as well.
        """
        skew = np.abs(self.deviation[:, 1] - self.deviation[:, 0])
        slant = (skew + min(self.square, 2 * self.offset)) / (self.share[:, 1] - self.share[:, 0])
        return float(np.abs(self.deviation).max(initial=0.0) + self.offset + slant.max(initial=0.0))

    def line_at(self, low: Floats, high: Floats) -> tuple[Floats, Floats]:
        """Least and most that lines of a box (..., 2) take off at each end, (..., n, 2)."""
        share = self.share
        ends = [a[..., :1, None] * (1 - share) + a[..., 1:, None] * share for a in (low, high)]
        sign = self.sign[:, None]
        return np.where(sign > 0, ends[0], -ends[1]), np.where(sign > 0, ends[1], -ends[0])


def fewest_ends(faces: Faces, low: Floats, high: Floats) -> Floats:
    """
    Bolt ends that any line of a box needs at least, joints left aside.

    Parameters
    ----------
    faces : Faces
        The sections.
    low, high : (b, 2) array
        Corners of the boxes. A box of no size gives the ends that this very line needs, as long as two bolt ends
        of a section can always bring it in.

    Returns
    -------
    (b,) array
    """
    least, most = faces.line_at(low, high)
    share = faces.share
    run = (share[:, 1] - share[:, 0]) * faces.sign
    turn = np.stack([low[:, 1] - high[:, 0], high[:, 1] - low[:, 0]], axis=1)[:, None, :] * run[:, None]
    skew = faces.deviation[:, 1] - faces.deviation[:, 0]
    now = np.stack([faces.deviation[:, 0], faces.deviation[:, 1], skew], axis=1)
    taken_least = np.concatenate([least, turn.min(axis=2)[..., None]], axis=2)
    taken_most = np.concatenate([most, turn.max(axis=2)[..., None]], axis=2)
    from_, to = now - taken_most, now - taken_least
    tolerance = np.array([faces.offset, faces.offset, faces.square])
    alone = ((from_ <= tolerance + NEAR) & (to >= -tolerance - NEAR)).all(axis=2)
    lever = faces.lever
    lever = np.concatenate([lever, lever[:, 1:] - lever[:, :1]], axis=1)
    touched = faces.band * tolerance
    one = np.zeros_like(alone)
    for bolt in (0, 1):
        share_of = lever[..., bolt]
        with np.errstate(divide="ignore", invalid="ignore"):
            a, b = (from_ - touched) / share_of, (to + touched) / share_of
        still = np.abs(share_of) < NEAR
        never = still & ~((from_ <= touched + NEAR) & (to >= -touched - NEAR))
        begin = np.where(still, -np.inf, np.minimum(a, b)).max(axis=2)
        end = np.where(still, np.inf, np.maximum(a, b)).min(axis=2)
        begin, end = np.maximum(begin, -faces.travel), np.minimum(end, faces.travel)
        one |= (begin <= end + NEAR) & ~never.any(axis=2)
    ends = np.where(alone, 0, np.where(faces.fixed, FORBIDDEN, np.where(one, 1, 2)))
    return np.asarray(ends.sum(axis=1), dtype=np.float64)


def search_line(faces: Faces, until: float) -> tuple[Floats, int]:
    """
    Look for the lines that ask for the fewest bolt ends.

    Parameters
    ----------
    faces : Faces
        The sections.
    until : float
        Time on the monotonic clock at which to stop.

    Returns
    -------
    lines : (m, 2) array
        Good lines, best first.
    least : int
        No line needs fewer bolt ends.
    """
    reach = faces.reach
    low, high = np.full((1, 2), -reach), np.full((1, 2), reach)
    bound = fewest_ends(faces, low, high)
    lines, needs = [np.zeros(2)], [float(fewest_ends(faces, np.zeros((1, 2)), np.zeros((1, 2)))[0])]
    while len(bound) and time.monotonic() < until:
        order = np.argsort(bound, kind="stable")
        now, later = order[:BATCH], order[BATCH:]
        a, b = low[now], high[now]
        centre = (a + b) / 2
        need = fewest_ends(faces, centre, centre)
        best = int(need.argmin())
        lines.append(centre[best])
        needs.append(float(need[best]))
        side = np.argmax(b - a, axis=1)[:, None] == np.arange(2)
        low = np.concatenate([low[later], a, np.where(side, centre, a)])
        high = np.concatenate([high[later], np.where(side, centre, b), b])
        fresh = len(later)
        bound = np.concatenate([bound[later], fewest_ends(faces, low[fresh:], high[fresh:])])
        keep = (bound < min(needs)) & ((high - low).max(axis=1) > 1e-5)
        low, high, bound = low[keep], high[keep], bound[keep]
    least = min([*bound, min(needs)])
    order = np.argsort(needs, kind="stable")
    return np.array(lines)[order], int(least)


def enclose(faces: Faces, ends: int) -> tuple[Floats, Floats]:
    """
    Corners of a box that holds every line asking for no more than so many bolt ends.

    The box of all lines is split until it falls into a few thousand parts, those that ask for more are left out, and
    what remains is boxed in.
    """
    reach = faces.reach
    low, high = np.full((1, 2), -reach), np.full((1, 2), reach)
    while len(low) < BATCH and (high - low).max(initial=0.0) > 0.05:
        centre = (low + high) / 2
        side = np.argmax(high - low, axis=1)[:, None] == np.arange(2)
        low, high = (
            np.concatenate([low, np.where(side, centre, low)]),
            np.concatenate([np.where(side, centre, high), high]),
        )
        keep = fewest_ends(faces, low, high) <= ends
        low, high = low[keep], high[keep]
    return low.min(axis=0), high.max(axis=0)
