"""What a plan does not bring in, and why; and the section that is least likely to come right."""

from __future__ import annotations

import enum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from alignment.train.moves.answers import Answer
from alignment.train.moves.choosing import Choice
from alignment.train.state import Measurand, State
from alignment.train.train import Train
from alignment.uncertainty import SAME

__all__ = ["Cause", "Missed", "Weakest", "find_missed", "weakest"]

Floats = NDArray[np.float64]


class Cause(enum.StrEnum):
    """Why something is not brought in."""

    hold = "hold"
    done = "done"
    travel = "travel"
    """The slots end."""
    stops = "stops"
    """No mark or halfway serves."""
    joint = "joint"
    """No mark or halfway serves the section and its joints."""
    tape = "tape"
    """No move that this tape can tell would help."""


class Missed(NamedTuple):
    """Something that the plan does not bring in, and by how much. [mm]"""

    names: tuple[str, ...]
    """The section, or the two of a joint, upstream one first."""
    what: Measurand
    by: float
    cause: Cause


class Weakest(NamedTuple):
    """The section that is least likely to be within all of its tolerances after the moves, steps included."""

    section: str
    chance: float


def weakest(names: list[str], then: Floats, unread: set[str]) -> Weakest | None:
    """The section with the least chance of those that are not to be read again first; `then` as `names`."""
    chances = [(name, float(p)) for name, p in zip(names, then, strict=True) if p == p and name not in unread]
    if not chances:
        return None
    least, p = min(chances, key=lambda pair: pair[1])
    return Weakest(section=least, chance=p)


def find_missed(after: Train, state: State, choice: Choice, done: frozenset[str], unread: set[str]) -> list[Missed]:
    """What is still beyond its tolerance, by the best estimate; nothing of what is to be read again first."""
    layout = after.layout
    found = []

    def cause(*names: str) -> Cause:
        members = [layout.index[name] for name in names]
        if all(layout.sections[i].hold for i in members):
            return Cause.hold
        if all(layout.sections[i].hold or name in done for i, name in zip(members, names, strict=True)):
            return Cause.done
        if any(choice.slot_ends[i] for i in members):
            return Cause.travel
        if any(choice.answers[i] is Answer.stuck for i in members):
            return Cause.tape
        tied = len(names) > 1 or any(names[0] in joint.names for joint in layout.joints)
        return Cause.joint if tied else Cause.stops

    for part in state.sections:
        i = layout.index[part.name]
        if part.name in unread and not (layout.sections[i].hold or part.name in done):
            continue
        for what, judged in ((Measurand.offset, part.worse_end), (Measurand.square, part.skew)):
            if judged is not None and judged.miss > SAME:
                found.append(Missed(names=(part.name,), what=what, by=judged.miss, cause=cause(part.name)))
    for joint in state.joints:
        names = joint.upstream, joint.downstream
        if joint.step is not None and joint.step.miss > SAME and not unread & set(names):
            found.append(Missed(names=names, what=Measurand.step, by=joint.step.miss, cause=cause(*names)))
    return found
