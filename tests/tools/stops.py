"""
Random plans looked over: no stop off the tape's marks or halfways, no end loosened that reads as wanted.

    python -m tests.tools.stops [COUNT]

An end that reads as wanted may be loosened where a joint asks for it: where without that the step there is out.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable

import numpy as np

from alignment.choices import Aim
from alignment.train.moves.plan import Step
from alignment.train.solve import Solution, solve
from tests.tools.machines import machine, readings

SIZES = {"in": (25.4, 1 / 16), "mm": (1.0, 1.0)}


def random_machine(units: str, seed: int):
    """One or two rows of sections, some true, some off at either end, read to the mark, some twice."""
    rng = np.random.default_rng(seed)
    _, mark = SIZES[units]
    mark = float(rng.choice([mark, mark / 2]))
    scale = 1.0 if units == "in" else 25.0
    parts, taken, joints, rows = [], [], [], {}
    for r in range(int(rng.integers(1, 3))):
        wanted = round(float(rng.uniform(10, 22)) * scale / mark) * mark
        wanted += float(rng.choice([0.0, 0.0, mark / 2, 0.3 * mark]))
        rows[f"r{r}"] = f"target = '{wanted:.6f}'"
        start, before = 0.0, None
        for k in range(int(rng.integers(1, 5))):
            length = float(rng.uniform(14, 32)) * scale
            inside = [float(rng.uniform(0, 4)) * scale for _ in range(2)]
            name = f"r{r}-{k}"
            parts.append(
                {
                    "name": name,
                    "row": f"r{r}",
                    "start": round(start, 3),
                    "length": round(length, 3),
                    "bolts": [round(inside[0], 3), round(length - inside[1], 3)],
                    "hold": bool(rng.random() < 0.05),
                }
            )
            off = rng.uniform(-0.3, 0.3, size=2) * (rng.random(2) < 0.5) * scale
            for _ in range(int(rng.integers(1, 4))):
                for end, by in zip(("entry", "exit"), off, strict=True):
                    read = round((wanted + by + rng.normal(0, mark / 4)) / mark) * mark
                    taken.append((name, end, f"{read:.6f}"))
            if before and rng.random() < 0.8:
                joints.append((before, name))
            start, before = start + length + float(rng.uniform(0, 2)) * scale, name
    limit = float(rng.choice([1, 2])) / 16 * scale
    layout = machine(
        parts,
        units=units,
        tape=f"mark = '{mark}'",
        tolerance="\n".join(f"{key} = '{limit:.4f}'" for key in ("offset", "square", "step")),
        moves=f"travel = '{0.375 * scale}'" if rng.random() < 0.7 else "",
        rows=rows,
        joints=joints,
    )
    return layout, readings(layout, taken), Aim.fewest if rng.random() < 0.7 else Aim.least


def faults(found: Solution) -> list[str]:
    """What is wrong with a plan."""
    layout, half = found.layout, found.survey.tape.mark / 2
    said = []
    for step in found.plan.steps:
        if abs(step.watch.stop / half - round(step.watch.stop / half)) > 1e-6:
            said.append(f"{step.section}: stop {step.watch.stop} is on no mark or halfway")
        if (
            abs(step.watch.read - step.watch.target) < 1e-6
            and not _asked(found, step.section)
            and not _off(found, step)
        ):
            alone = [s for s in found.plan.steps if s.section == step.section]
            said.append(f"{step.section}: {step.loosen} reads as wanted and is loosened, {len(alone)} ends loose")
    for j, step in enumerate(found.plan.state.joints):
        if step.step is not None and abs(abs(step.step.value) - layout.tolerance.step) < 1e-6:
            names = {step.upstream, step.downstream}
            held = any(s.hold for s in layout.sections if s.name in names)
            held |= bool(names & {again.section for again in found.read_again})
            # beside a section on hold there may be no better, and one to be read again does not count yet
            if names & {s.section for s in found.plan.steps} and not held:
                said.append(f"joint {j} is left just at its limit")
    return said


def _off(found: Solution, step: Step) -> bool:
    """Whether the bolt end itself, inside the point that reads as wanted, is off by more than half a mark."""
    i = found.layout.index[step.section]
    section = found.layout.sections[i]
    at = section.start + section.bolts[0 if step.loosen == "entry" else 1]
    return bool(abs(found.train.deviation(at).value[i]) > found.survey.tape.mark / 2)


def _asked(found: Solution, name: str) -> bool:
    """Whether a joint of the section is out, now or with only its other end moved, so that this end has to go."""
    for joint, now in zip(found.layout.joints, found.state.joints, strict=True):
        if name in joint.names and now.step is not None and (now.step.miss > 0 or now.step.p_in < 0.5):
            return True
        if name in joint.names:
            other = found.layout.index[next(n for n in joint.names if n != name)]
            if found.plan.moves[other].any() or found.layout.sections[other].hold:
                return True
    return False


def check(units: str, seeds: Iterable[int]) -> list[str]:
    """Faults of many random plans."""
    found = []
    for seed in seeds:
        layout, survey, aim = random_machine(units, seed)
        found += [f"seed {seed}: {fault}" for fault in faults(solve(layout, survey, aim=aim))]
    return found


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    for units in ("in", "mm"):
        steps, moved = 0, 0
        said = []
        for seed in range(count):
            layout, survey, aim = random_machine(units, seed)
            found = solve(layout, survey, aim=aim)
            steps += len(found.plan.steps)
            moved += bool(found.plan.steps)
            said += [f"seed {seed}: {fault}" for fault in faults(found)]
        print(f"{units}: {count} machines, {moved} with moves, {steps} bolt ends; faults: {len(said)}")
        for text in said[:20]:
            print(f"  {text}")


if __name__ == "__main__":
    main()
