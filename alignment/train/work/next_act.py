"""
The one next act that a job log asks for: read, move, read the first point again, or done.

The log alone decides: the same log gives the same act, whoever asks. Work goes row by row, entry to exit, one section
at a time until it is done.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from alignment.errors import check_names
from alignment.machine.layout import Layout, Section
from alignment.machine.survey import Reading, Survey
from alignment.results import Result
from alignment.train.chance import Beside
from alignment.train.faces import corrections
from alignment.train.flags.flag import Flag
from alignment.train.moves.answers import DONE, UNLIKELY, Answer
from alignment.train.moves.stops import at_place
from alignment.train.work.creep import Creep, learn
from alignment.train.work.deciding import Decision, Judged, Rules, Stop, decide
from alignment.train.work.doubts import doubts_of, read_once
from alignment.train.work.odds import Odds
from alignment.train.work.standing import Standing, Targets, creeps, stand, targets
from alignment.train.work.steps import tied

__all__ = ["Act", "Next", "SectionWork", "State", "next_act"]

STRING_MOVED: Final = 2.8
"""Standard uncertainties between closing and opening beyond which the string is asked about: 1 in 200 by chance."""
BOLT: Final = 2.2
"""
The layout's worth of a bolt end is set against the chance right after a move. Here the chance after reading, and
perhaps moving, again is reckoned. It is higher, so a bolt end has to earn more. By simulation (tests/tools/cure.py).
"""
READING: Final = 0.0022
"""
What one reading is worth, as a share of the chance; by simulation too. Less, by the square, where tolerances are finer
than the mark: there it is readings that decide.
"""
MOST: Final = 8
"""Readings of one point between moves at most."""
AGAIN: Final = 0.12
"""A section that was left for a later one is taken up again only where its chance is so much less than `DONE`."""


class Act(enum.StrEnum):
    """What is to be done next."""

    read = "read"
    move = "move"
    close = "close"
    """Read the first point of a string again."""
    done = "done"


class State(enum.StrEnum):
    """How far the work on a section has come."""

    unread = "unread"
    doubtful = "doubtful"
    """To be read again before it is moved or left."""
    move = "move"
    moved = "moved"
    """To be read again, since it was moved."""
    done = "done"
    kept = "kept"
    """On hold."""
    stuck = "stuck"
    """No move within the slots, or none that this tape can tell, would help."""


class Why(enum.StrEnum):
    """Why an act is asked for."""

    first = "first"
    """It was never read."""
    moved = "moved"
    """It was moved."""
    misread = "misread"
    """Readings contradict each other, or what was known before."""
    unsure = "unsure"
    """It may be within its tolerances or not."""
    which = "which"
    """Another reading may save a bolt end."""
    out = "out"
    """It is likelier out than a move is dear."""
    string = "string"
    """Whether the string stood still is to be seen."""
    string_again = "string_again"
    """It did not read as before."""
    string_moved = "string_moved"
    """It did not."""
    finished = "finished"
    left = "left"
    """All that can be done is done, and some sections are still not sure to be within tolerance."""


@dataclass(frozen=True, kw_only=True)
class SectionWork:
    """One section in the work."""

    section: Section
    state: State
    standing: Standing
    decision: Decision
    wanted: tuple[float, float]
    """Readings wanted at its first and last point; NaN where they are not known yet. [mm]"""

    @property
    def chance(self) -> float:
        """That it is within all its tolerances; NaN where not known."""
        return self.decision.chance


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Next(Result):
    """
    The next act.

    Attributes
    ----------
    section : Section or None
        Where it is; None for `Act.done`.
    points : tuple of float
        Places to read, in order, from the section's entry end. [mm]
    sections : tuple of SectionWork
        Every section, in the order of the layout.
    creep : Creep
        What tightening has been seen to do.
    doubts : tuple of Flag
        What speaks against the string of the section at hand, as long as nothing on it was moved: to be looked at
        first.
    """

    layout: Layout
    log: Survey
    act: Act
    why: Why
    section: Section | None = None
    points: tuple[float, ...] = ()
    stops: tuple[Stop, ...] = ()
    decision: Decision | None = None
    sections: tuple[SectionWork, ...]
    creep: Creep
    doubts: tuple[Flag, ...] = ()

    @property
    def work(self) -> SectionWork | None:
        """The section at hand."""
        return None if self.section is None else self.sections[self.layout.index[self.section.name]]


def next_act(layout: Layout, log: Survey, *, skip: Sequence[str] = ()) -> Next:
    """
    Find the one next act that a log asks for.

    Parameters
    ----------
    layout : Layout
    log : Survey
        A survey as found, a job log, or one that was only begun.
    skip : sequence of str
        Sections put off: they come after all others, the one put off last comes last.

    Returns
    -------
    Next
        The act, with every section's state and chance. Lengths are in millimetres.

    Raises
    ------
    NameUnknownError
        The log is of another machine: it names sections that the layout lacks.

    Examples
    --------
    >>> import alignment
    >>> samples = alignment.sample_folder()
    >>> machine = alignment.read_layout(samples / "machine.toml")
    >>> found = alignment.next_act(machine, alignment.read_survey(samples / "as-found.csv", machine))
    >>> found.act in alignment.train.work.next_act.Act
    True
    """
    named = [*(r.section for r in log.readings), *(m.section for m in log.moves)]
    check_names(named, layout.index, layout.source)
    wanted = targets(layout, log)
    return _Job(layout, log, wanted, skip).next()


class _Job:
    """One log being looked at."""

    def __init__(self, layout: Layout, log: Survey, wanted: Targets, skip: Sequence[str]) -> None:
        self.put_off = {name: k for k, name in enumerate(skip)}
        self.layout, self.log, self.wanted = layout, log, wanted
        tape, rules, limits = log.tape, layout.moves, layout.tolerance
        self.creep = learn(creeps(layout, log), rules.creep)
        drift = self.creep.mean if self.creep.drifts else 0.0
        self.standings, self.ties = tied(
            layout, log, stand(layout, log, wanted, creep=self.creep.u, drift=drift), wanted
        )
        usual = float(np.nanmean(wanted.value)) if np.isfinite(wanted.value).any() else 0.0
        self.rules = Rules(
            bolt=BOLT * rules.bolt,
            reading=READING * min(1.0, min(limits.square, limits.offset, limits.step) / tape.mark) ** 2,
            most=MOST,
            mark=tape.mark,
            mean_u=(math.inf, *(float(u) for u in tape.mean_u(usual, np.arange(1, MOST + 2)))),
            creep=self.creep.u,
            lead=self.creep.lead(tape.mark),
            travel=rules.travel,
        )
        self.works: list[SectionWork | None] = [None] * len(layout.sections)

    def next(self) -> Next:
        at = None
        put_off: list[int] = []
        last_move = max((s.rows[1] for s in self.standings if s.moves), default=0)
        for i in self._order():
            # what comes after the section at hand is looked at, not decided
            work = self._work(i, last_move, ahead=at is not None)
            self.works[i] = work
            if work.state in (State.done, State.kept, State.stuck):
                continue
            if work.section.name in self.put_off:
                put_off.append(i)
            elif at is None:
                at = i
        if at is None and put_off:
            at = min(put_off, key=lambda i: self.put_off[self.layout.sections[i].name])
        works = tuple(w for w in self.works if w is not None)
        if at is None:
            return self._closing(works)
        work = works[at]
        decision = work.decision
        act = Act.move if decision.answer is Answer.move else Act.read
        why = {
            State.unread: Why.first,
            State.moved: Why.moved,
            State.move: Why.out,
            State.doubtful: _why_read(work),
        }[work.state]
        doubts = doubts_of(self.layout, self.log, work.section)
        misread = read_once(self.log, [f.reading for f in doubts if f.section == work.section.name and f.reading])
        points = decision.points
        if act is Act.move and misread:
            # what is doubted is read again before a bolt is touched
            act, why, points, decision = Act.read, Why.misread, misread, replace(decision, stops=())
        return Next(
            layout=self.layout,
            log=self.log,
            act=act,
            why=why,
            doubts=tuple(flag for flag in doubts if flag.flag.of_string),
            section=work.section,
            points=points,
            stops=decision.stops,
            decision=decision,
            sections=works,
            creep=self.creep,
        )

    def _order(self) -> list[int]:
        """Row by row, entry to exit; where a row's target is read from sections on hold, those first."""
        found: list[int] = []
        for name, own in self.layout.rows.items():
            members = self.layout.row_sections(name)
            first = [s for s in members if s.hold and own.target is None]
            found += [self.layout.index[s.name] for s in (*first, *(s for s in members if s not in first))]
        return found

    def _work(self, i: int, last_move: int, *, ahead: bool) -> SectionWork:
        section, standing = self.layout.sections[i], self.standings[i]
        places = np.array([section.points[0], section.points[-1]])
        sag = corrections(self.layout, np.array([i, i]), section.start + places)
        first, last = self.wanted.value[i] - sag
        wanted = float(first), float(last)
        up, down = self._beside(i, -1), self._beside(i, 1)
        odds = Odds(
            tolerance=self.layout.tolerance,
            zero=float(self.wanted.common[i]),
            up=up and up[0],
            down=down and down[0],
        )
        judged = Judged(now=odds, moved=replace(odds, up=up and up[1], down=down and down[1]))
        decision = decide(standing, judged, self.rules, wanted, ahead=ahead)
        passed = bool(standing.rows[1]) and standing.rows[1] < last_move
        if passed and decision.answer in (Answer.read_again, Answer.move) and decision.chance >= DONE - AGAIN:
            decision = Decision(answer=Answer.leave, chance=decision.chance)
        return SectionWork(
            section=section,
            state=_state(section, standing, decision),
            standing=standing,
            decision=decision,
            wanted=wanted,
        )

    def _beside(self, i: int, way: int) -> tuple[Beside, Beside] | None:
        """The facing end of a neighbour whose place is settled, across a joint: as it stands, and after a move."""
        j = i + way
        if not 0 <= j < len(self.layout.sections):
            return None
        pair = (min(i, j), max(i, j))
        joint = next(
            (k for k in self.layout.joints if (self.layout.index[k.upstream], self.layout.index[k.downstream]) == pair),
            None,
        )
        work, other = self.works[j], self.standings[j]
        if joint is None or not other.known.complete:
            return None
        if not self.layout.sections[j].hold and (work is None or work.state not in (State.done, State.stuck)):
            return None
        end = 1 if way < 0 else 0
        nominal = 0.0
        if joint.step is not None:
            setbacks = [self.layout.sections[k].setback for k in pair]
            nominal = joint.step - (setbacks[1] - setbacks[0])
        value = float(other.known.mean[end]) - way * nominal
        alone = Beside(value=value, u=math.sqrt(float(other.known.covariance[end, end])))
        tie = self.ties.get(pair)
        return (tie and tie.beside(nominal, way)) or alone, alone

    def _closing(self, works: tuple[SectionWork, ...]) -> Next:
        """The first point of each string again, last of all; then done."""
        same = {"layout": self.layout, "log": self.log, "sections": works, "creep": self.creep}
        for string in self.layout.strings:
            on = {s.name for s in self.layout.sections if self.layout.rows[s.row].string == string}
            events = [r for r in self.log.fitted if r.section in on]
            if not events:
                continue
            first = events[0]
            last = max([r.row for r in events] + [m.row for m in self.log.moves if m.section in on])
            closed = [r for r in self.log.readings if r.closing and r.section in on and r.row >= last]
            section = self.layout.sections[self.layout.index[first.section]]
            off = bool(closed) and all(self._off(reading) for reading in closed[-2:])
            if not closed or (off and len(closed) == 1):
                why = Why.string_again if closed else Why.string
                return Next(act=Act.close, why=why, section=section, points=(first.place,), **same)  # type: ignore[arg-type]
            if off:
                return Next(act=Act.done, why=Why.string_moved, **same)  # type: ignore[arg-type]
        sure = all(w.state in (State.done, State.kept) for w in works)
        return Next(act=Act.done, why=Why.finished if sure else Why.left, **same)  # type: ignore[arg-type]

    def _off(self, closing: Reading) -> bool:
        """Whether a closing reading differs from what is known by more than reading does, and by more than a mark."""
        i = self.layout.index[closing.section]
        section, known = self.layout.sections[i], self.standings[i].known
        if not known.complete:
            return False
        at = at_place(section.length, closing.place)
        sag = corrections(self.layout, np.array([i]), np.array([section.start + closing.place]))
        apart = closing.value + float(sag[0]) - self.wanted.value[i] - float(at @ known.mean)
        u = math.sqrt(float(at @ known.covariance @ at) + closing.u**2)
        return bool(abs(apart) > max(STRING_MOVED * u, self.log.tape.graduation))


def _why_read(work: SectionWork) -> Why:
    if work.standing.doubtful:
        return Why.misread
    return Why.unsure if work.chance > UNLIKELY else Why.which


def _state(section: Section, standing: Standing, decision: Decision) -> State:
    if standing.doubtful:
        return State.doubtful
    if decision.answer is Answer.read_again and 0 in (standing.counts[0], standing.counts[-1]):
        return State.moved if standing.moves else State.unread
    if section.hold:
        return State.kept
    return {
        Answer.leave: State.done,
        Answer.read_again: State.doubtful,
        Answer.move: State.move,
        Answer.stuck: State.stuck,
    }[decision.answer]
