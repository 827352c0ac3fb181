"""
Steps that were measured at joints with a straightedge, taken into what a log knows of the sections on both sides.

A step ties the facing ends of two sections. Along a row these ties are a chain, so what each section hears of the
others comes in two passes, downstream and upstream, exactly. A step counts until either of its sections is moved.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.fitting.filter import Known
from alignment.machine.layout import Layout
from alignment.machine.survey import StepReading, Survey
from alignment.train.chance import Beside
from alignment.train.work.standing import UNLIKELY, Standing, Targets

__all__ = ["Tie", "tied"]

Floats = NDArray[np.float64]
ENTRY: Final = np.array([1.0, 0.0])
EXIT: Final = np.array([0.0, 1.0])


@dataclass(frozen=True, kw_only=True)
class Tie:
    """
    A measured step between the exit end of one section and the entry end of the next.

    Attributes
    ----------
    value, u : float
        How much more the downstream entry end deviates than the upstream exit end. [mm]
    exit, entry : (float, float) or None
        Deviation of either end, and its standard uncertainty, as known without this step and what lies beyond it.
    """

    value: float
    u: float
    exit: tuple[float, float] | None = None
    entry: tuple[float, float] | None = None

    def beside(self, nominal: float, way: int) -> Beside | None:
        """
        The facing end of the neighbour upstream (-1) or downstream (1), given the section's own end.

        Where the own end is, the measured step says where the neighbour's is: the step varies less than the own end.
        """
        other = self.exit if way < 0 else self.entry
        if other is None:
            return None
        value, u = other
        share = self.u**2 / (u**2 + self.u**2)
        shift = ((1 - share) * self.value - nominal) / share
        return Beside(value=value + way * shift, u=u * self.u / math.hypot(u, self.u) / share, share=share)


def tied(
    layout: Layout, log: Survey, standings: Sequence[Standing], wanted: Targets
) -> tuple[list[Standing], dict[tuple[int, int], Tie]]:
    """
    Take in the steps of a log.

    Returns
    -------
    standings : list of Standing
        With what the steps add to what is known.
    ties : dict
        By the places of the upstream and the downstream section in the layout.
    """
    ties = _measured(layout, log, standings, wanted)
    if not ties:
        return list(standings), {}
    down: dict[int, tuple[float, float]] = {}
    up: dict[int, tuple[float, float]] = {}
    for a, b in sorted(ties):
        end = _end(_heard(standings[a].known, ENTRY, down.get(a)), EXIT)
        ties[a, b] = replace(ties[a, b], exit=end)
        if end is not None:
            down[b] = end[0] + ties[a, b].value, math.hypot(end[1], ties[a, b].u)
    for a, b in sorted(ties, reverse=True):
        end = _end(_heard(standings[b].known, EXIT, up.get(b)), ENTRY)
        ties[a, b] = replace(ties[a, b], entry=end)
        if end is not None:
            up[a] = end[0] - ties[a, b].value, math.hypot(end[1], ties[a, b].u)
    found = [
        replace(s, known=_heard(_heard(s.known, ENTRY, down.get(i)), EXIT, up.get(i))) for i, s in enumerate(standings)
    ]
    return found, ties


def _measured(
    layout: Layout, log: Survey, standings: Sequence[Standing], wanted: Targets
) -> dict[tuple[int, int], Tie]:
    """Steps that still hold, the mean of repeats; those that the tape contradicts are left out: `solve` flags them."""
    moved = {move.section: move.row for move in sorted(log.moves, key=lambda move: move.row)}
    by_pair: dict[tuple[int, int], list[StepReading]] = {}
    for step in log.steps:
        if step.row > max(moved.get(step.upstream, 0), moved.get(step.downstream, 0)):
            by_pair.setdefault((layout.index[step.upstream], layout.index[step.downstream]), []).append(step)
    found = {}
    for (a, b), steps in by_pair.items():
        weight = np.array([step.u**-2 for step in steps])
        value = float(np.average([step.value for step in steps], weights=weight))
        value -= float(wanted.value[b] - wanted.value[a])
        u = 1 / math.sqrt(float(weight.sum()))
        ends = _end(standings[a].known, EXIT), _end(standings[b].known, ENTRY)
        if math.isnan(value):
            continue
        if ends[0] is not None and ends[1] is not None:
            apart = abs(value - (ends[1][0] - ends[0][0]))
            if apart > UNLIKELY * math.sqrt(u**2 + ends[0][1] ** 2 + ends[1][1] ** 2):
                continue
        found[a, b] = Tie(value=value, u=u)
    return found


def _heard(known: Known, end: Floats, said: tuple[float, float] | None) -> Known:
    """What is known once a neighbour has told where an end is."""
    return known if said is None else known.observed(end, said[0], said[1] ** 2)


def _end(known: Known, end: Floats) -> tuple[float, float] | None:
    """Deviation of an end and its standard uncertainty; None where it is not known."""
    if not known.complete:
        return None
    return float(end @ known.mean), math.sqrt(float(end @ known.covariance @ end))
