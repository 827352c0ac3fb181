"""
Rates of flags and of U, over kinds of machine and tape: ``python -m tests.tools.flag_rates [COUNT]``.

Part of ``python -m tests.tools.rates`` too. COUNT surveys of each kind up to three sections, fewer of longer machines.

A person is simulated: a hook that is off by the same for a whole survey, a hand that places the tape, a tape held
askew by an even chance, rounding to its marks. True machines are dead true; badly out ones have every section end out
by itself with a standard deviation of 1/8 in.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from alignment.machine.layout import Layout
from alignment.machine.layout_file import parse_layout
from alignment.machine.survey import Reading, Survey
from alignment.train.flags.find import find_flags
from alignment.train.train import fit_train

IN = 25.4
LENGTH, EVERY = 18.0, 20.0
SIZES = (1, 2, 3, 5, 8, 16)
OUT = {"true": 0.0, "out 1/8": IN / 8}
TAPES = {
    "1/16": ("in", "1/16 in", "1/64 in"),
    "1/64": ("in", "1/64 in", "1/256 in"),
    "1 mm": ("mm", "1 mm", "0.25 mm"),
    "0.5 mm": ("mm", "0.5 mm", "0.125 mm"),
}
SLIPS = {
    "in": {"half": IN / 2, "inch": IN, "foot": 12 * IN, "left out": None},
    "mm": {"half": IN / 2, "inch": 10.0, "foot": 100.0},
}
"""For a metric tape an inch is 10 mm and a foot 100 mm. Left out are the whole inches."""
LARGE = ("foot", "left out")
"""Slips so large that they are put into one survey of so many."""
SELDOM = 4
ASKS = ("stray", "off-target", "unlikely", "spread")
"""Flags that send a person back to a reading."""
DOUBTS = ("off-target", "unlikely")
"""Those of them that rest on target and neighbours."""


@dataclass(frozen=True, kw_only=True)
class Kind:
    """One kind of survey."""

    sections: int = 5
    strings: int = 1
    out: str = "true"
    tape: str = "1/16"
    repeats: int = 1
    reading: float = 18.375
    hand: str = ""

    def layout(self) -> Layout:
        """The machine, each row with a string of its own."""
        units, mark, hand = TAPES[self.tape]
        text = f'[machine]\nname = "simulated"\nunits = "{units}"\n'
        text += f'[tape]\nmark = "{mark}"\nset = "{self.hand or hand}"\n'
        for row in range(self.strings):
            text += f'[row.r{row}]\ntarget = "{self.reading} in"\n'
            for k in range(self.sections):
                text += f'[[section]]\nname = "r{row}-{k}"\nrow = "r{row}"\nstart = "{EVERY * k} in"\n'
                text += f'length = "{LENGTH} in"\n'
            for k in range(self.sections - 1):
                text += f'[[joint]]\nsections = ["r{row}-{k}", "r{row}-{k + 1}"]\n'
        return parse_layout(text)


class Person:
    """Reads a machine."""

    def __init__(self, kind: Kind, seed: int) -> None:
        self.kind, self.layout = kind, kind.layout()
        # every kind has draws of its own
        which = [list(TAPES).index(kind.tape), list(OUT).index(kind.out), kind.sections, kind.strings, kind.repeats]
        self.rng = np.random.default_rng([seed, *which])

    def truth(self, lean: float = 0.0, shift: float = 0.0) -> np.ndarray:
        """Deviations of both ends of every section, (n, 2), from strings that lean or hang off. [mm]"""
        s = self.layout.sections
        true = self.rng.normal(0, OUT[self.kind.out], (len(s), 2)) if OUT[self.kind.out] else np.zeros((len(s), 2))
        return true + shift + lean * np.array([[part.start, part.end] for part in s])

    def read(self, true: np.ndarray) -> Survey:
        """A survey with its closing readings."""
        layout, tape, rng = self.layout, self.layout.tape, self.rng
        hook = rng.normal(0, tape.zero)
        wanted = self.kind.reading * IN
        readings = []

        def one(section: int, end: int, *, closing: bool) -> Reading:
            far = wanted + true[section, end]
            tilt = np.radians(tape.tilt) * rng.uniform(-1, 1)
            seen = far / np.cos(tilt) + hook + rng.normal(0, tape.set_u)
            value = float(np.round(seen / tape.mark) * tape.mark)
            place = layout.sections[section].points[end]
            return made(layout, layout.sections[section].name, place, value, closing=closing)

        for i in range(len(layout.sections)):
            readings += [one(i, end, closing=False) for end in (0, 1) for _ in range(self.kind.repeats)]
        readings += [one(i * self.kind.sections, 0, closing=True) for i in range(self.kind.strings)]
        return Survey(source="simulated", readings=tuple(readings), tape=tape, record={})

    def slipped(self, survey: Survey, size: float | None) -> tuple[Survey, str]:
        """The survey with one reading misread, and its section."""
        fitted = [k for k, r in enumerate(survey.readings) if not r.closing]
        k = int(self.rng.choice(fitted))
        was = survey.readings[k]
        # whole inches left out: the fraction alone is written
        value = was.value % IN if size is None else was.value + size * self.rng.choice([-1, 1])
        readings = list(survey.readings)
        readings[k] = made(self.layout, was.section, was.place, max(value, 0.1), closing=False)
        return replace(survey, readings=tuple(readings)), was.section


def made(layout: Layout, name: str, place: float, value: float, *, closing: bool) -> Reading:
    """A reading, with the text a person writes."""
    text = f"{layout.units.of(value):.4f}".rstrip("0").rstrip(".")
    u = float(layout.tape.reading_u(value))
    return Reading(section=name, place=place, value=value, u=u, text=text, row=0, closing=closing)


def rates(kind: Kind, count: int, seed: int = 1) -> dict[str, float]:
    """Shares of surveys: of clean ones with each flag, of slips found, of leans found. [%]"""
    person = Person(kind, seed)
    layout = person.layout
    tally: defaultdict[str, float] = defaultdict(float)
    slips = SLIPS[str(layout.units)]
    for k in range(count):
        survey = person.read(person.truth())
        clean = find_flags(fit_train(layout, survey))
        for found in {f"false {f.flag}" for f in clean}:
            tally[found] += 1
        tally["false any"] += any(f.flag in DOUBTS for f in clean)
        for name, size in slips.items():
            if name in LARGE and k % SELDOM:
                continue
            bad, section = person.slipped(survey, size)
            tally[name] += any(f.section == section and f.flag in ASKS for f in find_flags(fit_train(layout, bad)))
        hung = person.read(person.truth(shift=IN / 4))
        asked = {f.section for f in find_flags(fit_train(layout, hung)) if f.flag in ASKS and f.section}
        tally["hung"] += len(asked) / len(layout.sections)
        if kind.out == "true":
            span = layout.sections[kind.sections - 1].end
            leaning = find_flags(fit_train(layout, person.read(person.truth(3 / 8 * IN / span))))
            tally["lean"] += any(f.flag == "line-skewed" for f in leaning)
    tried = dict.fromkeys(LARGE, -(-count // SELDOM))
    return {name: 100 * number / tried.get(name, count) for name, number in tally.items()}


COLUMNS = (
    "half",
    "inch",
    "foot",
    "left out",
    "lean",
    "hung",
    "false line-skewed",
    "false line-moved",
    "false any",
    "false stray",
    "false spread",
)


def kinds() -> Iterator[Kind]:
    """All kinds of the table: one string by every tape, and two by the coarsest, which is used most."""
    for repeats, sizes in ((1, SIZES), (3, (1, 2, 5))):
        for tape in TAPES:
            for strings in (1, 2) if tape == "1/16" and repeats == 1 else (1,):
                for out in reversed(OUT):
                    for sections in sizes:
                        yield Kind(sections=sections, strings=strings, out=out, tape=tape, repeats=repeats)


def bound(kind: Kind, size: float, count: int = 40_000, seed: int = 1) -> float:
    """
    Most of the slips of one reading that any test could find that doubts one clean survey in twenty. [%]

    The likelihood ratio (Neyman and Pearson) of one reading being off by this to either side against none, told how
    far the section ends are out and what a reading is worth; with the wanted reading known, each point read once, and
    rounded to the marks of the tape.
    """
    rng = np.random.default_rng(seed)
    tape = kind.layout().tape
    u = float(np.hypot(OUT[kind.out], tape.reading_u(kind.reading * IN)))
    finer = float(np.sqrt(u**2 - tape.mark**2 / 12))
    clean, bad = rng.normal(0, finer, (2, count, 2 * kind.sections * kind.strings))
    bad[:, 0] += size
    clean, bad = (np.round(read / tape.mark) * tape.mark for read in (clean, bad))

    def for_a_slip(off: np.ndarray) -> np.ndarray:
        return logsumexp(np.concatenate([off, -off], axis=1) * size / u**2, axis=1)

    doubted = np.quantile(for_a_slip(clean), 0.95)
    return 100 * float(np.mean(for_a_slip(bad) > doubted))


def cover(kind: Kind, count: int, seed: int = 1) -> dict[str, float]:
    """Share of surveys whose offset (worse of both ends), skew and step are within U of the truth. [%]"""
    person = Person(kind, seed)
    inside: dict[str, list[float]] = {"offset": [], "skew": [], "step": []}
    for _ in range(count):
        true = person.truth() + person.rng.uniform(-1, 1, (len(person.layout.sections), 2)) * IN / 16
        train = fit_train(person.layout, person.read(true))
        ends = np.stack([e.value for e in train.ends], axis=1), np.stack([e.u for e in train.ends], axis=1)
        inside["offset"].append(float(np.mean(np.abs(ends[0] - true) <= 2 * ends[1])))
        skew, step = true[:, 1] - true[:, 0], true[1:, 0] - true[:-1, 1]
        inside["skew"].append(float(np.mean(np.abs(train.skew.value - skew) <= 2 * train.skew.u)))
        if len(step):
            inside["step"].append(float(np.mean(np.abs(train.steps.value - step) <= 2 * train.steps.u)))
    return {name: 100 * float(np.mean(found)) for name, found in inside.items() if found}


def covered_kinds() -> Iterator[Kind]:
    """Near and far, once and five times, coarse marks and fine, an ordinary hand and a steady one."""
    for reading in (18.375, 72.0):
        for repeats in (1, 5):
            for tape in TAPES:
                yield Kind(sections=3, tape=tape, repeats=repeats, reading=reading)
            yield Kind(sections=3, repeats=repeats, reading=reading, hand="1/128 in")


def print_rates(count: int) -> None:
    """The table of flags, then that of U."""
    print(f"\nFLAGS, % of up to {count} surveys of each kind (slips of one reading and 3/8 in leans found; ! is false)")
    print("bound: the most that any test doubting 5 % of clean surveys could find, of half an inch, an inch or 10 mm")
    heads = [*(c.replace("false ", "!") for c in COLUMNS), "bound half", "bound inch"]
    print("tape   repeats strings machine  sections surveys " + " ".join(f"{head:>12}" for head in heads))
    for k in kinds():
        surveys = max(count * 3 // max(k.sections * k.strings, 3), 1)
        found = rates(k, surveys)
        cells = " ".join(
            f"{found.get(c, 0.0):>12.1f}" if c in found or c[:5] == "false" else f"{'-':>12}" for c in COLUMNS
        )
        slips = SLIPS[str(k.layout().units)]
        bounds = [f"{bound(k, slips[name] or 0.0):>12.1f}" if k.repeats == 1 else f"{'-':>12}" for name in slips][:2]
        kind = f"{k.tape:<6} {k.repeats:>7} {k.strings:>7} {k.out:<8} {k.sections:>8} {surveys:>7}"
        print(kind, cells, *bounds, flush=True)
    print(f"\nU, % of values within 2 u of the truth, {count} surveys of 3 sections each")
    print("reading repeats tape   hand          offset   skew   step")
    for k in covered_kinds():
        found = cover(k, count)
        hand = k.hand or TAPES[k.tape][2]
        print(
            f"{k.reading:>7} {k.repeats:>7} {k.tape:<6} {hand:<12} "
            + " ".join(f"{found[name]:>6.1f}" for name in ("offset", "skew", "step")),
            flush=True,
        )


if __name__ == "__main__":
    print_rates(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
