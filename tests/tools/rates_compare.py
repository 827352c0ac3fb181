"""
How often a comparison is right, over simulated machines, jobs and histories, beside an exhaustive search.

A person reads one row of sections of 15 in with a 1/16 tape, a 1/64 rule, a 1 mm or a 0.5 mm tape: the hook errs by
one draw a survey, each reading by the hand, the tilt and the rounding to a mark; tightening moves a bolt end. Machines
are true or badly out, with 1 to 16 sections on the string, which stays up or is hung anew by up to 1/2 in at either
end. Run as ``python -m tests.tools.rates_compare``; a smaller run is asserted in the tests.
"""

from __future__ import annotations

import argparse
import datetime
import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import radians

import numpy as np

from alignment.change.comparison import Outcome, compare
from alignment.change.history import follow
from alignment.change.motion import Motion, compare_trains
from alignment.change.strings import Status
from alignment.machine.layout import Layout
from alignment.machine.survey import Survey
from alignment.train.moves.plan import plan_moves
from alignment.train.train import fit_train
from tests.tools import exhaustive_moved
from tests.tools.machines import machine, readings

SEED = 20261126
INCH = 25.4
TARGET = 18.375 * INCH
LENGTH, GAP = 15 * INCH, 1 * INCH
BOLTS = (2 * INCH, 13 * INCH)
SIZES = (1, 2, 3, 5, 8, 16)
MOVED = ((1, 1), (2, 1), (3, 1), (5, 1), (5, 2), (5, 3), (8, 2), (8, 4), (16, 1), (16, 4))
"""Sections on a string, and how many of them moved."""


@dataclass(frozen=True)
class Person:
    """A tape and the hand that holds it. [mm], tilt in degrees."""

    name: str
    mark: float
    placing: float
    zero: float
    tilt: float = 2.0
    creep: float = INCH / 64


PEOPLE = (
    Person("1/16", INCH / 16, INCH / 64, INCH / 64),
    Person("1/64", INCH / 64, INCH / 128, INCH / 128),
    Person("1 mm", 1.0, 0.25, 0.4),
    Person("0.5 mm", 0.5, 0.125, 0.2, creep=0.4),
)
STATES = {"true": INCH / 64, "badly out": INCH / 8}
"""Standard deviation of where a section's ends are."""


def layout_of(count: int, person: Person) -> Layout:
    """One row of sections on one string."""
    sections = [
        {
            "name": f"s{k + 1}",
            "row": "r",
            "start": f"{k * (LENGTH + GAP):.4f}",
            "length": f"{LENGTH:.4f}",
            "bolts": [round(b, 4) for b in BOLTS],
        }
        for k in range(count)
    ]
    tape = f"mark = '{person.mark:.6f}'\nset = '{person.placing:.6f}'\ntilt = {person.tilt}\nzero = '{person.zero:.6f}'"
    # defaults in inches, written in millimetres so that every mark can be
    rules = f"square = '{INCH / 16:.4f}'\noffset = '{INCH / 16:.4f}'"
    return machine(sections, rows={"r": f"target = '{TARGET:.4f}'"}, tape=tape, tolerance=rules)


def read(
    layout: Layout, faces: np.ndarray, person: Person, rng: np.random.Generator, line: np.ndarray, record: str = ""
) -> Survey:
    """A survey of faces (deviations of entry and exit end, [mm]) from a string that hangs off by a line."""
    zero = rng.normal(0, person.zero)
    span = layout.sections[-1].end or 1.0
    rows = []
    for section, face in zip(layout.sections, faces, strict=True):
        for name, place, deviation in (("entry", 0.0, face[0]), ("exit", section.length, face[1])):
            true = TARGET + deviation + line[0] + (line[1] - line[0]) * (section.start + place) / span
            tilt = radians(rng.uniform(-person.tilt, person.tilt))
            seen = true * (1 + tilt**2 / 2) + zero + rng.normal(0, person.placing)
            rows.append((section.name, name, f"{round(seen / person.mark) * person.mark:.6f}"))
    return readings(layout, rows, record=record)


def hung(rng: np.random.Generator) -> np.ndarray:
    """How a string hung anew is off at both ends of the machine. [mm]"""
    return rng.uniform(-INCH / 2, INCH / 2, 2)


def swung(face: np.ndarray, moves: np.ndarray) -> np.ndarray:
    """A face after moves of its bolt ends, toward the string positive. [mm]"""
    turn = (moves[1] - moves[0]) / (BOLTS[1] - BOLTS[0])
    return face - moves[0] - turn * (np.array([0.0, LENGTH]) - BOLTS[0])


@dataclass(frozen=True)
class Pair:
    """Two surveys, and the sections that moved in between."""

    layout: Layout
    before: Survey
    after: Survey
    moved: frozenset[int]


def pairs(count: int, size: int, moved: int, state: str, person: Person, seed: int = SEED) -> Iterator[Pair]:
    """Pairs of surveys, the string hung anew; each moved section was knocked by 1/8 to 3/8 in at one or both ends."""
    rng = np.random.default_rng([seed, size, moved, list(STATES).index(state), PEOPLE.index(person)])
    layout = layout_of(size, person)
    for _ in range(count):
        faces = rng.normal(0, STATES[state], (size, 2))
        after = faces.copy()
        which = rng.choice(size, moved, replace=False)
        for i in which:
            knock = (
                rng.choice([-1, 1], 2) * rng.uniform(1 / 8, 3 / 8, 2) * INCH * [(1, 0), (0, 1), (1, 1)][rng.integers(3)]
            )
            after[i] = swung(faces[i], knock)
        one = read(layout, faces, person, rng, np.zeros(2))
        yield Pair(layout, one, read(layout, after, person, rng, hung(rng)), frozenset(map(int, which)))


def tried(pair: Pair) -> list[set[int]]:
    """What an exhaustive search makes of a pair."""
    layout = pair.layout
    sides = [{(r.section, r.place): r for r in survey.readings} for survey in (pair.before, pair.after)]
    x, change, u = [], [], []
    for section in layout.sections:
        both = [(sides[0][section.name, p], sides[1][section.name, p]) for p in section.points]
        x.append(np.array([section.start + p for p in section.points]))
        change.append(np.array([b.value - a.value for a, b in both]))
        u.append(np.array([np.hypot(a.u, b.u) for a, b in both]))
    return exhaustive_moved.answers(x, change, u)


@dataclass
class Score:
    """Counts over pairs."""

    pairs: int = 0
    right: int = 0
    """The moved sections were named, and no other."""
    named: int = 0
    """A section was named that did not move."""
    open: int = 0
    """Something was left open."""
    lead: int = 0
    """Right where the other answer to the same pair was not."""

    def add(self, named: set[int], left_open: bool, moved: frozenset[int]) -> bool:
        """Count one pair; whether it was told right."""
        right = named == moved and not left_open
        self.pairs += 1
        self.right += right
        self.named += bool(named - moved)
        self.open += left_open
        return right


def score_pairs(cases: Iterator[Pair]) -> tuple[Score, Score]:
    """The comparison's score, and that of the exhaustive search."""
    ours, theirs = Score(), Score()
    for pair in cases:
        motion = compare_trains(*(fit_train(pair.layout, s) for s in (pair.before, pair.after)))
        mine = ours.add(set(map(int, motion.moved)), _open(motion), pair.moved)
        found = tried(pair)
        agreed = set.intersection(*found)
        # of one section alone nothing can be known
        other = theirs.add(agreed, len(found) > 1 or len(pair.layout.sections) == 1, pair.moved)
        ours.lead += mine and not other
        theirs.lead += other and not mine
    return ours, theirs


def behind(ours: Score, theirs: Score) -> tuple[float, float]:
    """By how much fewer pairs we tell right than the exhaustive search, and the half-width at 95 % (McNemar). [%]"""
    n, less, more = ours.pairs, theirs.lead, ours.lead
    return 100 * (less - more) / n, 196 * float(np.sqrt(max(less + more - (less - more) ** 2 / n, 1.0))) / n


def _open(motion: Motion) -> bool:
    return bool(len(motion.of(Status.doubtful)) or len(motion.of(Status.open)))


@dataclass
class Jobs:
    """Counts over jobs with moves."""

    jobs: int = 0
    moves: int = 0
    full: int = 0
    untold: int = 0
    wrong: int = 0
    """Jobs in which a move was called not done or the wrong way."""
    partly: int = 0
    """Jobs in which a move was called in part or too far."""
    named: int = 0
    """Jobs in which a section was named that nobody touched."""


def jobs(
    count: int, size: int, person: Person, *, anew: bool, done: bool = True, recorded: bool = True, seed: int = SEED
) -> Iterator[tuple[Pair, np.ndarray]]:
    """Jobs on machines badly out: found, the plan carried out exactly but for creep, or not at all, and left."""
    rng = np.random.default_rng([seed, size, PEOPLE.index(person), anew, done])
    layout = layout_of(size, person)
    found = 0
    while found < count:
        faces = rng.normal(0, STATES["badly out"], (size, 2))
        record = "# string: operator side\n" if recorded else ""
        before = read(layout, faces, person, rng, np.zeros(2), record)
        moves = plan_moves(fit_train(layout, before)).moves
        if not moves.any():
            continue
        found += 1
        made = moves + (moves != 0) * rng.normal(0, person.creep, moves.shape) if done else np.zeros_like(moves)
        after = np.array([swung(face, by) for face, by in zip(faces, made, strict=True)])
        line = hung(rng) if anew else np.zeros(2)
        touched = frozenset(map(int, np.flatnonzero(moves.any(axis=1)))) if done else frozenset()
        yield Pair(layout, before, read(layout, after, person, rng, line, record), touched), moves


def score_jobs(cases: Iterator[tuple[Pair, np.ndarray]], *, done: bool = True) -> Jobs:
    """What the comparison makes of jobs."""
    total = Jobs()
    for pair, _ in cases:
        found = compare(pair.layout, pair.before, pair.after)
        outcomes = [move.outcome for move in found.moves]
        total.jobs += 1
        total.moves += len(outcomes)
        total.full += outcomes.count(Outcome.full)
        total.untold += outcomes.count(Outcome.untold)
        bad = {Outcome.none, Outcome.wrong} if done else {Outcome.full, Outcome.wrong}
        total.wrong += bool(bad & set(outcomes))
        total.partly += bool({Outcome.part, Outcome.over} & set(outcomes))
        total.named += bool(set(map(int, found.motion.moved)) - pair.moved)
    return total


@dataclass
class Histories:
    """Counts over histories."""

    histories: int = 0
    drifting: int = 0
    """A section was said to drift, or that one of several does."""
    together: int = 0
    """All sections of a string were said to drift together."""
    moved: int = 0
    """A section was said to have moved."""


def histories(
    count: int, size: int, dates: int, state: str, person: Person, *, anew: bool, seed: int = SEED
) -> Histories:
    """Machines that nobody touched, a survey a month, the string hung anew for each or left up."""
    rng = np.random.default_rng([seed, size, dates, list(STATES).index(state), PEOPLE.index(person), anew])
    layout = layout_of(size, person)
    total = Histories()
    first = datetime.datetime.fromisoformat("2026-01-05 07:30")
    for _ in range(count):
        faces = rng.normal(0, STATES[state], (size, 2))
        surveys = []
        for k in range(dates):
            taken = first + datetime.timedelta(days=30.4 * k + float(rng.uniform(-5, 5)))
            record = f"# taken: {taken.isoformat(' ', 'minutes')}\n"
            surveys.append(read(layout, faces, person, rng, hung(rng) if anew else np.zeros(2), record))
        found = follow(layout, surveys)
        total.histories += 1
        total.drifting += any(bool(s.trends.doubtful) or bool(s.trends.drifting) for s in found.strings)
        total.together += any(s.trends.common is not None and s.trends.common.significant for s in found.strings)
        total.moved += bool([event for event in found.events if len(event.motion.moved)])
    return total


def main() -> None:
    """Print the rates."""
    parser = argparse.ArgumentParser(description="Rates of the comparison over simulated machines.")
    for name, count in (("pairs", 400), ("jobs", 100), ("histories", 200)):
        parser.add_argument(f"--{name}", type=int, default=count, help="0 leaves them out")
    parser.add_argument("--tape", choices=[person.name for person in PEOPLE], help="only this one")
    parser.add_argument("--sections", type=int, choices=SIZES, help="only machines with so many")
    parser.add_argument("--moved", type=int, help="only pairs with so many moved, and any number may be told")
    parser.add_argument("--seed", type=int, default=SEED)
    told = parser.parse_args()
    people = [person for person in PEOPLE if told.tape in (None, person.name)]
    sizes = [size for size in SIZES if told.sections in (None, size)]
    both = [(n, k) for n, k in [*((n, 0) for n in SIZES), *MOVED] if n in sizes and told.moved in (None, k)]
    if told.moved is not None and told.sections is not None:
        both = [(told.sections, told.moved)]
    if told.pairs:
        _pairs(told.pairs, people, both, told.seed)
    if told.jobs:
        _jobs(told.jobs, people, sizes, told.seed)
    if told.histories:
        _histories(told.histories, people, sizes, told.seed)


def _share(part: int, whole: int) -> str:
    return f"{100 * part / max(whole, 1):5.1f}"


def _pairs(count: int, people: Sequence[Person], both: Sequence[tuple[int, int]], seed: int) -> None:
    print(
        f"{count} pairs each, string hung anew, knocked by 1/8 to 3/8 in. Percent: right / left open / names one that"
    )
    print("did not move; beside an exhaustive search, and how many fewer are right on the same pairs, +- at 95 %.")
    for person, state, (size, moved) in itertools.product(people, STATES, both):
        ours, theirs = score_pairs(pairs(count, size, moved, state, person, seed))
        mine, other = (" / ".join(_share(part, s.pairs) for part in (s.right, s.open, s.named)) for s in (ours, theirs))
        less, u = behind(ours, theirs)
        kind = f"{person.name:<6} {state:<9} {size:2d} sections, {moved} moved"
        print(f"  {kind}: {mine}   exhaustive {other}   fewer {less:4.1f} +- {u:.1f}", flush=True)


def _jobs(count: int, people: Sequence[Person], sizes: Sequence[int], seed: int) -> None:
    print(
        f"{count} jobs each on machines badly out, the plan carried out exactly but for creep. Percent of jobs with a"
    )
    print("called not done or the wrong way / in part or too far / an untouched section named; of moves in full.")
    print("Then, where nothing was done, with a move called done or the wrong way / an untouched section named.")
    for person, anew, size in itertools.product(people, (False, True), sizes):
        made = score_jobs(jobs(count, size, person, anew=anew, recorded=not anew, seed=seed))
        idle = score_jobs(jobs(count, size, person, anew=anew, done=False, recorded=not anew, seed=seed), done=False)
        print(
            f"  {person.name} string {'anew     ' if anew else 'untouched'} {size:2d} sections: "
            f"{_share(made.wrong, made.jobs)} / {_share(made.partly, made.jobs)} / {_share(made.named, made.jobs)}; "
            f"{_share(made.full, made.moves)}   nothing done: {_share(idle.wrong, idle.jobs)} / "
            f"{_share(idle.named, idle.jobs)}",
            flush=True,
        )


def _histories(count: int, people: Sequence[Person], sizes: Sequence[int], seed: int) -> None:
    print(f"{count} histories each of an untouched machine. Percent with a drift / a string's drift / a move.")
    for person, anew, size, dates in itertools.product(people, (True, False), sizes, (3, 4, 6, 12)):
        got = histories(count, size, dates, "badly out", person, anew=anew, seed=seed)
        print(
            f"  {person.name} string {'hung anew' if anew else 'left up  '} {size:2d} sections {dates:2d} surveys: "
            f"{_share(got.drifting, got.histories)} / {_share(got.together, got.histories)} / "
            f"{_share(got.moved, got.histories)}",
            flush=True,
        )


if __name__ == "__main__":
    main()
