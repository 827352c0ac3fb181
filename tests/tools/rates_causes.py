"""
How often causes are supported or contradicted, on simulated machines: ``python -m tests.tools.rates_causes [COUNT]``.

Two facing rows on a string each, tolerances of 1/16 in, read with the tape's own errors, rounding to marks included.
The panel sweeps 1/2 in over 120 in beyond its limit, its strip was straight and no wave was found: whatever makes it
sweep, the sections are suspects, and it is the readings of the machine that decide.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from alignment.causes.causes import CauseVerdict, find_causes
from alignment.causes.fact import Fact, FactName, Holds
from alignment.causes.facts import gather
from alignment.machine.layout_file import parse_layout
from alignment.machine.survey_text import parse_survey
from alignment.panel.found import PanelResult
from alignment.panel.panel import measure
from alignment.panel.panel_file import parse_panel
from alignment.train.train import fit_train

IN = 25.4
TOLERANCE = IN / 16
TARGET = 18.375 * IN
COUNTS = (1, 2, 3, 5, 8, 16)
"""Sections on a string."""
KINDS = ("true", "quarter", "out")
"""Dead true; one section a quarter of the tolerance beyond it; every section badly out (sd 1/8 in at each end)."""


@dataclass(frozen=True)
class Tape:
    """A tape and how it is used. [mm], tilt in degrees"""

    mark: float
    placing: float
    tilt: float
    zero: float
    repeats: int


TAPES = {
    "coarse": Tape(mark=IN / 16, placing=IN / 64, tilt=2, zero=IN / 64, repeats=1),
    "fine": Tape(mark=IN / 64, placing=IN / 256, tilt=0.5, zero=IN / 512, repeats=3),
}


def layout_text(sections: int, tape: Tape) -> str:
    """Two rows of alike sections, 500 mm from start to start, as a layout's file."""
    lines = ['[machine]\nname = "simulated"\nunits = "mm"\nstrip_width = "590"\n[tape]']
    lines += [f'mark = "{tape.mark:.6f}"\nset = "{tape.placing:.6f}"\ntilt = {tape.tilt}\nzero = "{tape.zero:.6f}"']
    lines += ["[tolerance]", *(f'{key} = "{TOLERANCE:.6f}"' for key in ("square", "offset", "step"))]
    for row, side in (("operator", "left"), ("drive", "right")):
        lines += [f'[row.{row}]\nstring = "{row}"\nstring_side = "{side}"\ntarget = "{TARGET:.6f}"']
        for k in range(sections):
            lines += [f'[[section]]\nname = "{row}-{k + 1}"\nrow = "{row}"\nstart = "{500 * k}"\nlength = "450"']
        lines += [f'[[joint]]\nsections = ["{row}-{k}", "{row}-{k + 1}"]\nstep = "0"' for k in range(1, sections)]
    return "\n".join(lines) + "\n"


def survey_text(ends: np.ndarray, tape: Tape, rng: np.random.Generator) -> str:
    """A survey of sections whose ends deviate by this, (rows, sections, 2). [mm]"""
    zero = rng.normal(0, tape.zero)
    lines = ["section,point,reading"]
    for row, sections in zip(("operator", "drive"), ends, strict=True):
        for k, section in enumerate(sections, 1):
            for point, deviation in zip(("entry", "exit"), section, strict=True):
                for _ in range(tape.repeats):
                    lean = np.radians(rng.uniform(-tape.tilt, tape.tilt))
                    seen = (TARGET + deviation) * (1 + lean**2 / 2) + zero + rng.normal(0, tape.placing)
                    lines.append(f"{row}-{k},{point},{round(seen / tape.mark) * tape.mark:.6f}")
    return "\n".join(lines) + "\n"


def surveys(kind: str, sections: int, tape: Tape, count: int, seed: int) -> Iterator[str]:
    """Surveys of random machines of one kind."""
    rng = np.random.default_rng(seed)
    for _ in range(count):
        ends = rng.normal(0, IN / 8, (2, sections, 2)) if kind == "out" else np.zeros((2, sections, 2))
        if kind == "quarter":
            ends[rng.integers(2), rng.integers(sections)] = 1.25 * TOLERANCE * rng.choice([-1, 1])
        yield survey_text(ends, tape, rng)


PANEL = """\
[panel]
name = "simulated"
units = "mm"
width = "490"
length = "3048"
leg = "50"
waves = "none"
[rule]
mark = "0.5"
[[offsets]]
of = "camber"
edge = "drive"
places = ["0", "762", "1524", "2286", "3048"]
readings = ["0", "9.5", "12.7", "9.5", "0"]
[[offsets]]
of = "strip"
edge = "drive"
places = ["0", "762", "1524", "2286", "3048"]
readings = ["0", "0", "0", "0", "0"]
[limits]
camber = { height = "6", over = "2400" }
"""


@dataclass(frozen=True)
class Rates:
    """Shares of machines."""

    supported: float
    """Sections out of line named as a cause."""
    contradicted: float
    """Sections out of line ruled out."""
    unproved: float
    """Either of them with no verdict that proves it: support needs one sure OUT, the other every one sure OK."""
    askew_denied: float
    """A crooked string ruled out as a cause though sections are proved out."""
    others: float
    """Any other cause supported that rests on readings of the machine."""


def rates(kind: str, sections: int, tape: Tape, count: int, seed: int) -> Rates:
    """Judge random machines of one kind."""
    layout, panel = parse_layout(layout_text(sections, tape)), measure(parse_panel(PANEL))
    found = [_one(layout, text, panel) for text in surveys(kind, sections, tape, count, seed)]
    return Rates(*(float(np.mean([one[k] for one in found])) for k in range(5)))


def _one(layout, text: str, panel: PanelResult) -> tuple[bool, ...]:
    train = fit_train(layout, parse_survey(text, layout))
    verdicts = {j.cause.name: j.verdict for j in find_causes(train, panel).judgements}
    lines, askew = verdicts["sections-out-of-line"], verdicts["string-askew"]
    fact = gather(train, panel)[FactName.sections_out]
    return (
        lines is CauseVerdict.supported,
        lines is CauseVerdict.contradicted,
        (lines is CauseVerdict.supported and not _proved_out(fact))
        or (lines is CauseVerdict.contradicted and not _proved_in(fact)),
        askew is CauseVerdict.contradicted and fact.holds is Holds.yes,
        any(verdicts[name] is CauseVerdict.supported for name in ("sections-point-aside", "rows-toed-in")),
    )


def _proved_out(fact: Fact) -> bool:
    return bool(fact.numbers.out or fact.numbers.joints_out)


def _proved_in(fact: Fact) -> bool:
    n = fact.numbers
    return not (n.out or n.joints_out or n.doubtful or n.joints_doubtful or n.unread)


def main(count: int = 200) -> None:
    """Print all figures."""
    print(f"A swept panel of a straight strip; two rows, tolerances 1/16 in; {count} machines each; per cent")
    print("'without proof': supported without a sure OUT, or contradicted with anything but sure OK")
    heads = ("supported", "contradicted", "without proof", "string ruled out", "others supported")
    print(f"{'machine':<9} {'tape':<7} {'a string':>8}  " + " ".join(f"{head:>16}" for head in heads))
    for kind in KINDS:
        for name, tape in TAPES.items():
            for sections in COUNTS:
                r = rates(kind, sections, tape, count, 20261007)
                shares = (r.supported, r.contradicted, r.unproved, r.askew_denied, r.others)
                print(f"{kind:<9} {name:<7} {sections:>8}  " + " ".join(f"{100 * share:>16.1f}" for share in shares))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:2]))
