"""How a station train stands: every section, joint and opening judged."""

from __future__ import annotations

import enum
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from alignment.train.across import Across, levels, openings
from alignment.train.joint import section_chances
from alignment.train.straightness import RowStraightness, straightness
from alignment.train.train import Train
from alignment.uncertainty import Judged, Verdict, worst

__all__ = ["EndState", "JointState", "Measurand", "SectionState", "State", "judge"]


class Measurand(enum.StrEnum):
    """What is judged of sections and joints."""

    offset = "offset"
    square = "square"
    step = "step"


class EndState(NamedTuple):
    """One end of a section's fitted face. [mm]"""

    reading: float
    target: float
    deviation: Judged


@dataclass(frozen=True, kw_only=True)
class SectionState:
    """
    One section. `offset`, `skew` and the ends are None where it was not measured enough.

    `offset` is the deviation at mid-length; its verdict and probability are those of the worse end.
    """

    name: str
    row: str
    readings: int
    dof: int
    chi2: float
    grown: float = 1.0
    """By how much u was grown, since readings scatter."""
    chance: float | None = None
    """That the section is within all of its tolerances, steps to settled neighbours included."""
    offset: Judged | None = None
    skew: Judged | None = None
    entry: EndState | None = None
    exit: EndState | None = None

    @property
    def measured(self) -> bool:
        """Whether the section was read at two distinct points at least."""
        return self.skew is not None

    @property
    def worse_end(self) -> Judged | None:
        """The end that decides the offset's verdict."""
        if self.entry is None or self.exit is None:
            return None
        return max(self.entry.deviation, self.exit.deviation, key=lambda d: (d.verdict.rank, -d.p_in))

    @property
    def verdict(self) -> Verdict:
        """Worse of offset and skew; unknown where the section was not measured enough."""
        if self.skew is None or self.worse_end is None:
            return Verdict.unknown
        return worst([self.worse_end.verdict, self.skew.verdict])


class JointState(NamedTuple):
    """One joint: its step, positive where the downstream face is farther from the string."""

    upstream: str
    downstream: str
    step: Judged | None


@dataclass(frozen=True, kw_only=True)
class State:
    """A whole train."""

    sections: tuple[SectionState, ...]
    joints: tuple[JointState, ...]
    openings: tuple[Across, ...]
    """Clear distance between facing rows."""
    tapers: tuple[Judged, ...]
    """By how much each opening grows toward the exit."""
    levels: tuple[Across, ...]
    """How much higher a row of heights lies than the one before it."""
    straightness: tuple[RowStraightness, ...]

    @property
    def verdict(self) -> Verdict:
        """
        Worst verdict of all sections and joints; one that was not measured leaves it unknown at best.

        Openings are left out: strings that are not parallel make a taper too, and no bolt of a section cures that.
        """
        steps = [Verdict.unknown if j.step is None else j.step.verdict for j in self.joints]
        return worst([s.verdict for s in self.sections] + steps)

    @property
    def unmeasured(self) -> list[str]:
        """Sections that were not read at two distinct points, and so are not judged."""
        return [s.name for s in self.sections if not s.measured]

    @property
    def passes(self) -> bool:
        """Whether everything was measured and is ok or ok?, openings included."""
        return self.verdict.accepted and all(t.verdict.accepted for t in self.tapers)


def judge(train: Train, chances: ArrayLike | None = None) -> State:
    """
    Judge a fitted train against its layout's tolerances.

    Parameters
    ----------
    train : Train
    chances : (n,) array, optional
        Chance of each section; by default without the steps to its neighbours, of which none counts as settled.
    """
    chance = section_chances(train, ()) if chances is None else np.asarray(chances)
    tolerance = train.layout.tolerance
    readings = [(train.reading_at(x), train.target_at(x)) for x in (train.start, train.start + train.length)]
    sections = []
    for i, section in enumerate(train.layout.sections):
        count, dof = int(train.lines.count[i]), int(train.lines.dof[i])
        if not train.measured[i]:
            sections.append(SectionState(name=section.name, row=section.row, readings=count, dof=0, chi2=0.0))
            continue
        entry, exit_ = (
            EndState(
                reading=float(reading[i]),
                target=float(target[i]),
                deviation=Judged(value=float(end.value[i]), u=float(end.u[i]), tolerance=tolerance.offset),
            )
            for (reading, target), end in zip(readings, train.ends, strict=True)
        )
        sections.append(
            SectionState(
                name=section.name,
                row=section.row,
                readings=count,
                dof=dof,
                chi2=float(train.lines.chi2[i]) if dof else 0.0,
                grown=float(train.birge[i]),
                chance=float(chance[i]),
                offset=Judged(
                    value=float(train.offset.value[i]), u=float(train.offset.u[i]), tolerance=tolerance.offset
                ),
                skew=Judged(value=float(train.skew.value[i]), u=float(train.skew.u[i]), tolerance=tolerance.square),
                entry=entry,
                exit=exit_,
            )
        )
    steps = train.steps
    joints = [
        JointState(
            upstream=joint.upstream,
            downstream=joint.downstream,
            step=None if value != value else Judged(value=float(value), u=float(u), tolerance=tolerance.step),
        )
        for joint, value, u in zip(train.layout.joints, steps.value, steps.u, strict=True)
    ]
    across = openings(train)
    return State(
        sections=tuple(sections),
        joints=tuple(joints),
        openings=across,
        tapers=tuple(Judged(value=o.change, u=o.change_u, tolerance=tolerance.opening) for o in across),
        levels=levels(train),
        straightness=straightness(train),
    )
