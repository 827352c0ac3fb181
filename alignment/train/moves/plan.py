"""The moves: which bolt end of which section, how far, which way, and the reading to look for at the tape."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from alignment.choices import Aim, Line
from alignment.machine.layout import Section
from alignment.train.moves.linesearch import Faces
from alignment.train.moves.programme import Notches, plan_notches
from alignment.train.state import State, judge
from alignment.train.train import Train
from alignment.uncertainty import SAME

__all__ = ["Missed", "Plan", "Step", "Watch", "plan_moves"]

Floats = NDArray[np.float64]
SECONDS: Final = 24.0
"""Time that planning may take."""
ENDS: Final = ("entry", "exit")


@dataclass(frozen=True, kw_only=True)
class Watch:
    """A point and what the tape reads there before and after a step, by the fitted face. [mm]"""

    point: str
    place: float
    read: float
    """What was read there: the mean of repeats."""
    before: float
    after: float


@dataclass(frozen=True, kw_only=True)
class Step:
    """
    One bolt end to move.

    Attributes
    ----------
    section : str
        Its section.
    loosen, snug : str
        Bolt end to loosen, and the one that stays snug as the pivot; `snug` is empty where both are loose.
    move : float
        Toward the string positive. [mm]
    watch, other : Watch
        Point nearest the moving bolt end, and the one at the far end; after all moves of this section.
    """

    section: str
    loosen: str
    snug: str
    move: float
    watch: Watch
    other: Watch
    way: str
    """Direction in words: ``toward the string``, ``away from the string``; ``up`` or ``down`` for heights."""

    @property
    def direction(self) -> str:
        """``toward`` or ``away``; ``up`` or ``down`` for heights."""
        return self.way.partition(" ")[0]


@dataclass(frozen=True, kw_only=True)
class Missed:
    """Something that the plan does not bring in, and by how much. [mm]"""

    where: str
    what: str
    by: float
    why: str


@dataclass(frozen=True, kw_only=True)
class Plan:
    """
    Moves of a whole machine.

    Attributes
    ----------
    before, after : Train
        The train as measured, and as it will be; under a free line both are seen from the line chosen.
    moves : (n, 2) array
        Move of each section's entry and exit bolt end, toward the string positive. [mm]
    optimal : bool
        Whether it is proved that no plan is better.
    ends_gap : int
        A better plan may have fewer bolt ends by no more than this.
    movement_gap : float
        A plan with as few bolt ends may move them by less, by no more than this. [mm]
    """

    aim: Aim
    before: Train
    after: Train
    state: State
    moves: Floats
    steps: tuple[Step, ...]
    missed: tuple[Missed, ...]
    optimal: bool
    ends_gap: int = 0
    movement_gap: float = 0.0
    beyond_band: tuple[str, ...] = field(default=())
    """Sections touched that come to lie inside the tolerance but not inside its band."""

    @property
    def bolt_ends(self) -> int:
        """Bolt ends to loosen."""
        return len(self.steps)

    @property
    def total(self) -> float:
        """Movement of all bolt ends together. [mm]"""
        return float(np.abs(self.moves).sum())


def plan_moves(
    train: Train, *, aim: Aim = Aim.fewest, done: frozenset[str] = frozenset(), seconds: float = SECONDS
) -> Plan:
    """
    Plan the moves that bring a train within its tolerances.

    A section left alone need only be within tolerance; one that is touched is brought inside the layout's band of
    it. Where slots do not allow that, the whole tolerance is aimed at, then the nearest possible.

    Parameters
    ----------
    train : Train
        As measured. With ``line = free`` the planner also chooses shift and slope of each string.
    aim : Aim
        What makes a plan better.
    done : frozenset of str
        Sections that are finished and are not to be touched again.
    seconds : float
        Time to spend at the most; a plan not proved best by then says so.

    Returns
    -------
    Plan
    """
    moves = np.zeros((len(train.start), 2))
    lines: dict[str, tuple[float, float]] = {}
    optimal, ends_gap, movement_gap = True, 0, 0.0
    fixed = np.array([s.hold or s.name in done for s in train.layout.sections])
    free = train.line is Line.free
    if aim is Aim.exact and not free:
        moves = _to_target(train, fixed)
    else:
        until = time.monotonic() + seconds
        groups = _groups(train)
        for left, (string, members) in zip(range(len(groups), 0, -1), groups.items(), strict=True):
            faces = _faces(train, members, fixed)
            share = (until - time.monotonic()) / left
            # a line laid along one section alone would call any skew of it none
            own_line = free and len(members) > 1
            found = plan_notches(faces, fewest=aim is Aim.fewest, free=own_line, seconds=share)
            moves[members] = found.moves * train.layout.moves.notch
            if own_line:
                lines[string] = _line(train, members, found)
            optimal = optimal and found.optimal
            ends_gap += 0 if found.optimal or aim is not Aim.fewest else found.ends - found.least_ends
            gap = 0 if found.optimal else found.movement - found.least_movement
            movement_gap += gap * train.layout.moves.notch
    before = train.on_line(lines) if free else train
    if aim is Aim.exact and free:
        moves = _to_target(before, fixed)
        optimal, ends_gap, movement_gap = True, 0, 0.0
    after = before.moved(moves)
    state = judge(after)
    return Plan(
        aim=aim,
        before=before,
        after=after,
        state=state,
        moves=moves,
        steps=tuple(_steps(before, after, moves)),
        missed=tuple(_missed(after, state, moves, fixed)),
        optimal=optimal,
        ends_gap=ends_gap,
        movement_gap=movement_gap,
        beyond_band=tuple(_beyond_band(state, moves, train.layout.moves.band)),
    )


def _groups(train: Train) -> dict[str, NDArray[np.int64]]:
    """Measured sections of each string, entry to exit."""
    layout = train.layout
    found: dict[str, list[int]] = {}
    for i in np.flatnonzero(train.measured):
        found.setdefault(layout.rows[layout.sections[i].row].string, []).append(int(i))
    return {string: np.array(members) for string, members in found.items()}


def _faces(train: Train, members: NDArray[np.int64], fixed: NDArray[np.bool_]) -> Faces:
    layout, rules = train.layout, train.layout.moves
    entry, exit_ = train.ends
    sections = [layout.sections[i] for i in members]
    position = {int(i): k for k, i in enumerate(members)}
    inside = [j for j, (a, b) in enumerate(train.joint_index) if int(a) in position and int(b) in position]
    joints = np.array([[position[int(i)] for i in train.joint_index[j]] for j in inside], dtype=np.int64).reshape(-1, 2)
    gap = np.array([entry.value[b] - exit_.value[a] for a, b in train.joint_index[inside]])
    return Faces(
        deviation=np.stack([entry.value, exit_.value], axis=1)[members] / rules.notch,
        x=np.array([[s.start, s.end] for s in sections]),
        bolts=np.array([[s.start + b for b in s.bolts] for s in sections]),
        fixed=fixed[members],
        sign=train.datum.sign[members],
        offset=layout.tolerance.offset / rules.notch,
        square=layout.tolerance.square / rules.notch,
        step=layout.tolerance.step / rules.notch,
        band=rules.band,
        travel=np.inf if rules.travel is None else rules.travel / rules.notch,
        joints=joints,
        nominal=(gap - train.steps.value[inside]) / rules.notch,
    )


def _line(train: Train, members: NDArray[np.int64], found: Notches) -> tuple[float, float]:
    """Shift at the machine's zero mark [mm] and slope of a line told by what it takes off at first and last end."""
    first, last = found.line * train.layout.moves.notch
    begin = train.start[members].min()
    end = (train.start + train.length)[members].max()
    slope = (last - first) / (end - begin)
    return float(first - slope * begin), float(slope)


def _to_target(train: Train, fixed: NDArray[np.bool_]) -> Floats:
    """Moves that bring both ends of every section that is out to their target, to the nearest notch."""
    layout, rules = train.layout, train.layout.moves
    out = np.array([s.measured and not s.verdict.inside for s in judge(train).sections])
    out &= ~fixed
    moves = np.zeros((len(out), 2))
    for bolt in (0, 1):
        at = train.deviation([s.start + s.bolts[bolt] for s in layout.sections]).value
        notches = np.round(at / rules.notch)
        if rules.travel is not None:
            most = np.floor(rules.travel / rules.notch + SAME)
            notches = np.clip(notches, -most, most)
        moves[out, bolt] = notches[out] * rules.notch
    return moves


def _steps(before: Train, after: Train, moves: Floats) -> list[Step]:
    """Steps in the order of work: row by row, entry to exit."""
    read: dict[str, dict[float, list[float]]] = {}
    for reading in before.survey.fitted:
        read.setdefault(reading.section, {}).setdefault(reading.place, []).append(reading.value)
    steps = []
    for i, section in enumerate(before.layout.sections):
        loose = [bolt for bolt in (0, 1) if moves[i, bolt]]
        row = before.layout.rows[section.row]
        for bolt in loose:
            places = sorted(read[section.name])
            near = min(places, key=lambda place: abs(place - section.bolts[bolt]))
            far = max(places, key=lambda place: abs(place - near))
            watch, other = (
                _watch(before, after, i, section, place, float(np.mean(read[section.name][place])))
                for place in (near, far)
            )
            steps.append(
                Step(
                    section=section.name,
                    loosen=ENDS[bolt],
                    snug="" if len(loose) == 2 else ENDS[1 - bolt],
                    move=float(moves[i, bolt]),
                    way=row.toward if moves[i, bolt] > 0 else row.away,
                    watch=watch,
                    other=other,
                )
            )
    return steps


def _watch(before: Train, after: Train, i: int, section: Section, place: float, read: float) -> Watch:
    x = section.start + place
    return Watch(
        point=section.point_name(place, before.layout.units),
        place=place,
        read=read,
        before=float(before.reading_at(x)[i]),
        after=float(after.reading_at(x)[i]),
    )


def _missed(after: Train, state: State, moves: Floats, fixed: NDArray[np.bool_]) -> list[Missed]:
    """What is still beyond its tolerance, by the best estimate."""
    layout = after.layout
    found = []

    def why(*sections: str) -> str:
        members = [layout.index[name] for name in sections]
        if fixed[members].all():
            return "on hold" if all(layout.sections[i].hold for i in members) else "done already"
        travel = layout.moves.travel
        # one more notch would leave the slot
        if travel is not None and any((np.abs(moves[i]) + layout.moves.notch > travel + SAME).any() for i in members):
            return "the slots end"
        tied = len(sections) > 1 or any(sections[0] in (j.upstream, j.downstream) for j in layout.joints)
        return f"no whole number of notches serves it{' and its joints' if tied else ''}"

    for part in state.sections:
        for what, judged in (("offset", part.worse_end), ("square", part.skew)):
            if judged is not None and judged.miss > SAME:
                found.append(Missed(where=part.name, what=what, by=judged.miss, why=why(part.name)))
    for joint in state.joints:
        if joint.step is not None and joint.step.miss > SAME:
            names = joint.upstream, joint.downstream
            found.append(Missed(where=" / ".join(names), what="step", by=joint.step.miss, why=why(*names)))
    return found


def _beyond_band(state: State, moves: Floats, band: float) -> list[str]:
    names = []
    for section, own in zip(state.sections, moves, strict=True):
        if own.any() and section.entry and section.exit and section.skew and section.verdict.inside:
            parts = (section.entry.deviation, section.exit.deviation, section.skew)
            if any(abs(p.value) > band * p.tolerance + SAME for p in parts):
                names.append(section.name)
    return names
