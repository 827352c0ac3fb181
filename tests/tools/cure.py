"""
A machine cured bolt by bolt on paper: the work loop, both technicians and one who sees the truth, side by side.

    python -m tests.tools.cure [--machines 200] [--seeds 1 2 3] [--sections 1 2 3 5 8 16]

Random machines with a hidden truth are read, moved and read again as a person does it; what counts is how many bolt
ends were loosened, how many readings taken, and whether every section is square, at its offset and without steps *in
truth* afterwards.
"""

from __future__ import annotations

import argparse
import itertools
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from alignment.instruments import Tape
from alignment.lengths import Units
from alignment.machine.layout import Joint, Layout, MoveRules, Row, Section, String, Strip, Tolerance
from alignment.machine.survey import BoltMove, Reading, Survey
from alignment.machine.survey_text import parse_survey
from alignment.train.work import next_act as working
from alignment.train.work.deciding import Decision
from alignment.train.work.next_act import Act, next_act
from alignment.train.work.standing import Standing
from alignment.uncertainty import reading_u

IN = 25.4
ROWS = 2000
Floats = np.ndarray


@dataclass(frozen=True)
class Marks:
    """A tape and tolerances to work to."""

    units: Units
    mark: float
    zero: float
    hand: float
    creep: tuple[float, float]


INCHES = Marks(units=Units.inch, mark=IN / 16, zero=IN / 64, hand=IN / 64, creep=(IN / 64, IN / 32))
MILLIMETRES = Marks(units=Units.mm, mark=1.0, zero=0.4, hand=0.4, creep=(0.4, 0.8))


class Machine:
    """One machine with its truth, and the person who reads and moves it."""

    def __init__(
        self, rng: np.random.Generator, marks: Marks, tolerance: Tolerance, strong_shy: bool = True, size: int = 0
    ) -> None:
        """Two rows of 3 to 4 and 2 to 5 sections, or one row of as many as told."""
        self.rng, self.marks, self.tolerance = rng, marks, tolerance
        sections, joints, rows = [], [], {}
        target = 18.375 * IN if marks.units is Units.inch else 467.0
        for name, low, high in (("operator", size, size),) if size else (("operator", 3, 4), ("drive", 2, 5)):
            rows[name] = Row(name=name, string=name, side="left", target=target)
            x, before = 0.0, None
            for k in range(rng.integers(low, high + 1)):
                length = float(np.round(rng.uniform(14, 32))) * IN
                bolts = tuple(float(np.round(b * 2) / 2) * IN for b in rng.uniform(1.5, 4, 2))
                section = Section(
                    name=f"{name}-{k + 1}", row=name, start=x, length=length, points=(0.0, length),
                    bolts=(bolts[0], length - bolts[1]),
                )  # fmt: skip
                sections.append(section)
                if before:
                    joints.append(Joint(upstream=before, downstream=section.name, step=0.0))
                before, x = section.name, x + length + IN
        self.layout = Layout(
            source="machine.toml", name="m", units=marks.units, strip=Strip(), tolerance=tolerance,
            tape=Tape(mark=marks.mark, placing=marks.hand, tilt=0.0, zero=marks.zero, strong_shy=strong_shy),
            moves=MoveRules(travel=None, creep=1.5 * IN / 64, bolt=0.06),
            strings={n: String(name=n) for n in rows}, rows=rows, sections=tuple(sections), joints=tuple(joints),
        )  # fmt: skip
        self.target = target
        self.hook = rng.normal(0, marks.zero)
        self.ends = np.array([self._as_found() for _ in sections])
        self.bolts_loosened = self.readings = 0
        self.grid = marks.mark / 4 if strong_shy else marks.mark

    def _as_found(self) -> Floats:
        """Deviations at entry and exit end."""
        kind = self.rng.choice(4, p=[0.3, 0.25, 0.25, 0.2])
        small = self.rng.normal(0, 0.012 * IN, 2)
        off = self.rng.uniform(0.06, 0.22) * IN * self.rng.choice([-1, 1])
        if kind == 0:
            return small
        if kind == 1:
            return small + np.array([0.0, off])
        if kind == 2:
            return small + np.array([off, 0.0])
        return self.rng.uniform(-0.22, 0.22, 2) * IN

    def at(self, i: int, place: float) -> float:
        """True deviation of a section at a place."""
        share = place / self.layout.sections[i].length
        return float(self.ends[i] @ [1 - share, share])

    def read(self, i: int, place: float) -> float:
        """What the person reads."""
        self.readings += 1
        seen = self.target + self.at(i, place) + self.hook + self.rng.normal(0, self.marks.hand)
        return float(np.round(seen / self.grid) * self.grid)

    def stop(self, i: int, ends: tuple[int, ...], readings: tuple[float, ...]) -> None:
        """Loosen bolt ends, swing them until the tape reads the stops, tighten."""
        section = self.layout.sections[i]
        places = (section.points[0], section.points[-1])
        self.bolts_loosened += len(ends)
        met = [r - self.target - self.hook + self.rng.normal(0, self.marks.hand) for r in readings]
        if len(ends) == 2:
            at = (places[0], met[0]), (places[1], met[1])
        else:
            pivot = section.bolts[1 - ends[0]]
            at = (pivot, self.at(i, pivot)), (places[ends[0]], met[0])
        self.through(i, *at)
        for end in ends:
            pivot, bolt = section.bolts[1 - end], section.bolts[end]
            crept = self.rng.uniform(*self.marks.creep) * self.rng.choice([-1, 1])
            self.through(i, (pivot, self.at(i, pivot)), (bolt, self.at(i, bolt) + crept))

    def through(self, i: int, one: tuple[float, float], other: tuple[float, float]) -> None:
        """Lay a section's face through two places with their deviations."""
        slope = (other[1] - one[1]) / (other[0] - one[0])
        start = one[1] - slope * one[0]
        self.ends[i] = start, start + slope * self.layout.sections[i].length

    def truth(self) -> tuple[bool, bool, bool, bool]:
        """Whether square, offset and step are all within tolerance, and offset as its own tape has it."""
        t = self.tolerance
        joints = [(self.layout.index[j.upstream], self.layout.index[j.downstream]) for j in self.layout.joints]
        steps = [abs(self.ends[b, 0] - self.ends[a, 1]) for a, b in joints]
        return (
            bool((np.abs(self.ends[:, 1] - self.ends[:, 0]) <= t.square).all()),
            bool((np.abs(self.ends) <= t.offset).all()),
            all(s <= t.step for s in steps),
            bool((np.abs(self.ends + self.hook) <= t.offset).all()),
        )


def work(machine: Machine, *, most: int = 400) -> None:
    """As the work loop has it."""
    with once():
        _work(machine, most)


@contextmanager
def once() -> Iterator[None]:
    """Answers for sections at which nothing was done since the act before are remembered: half the time."""
    real = working.decide
    found: dict[tuple[Any, ...], Decision] = {}

    def decide(standing: Standing, *more: Any, ahead: bool) -> Decision:
        known, origin = standing.known, standing.origin
        numbers = [part.tobytes() for part in (known.information, known.vector, origin) if part is not None]
        key = (*numbers, standing.section, standing.points, standing.moves, standing.loosened, more, ahead)
        if key not in found:
            found[key] = real(standing, *more, ahead=ahead)
        return found[key]

    working.decide = decide
    try:
        yield
    finally:
        working.decide = real


def _work(machine: Machine, most: int) -> None:
    layout = machine.layout
    tape = layout.tape
    u = float(reading_u(machine.target, mark=tape.graduation, set_u=tape.set_u, tilt=tape.tilt))
    log = Survey(source="job.csv", readings=(), tape=tape, record={})
    row = 1
    for _ in range(most):
        act = next_act(layout, log)
        if act.act in (Act.done, Act.close):
            return
        i = layout.index[act.section.name]
        if act.act is Act.read:
            for place in act.points:
                row += 1
                reading = Reading(
                    section=act.section.name, place=place, value=machine.read(i, place), u=u, text="", row=row
                )
                log = replace(log, readings=(*log.readings, reading))
        else:
            for stop in act.stops:
                row += 1
                move = BoltMove(
                    section=act.section.name,
                    end=stop.end,
                    place=stop.place,
                    stop=stop.reading,
                    pivot=act.section.bolts[1 - stop.end],
                    u=u,
                    text="",
                    row=row,
                )
                log = replace(log, moves=(*log.moves, move))
            machine.stop(i, tuple(s.end for s in act.stops), tuple(s.reading for s in act.stops))
    raise AssertionError("no end to it")


def plain(machine: Machine) -> None:
    """Reads both ends once; within tolerance, next; else sets the ends that are not on the mark to it, reads again."""
    _technician(machine, strict=False)


def strict(machine: Machine) -> None:
    """Goes on until both ends read the wanted mark."""
    _technician(machine, strict=True)


def _technician(machine: Machine, *, strict: bool) -> None:
    t, target, before = machine.tolerance, machine.target, 0.0
    for i, section in enumerate(machine.layout.sections):
        places = (section.points[0], section.points[-1])
        for _ in range(12):
            seen = np.array([machine.read(i, place) - target for place in places])
            off = tuple(k for k in (0, 1) if abs(seen[k]) > 1e-6)
            fine = abs(seen[1] - seen[0]) <= t.square + 1e-6 and (np.abs(seen) <= t.offset + 1e-6).all()
            if i and not strict and machine.layout.sections[i - 1].row == section.row:
                fine = fine and abs(seen[0] - before) <= t.step + 1e-6
            if (not off) if strict else fine:
                break
            machine.stop(i, off or (0, 1), (target,) * len(off or (0, 1)))
        before = float(seen[1])


def seer(machine: Machine) -> None:
    """Sees the truth, with a hand and bolts like everybody's: sets what is out to its target until it is in."""
    t = machine.tolerance
    before: float | None = None
    for i, section in enumerate(machine.layout.sections):
        if i and machine.layout.sections[i - 1].row != section.row:
            before = None
        places = (section.points[0], section.points[-1])

        def fine(ends: Floats, before: float | None = before) -> bool:
            return (
                abs(ends[1] - ends[0]) <= t.square
                and bool((np.abs(ends) <= t.offset).all())
                and (before is None or abs(ends[0] - before) <= t.step)
            )

        for _ in range(60):
            if fine(machine.ends[i]):
                break
            own, tried = machine.ends[i].copy(), []
            for end in (0, 1):
                pivot = section.bolts[1 - end]
                machine.through(i, (pivot, machine.at(i, pivot)), (places[end], 0.0))
                tried.append(((end,), fine(machine.ends[i]), float(np.abs(machine.ends[i]).max())))
                machine.ends[i] = own
            best = min((x for x in tried if x[1]), key=lambda x: x[2], default=((0, 1), True, 0.0))[0]
            machine.stop(i, best, (machine.target + machine.hook,) * len(best))
        before = machine.ends[i, 1]


WHO: dict[str, tuple[Callable[[Machine], None], bool]] = {
    "plain technician": (plain, False),
    "plain, strong and shy told": (plain, True),
    "strict technician": (strict, False),
    "work, strong and shy told": (work, True),
    "work, whole marks told": (work, False),
    "sees the truth": (seer, True),
}


def run(who: str, count: int, seed: int, marks: Marks, tolerance: Tolerance, size: int = 0) -> list[float]:
    """Bolt ends, readings, shares of machines square, at their offset, without steps, with all; offset by the tape."""
    todo, strong_shy = WHO[who]
    rows = []
    for k in range(count):
        machine = Machine(np.random.default_rng([seed, k]), marks, tolerance, strong_shy, size)
        todo(machine)
        *truth, by_tape = machine.truth()
        rows.append([machine.bolts_loosened, machine.readings, *truth, all(truth), by_tape])
    return list(np.mean(np.array(rows, dtype=float), axis=0))


def tolerances(marks: Marks) -> dict[str, Tolerance]:
    """Both sets of tolerances."""
    unit = IN / 16 if marks.units is Units.inch else 1.6
    coarse = Tolerance(square=unit, offset=unit, step=unit, opening=2 * unit)
    fine = replace(coarse, square=unit / 2, step=unit / 2)
    if marks.units is Units.mm:
        return {"all 1.6": coarse, "square and step 0.8, offset 1.6": fine}
    return {"all 1/16": coarse, "square and step 1/32, offset 1/16": fine}


def main(count: int, seeds: list[int], sizes: list[int]) -> None:
    """Print the table: both sets of tolerances in both units, for machines of every size asked for."""
    for size, k, marks in itertools.product(sizes, (0, 1), (INCHES, MILLIMETRES)):
        name, tolerance = list(tolerances(marks).items())[k]
        print(f"\n{marks.units}, {name}, {size or '5 to 9'} sections, {count} machines of each of seeds {seeds}")
        print(f"{'':28}bolt ends  readings  square offset  step   all; offset by its own tape, of 40")
        for who in WHO:
            begun = time.process_time()
            found = np.mean([run(who, count, seed, marks, tolerance, size) for seed in seeds], axis=0)
            took = (time.process_time() - begun) / (count * len(seeds))
            parts = " / ".join(f"{40 * x:4.1f}" for x in found[2:])
            print(f"{who:28}{found[0]:8.1f}{found[1]:10.1f}   {parts}   ({1000 * took:.0f} ms a machine)", flush=True)


def speed() -> None:
    """A log of 2,000 rows: seconds of processor time to read it and to find its next act."""
    machine = Machine(np.random.default_rng(1), INCHES, tolerances(INCHES)["all 1/16"])
    rows: list[str] = []
    while len(rows) < ROWS:
        for s in machine.layout.sections:
            rows += [f"{s.name},entry,18 3/8,", f"{s.name},exit,18 3/8+,", f"{s.name},exit,18 3/8,move"]
    text = "# strong_shy: true\nsection,point,reading,kind\n" + "\n".join(rows[:ROWS]) + "\n"
    begun = time.process_time()
    log = parse_survey(text, machine.layout)
    read = time.process_time()
    next_act(machine.layout, log)
    print(f"{ROWS} rows: read in {read - begun:.3f} s, next act in {time.process_time() - read:.3f} s")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=200)
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2, 3])
    parser.add_argument("--sections", type=int, nargs="+", default=[0], help="of one row; 0: two rows, 5 to 9 in all")
    asked = parser.parse_args()
    speed()
    main(asked.machines, asked.seeds, asked.sections)
