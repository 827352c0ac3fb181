"""
Stated chances against what comes true, by simulation.

    python -m tests.tools.chances [MACHINES] [SEED]

Machines whose ends lie anywhere are read with the errors that the model states, the plan is carried out with the
errors of stops and of tightening that it states, and the truth is looked at. Of plans with a stated chance of about
p, p have to come true; likewise of sections, as they are left and after a move.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from alignment.instruments import Tape
from alignment.lengths import Units
from alignment.machine.layout import Joint, Layout, MoveRules, Row, Section, String, Strip, Tolerance
from alignment.machine.survey import Reading, Survey
from alignment.train.moves.plan import plan_moves
from alignment.train.moves.stops import watch_place
from alignment.train.train import fit_train

EDGES = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
TARGET = 467.0


@dataclass
class Level:
    """Things with a stated chance between two edges: the chances, and whether each came true."""

    stated: list[float] = field(default_factory=list)
    true: list[bool] = field(default_factory=list)

    @property
    def sigmas(self) -> float:
        """By how many standard deviations as many came true as should not have."""
        p = np.array(self.stated)
        spread = float(np.sqrt(np.sum(p * (1 - p))))
        return float(abs(np.sum(self.true) - p.sum()) / spread) if spread > 0 else 0.0


def random_layout(rng: np.random.Generator) -> Layout:
    """One row of one to three sections with joints; tape and tolerances fine to coarse."""
    sections, start = [], 0.0
    for k in range(int(rng.integers(1, 4))):
        length = float(rng.uniform(350, 800))
        bolts = float(rng.uniform(0, 100)), length - float(rng.uniform(0, 100))
        sections.append(Section(name=f"s{k}", row="r", start=start, length=length, points=(0.0, length), bolts=bolts))
        start += length + 20
    mark = float(rng.choice([0.5, 1.0]))
    limit = float(rng.uniform(0.8, 2.5))
    return Layout(
        source="machine.toml",
        name="m",
        units=Units.mm,
        strip=Strip(),
        tape=Tape(mark=mark, placing=0.3, tilt=0.0, zero=0.3),
        tolerance=Tolerance(square=limit, offset=limit, step=limit, opening=9.0),
        moves=MoveRules(travel=None, creep=float(rng.uniform(0.1, 0.5)), bolt=0.06),
        strings={"r": String(name="r")},
        rows={"r": Row(name="r", string="r", target=TARGET)},
        sections=tuple(sections),
        joints=tuple(Joint(upstream=a.name, downstream=b.name) for a, b in pairwise(sections)),
    )


def simulate(count: int, seed: int) -> tuple[list[Level], list[Level]]:
    """Levels of plans and of sections."""
    plans, parts = ([Level() for _ in EDGES[1:]] for _ in range(2))

    def note(levels: list[Level], chance: float, true: bool) -> None:
        level = levels[min(int(np.searchsorted(EDGES, chance, side="right")) - 1, len(levels) - 1)]
        level.stated.append(chance)
        level.true.append(true)

    for k in range(count):
        rng = np.random.default_rng([seed, k])
        layout = random_layout(rng)
        tape, limits = layout.tape, layout.tolerance
        u = float(tape.reading_u(TARGET))
        hook = rng.normal(0, tape.zero)
        truth = rng.uniform(-5, 5, size=(len(layout.sections), 2)) * (rng.random((len(layout.sections), 2)) < 0.9)
        times = int(rng.integers(1, 4))
        readings = [
            Reading(
                section=s.name, place=place, value=TARGET + truth[i, e] + hook + rng.normal(0, u), u=u, text="", row=0
            )
            for i, s in enumerate(layout.sections)
            for e, place in enumerate(s.points)
            for _ in range(times)
        ]
        train = fit_train(layout, Survey(source="", readings=tuple(readings), tape=tape, record={}))
        plan = plan_moves(train)
        for name in dict.fromkeys(step.section for step in plan.steps):
            i = layout.index[name]
            steps = [step for step in plan.steps if step.section == name]
            truth[i] = _moved(layout.sections[i], truth[i], steps, hook, u, layout.moves.creep, rng)
        unread = plan.unread
        own = (np.abs(truth) <= limits.offset).all(axis=1) & (np.abs(truth[:, 1] - truth[:, 0]) <= limits.square)
        step = np.abs(truth[1:, 0] - truth[:-1, 1]) <= limits.step
        kept = np.array([s.name not in unread for s in layout.sections])
        both = kept[1:] & kept[:-1]
        if kept.any():
            note(plans, plan.chance, bool(own[kept].all() and step[both].all()))
        for i in np.flatnonzero(kept):
            beside = [step[j] for j in (i - 1, i) if 0 <= j < len(step) and kept[j] and kept[j + 1]]
            note(parts, float(plan.then[i]), bool(own[i] and all(beside)))
    return plans, parts


def _moved(section, ends, steps, hook, u, creep, rng):
    """True deviations after the stops are met and the bolts tightened."""

    def through(one, other):
        slope = (other[1] - one[1]) / (other[0] - one[0])
        return np.array([one[1] - slope * one[0], one[1] + slope * (section.length - one[0])])

    def at(place):
        return ends[0] + (ends[1] - ends[0]) * place / section.length

    met = [step.watch.stop - TARGET - hook + rng.normal(0, u) for step in steps]
    loose = [0 if step.loosen == "entry" else 1 for step in steps]
    if len(steps) == 2:
        ends = np.array(met)
    else:
        pivot = section.bolts[1 - loose[0]]
        ends = through((pivot, at(pivot)), (watch_place(section, loose[0]), met[0]))
    for end in loose:
        pivot, bolt = section.bolts[1 - end], section.bolts[end]
        ends = through((pivot, at(pivot)), (bolt, at(bolt) + rng.normal(0, creep)))
    return ends


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    for what, levels in zip(("plans", "sections"), simulate(count, seed), strict=True):
        print(f"{what}: stated, came true, number, off by standard deviations")
        for level in levels:
            if level.stated:
                stated, true = np.mean(level.stated), np.mean(level.true)
                print(f"  {stated:.3f}  {true:.3f}  {len(level.true):>6}  {level.sigmas:.1f}")


if __name__ == "__main__":
    main()
