"""
How often flags are right, on simulated surveys: ``python -m tests.tools.rates``.

Each survey is drawn from a stated truth with the tape's own errors, rounding to marks included.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np

from alignment.machine.layout import Layout
from alignment.machine.layout_file import parse_layout
from alignment.machine.slips import SlipKind
from alignment.machine.survey import Reading, Survey
from alignment.quantiles import noncentrality
from alignment.show.words.slips import slip_words
from alignment.train.faces import fit_sections
from alignment.train.flags.find import find_flags
from alignment.train.flags.leaning import find_leans
from alignment.train.flags.strays import find_strays
from alignment.train.train import Train, fit_train
from alignment.uncertainty import reading_u
from tests.tools import flag_rates

IN = 25.4


def machine(points: tuple[float, ...], sections: int = 7, *, units: str = "in") -> Layout:
    """One row of alike sections with a known target, read at the given points. [inches]"""
    text = f'[machine]\nname = "simulated"\nunits = "{units}"\n[row.a]\ntarget = "18.375 in"\n'
    text += f'[tape]\nmark = "{"1/16" if units == "in" else "1"}"\nset = "{"1/64 in" if units == "in" else "0.25"}"\n'
    for k in range(sections):
        where = ", ".join(f'"{p} in"' for p in points)
        text += (
            f'[[section]]\nname = "a-{k + 1}"\nrow = "a"\nstart = "{20 * k} in"\nlength = "18 in"\npoints = [{where}]\n'
        )
    return parse_layout(text)


@dataclass(frozen=True)
class Hand:
    """The tape and the hand of a layout, as a generator of readings."""

    layout: Layout
    rng: np.random.Generator

    def read(self, true: float) -> float:
        """One reading of a true distance. [mm]"""
        tape = self.layout.tape
        tilt = self.rng.uniform(-1, 1) * np.radians(tape.tilt)
        seen = true * (1 + tilt**2 / 2) + self.rng.normal(0, tape.set_u)
        return float(np.round(seen / tape.mark) * tape.mark)

    def survey(self, entry: np.ndarray, exit_: np.ndarray, repeats: int = 1) -> Survey:
        """Readings of sections whose ends deviate by this. [mm]"""
        layout, tape = self.layout, self.layout.tape
        readings = []
        for section, a, b in zip(layout.sections, entry, exit_, strict=True):
            for _ in range(repeats):
                for place in section.points:
                    true = (layout.rows[section.row].target or 0) + a + (b - a) * place / section.length
                    readings.append(_reading(section.name, place, self.read(true), layout))
        return Survey(source="simulated", readings=tuple(readings), tape=tape, record={})


def _reading(name: str, place: float, value: float, layout: Layout) -> Reading:
    tape = layout.tape
    u = float(reading_u(value, mark=tape.mark, set_u=tape.set_u, tilt=tape.tilt))
    text = f"{layout.units.of(value):.4f}".rstrip("0").rstrip(".")
    return Reading(section=name, place=place, value=value, u=u, text=text, row=0)


def slipped(survey: Survey, k: int, value: float, layout: Layout) -> Survey:
    """The survey with one reading replaced."""
    readings = list(survey.readings)
    readings[k] = _reading(readings[k].section, readings[k].place, value, layout)
    return Survey(source=survey.source, readings=tuple(readings), tape=survey.tape, record={})


def faces(rng: np.random.Generator, sections: int, spread: float = 1 / 16) -> tuple[np.ndarray, np.ndarray]:
    """Independently displaced sections: deviations of their ends. [mm]"""
    return rng.normal(0, spread * IN, sections), rng.normal(0, spread * IN, sections)


def stray_rates(count: int, seed: int = 1) -> tuple[float, float]:
    """Share of slips of five times the detectable flagged at the right point, and of clean surveys with a stray."""
    layout = machine((0, 9, 18))
    rng = np.random.default_rng(seed)
    hand = Hand(layout, rng)
    right = false = 0
    for _ in range(count):
        survey = hand.survey(*faces(rng, 7))
        train = fit_train(layout, survey)
        false += bool(find_strays(train))
        k = int(rng.integers(len(survey.readings)))
        by = 5 * train.lines.detectable(noncentrality())[k] * rng.choice([-1, 1])
        bad = slipped(survey, k, survey.readings[k].value + by, layout)
        found = find_strays(fit_train(layout, bad))
        right += len(found) >= 1 and found[0].reading is bad.readings[k]
    return right / count, false / count


def hint_rates(count: int, seed: int = 2) -> dict[str, tuple[int, int, int]]:
    """For each kind of slip: how many were put in, were given a hint, and were given the right one."""
    found = {}
    kinds = {
        "in": (("a whole foot", 12 * IN), ("a whole inch", IN), ("a half inch", IN / 2), ("a quarter inch", IN / 4)),
        "mm": (("100 mm", 100.0), ("10 mm", 10.0), ("two digits", 0.0)),
    }
    for units, slips in kinds.items():
        layout = machine((0, 9, 18), units=units)
        for name, size in slips:
            rng = np.random.default_rng(seed)
            hand = Hand(layout, rng)
            given = right = 0
            for _ in range(count):
                survey = hand.survey(*faces(rng, 7), repeats=2)
                k = int(rng.integers(len(survey.readings)))
                value = survey.readings[k].value + size * rng.choice([-1, 1])
                if not size:
                    digits = f"{survey.readings[k].value:.0f}"
                    value = float(digits[0] + digits[2] + digits[1])
                bad = slipped(survey, k, value, layout)
                own = [f for f in find_flags(fit_train(layout, bad)) if f.section == bad.readings[k].section]
                hint = next((slip_words(f.hint) for f in own if f.hint), "")
                given += bool(hint)
                right += name in hint
            found[name] = (count, given, right)
    found["the ends swapped"] = _swap_rates(count, seed)
    return found


def _swap_rates(count: int, seed: int) -> tuple[int, int, int]:
    """Two readings a section on a string that leans, the ends of one section with neighbours swapped."""
    layout = machine((0, 18))
    rng = np.random.default_rng(seed)
    hand = Hand(layout, rng)
    middle, half = np.array([s.middle for s in layout.sections]), layout.sections[0].length / 2
    slope = 1.5 * IN / layout.sections[-1].end
    given = right = 0
    for _ in range(count):
        entry, exit_ = faces(rng, 7, 1 / 64)
        survey = hand.survey(entry + slope * (middle - half), exit_ + slope * (middle + half))
        i = int(rng.integers(1, 6))
        a, b = survey.readings[2 * i : 2 * i + 2]
        bad = slipped(slipped(survey, 2 * i, b.value, layout), 2 * i + 1, a.value, layout)
        told = [f for f in find_flags(fit_train(layout, bad)) if f.hint]
        given += bool(told)
        right += any(f.hint.kind is SlipKind.ends and f.section == a.section for f in told)
    return count, given, right


def lean_rates(count: int, seed: int = 3) -> dict[str, float]:
    """How often a leaning string is found, its slope within U, and a straight one with skewed sections accused."""
    layout = machine((0, 18))
    rng = np.random.default_rng(seed)
    hand = Hand(layout, rng)
    middle = np.array([s.middle for s in layout.sections])
    span = layout.sections[-1].end
    found = right = accused = 0
    for _ in range(count):
        entry, exit_ = faces(rng, 7, 1 / 32)
        slope = rng.choice([-1, 1]) * 0.375 * IN / span
        half = layout.sections[0].length / 2
        survey = hand.survey(entry + slope * (middle - half), exit_ + slope * (middle + half))
        leans = find_leans(fit_train(layout, survey))
        found += bool(leans)
        right += bool(leans) and abs(leans[0].slope - slope) <= leans[0].expanded
        accused += bool(find_leans(fit_train(layout, hand.survey(*faces(rng, 7)))))
    return {"found": found / count, "slope within U": right / max(found, 1), "accused": accused / count}


def monte_carlo(count: int, seed: int = 4) -> dict[str, tuple[float, float]]:
    """Standard deviation of skew and mid-length offset over simulated readings, beside the u that is stated. [mm]"""
    layout = machine((0, 18), sections=1)
    tape, section = layout.tape, layout.sections[0]
    rng = np.random.default_rng(seed)
    # the true distance is anywhere between two marks; the tape's zero is its own
    true = 18.375 * IN + rng.uniform(-1, 1, (count, 2)) * tape.mark
    tilt = np.radians(tape.tilt) * rng.uniform(-1, 1, (count, 2))
    zero = rng.normal(0, tape.zero, (count, 1))
    seen = true * (1 + tilt**2 / 2) + rng.normal(0, tape.set_u, (count, 2)) + zero
    error = np.round(seen / tape.mark) * tape.mark - true
    hand = Hand(layout, rng)
    train: Train = fit_train(layout, hand.survey(np.zeros(1), np.zeros(1)))
    assert fit_sections(layout, train.survey).count[0] == len(section.points)
    return {
        "skew": (float(np.std(error[:, 1] - error[:, 0])), float(train.skew.u[0])),
        "offset": (float(np.sqrt(np.mean(error.mean(axis=1) ** 2))), float(train.offset.u[0])),
    }


def main() -> None:
    """Print all rates."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 2000
    right, false = stray_rates(count)
    print(f"{count} surveys of 7 sections, 3 points each, 1/16 marks")
    print(f"  slip of 5 times the detectable, flagged at its point   {100 * right:6.1f} %")
    print(f"  clean surveys with a stray                             {100 * false:6.1f} %")
    for name, (put, given, fine) in hint_rates(count // 4).items():
        share = f"{100 * fine / given:.1f} %" if given else "-"
        print(f"  slip of {name:<17} hint given in {100 * given / put:5.1f} %, right in {share} of these")
    for name, rate in lean_rates(count).items():
        print(f"  leaning string, {name:<40} {100 * rate:6.1f} %")
    for name, (simulated, stated) in monte_carlo(200_000).items():
        print(f"  {name}: sd of 200,000 simulated {simulated / IN:.5f} in, stated u {stated / IN:.5f} in")
    flag_rates.print_rates(count)


if __name__ == "__main__":
    main()
