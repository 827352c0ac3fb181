"""
What a tape, a set of points and a number of repeats can tell, worked out before anyone goes to the machine.

A survey is rehearsed: readings exactly on target, each with the uncertainty it would have, fitted like any other. A
tolerance counts as one that can be proved when something dead true comes out ``ok``, without a question mark, in
nine surveys of ten.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from alignment.instruments import MARKS, Tape
from alignment.machine.layout import Layout, Section
from alignment.machine.survey import Reading, Survey
from alignment.quantiles import noncentrality
from alignment.results import Result
from alignment.train.state import Measurand
from alignment.train.train import Train, fit_train
from alignment.uncertainty import COVERAGE, rounding_kept

__all__ = [
    "PROVED",
    "Budget",
    "Means",
    "Promise",
    "Source",
    "SourceKind",
    "chance_proved",
    "expected",
    "promises",
    "sources",
    "work_out",
]

PROVED: Final = 0.9
"""Share of surveys of something dead true in which it must be proved in."""
MOST_REPEATS: Final = 50
"""More readings of a point than this are asked of nobody."""


@dataclass(frozen=True, kw_only=True)
class Means:
    """With what tape, and how often, each point is read."""

    tape: Tape
    repeats: int = 1


class SourceKind(enum.StrEnum):
    """Where uncertainty comes from."""

    marks = "marks"
    sighting = "sighting"
    """Placing the tape and sighting past the string."""
    tilt = "tilt"
    zero = "zero"
    """The tape's hook, the same at every reading."""
    tilt_mean = "tilt_mean"
    """What tilt does on the average, to all readings alike."""


@dataclass(frozen=True, kw_only=True)
class Source:
    """One source of uncertainty: its standard uncertainty in one reading [mm], and its share of two variances."""

    kind: SourceKind
    u: float
    in_offset: float
    in_skew: float


@dataclass(frozen=True, kw_only=True)
class Promise:
    """
    One tolerance, where it is hardest to prove: whether it can be, and what would make it so.

    Attributes
    ----------
    what : Measurand
    where : str
        Section, or joint.
    tolerance, u : float
        [mm]
    repeats : int or None
        Least number of readings at each point that will do with this tape.
    mark, mark_repeats : float and int, or None
        Coarsest finer mark that will do with as many readings as now [mm]; where none will, the finest one and the
        least number of readings with it.
    apart : float or None
        Least distance between the outer points that will do, within the section. [mm]
    """

    what: Measurand
    where: str
    tolerance: float
    u: float
    repeats: int | None = None
    mark: float | None = None
    mark_repeats: int | None = None
    apart: float | None = None

    @property
    def chance(self) -> float:
        """Share of surveys in which something dead true is proved in."""
        return chance_proved(self.u, self.tolerance)

    @property
    def proved(self) -> bool:
        """Whether it can be proved as things are."""
        return self.chance >= PROVED


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Budget(Result):
    """
    Uncertainty budget of a layout. [mm]

    Attributes
    ----------
    reading : float
        Reading for which the sources are told: the mean of the targets.
    sources : tuple of Source
        Placing, marks and tilt are independent from reading to reading; the tape's zero and the mean of the tilt are
        common to all.
    offset, skew, step : float
        Largest standard uncertainty of an offset (at the worse end), a skew and a step; NaN without joints.
    smallest_slip : float
        Smallest slip found in four surveys of five wherever it is; infinite where some reading is checked by none.
    """

    layout: Layout
    means: Means
    reading: float
    sources: tuple[Source, ...]
    offset: float
    skew: float
    step: float
    smallest_slip: float
    promises: tuple[Promise, ...]

    @property
    def smallest_skew(self) -> float:
        """Smallest skew that can be told from zero, at the section where it is hardest: U. [mm]"""
        return COVERAGE * self.skew


def chance_proved(u: float, tolerance: float) -> float:
    """Share of surveys in which something dead true is proved in: its estimate has to come within T - U."""
    room = tolerance / u - COVERAGE
    return math.erf(room / math.sqrt(2)) if room > 0 else 0.0


def work_out(layout: Layout, *, repeats: int = 1, mark: float | None = None) -> Budget:
    """
    Work out what the readings of a layout will be able to tell.

    Parameters
    ----------
    layout : Layout
    repeats : int
        Readings at each point.
    mark : float, optional
        Another tape's mark in place of the layout's. [mm]

    Returns
    -------
    Budget
        Uncertainties in millimetres, and whether each tolerance can be proved.

    Examples
    --------
    >>> import alignment
    >>> machine = alignment.read_layout(alignment.sample_folder() / "machine.toml")
    >>> all(promise.proved for promise in alignment.budget(machine).promises)
    False
    """
    means = Means(tape=layout.tape if mark is None else replace(layout.tape, mark=mark), repeats=repeats)
    largest = expected(layout, means)
    return Budget(
        layout=layout,
        means=means,
        reading=_usual_reading(layout),
        sources=sources(layout, means),
        offset=largest[Measurand.offset],
        skew=largest[Measurand.square],
        step=largest.get(Measurand.step, math.nan),
        smallest_slip=_smallest_slip(layout, means),
        promises=promises(layout, means),
    )


def expected(layout: Layout, means: Means) -> dict[Measurand, float]:
    """Largest standard uncertainty of what each tolerance is on, by `Promise.what`. [mm]"""
    return {what: float(np.max(us)) for what, us in _us(_rehearse(layout, means)).items()}


def promises(layout: Layout, means: Means) -> tuple[Promise, ...]:
    """Whether each tolerance can be proved, and what would make it so; that is sought, and takes a while."""
    return tuple(_promise(layout, means, what, us) for what, us in _us(_rehearse(layout, means)).items())


def _usual_reading(layout: Layout) -> float:
    """Mean target; half a metre where none is told, since the reading enters by the tilt alone. [mm]"""
    targets = [row.target for row in layout.rows.values() if row.target is not None]
    return float(np.mean(targets)) if targets else 500.0


def _rehearse(layout: Layout, means: Means, *, apart: bool = False) -> Train:
    """Fit of a survey that reads just what is wanted; ``apart`` gives every repeat as a reading of its own."""
    usual, tape = _usual_reading(layout), means.tape
    readings = []
    for section in layout.sections:
        target = layout.rows[section.row].target
        value = (usual if target is None else target) + section.setback
        one = float(tape.reading_u(value))
        for place in section.points:
            reading = Reading(
                section=section.name,
                place=place,
                value=value,
                u=one if apart else float(tape.mean_u(value, means.repeats)),
                text="",
                row=0,
            )
            readings += [reading] * (means.repeats if apart else 1)
    return fit_train(layout, Survey(source="", readings=tuple(readings), tape=tape, record={}))


def _us(train: Train) -> dict[Measurand, np.ndarray[Any, np.dtype[np.float64]]]:
    """Standard uncertainty of everything that is judged, by tolerance. [mm]"""
    found = {Measurand.offset: np.maximum(train.ends[0].u, train.ends[1].u), Measurand.square: train.skew.u}
    if train.layout.joints:
        found[Measurand.step] = train.steps.u
    return found


def sources(layout: Layout, means: Means) -> tuple[Source, ...]:
    """Sources with their shares in the offset and the skew of the section where each is largest."""
    tape = means.tape
    reading = _usual_reading(layout)
    marks, tilt = tape.graduation / math.sqrt(12), math.sqrt(tape.reading_u(reading) ** 2 - tape.reading_u(0.0) ** 2)
    # repeats meet the same mark again, and what the hand does not stir up of the rounding stays in their mean
    kept = float(rounding_kept(math.hypot(tape.set_u, tilt), tape.graduation))
    alike = {
        SourceKind.marks: (marks, (marks**2 - kept**2) / means.repeats + kept**2),
        SourceKind.sighting: (tape.set_u, tape.set_u**2 / means.repeats),
        SourceKind.tilt: (tilt, tilt**2 / means.repeats),
    }
    common = {SourceKind.zero: tape.zero, SourceKind.tilt_mean: float(tape.tilt_mean(reading))}
    independent = sum(variance for _, variance in alike.values())
    absolute = any(r.target is not None for r in layout.rows.values())
    offset = expected(layout, means)[Measurand.offset] ** 2
    shared = {kind: min(u**2 / offset, 1.0) if absolute else 0.0 for kind, u in common.items()}
    rest = max(1 - sum(shared.values()), 0.0)
    return (
        *(
            Source(kind=kind, u=u, in_offset=rest * variance / independent, in_skew=variance / independent)
            for kind, (u, variance) in alike.items()
        ),
        *(Source(kind=kind, u=u, in_offset=shared[kind], in_skew=0.0) for kind, u in common.items()),
    )


def _smallest_slip(layout: Layout, means: Means) -> float:
    lines = _rehearse(layout, means, apart=True).lines
    return float(np.max(lines.detectable(noncentrality())))


def _promise(layout: Layout, means: Means, what: Measurand, us: np.ndarray[Any, np.dtype[np.float64]]) -> Promise:
    # the first of those that differ by rounding alone
    worst = int(np.argmax(us >= np.max(us) * (1 - 1e-9)))
    allowed = layout.tolerance
    tolerance = {Measurand.offset: allowed.offset, Measurand.square: allowed.square, Measurand.step: allowed.step}[what]
    joint = layout.joints[worst] if what is Measurand.step else None
    where = f"{joint.upstream} / {joint.downstream}" if joint else layout.sections[worst].name
    promise = Promise(what=what, where=where, tolerance=tolerance, u=float(us[worst]))
    if promise.proved:
        return promise

    def serves(other: Layout, with_: Means) -> bool:
        return chance_proved(float(np.max(_us(_rehearse(other, with_))[what])), tolerance) >= PROVED

    def repeats(tape: Tape) -> int | None:
        return _least_repeats(lambda n: serves(layout, Means(tape=tape, repeats=n)), means.repeats)

    finer = [replace(means.tape, mark=m) for m in MARKS[layout.units] if m < means.tape.mark * 0.999]
    enough = [(tape.mark, n) for tape in finer if (n := repeats(tape)) is not None]
    mark, with_it = next((pair for pair in enough if pair[1] == means.repeats), enough[-1] if enough else (None, None))
    return replace(
        promise,
        repeats=repeats(means.tape),
        mark=mark,
        mark_repeats=with_it,
        apart=_least_apart(layout, lambda other: serves(other, means)),
    )


def _least_repeats(serves: Callable[[int], bool], now: int) -> int | None:
    """Least number of readings, from as many as now, that serves; None where no number does."""
    low, high = now, MOST_REPEATS
    if serves(now):
        return now
    if not serves(high):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if serves(middle) else (middle, high)
    return high


def _least_apart(layout: Layout, serves: Callable[[Layout], bool]) -> float | None:
    """Least distance of the outer points that serves, the same share of every section; None where none does."""

    def spread(share: float) -> Layout:
        return replace(layout, sections=tuple(_spread(section, share) for section in layout.sections))

    low = max((s.points[-1] - s.points[0]) / s.length for s in layout.sections)
    high = 1.0
    if low > 0.999 or not serves(spread(high)):
        return None
    for _ in range(20):
        middle = (low + high) / 2
        low, high = (low, middle) if serves(spread(middle)) else (middle, high)
    return high * min(s.length for s in layout.sections)


def _spread(section: Section, share: float) -> Section:
    """The section with its points stretched about its middle until the outer ones span a share of its length."""
    first, last = section.points[0], section.points[-1]
    margin = (1 - share) / 2 * section.length
    stretched = (share * section.length) / (last - first)
    return replace(section, points=tuple(margin + (p - first) * stretched for p in section.points))
