"""
Which lengths between the corners of a panel can be: what no figure can have was misread or mistyped.

A diagonal joins the ends of two sides, so with both of these measured it makes a triangle with them.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from alignment.panel.corners import DIAGONALS, SIDES

__all__ = ["FAR", "Impossible", "Why", "impossible", "within"]

FAR: Final = 0.25
"""A size farther than this share from the nominal one is taken for a slip of the pen (our judgement, no source)."""
ASKEW: Final = 0.25
"""No end is cut farther off square than this share of the width (our judgement, no source)."""
TRIANGLES: Final = (
    ("from_left", "right", "lead"),
    ("from_left", "left", "tail"),
    ("from_right", "left", "lead"),
    ("from_right", "right", "tail"),
)
"""Each diagonal with the two sides that it makes a triangle with."""
EDGES: Final = ("left", "right")


class Why(enum.StrEnum):
    """What a length disagrees with."""

    nominal = "nominal"
    other_edge = "other edge"
    diagonal = "diagonal"
    triangle = "triangle"


@dataclass(frozen=True, kw_only=True)
class Impossible:
    """
    A length that cannot be.

    Attributes
    ----------
    name : str
        One of `SIDES` and `DIAGONALS`.
    read : float
        As it was read. [mm]
    low, high : float
        What is possible. [mm]
    why : Why
    beside : tuple of str
        The lengths that it disagrees with.
    """

    name: str
    read: float
    low: float
    high: float
    why: Why
    beside: tuple[str, ...] = ()


def within(nominal: float, share: float = FAR) -> tuple[float, float]:
    """What a size may be read as, from its nominal one. [mm]"""
    return (1 - share) * nominal, (1 + share) * nominal


def impossible(measured: Mapping[str, Sequence[float]], *, length: float, width: float) -> list[Impossible]:
    """
    Lengths that no panel of these nominal sizes can have.

    Parameters
    ----------
    measured : mapping
        By name, `SIDES` and `DIAGONALS`; each one or more readings. [mm]
    length, width : float
        Nominal sizes. [mm]

    Returns
    -------
    list of Impossible
        Each length once, in the order of the names: a side far from its nominal size, edges that differ by more than
        two askew ends make of them, a diagonal beyond what those ends make of it, and what breaks the triangle
        inequality [1]_. What hangs on a length that is itself impossible is not held against others.

    References
    ----------
    .. [1] Euclid, Elements, I.20.
    """
    nominal = dict(zip(SIDES, (length, length, width, width), strict=True))
    found: dict[str, Impossible] = {}
    for faults in (
        lambda sound: _far(sound, nominal),
        lambda sound: _unlike_edges(sound, width),
        lambda sound: (*_askew(sound, nominal), *_open_triangles(sound)),
    ):
        for fault in faults({name: readings for name, readings in measured.items() if name not in found and readings}):
            found.setdefault(fault.name, fault)
    return [found[name] for name in (*SIDES, *DIAGONALS) if name in found]


def _far(measured: Mapping[str, Sequence[float]], nominal: Mapping[str, float]) -> Iterator[Impossible]:
    for name, size in nominal.items():
        low, high = within(size)
        for read in measured.get(name, ()):
            if not low <= read <= high:
                yield Impossible(name=name, read=read, low=low, high=high, why=Why.nominal)


def _unlike_edges(measured: Mapping[str, Sequence[float]], width: float) -> Iterator[Impossible]:
    """Edges differ by what the two ends are off square, each one way. Neither is known to be the wrong one."""
    if not all(measured.get(name) for name in EDGES):
        return
    means = {name: float(np.mean(measured[name])) for name in EDGES}
    most = 2 * ASKEW * width
    if abs(means["left"] - means["right"]) > most:
        for name, other in (EDGES, EDGES[::-1]):
            low, high = means[other] - most, means[other] + most
            yield Impossible(name=name, read=means[name], low=low, high=high, why=Why.other_edge, beside=(other,))


def _askew(measured: Mapping[str, Sequence[float]], nominal: Mapping[str, float]) -> Iterator[Impossible]:
    """By the law of cosines, ``D^2 = L^2 + W^2 +- 2 L W sin(angle)``, with the sizes as read where they were read."""
    sizes = {name: float(np.mean(measured[name])) if name in measured else size for name, size in nominal.items()}
    long, wide = (sizes["left"] + sizes["right"]) / 2, (sizes["lead"] + sizes["tail"]) / 2
    low, high = (math.sqrt(long**2 + wide**2 + 2 * sign * ASKEW * long * wide) for sign in (-1, 1))
    for name in DIAGONALS:
        for read in measured.get(name, ()):
            if not low <= read <= high:
                yield Impossible(name=name, read=read, low=low, high=high, why=Why.diagonal)


def _open_triangles(measured: Mapping[str, Sequence[float]]) -> Iterator[Impossible]:
    for diagonal, one, other in TRIANGLES:
        if diagonal in measured and one in measured and other in measured:
            a, b = float(np.mean(measured[one])), float(np.mean(measured[other]))
            for read in measured[diagonal]:
                if not abs(a - b) < read < a + b:
                    low, high = abs(a - b), a + b
                    yield Impossible(
                        name=diagonal, read=read, low=low, high=high, why=Why.triangle, beside=(one, other)
                    )
