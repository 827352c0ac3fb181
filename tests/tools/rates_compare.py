"""
How often a moved section is named, and how often another is, over simulated pairs of surveys.

Each pair is the sample machine read twice with the sample's quick tape (1/16 marks, each end once): between the two the
string of each row is hung anew, shifted and turned at random, and one section swings by a stated number of U at one
bolt end. Run as ``python -m tests.tools.rates_compare``; a smaller run is asserted in the tests.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from math import sqrt

import numpy as np

from alignment.change.motion import Motion, compare_trains
from alignment.change.strings import Status
from alignment.machine.layout import Layout
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_text import parse_survey
from alignment.train.train import Train, fit_train
from tests.tools.sample_truth import BEFORE_MOVE, SAMPLES, Care, read_survey_as, survey_text

SEED = 20261125
QUICK = Care(mark=25.4 / 16, placing=25.4 / 64, tilt=2, zero=25.4 / 64, repeats=1)
Truth = dict[str, tuple[float, float]]


@dataclass(frozen=True)
class Rates:
    """Counts over simulated pairs."""

    pairs: int
    named: int
    """The moved section was named."""
    right: int
    """It was named, with the bolt end and the direction right."""
    falsely: int
    """Pairs in which another section was named."""
    covered: int
    """The true change at the bolt end lies within U of the one found."""


def _read(truth: Truth, layout: Layout, rng: np.random.Generator) -> Train:
    rows = read_survey_as(truth, layout, QUICK, rng)
    return fit_train(layout, parse_survey(survey_text({}, rows), layout))


def _hung_anew(truth: Truth, layout: Layout, rng: np.random.Generator) -> Truth:
    """The same faces seen from a string moved by up to 1/2 in at either end of the machine."""
    span = max(section.end for section in layout.sections)
    hung = {row: rng.uniform(-0.5, 0.5, 2) for row in layout.rows}
    found = {}
    for section in layout.sections:
        first, last = hung[section.row]
        ends = (section.start / span, section.end / span)
        found[section.name] = tuple(
            d + first + (last - first) * at for d, at in zip(truth[section.name], ends, strict=True)
        )
    return found


def _swung(truth: Truth, layout: Layout, name: str, bolt: int, move: float) -> Truth:
    """One section swung about one bolt end: the other goes ``move`` inches away from the string."""
    section = layout.sections[layout.index[name]]
    pivot, moving = section.bolts[1 - bolt], section.bolts[bolt]
    entry, exit_ = truth[name]
    turn = move / (moving - pivot)
    return truth | {name: (entry - turn * pivot, exit_ + turn * (section.length - pivot))}


def expanded(layout: Layout) -> list[tuple[float, float]]:
    """U of the change at each section's bolt ends, as these surveys have it. [mm]"""
    rng = np.random.default_rng(SEED)
    motion = compare_trains(_read(BEFORE_MOVE, layout, rng), _read(BEFORE_MOVE, layout, rng))
    return [(2 * float(a), 2 * float(b)) for a, b in zip(*(end.u for end in motion.bolts()), strict=True)]


def simulate(pairs: int, times_u: float, seed: int = SEED) -> Rates:
    """Count over ``pairs`` of surveys with one section moved by ``times_u`` U at one bolt end."""
    layout = read_layout(SAMPLES / "machine.toml")
    reach = expanded(layout)
    rng = np.random.default_rng(seed)
    counts = np.zeros(4, dtype=int)
    for _ in range(pairs):
        i, bolt = int(rng.integers(len(layout.sections))), int(rng.integers(2))
        move = float(rng.choice([-1, 1])) * times_u * reach[i][bolt]
        moved = _swung(BEFORE_MOVE, layout, layout.sections[i].name, bolt, move / 25.4)
        before = _read(BEFORE_MOVE, layout, rng)
        motion = compare_trains(before, _read(_hung_anew(moved, layout, rng), layout, rng))
        counts += _score(motion, i, bolt, move)
    return Rates(pairs, *(int(count) for count in counts))


def _score(motion: Motion, i: int, bolt: int, move: float) -> tuple[bool, bool, bool, bool]:
    named = motion.status[i] is Status.moved
    here, other = (motion.bolts()[b] for b in (bolt, 1 - bolt))
    right = named and here.value[i] * move > 0 and abs(here.value[i]) > abs(other.value[i])
    falsely = any(status is Status.moved for k, status in enumerate(motion.status) if k != i)
    return named, right, falsely, abs(here.value[i] - move) <= 2 * here.u[i]


def _interval(count: int, pairs: int) -> str:
    """Share in percent, with the 95 % interval of Wilson (from memory)."""
    p, z = count / pairs, 1.96
    middle = (p + z * z / (2 * pairs)) / (1 + z * z / pairs)
    half = z * sqrt(p * (1 - p) / pairs + z * z / (4 * pairs**2)) / (1 + z * z / pairs)
    return f"{100 * p:5.1f} % ({100 * (middle - half):4.1f} to {100 * (middle + half):4.1f})"


def main() -> None:
    """Print the rates."""
    parser = argparse.ArgumentParser(description="Rates of naming the moved section, over simulated pairs.")
    parser.add_argument("--pairs", type=int, default=2000)
    pairs = parser.parse_args().pairs
    print(f"{pairs} simulated pairs at each size; strings hung anew; one section swung at one bolt end")
    for times_u in (5.0, 3.0, 2.0, 1.0, 0.0):
        found = simulate(pairs, times_u)
        print(
            f"moved by {times_u:g} U: named {_interval(found.named, pairs)}, end and way right "
            f"{_interval(found.right, pairs)}\n{'':14}others falsely named {_interval(found.falsely, pairs)}, true "
            f"change within U {_interval(found.covered, pairs)}"
        )


if __name__ == "__main__":
    main()
