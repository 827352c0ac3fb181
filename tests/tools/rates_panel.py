"""
How often the test panel tells the truth, on simulated panels: ``python -m tests.tools.rates_panel``.

Every length is read with the file's own tape, rounding to its marks included. Shapes are drawn about a rectangle;
what they are drawn from is stated beside each figure.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot

import numpy as np

from alignment.causes.causes import CauseVerdict, find_causes
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_text import parse_survey
from alignment.panel.found import PanelResult
from alignment.panel.panel import measure
from alignment.panel.panel_file import parse_panel
from alignment.panel.parts import Part, Side
from alignment.panel.readings import Budget, Offsets, Panel
from alignment.train.train import Train, fit_train
from alignment.uncertainty import COVERAGE
from tests.tools.sample_truth import AS_FOUND, BEFORE_MOVE, SAMPLES, Care, read_survey_as, survey_text
from tests.tools.tray_truth import arc, ring, six_lengths

IN = 25.4
WIDTH, LENGTH = 16 * IN, 120 * IN
SLIP = 0.25 * IN
SIDES = {"operator": Side.left, "drive": Side.right}


def blank() -> Panel:
    """A panel of 16 by 120 in with a 1/16 tape and a 1/32 rule, nothing measured yet."""
    text = '[panel]\nname = "simulated"\nunits = "in"\nwidth = "16"\nlength = "120"\nwaves = "none"\n'
    text += '[tape]\nmark = "1/16"\nset = "1/64"\n[rule]\nmark = "1/32"\nset = "1/128"\n'
    return parse_panel(text, "simulated.toml")


def read(true: float, by: Budget, rng: np.random.Generator) -> float:
    """One reading of a true length, to the nearest mark. [mm]"""
    return float(np.round((true + rng.normal(0, by.placing)) / by.mark) * by.mark)


@dataclass(frozen=True)
class Shape:
    """True corners: tail left, lead left, tail right, lead right; x downstream, y to the right. [mm]"""

    corners: np.ndarray
    sweep: float
    """Height of the sweep over the length, right edge hollow."""

    @classmethod
    def draw(cls, rng: np.random.Generator, out_of_square: float, sweep: float) -> Shape:
        """Both ends alike off square with this standard deviation, then each corner off by 1/64 in either way."""
        off = rng.normal(0, out_of_square)
        # a straight panel is a ring of a very large radius
        radius = LENGTH**2 / (8 * max(sweep, 1e-6)) + WIDTH / 2
        return cls(ring(radius, LENGTH, WIDTH, off) + rng.normal(0, IN / 64, (4, 2)), sweep)

    def ends(self) -> tuple[float, float]:
        """Out-of-square of the lead and the tail end, along the strip as it runs there."""
        tail_left, lead_left, tail_right, lead_right = self.corners
        unit = [(b - a) / hypot(*(b - a)) for a, b in ((tail_left, lead_left), (tail_right, lead_right))]
        axis = sum(unit) / hypot(*sum(unit))
        turn = 4 * self.sweep / LENGTH
        lead, tail = (np.array([axis[0] - way * turn * axis[1], axis[1] + way * turn * axis[0]]) for way in (1, -1))
        return float((lead_left - lead_right) @ lead), float((tail_left - tail_right) @ tail)


PLACES = tuple(LENGTH * k / 6 for k in range(7))


def gaps(height: float, panel: Panel, rng: np.random.Generator) -> tuple[float, ...]:
    """Gaps from a straightedge to an edge that is hollow by this height. [mm]"""
    true = [arc(height, LENGTH, place) if 0 < place < LENGTH else 0.0 for place in PLACES]
    return tuple(read(gap, panel.rule, rng) if gap else 0.0 for gap in true)


@dataclass(frozen=True)
class SquareRates:
    """Shares of simulated panels."""

    covered: float
    """True out-of-square inside U, lead and tail ends together."""
    alarmed: float
    """A slip called where there was none."""
    found: float
    """A slip of 1/4 in in one diagonal called."""
    named: float
    """That slip called and the right diagonal named."""
    apart: float
    """True difference of the two end cuts inside the U of what edges and sweep make of it."""


def square_rates(count: int, seed: int, *, out_of_square: float = IN / 16, sweep: float = 0.0) -> SquareRates:
    """
    Panels with all six lengths read once; the same panels again with one diagonal read 1/4 in wrong.

    Where they sweep, their camber is read, too.
    """
    rng = np.random.default_rng(seed)
    panel = blank()
    covered = alarmed = found = named = apart = 0
    for _ in range(count):
        shape = Shape.draw(rng, out_of_square, sweep)
        readings = {name: (read(true, panel.tape, rng),) for name, true in six_lengths(shape.corners).items()}
        sets = ()
        if sweep:
            sets = (
                Offsets(
                    of=Part.camber, side=Side.right, line="outside", places=PLACES, readings=gaps(sweep, panel, rng)
                ),
            )
        clean = measure(replace(panel, lengths=readings, offsets=sets)).square
        apart += abs(clean.apart.value - (shape.ends()[0] - shape.ends()[1])) <= COVERAGE * clean.apart.u
        for cut, true in zip((clean.lead, clean.tail), shape.ends(), strict=True):
            covered += abs(cut.finding.value - true) <= COVERAGE * cut.finding.u
        alarmed += clean.corners.slip is not None
        which = str(rng.choice(["from_left", "from_right"]))
        wrong = readings | {which: (readings[which][0] + float(rng.choice([-SLIP, SLIP])),)}
        slip = measure(replace(panel, lengths=wrong, offsets=sets)).square.corners.slip
        found += slip is not None
        named += slip is not None and slip.name == which
    return SquareRates(covered / (2 * count), alarmed / count, found / count, named / count, apart / count)


def swept(toward: str, height: float, rng: np.random.Generator, *, strip: float = 0.0, turned: str = "") -> PanelResult:
    """A panel that sweeps by this height over its length; its strip measured too where told how much it swept. [mm]"""
    panel = blank()
    sets = [
        Offsets(of=Part.camber, side=SIDES[toward], line="outside", places=PLACES, readings=gaps(height, panel, rng))
    ]
    if strip:
        sets.append(
            Offsets(
                of=Part.strip_camber,
                side=SIDES[toward],
                line="outside",
                places=PLACES,
                readings=gaps(strip, panel, rng),
            )
        )
    return measure(replace(panel, offsets=tuple(sets), turned=turned))


def train(truth: dict[str, tuple[float, float]], rng: np.random.Generator) -> Train:
    """The sample machine in a stated state, read with care."""
    layout = read_layout(SAMPLES / "machine.toml")
    care = Care(mark=IN / 32, placing=0.2, tilt=1, zero=0.2, repeats=3)
    record = {"mark": "1/32", "set": "1/128", "tilt": "1", "zero": "1/128"}
    return fit_train(layout, parse_survey(survey_text(record, read_survey_as(truth, layout, care, rng)), layout))


@dataclass(frozen=True)
class BlameRates:
    """Share of cases in which the sections and the coil are supported as causes."""

    sections: float
    coil: float


def blame_rates(count: int, seed: int, *, coil: bool, how: str) -> BlameRates:
    """
    Panels that sweep 0.5 in over 120 in because of their coil (straight train), or of their sections (straight coil).

    Parameters
    ----------
    coil : bool
        Which of the two it is.
    how : str
        ``panel``: the panel alone. ``strip``: the strip was measured too. ``turned``: a second panel of strip that was
        turned end for end.
    """
    rng = np.random.default_rng(seed)
    height, hardly = 0.5 * IN, 0.01 * IN
    sections = by_coil = 0
    for _ in range(count):
        machine = train(BEFORE_MOVE if coil else AS_FOUND, rng)
        strip = (height if coil else hardly) if how == "strip" else 0.0
        first = swept("drive", height, rng, strip=strip)
        second = None
        if how == "turned":
            second = swept("operator" if coil else "drive", height, rng, turned="end-for-end")
        verdicts = {j.cause.name: j.verdict for j in find_causes(machine, first, turned=second).judgements}
        sections += verdicts["sections-out-of-line"] is CauseVerdict.supported
        by_coil += verdicts["coil-camber"] is CauseVerdict.supported
    return BlameRates(sections / count, by_coil / count)


def main(count: int = 2000) -> None:
    """Print all figures."""
    print(f"Panels of 16 by 120 in, 1/16 tape, all six lengths read once; {count} panels each")
    print(
        f"{'true out-of-square (sd)':<26} {'inside U':>9} {'false slip':>11} {'1/4 slip found':>15} {'and named':>10}"
    )
    kinds = (("1/32 in", IN / 32, 0.0), ("1/16 in", IN / 16, 0.0), ("1/8 in", IN / 8, 0.0))
    for name, sd, sweep in (*kinds, ("1/16 in, swept 1/2 in", IN / 16, IN / 2)):
        rates = square_rates(count, 20261005, out_of_square=sd, sweep=sweep)
        print(
            f"{name:<26} {100 * rates.covered:>8.1f}% {100 * rates.alarmed:>10.1f}% {100 * rates.found:>14.1f}% "
            f"{100 * rates.named:>9.1f}%"
        )
    few = max(count // 10, 1)
    print(f"\nPanels that sweep 1/2 in over 120 in; {few} each")
    print(f"{'cause put in':<26} {'measured':<28} {'sections blamed':>15} {'coil blamed':>12}")
    for coil in (True, False):
        for how, words in (("panel", "panel"), ("strip", "panel and strip"), ("turned", "two panels, strip turned")):
            blame = blame_rates(few, 20261006, coil=coil, how=how)
            cause = "coil, straight train" if coil else "train, straight coil"
            print(f"{cause:<26} {words:<28} {100 * blame.sections:>14.1f}% {100 * blame.coil:>11.1f}%")


if __name__ == "__main__":
    main()
