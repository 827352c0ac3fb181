"""The train seen from the lines that ask for the least movement."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.choices import Aim
from alignment.train.moves.linesearch import Faces
from alignment.train.moves.programme import Laid, lay_line, through_tight
from alignment.train.train import Train

__all__ = ["lay"]

Floats = NDArray[np.float64]
ROOM: Final = 0.5
"""Share of the tolerances into which a free line is to let touched sections come: the rest is for creep and tape."""


def lay(
    train: Train,
    fixed: NDArray[np.bool_],
    doubts: Mapping[str, tuple[str, ...]],
    aim: Aim,
    seconds: float,
    waiting: Callable[[], None] | None,
) -> tuple[list[Train], dict[str, Laid]]:
    """
    The train seen from lines that ask for the least, and what was laid.

    With the same bolt ends loose a line may lie in many places. Three are given: where the largest deviation is least,
    through the ends that stay tight by least squares, and on the string itself.
    """
    until = time.monotonic() + seconds
    groups = {string: m for string, m in _groups(train, doubts, fixed).items() if len(m) > 1}
    laid: dict[str, Laid] = {}
    ways: list[dict[str, tuple[float, float]]] = [{}, {}, {}]
    # a line laid along one section alone would call any skew of it none
    for left, (string, members) in zip(range(len(groups), 0, -1), groups.items(), strict=True):
        share = (until - time.monotonic()) / left
        faces = _faces(train, members, fixed)
        found = laid[string] = lay_line(faces, fewest=aim is not Aim.least, seconds=share, waiting=waiting)
        for way, line in zip(ways, (found.line, through_tight(faces, found), np.zeros(2)), strict=True):
            way[string] = _line(train, members, line)
    return [train.on_line(way) for way in ways], laid


def _groups(
    train: Train, doubts: Mapping[str, tuple[str, ...]], fixed: NDArray[np.bool_]
) -> dict[str, NDArray[np.int64]]:
    """Measured sections of each string, entry to exit; not those that are doubted and may be moved."""
    layout = train.layout
    found: dict[str, list[int]] = {}
    for i in np.flatnonzero(train.measured):
        section = layout.sections[i]
        if fixed[i] or section.name not in doubts:
            found.setdefault(layout.rows[section.row].string, []).append(int(i))
    return {string: np.array(members) for string, members in found.items()}


def _faces(train: Train, members: NDArray[np.int64], fixed: NDArray[np.bool_]) -> Faces:
    layout = train.layout
    entry, exit_ = train.ends
    sections = [layout.sections[i] for i in members]
    position = {int(i): k for k, i in enumerate(members)}
    inside = [j for j, (a, b) in enumerate(train.joint_index) if int(a) in position and int(b) in position]
    joints = np.array([[position[int(i)] for i in train.joint_index[j]] for j in inside], dtype=np.int64).reshape(-1, 2)
    gap = np.array([entry.value[b] - exit_.value[a] for a, b in train.joint_index[inside]])
    return Faces(
        deviation=np.stack([entry.value, exit_.value], axis=1)[members],
        x=np.array([[s.start, s.end] for s in sections]),
        bolts=np.array([[s.start + b for b in s.bolts] for s in sections]),
        fixed=fixed[members],
        sign=train.datum.sign[members],
        offset=layout.tolerance.offset,
        square=layout.tolerance.square,
        step=layout.tolerance.step,
        band=ROOM,
        travel=np.inf if layout.moves.travel is None else layout.moves.travel,
        joints=joints,
        nominal=gap - train.steps.value[inside],
    )


def _line(train: Train, members: NDArray[np.int64], line: Floats) -> tuple[float, float]:
    """Shift at the machine's zero mark [mm] and slope of a line told by what it takes off at first and last end."""
    first, last = line
    begin = train.start[members].min()
    end = (train.start + train.length)[members].max()
    slope = (last - first) / (end - begin)
    return float(first - slope * begin), float(slope)
