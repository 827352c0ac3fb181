"""The moves: which bolt end of which section, which way, and the mark of the tape at which to stop."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from alignment.choices import Aim, Line
from alignment.lengths import INCH, Units
from alignment.machine.layout import Direction
from alignment.results import Result
from alignment.train.joint import chance_of_all, ends_parts, section_chances
from alignment.train.moves.answers import Answer, ReadAgain, unread
from alignment.train.moves.choosing import Choice, choose
from alignment.train.moves.missed import Missed, Weakest, find_missed, weakest
from alignment.train.moves.stops import ENDS, watch_place
from alignment.train.state import State, judge
from alignment.train.train import Train

if TYPE_CHECKING:
    from alignment.train.moves.programme import Laid

__all__ = ["Other", "Plan", "Step", "Watch", "plan_moves", "planned_moves"]

Floats = NDArray[np.float64]
SECONDS: Final = 24.0
"""Time that laying a free line may take."""
PLAUSIBLE: Final = {Units.inch: float(INCH) / 2, Units.mm: 12.0}
"""How far a bolt end goes at the most where slots are not told. [mm]"""


class Watch(NamedTuple):
    """The point at which a loose bolt end is watched. [mm]"""

    point: str
    place: float
    """From the section's entry end."""
    before: float
    """What the tape reads there now, by the fitted face."""
    read: float
    """What was read there, the mean of repeats; as `before` where it was not read."""
    target: float
    """The reading wanted there."""
    stop: float
    """At which mark, or halfway between which, to stop."""


class Other(NamedTuple):
    """The point at the far end of the section, what it reads before and after, and what is wanted there. [mm]"""

    point: str
    place: float
    before: float
    after: float
    target: float


@dataclass(frozen=True, kw_only=True)
class Step:
    """
    One bolt end to move.

    Attributes
    ----------
    section : str
    loosen, pivot : str
        Bolt end to loosen, and the one that stays tight; `pivot` is empty where both are loose.
    move : float
        By the best estimate, toward the string positive. [mm]
    direction : Direction
    watch, other : Watch and Other
        Point nearest the moving bolt end, and the one at the far end after all moves of this section.
    """

    section: str
    loosen: str
    pivot: str
    move: float
    direction: Direction
    watch: Watch
    other: Other


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Plan(Result):
    """
    What is to be done with a whole machine.

    Attributes
    ----------
    before, after : Train
        The train as measured, and as it will be, with what will then be known; under a free line both are seen from
        the line chosen.
    state : State
        The train after the moves, judged.
    moves : (n, 2) array
        Move of each section's entry and exit bolt end by the best estimate, toward the string positive. [mm]
    answers : tuple of Answer
        For each section of the layout; ``leave`` where it is on hold, done or not measured.
    read_again : tuple of ReadAgain
        What is to be read before it is moved or left. Nothing of it is among the steps.
    now, then : (n,) array
        Chance of each section before and after; NaN where it is not measured.
    weakest : Weakest or None
    optimal : bool
        Whether it is proved that no plan is better. On a line that is given it always is; a free line is proved best
        by the bolt ends that it asks for.
    ends_gap : int
        A better line may ask for fewer bolt ends by no more than this.
    movement_gap : float
        A line with as few bolt ends may move them by less, by no more than this. [mm]
    """

    aim: Aim
    before: Train
    after: Train
    state: State
    moves: Floats
    steps: tuple[Step, ...]
    missed: tuple[Missed, ...]
    answers: tuple[Answer, ...]
    read_again: tuple[ReadAgain, ...]
    now: Floats
    then: Floats
    weakest: Weakest | None
    optimal: bool
    ends_gap: int = 0
    movement_gap: float = 0.0
    stuck: tuple[str, ...] = field(default=())
    """Sections that neither a reading nor a move would help."""

    @cached_property
    def chance(self) -> float:
        """
        That all sections are within tolerance afterwards, steps included, but for those to be read again first.

        Worked out where it is asked for: it takes as long as all the rest of a plan.
        """
        return chance_of_all(self.after, {s.name for s in self.before.layout.sections} - self.unread)

    @property
    def unread(self) -> set[str]:
        """Sections that are to be read again first."""
        return unread(self.read_again)

    @property
    def bolt_ends(self) -> int:
        """Bolt ends to loosen."""
        return len(self.steps)

    @property
    def total(self) -> float:
        """Movement of all bolt ends together. [mm]"""
        return float(np.abs(self.moves).sum())

    @property
    def headline(self) -> str:
        """Size of the job."""
        return f"{self.bolt_ends} bolt ends"


def plan_moves(
    train: Train,
    *,
    aim: Aim = Aim.fewest,
    done: frozenset[str] = frozenset(),
    doubted: Mapping[str, tuple[str, ...]] | None = None,
    seconds: float = SECONDS,
    waiting: Callable[[], None] | None = None,
) -> Plan:
    """
    Answer for each section whether to leave it, read it again or move it, and plan the moves.

    Parameters
    ----------
    train : Train
        As measured. With ``line = free`` the planner also chooses shift and slope of each string.
    aim : Aim
        What makes a plan better.
    done : frozenset of str
        Sections that are finished and are not to be touched again.
    doubted : mapping, optional
        Sections with readings that are doubted, and the points to read again.
    seconds : float
        Time to spend at the most on a free line.
    waiting : callable, optional
        Called several times a second while a free line is laid.

    Returns
    -------
    Plan
    """
    before, choice, laid = _chosen(train, aim, done, doubted or {}, seconds, waiting)
    after = before.moved(choice.ends, choice.lever, choice.fresh)
    names = [s.name for s in train.layout.sections]
    waiting_for = unread(choice.read_again)
    still = {name for name, moves in zip(names, choice.moves, strict=True) if not moves.any()} - waiting_for
    settled = set(names) - waiting_for
    now, then = section_chances(before, still), section_chances(after, settled)
    state = judge(after, chances=then)
    return Plan(
        aim=aim,
        before=before,
        after=after,
        state=state,
        moves=choice.moves,
        steps=tuple(_steps(before, after, choice)),
        missed=tuple(find_missed(after, state, choice, done, waiting_for)),
        answers=choice.answers,
        read_again=choice.read_again,
        now=now,
        then=then,
        weakest=weakest(names, then, waiting_for),
        optimal=all(line.optimal for line in laid.values()),
        ends_gap=sum(line.ends - line.least_ends for line in laid.values() if not line.optimal and aim is Aim.fewest),
        movement_gap=sum(line.movement - line.least_movement for line in laid.values() if not line.optimal),
        stuck=tuple(n for n, a in zip(names, choice.answers, strict=True) if a is Answer.stuck),
    )


def planned_moves(train: Train, *, aim: Aim = Aim.fewest) -> Floats:
    """How far each bolt end of each section is to go, and nothing of what that is worth. (n, 2) [mm]"""
    return _chosen(train, aim, frozenset(), {}, SECONDS, None)[1].moves


def _chosen(
    train: Train,
    aim: Aim,
    done: frozenset[str],
    doubted: Mapping[str, tuple[str, ...]],
    seconds: float,
    waiting: Callable[[], None] | None,
) -> tuple[Train, Choice, dict[str, Laid]]:
    """The moves, the train that they start from, and the lines that were laid for them."""
    fixed = np.array([s.hold or s.name in done for s in train.layout.sections])
    laid: dict[str, Laid] = {}
    seen = [train]
    if train.line is Line.free:
        from alignment.train.moves.free_line import lay

        seen, laid = lay(train, fixed, doubted, aim, seconds, waiting)
    tried = [(one, choose(one, ends_parts(one), fixed, doubted, aim, _travel(train))) for one in seen]
    return *min(tried, key=lambda pair: pair[1].cost), laid


def _travel(train: Train) -> float:
    """How far a bolt end goes in sense: its slot, or what is plausible. [mm]"""
    told = train.layout.moves.travel
    return PLAUSIBLE[train.layout.units] if told is None else told


def _steps(before: Train, after: Train, choice: Choice) -> list[Step]:
    """Steps in the order of work: row by row, entry to exit."""
    layout, units = before.layout, before.layout.units
    read: dict[tuple[str, float], list[float]] = {}
    for reading in before.survey.fitted:
        read.setdefault((reading.section, round(reading.place, 6)), []).append(reading.value)
    ends = [(i, end) for i in range(len(layout.sections)) for end in (0, 1) if choice.loose[i, end]]
    sections = [layout.sections[i] for i, _ in ends]
    both = [bool(choice.loose[i].all()) for i, _ in ends]
    places = [
        (section.points[0], section.points[-1])[end] if two else watch_place(section, end)
        for section, (_, end), two in zip(sections, ends, both, strict=True)
    ]
    fars = [
        max(section.points, key=lambda other: abs(other - place))  # called at once
        for section, place in zip(sections, places, strict=True)
    ]
    at = np.array([i for i, _ in ends], dtype=np.int64)
    x, x_far = (np.array([s.start + p for s, p in zip(sections, those, strict=True)]) for those in (places, fars))
    now, target = before.readings(at, x), before.targets(at, x)
    far_now, far_then, far_target = before.readings(at, x_far), after.readings(at, x_far), before.targets(at, x_far)
    steps = []
    for k, ((i, end), section, two) in enumerate(zip(ends, sections, both, strict=True)):
        told = read.get((section.name, round(places[k], 6)))
        steps.append(
            Step(
                section=section.name,
                loosen=ENDS[end],
                pivot="" if two else ENDS[1 - end],
                move=float(choice.moves[i, end]),
                direction=layout.rows[section.row].direction(float(choice.moves[i, end])),
                watch=Watch(
                    point=section.point_name(places[k], units),
                    place=places[k],
                    before=float(now[k]),
                    read=float(np.mean(told)) if told else float(now[k]),
                    target=float(target[k]),
                    stop=float(choice.stop[i, end]),
                ),
                other=Other(
                    point=section.point_name(fars[k], units),
                    place=fars[k],
                    before=float(far_now[k]),
                    after=float(far_then[k]),
                    target=float(far_target[k]),
                ),
            )
        )
    return steps
