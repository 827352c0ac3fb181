"""
The default plan, round by round, against two technicians and somebody who sees the truth.

    python -m tests.tools.rounds [MACHINES] [SEED]

A round: what was never read is read, what the plan asks for is read again, what it moves is moved and read again;
readings of a section before its last move count no more. It ends when nothing is to be read or moved.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from alignment.choices import Aim
from alignment.machine.layout import Tolerance
from alignment.machine.survey import Reading, Survey
from alignment.train.solve import solve
from tests.tools.cure import IN, INCHES, MILLIMETRES, Machine, Marks, plain, seer, strict

MOST = 30
"""Rounds after which a machine counts as not finished."""


@dataclass
class Tally:
    """What was done, and what came of it."""

    bolts: int = 0
    readings: int = 0
    square: int = 0
    offset: int = 0
    step: int = 0
    all: int = 0
    unfinished: int = 0


def planned(machine: Machine, *, aim: Aim = Aim.fewest) -> bool:
    """Round by round as the plan has it; False where there is no end to it."""
    layout = machine.layout
    taken: dict[str, list[tuple[float, float]]] = {s.name: [] for s in layout.sections}

    def read(name: str) -> None:
        i = layout.index[name]
        taken[name] += [(place, machine.read(i, place)) for place in layout.sections[i].points]

    for name in taken:
        read(name)
    for _ in range(MOST):
        u = float(layout.tape.reading_u(machine.target))
        readings = tuple(
            Reading(section=name, place=place, value=value, u=u, text="", row=k)
            for k, (name, (place, value)) in enumerate((n, r) for n, own in taken.items() for r in own)
        )
        survey = Survey(source="round", readings=readings, tape=layout.tape, record={})
        plan = solve(layout, survey, aim=aim).plan
        again = plan.unread
        if not plan.steps and not again:
            return True
        for name in again:
            read(name)
        for name in dict.fromkeys(step.section for step in plan.steps):
            steps = [step for step in plan.steps if step.section == name]
            ends = tuple(0 if step.loosen == "entry" else 1 for step in steps)
            machine.stop(layout.index[name], ends, tuple(step.watch.stop for step in steps))
            taken[name] = []
            read(name)
    return False


def compare(marks: Marks, tolerance: Tolerance, count: int, seed: int, *, strong_shy: bool) -> dict[str, Tally]:
    """Each way on the same machines."""
    ways: dict[str, Callable[[Machine], object]] = {
        "plain technician": plain,
        "strict technician": strict,
        "plan, fewest": planned,
        "plan, true": lambda machine: planned(machine, aim=Aim.true),
        "sees the truth": seer,
    }
    found = {}
    for name, way in ways.items():
        tally = found[name] = Tally()
        for k in range(count):
            machine = Machine(np.random.default_rng([seed, k]), marks, tolerance, strong_shy)
            ended = way(machine)
            square, offset, step, _ = machine.truth()
            tally.bolts += machine.bolts_loosened
            tally.readings += machine.readings
            tally.square += square
            tally.offset += offset
            tally.step += step
            tally.all += square and offset and step
            tally.unfinished += ended is False
    return found


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 24
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    limit = IN / 16
    for title, marks, scale, shy in (
        ("sixteenths, strong and shy, tolerances 1/16", INCHES, 1.0, True),
        ("plain sixteenths, tolerances 1/16", INCHES, 1.0, False),
        ("sixteenths, strong and shy, tolerances 1/8", INCHES, 2.0, True),
        ("millimetres, tolerances 1.6", MILLIMETRES, 1.6 / limit, False),
    ):
        t = limit * scale
        tolerance = Tolerance(square=t, offset=t, step=t, opening=4 * t)
        print(f"{title}: {count} machines")
        head = ("bolt ends", " readings", " square", " offset", " step", " all", " unfinished")
        print(f"  {'':<18} {' '.join(head)}")
        for name, own in compare(marks, tolerance, count, seed, strong_shy=shy).items():
            print(
                f"  {name:<18} {own.bolts / count:>9.1f} {own.readings / count:>9.1f} {own.square:>7} {own.offset:>7} "
                f"{own.step:>5} {own.all:>4}  {own.unfinished:>10}"
            )


if __name__ == "__main__":
    main()
