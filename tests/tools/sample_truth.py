"""
The stated truth of the samples, and the script that makes the sample surveys from it.

Marram Cold Rooms and everything in it are invented. Each survey is the truth of its day, read with a tape whose
zero, placing and tilt err by draws from a seeded generator, and rounded to the mark. Run as
``python -m tests.tools.sample_truth`` to write the surveys again.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction
from math import hypot, radians, sqrt
from pathlib import Path

import numpy as np

from alignment.lengths import Units, parse, show
from alignment.machine.layout import Layout
from alignment.machine.layout_file import read_layout

SAMPLES = Path(__file__).parent.parent.parent / "sample_readings"
# picked: the first from 20261002, the day of the survey, on with which every answer as found lies within its U, none of
# any day beyond 1.45 U, no good survey has a flag, the plan moves what was dragged and would bring the true faces
# inside, and comparisons and the history name what moved and nothing else. Of forty-three answers two or so will
# otherwise lie outside U, which is right, and no way to begin a story; how often is measured by the rates, not here
SEED = 20261006
# the first from the same day on with which the leaning string shows the three lines apart: fewer bolt ends to the
# fitted one than to the string, none to the free one
SLIP_SEED = 20261003

# deviation of the true face at its entry and exit end, inches, positive too far from the string
BEFORE_MOVE = {
    "operator-1": (0.006, -0.004),
    "operator-2": (0.004, 0.010),
    "operator-3": (-0.008, 0.002),
    "operator-4": (0.003, -0.006),
    "operator-5": (-0.002, 0.007),
    "operator-6": (0.005, -0.003),
    "drive-1": (-0.007, 0.004),
    "drive-2": (0.005, 0.000),
    "drive-3": (0.009, 0.004),
}
# dragging the frame swung three sections and shifted a fourth
AS_FOUND = BEFORE_MOVE | {
    "operator-2": (0.002, 0.172),
    "operator-3": (-0.164, 0.006),
    "operator-5": (0.150, 0.140),
    "drive-2": (0.008, -0.184),
}
# what was loosened to cure it: the bolt ends, each stopped where the tape showed the wanted reading
LOOSENED = {"operator-2": ("exit",), "operator-3": ("entry",), "operator-5": ("entry", "exit"), "drive-2": ("exit",)}
AS_LEFT = AS_FOUND | {
    "operator-2": (-0.004, 0.012),
    "operator-3": (-0.010, 0.004),
    "operator-5": (0.012, 0.006),
    "drive-2": (0.004, -0.014),
}


@dataclass(frozen=True)
class Care:
    """How a survey was read: marks, placing and tilt as the record states them, and how often."""

    mark: float
    placing: float
    tilt: float
    zero: float
    repeats: int


def truth_at(truth: dict[str, tuple[float, float]], layout: Layout, name: str, place: float) -> float:
    """True deviation at a place from a section's entry end [mm], from the stated ends [in]."""
    entry, exit_ = truth[name]
    length = layout.sections[layout.index[name]].length
    return (entry + (exit_ - entry) * place / length) * 25.4


def read_survey_as(
    truth: dict[str, tuple[float, float]], layout: Layout, care: Care, rng: np.random.Generator
) -> list[tuple[str, str, str, str]]:
    """Rows of a survey: each section's points in turn, then the first point again, last."""
    zero = rng.normal(0, care.zero)

    def tape(name: str, place: float) -> str:
        section = layout.sections[layout.index[name]]
        target = layout.rows[section.row].target or 0.0
        true = target + section.setback + truth_at(truth, layout, name, place)
        tilt = rng.uniform(-radians(care.tilt), radians(care.tilt))
        seen = true + zero + rng.normal(0, care.placing) + true * tilt**2 / 2
        return show(round(seen / care.mark) * care.mark, layout.units, to=Fraction(care.mark))

    rows = []
    for section in layout.sections:
        for _ in range(care.repeats):
            rows += [(section.name, p, tape(section.name, section.place(p)), "") for p in ("entry", "exit")]
    for row in layout.rows:
        first = layout.row_sections(row)[0]
        rows.append((first.name, "entry", tape(first.name, first.place("entry")), "close"))
    return rows


def survey_text(record: dict[str, str], rows: list[tuple[str, str, str, str]]) -> str:
    """Text of a survey file."""
    lines = [f"# {key}: {value}" for key, value in record.items()]
    lines.append("section,point,reading,kind")
    return "\n".join(lines + [",".join(row) for row in rows]) + "\n"


def job_log(
    record: dict[str, str],
    layout: Layout,
    found: list[tuple[str, str, str, str]],
    left: list[tuple[str, str, str, str]],
    careful: Care,
) -> str:
    """
    Text of the job log of the cure: the quick survey as found, then section by section its moves and careful readings.

    A careful reading has its own ``u``: of its marks and its placing.
    """
    inch = layout.units is Units.inch
    own = hypot(careful.mark / sqrt(12), careful.placing) / float(layout.units.size)
    u = f"{own:.3f}" if inch else f"{own:.2f}"
    lines = [f"# {key}: {value}" for key, value in record.items()] + ["section,point,reading,kind,when,u"]
    at = datetime.fromisoformat(record["taken"])
    for row in found:
        at += timedelta(seconds=40)
        lines.append(f"{','.join(row)},{at:%Y-%m-%d %H:%M},")
    at = at.replace(hour=12, minute=5, second=0)
    for section in layout.sections:
        for end in LOOSENED.get(section.name, ()):
            at += timedelta(minutes=6)
            wanted = layout.rows[section.row].target or 0.0
            stop = show(wanted, layout.units, to=Fraction(layout.tape.mark)).removesuffix(".0")
            lines.append(f"{section.name},{end},{stop},move,{at:%Y-%m-%d %H:%M},")
        for row in left:
            if row[0] == section.name and not row[3]:
                at += timedelta(seconds=40)
                lines.append(f"{','.join(row)},{at:%Y-%m-%d %H:%M},{u}")
    for row in left:
        if row[3]:
            at += timedelta(seconds=40)
            lines.append(f"{','.join(row)},{at:%Y-%m-%d %H:%M},{u}")
    return "\n".join(lines) + "\n"


def surveys(seed: int = SEED) -> dict[str, str]:
    """Text of every sample survey, by file name."""
    rng = np.random.default_rng(seed)
    found = {}
    for suffix, unit, marks in (("", 25.4, (1 / 16, 1 / 32)), ("-mm", 1.0, (1.0, 0.5))):
        layout = read_layout(SAMPLES / f"machine{suffix}.toml")
        quick = Care(mark=marks[0] * unit, placing=0.4, tilt=2, zero=0.4, repeats=1)
        careful = Care(mark=marks[1] * unit, placing=0.2, tilt=1, zero=0.2, repeats=2)
        with_care = {
            "mark": show(careful.mark, layout.units, to=careful.mark),
            "set": "1/128" if layout.units is Units.inch else "0.2",
            "tilt": "1",
            "zero": "1/128" if layout.units is Units.inch else "0.2",
        }
        days = {}
        for name, truth, care, taken, place in (
            ("before-move", BEFORE_MOVE, careful, "2026-09-24 15:10", "bay 1"),
            ("as-found", AS_FOUND, quick, "2026-10-02 07:40", "bay 2"),
            ("as-left", AS_LEFT, careful, "2026-10-02 13:25", "bay 2"),
        ):
            record = conditions(layout.units, taken, place)
            days[name] = record, read_survey_as(truth, layout, care, rng)
            how = with_care if care is careful else {}
            found[f"{name}{suffix}.csv"] = survey_text(record | how, days[name][1])
        (record, quickly), (_, carefully) = days["as-found"], days["as-left"]
        found[f"job{suffix}.csv"] = job_log(record, layout, quickly, carefully, careful)
    return found | slips()


def conditions(units: Units, taken: str, place: str) -> dict[str, str]:
    """Record of a survey: when, who, with what, where and how warm."""
    inch = units is Units.inch
    return {
        "taken": taken,
        "by": "R. Quill",
        "tape": "T-14",
        "string": f"braided line, {'1/32 in' if inch else '0.8 mm'}, over a pulley with a weight",
        "place": place,
        "temperature": "66 F" if inch else "19 C",
    }


# what is wrong in each file of slips: flag, and section or string
SLIPS = {
    "inch-slip.csv": ("unlikely", "operator-4"),
    "swapped-ends.csv": ("unlikely", "operator-3"),
    "leaning-string.csv": ("line-skewed", "operator"),
    "half-inch-slip.csv": ("stray", "drive-3"),
    "string-moved.csv": ("line-moved", "operator"),
}


def slips() -> dict[str, str]:
    """Text of the surveys with the usual slips in them, one slip each, by file name."""
    layout = read_layout(SAMPLES / "machine.toml")
    quick = Care(mark=25.4 / 16, placing=0.4, tilt=2, zero=0.4, repeats=1)
    record = conditions(layout.units, "2026-10-02 07:05", "bay 2") | {"by": "T. Brack", "tape": "T-09"}

    def rows_of(truth: dict[str, tuple[float, float]], seed: int) -> list[tuple[str, str, str, str]]:
        return read_survey_as(truth, layout, quick, np.random.default_rng(SLIP_SEED + seed))

    def change(rows: list[tuple[str, str, str, str]], at: tuple[str, str, str], by: str) -> None:
        k = next(k for k, row in enumerate(rows) if (row[0], row[1], row[3]) == at)
        value = parse(rows[k][2], Units.inch) + parse(by, Units.inch, signed=True)
        rows[k] = (*rows[k][:2], show(value, Units.inch), rows[k][3])

    inch = rows_of(AS_FOUND, 1)
    change(inch, ("operator-4", "exit", ""), "1")
    moved = rows_of(AS_FOUND, 2)
    change(moved, ("operator-1", "entry", "close"), "1/8")
    turned = rows_of(leaning(AS_LEFT, layout, "operator", 1.0), 3)
    a, b = (k for k, row in enumerate(turned) if row[0] == "operator-3" and not row[3])
    turned[a], turned[b] = (*turned[a][:2], turned[b][2], ""), (*turned[b][:2], turned[a][2], "")
    leans = rows_of(leaning(BEFORE_MOVE, layout, "operator", 0.375), 4)
    found = {
        "inch-slip.csv": survey_text(record, inch),
        "string-moved.csv": survey_text(record, moved),
        "swapped-ends.csv": survey_text(record, turned),
        "leaning-string.csv": survey_text(record, leans),
    }
    three = Care(mark=25.4 / 16, placing=0.4, tilt=2, zero=0.4, repeats=1)
    found["half-inch-slip.csv"] = wide_text(record, three_points(AS_LEFT, layout, three), slip=("drive-3", 1, "1/2"))
    return found


def leaning(
    truth: dict[str, tuple[float, float]], layout: Layout, row: str, by: float
) -> dict[str, tuple[float, float]]:
    """A truth as seen from a string that leans away by so much [in] over the row."""
    end = layout.row_sections(row)[-1].end
    seen = dict(truth)
    for section in layout.row_sections(row):
        entry, exit_ = truth[section.name]
        seen[section.name] = (entry + by * section.start / end, exit_ + by * section.end / end)
    return seen


def three_points(truth: dict[str, tuple[float, float]], layout: Layout, care: Care) -> list[tuple[str, list[str]]]:
    """Readings at entry, middle and exit of each section."""
    rng = np.random.default_rng(SLIP_SEED + 6)
    found = []
    for section in layout.sections:
        own = []
        for place in (0.0, section.length / 2, section.length):
            true = (layout.rows[section.row].target or 0.0) + truth_at(truth, layout, section.name, place)
            tilt = rng.uniform(-radians(care.tilt), radians(care.tilt))
            seen = true + rng.normal(0, care.placing) + true * tilt**2 / 2
            own.append(show(round(seen / care.mark) * care.mark, layout.units, to=Fraction(care.mark)))
        found.append((section.name, own))
    return found


def wide_text(record: dict[str, str], rows: list[tuple[str, list[str]]], slip: tuple[str, int, str]) -> str:
    """Text of a wide survey file with one reading too long."""
    lines = [f"# {key}: {value}" for key, value in record.items()] + ["section,entry,mid,exit"]
    for name, readings in rows:
        own = list(readings)
        if name == slip[0]:
            own[slip[1]] = show(parse(own[slip[1]], Units.inch) + parse(slip[2], Units.inch), Units.inch)
        lines.append(",".join([name, *own]))
    return "\n".join(lines) + "\n"


def main() -> None:
    """Write the sample surveys."""
    for name, text in surveys().items():
        (SAMPLES / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
