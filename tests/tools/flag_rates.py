"""
Rates of flags and of U, over kinds of machine and tape: ``python -m tests.tools.flag_rates [COUNT]``.

Part of ``python -m tests.tools.rates`` too. COUNT surveys of each kind up to three sections, fewer of longer machines.
``--only`` prints one table, or the bound alone; ``--tape``, ``--out``, ``--sections``, ``--strings`` and ``--repeats``
take some kinds of it.

A person is simulated: a hook that is off by the same for a whole survey, a hand that places the tape, a tape held
askew by an even chance, rounding to its marks. True machines are dead true; badly out ones have every section end out
by itself with a standard deviation of 1/8 in.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats
from scipy.special import logsumexp

from alignment.machine.layout import Layout
from alignment.machine.layout_file import parse_layout
from alignment.machine.survey import Reading, Survey
from alignment.train.flags.find import find_flags
from alignment.train.flags.leaning import ERROR, PAIR, PAIR_ALONE
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


def bound(kind: Kind, size: float, count: int = 40_000, seed: int = 1) -> tuple[float, float]:
    """
    Most of the slips of one reading that any test could find that doubts one clean survey in twenty. [%]

    The likelihood ratio (Neyman and Pearson) of one reading being off by this to either side against none, told how
    far the section ends are out and what a reading is worth; with the wanted reading known, each point read once, and
    rounded to the marks of the tape. Then the least of the clean surveys that any test has to doubt which finds 99 %.
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

    of_clean, of_bad = for_a_slip(clean), for_a_slip(bad)
    most = float(np.mean(of_bad > np.quantile(of_clean, 0.95)))
    return 100 * most, 100 * float(np.mean(of_clean >= np.quantile(of_bad, 0.01)))


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


def covered_kinds(sections: int = 3) -> Iterator[Kind]:
    """Near and far, once and five times, coarse marks and fine, an ordinary hand and a steady one."""
    for reading in (18.375, 72.0):
        for repeats in (1, 5):
            for tape in TAPES:
                yield Kind(sections=sections, tape=tape, repeats=repeats, reading=reading)
            yield Kind(sections=sections, repeats=repeats, reading=reading, hand="1/128 in")


def pair_leans(d: np.ndarray, u: float) -> np.ndarray:
    """Whether two sections, by the deviations of their four ends, (m, 4), say that a string leans; told anew. [mm]"""
    x = np.array([0, LENGTH, EVERY, EVERY + LENGTH]) * IN
    x = x - x.mean()
    moment = np.sum(x**2)
    d = d - d.mean(axis=1, keepdims=True)
    slope = d @ x / moment
    left = np.sum((d - slope[:, None] * x) ** 2, axis=1)
    student = np.maximum(np.sqrt(left / 2), u) * stats.t.ppf(1 - ERROR / 2, 2)
    limit = np.where(left <= u**2 * stats.chi2.ppf(PAIR_ALONE, 2), PAIR * u, student)
    return np.asarray(np.abs(slope) * np.sqrt(moment) > limit)


def pair_accused(times: float, count: int = 400_000, seed: int = 1) -> float:
    """Straight strings called leaning by two sections whose ends are out by so many times what the tape tells. [%]"""
    rng = np.random.default_rng([seed, int(10 * times)])
    return 100 * float(np.mean(pair_leans(rng.normal(0, np.hypot(1, times), (count, 4)), 1.0)))


def print_flags(some: Iterable[Kind], count: int, seed: int = 1) -> None:
    """The table of flags."""
    print(f"\nFLAGS, % of up to {count} surveys of each kind (slips of one reading and 3/8 in leans found; ! is false)")
    print("!any: off-target or unlikely. hung: of all sections, with the string hung off by 1/4 in")
    print("bound: the most that any test doubting 5 % of clean surveys could find, of half an inch, an inch or 10 mm")
    heads = [*(c.replace("false ", "!") for c in COLUMNS), "bound half", "bound inch"]
    print("tape   repeats strings machine  sections surveys " + " ".join(f"{head:>12}" for head in heads))
    for k in some:
        surveys = max(count * 3 // max(k.sections * k.strings, 3), 1)
        found = rates(k, surveys, seed)
        cells = " ".join(
            f"{found.get(c, 0.0):>12.1f}" if c in found or c[:5] == "false" else f"{'-':>12}" for c in COLUMNS
        )
        print(named(k), f"{surveys:>7}", cells, bounds(k), flush=True)


def print_bounds(some: Iterable[Kind]) -> None:
    """The most that can be found."""
    print("\nBOUND, % of half inches, inches or 10 mm that a test can find which doubts 5 % of clean surveys;")
    print("then the % of clean surveys that a test has to doubt which finds 99 % of these slips")
    heads = "bound half", "bound inch", "99 of half", "99 of inch"
    print("tape   repeats strings machine  sections " + " ".join(f"{head:>12}" for head in heads))
    for k in some:
        print(named(k), bounds(k), bounds(k, which=1), flush=True)


def named(kind: Kind) -> str:
    """What kind of survey, in columns."""
    return f"{kind.tape:<6} {kind.repeats:>7} {kind.strings:>7} {kind.out:<8} {kind.sections:>8}"


def bounds(kind: Kind, which: int = 0) -> str:
    """The bound of half an inch and of an inch or 10 mm, in columns, or the price of 99 %."""
    sizes = [SLIPS[str(kind.layout().units)][name] or 0.0 for name in ("half", "inch")]
    return " ".join(f"{bound(kind, size)[which]:>12.1f}" if kind.repeats == 1 else f"{'-':>12}" for size in sizes)


def print_u(some: Iterable[Kind], count: int, seed: int = 1) -> None:
    """The table of U."""
    print(f"\nU, % of values within 2 u of the truth, {count} surveys each")
    print("sections reading repeats tape   hand          offset   skew   step")
    for k in some:
        found = cover(k, count, seed)
        hand = k.hand or TAPES[k.tape][2]
        print(
            f"{k.sections:>8} {k.reading:>7} {k.repeats:>7} {k.tape:<6} {hand:<12} "
            + " ".join(f"{found[name]:>6.1f}" for name in found),
            flush=True,
        )


def print_pair(count: int, seed: int = 1) -> None:
    """How often two sections accuse a straight string."""
    print(f"\nPAIR, % of {count} straight strings called leaning by two sections, by how far these are out")
    for times in (0, 1, 2, 3, 4, 5, 6, 8, 12, 20):
        print(f"  ends out by {times:>2} standard uncertainties of the tape: {pair_accused(times, count, seed):.2f}")


def print_rates(count: int) -> None:
    """All tables."""
    print_flags(kinds(), count)
    print_u(covered_kinds(), count)
    print_pair(100 * count)


def main() -> None:
    """Print what is asked for."""
    parser = argparse.ArgumentParser(description="Rates of flags and of U over simulated surveys.")
    parser.add_argument("count", type=int, nargs="?", default=1000)
    parser.add_argument("--only", choices=("flags", "bound", "u", "pair"))
    parser.add_argument("--tape", choices=TAPES)
    parser.add_argument("--out", choices=OUT)
    parser.add_argument("--sections", type=int, choices=SIZES)
    parser.add_argument("--strings", type=int, choices=(1, 2))
    parser.add_argument("--repeats", type=int, choices=(1, 3, 5))
    parser.add_argument("--seed", type=int, default=1)
    told = parser.parse_args()

    def asked(some: Iterable[Kind]) -> list[Kind]:
        names = [name for name in ("tape", "out", "sections", "strings", "repeats") if getattr(told, name) is not None]
        return [k for k in some if all(getattr(k, name) == getattr(told, name) for name in names)]

    if told.only in (None, "flags"):
        print_flags(asked(kinds()), told.count, told.seed)
    if told.only == "bound":
        print_bounds(asked(kinds()))
    if told.only in (None, "u"):
        print_u(asked(covered_kinds(told.sections or 3)), told.count, told.seed)
    if told.only in (None, "pair"):
        print_pair(100 * told.count, told.seed)


if __name__ == "__main__":
    main()
