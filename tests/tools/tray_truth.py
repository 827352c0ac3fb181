"""
The stated truth of the sample tray, and the script that makes its file from it.

The tray was formed on the machine as found after its move (``AS_FOUND`` in ``tests.tools.sample_truth``): it sweeps
toward the drive side and oil-cans because the sections stand out of line. Its strip was nearly straight, so that the
coil is not the cause. The bend is that of a whole strip: edges, ends and diagonals are those of a piece of a
ring, whose ends
one shear cut alike across the strip as it ran there, so that the hollow edge is the shorter one. Readings err by draws
from a seeded generator and are rounded to their marks. Run as ``python -m tests.tools.tray_truth`` to write the trays
again.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import cos, hypot, sin, sqrt

import numpy as np

from alignment.lengths import Units, show
from tests.tools.sample_truth import AS_FOUND, SAMPLES

SEED = 20261003

CAUSE = frozenset({"sections-out-of-line", "sections-point-aside"})
"""What was put in, by the names of the table of causes: the second is the first, said with a side."""
MACHINE = AS_FOUND

# inches; all true of the tray as it lay on the bench
OUT_OF_SQUARE = 0.030
"""Of both ends alike, against the strip there: the operator corner lies downstream of the drive corner."""
SWEEP, SWEEP_OVER = 0.560, 120.0
"""Height of the arc over that length, hollow at the drive edge."""
STRIP_SWEEP = 0.030
"""Height over the same length that the strip had before forming, the same way."""
BOW = 0.050
"""Ends up, legs down, over the same length."""
LIFT = 0.070
"""Of the lead corner on the operator edge."""
WAVE_HEIGHT, WAVE_PITCH = 0.100, 15.0
WAVES_AT = (22.0, 37.0, 52.0, 67.0)
LEG = 2.0


@dataclass(frozen=True)
class Rule:
    """What lengths are read with. [mm]"""

    mark: float
    placing: float


def arc(height: float, over: float, at: float) -> float:
    """Gap from a straightedge to a hollow arc of this height over a length, at a place along it; units as given."""
    radius = over**2 / (8 * height) + height / 2
    return sqrt(radius**2 - (at - over / 2) ** 2) - (radius - height)


def ring(radius: float, length: float, width: float, off: float) -> np.ndarray:
    """
    Corners of a strip bent toward its right edge: tail left, lead left, tail right, lead right; units as given.

    Parameters
    ----------
    radius : float
        Of the middle of the strip.
    length, width : float
        Of the strip before it was bent.
    off : float
        How much farther along the strip the left corner of each end lies than its right corner.
    """
    found = []
    for way in (1, -1):
        for end in (-1, 1):
            angle = end * length / radius / 2
            out = radius + way * width / 2
            along = way * off / 2
            found.append([out * sin(angle) + along * cos(angle), radius - out * cos(angle) + along * sin(angle)])
    return np.array(found)


def six_lengths(corners: np.ndarray) -> dict[str, float]:
    """Edges, ends and diagonals between four corners, by the names that the library gives them."""
    tail_left, lead_left, tail_right, lead_right = corners
    pairs = {
        "left": (tail_left, lead_left),
        "right": (tail_right, lead_right),
        "lead": (lead_left, lead_right),
        "tail": (tail_left, tail_right),
        "from_left": (lead_left, tail_right),
        "from_right": (lead_right, tail_left),
    }
    return {name: float(hypot(*(a - b))) for name, (a, b) in pairs.items()}


def tray(units: Units, rng: np.random.Generator) -> str:
    """Text of a tray's file, in inches or millimetres."""
    inch = units is Units.inch
    one = 25.4 if inch else 1.0
    width, length = (19.25, 120.0) if inch else (490.0, 3000.0)
    tape = Rule(mark=one / 16, placing=one / 64) if inch else Rule(mark=1.0, placing=0.4)
    rule = Rule(mark=one / 32, placing=one / 128) if inch else Rule(mark=0.5, placing=0.2)
    scale = length * one / (SWEEP_OVER * 25.4)
    sweep, strip, bow = (h * 25.4 * scale**2 for h in (SWEEP, STRIP_SWEEP, BOW))

    def read(true: float, by: Rule) -> str:
        seen = true + rng.normal(0, by.placing)
        return f'"{show(round(seen / by.mark) * by.mark, units, to=Fraction(by.mark))}"'

    def gaps(height: float, count: int, *, over: float = length * one, hollow: bool = True) -> tuple[str, str]:
        # marked off from the lead end; the last place is the tail corner, which a swept edge may bring nearer
        places = [length * one * k / (count - 1) for k in range(count - 1)] + [over]
        depth = [arc(height, over, place) for place in places]
        # a straightedge touches the ends of a hollow edge, and nothing else
        true = depth if hollow else [max(depth) - d for d in depth]
        seen = [read(d, rule) if d > 1e-9 else '"0"' for d in true]
        told = [show(round(p / tape.mark) * tape.mark, units, to=Fraction(tape.mark)) for p in places]
        return ", ".join(f'"{p.removesuffix(".0")}"' for p in told), ", ".join(seen)

    long, wide = length * one, width * one
    # the arc of the hollow edge, and half the width from it the middle of the strip
    radius = long**2 / (8 * sweep) + sweep / 2 + wide / 2
    true = six_lengths(ring(radius, long, wide, OUT_OF_SQUARE * 25.4))
    edge = true["right"]
    camber_at, camber = gaps(radius - wide / 2 - sqrt((radius - wide / 2) ** 2 - edge**2 / 4), 7, over=edge)
    strip_at, strip_gaps = gaps(strip, 5)
    bow_at, bow_gaps = gaps(bow, 5, hollow=False)
    leg = (LEG if inch else 50.0) * one
    across = "\n".join(
        f"""
[[across]]
at = "{at}"
width = {read(wide, tape)}
operator_leg = {read(leg, rule)}
drive_leg = {read(leg, rule)}"""
        for at in ("lead", "middle", "tail")
    )
    return f"""\
# Marram Cold Rooms (invented): a wall-liner tray, the third off the machine as found after the move.
# Lengths are in {"inches" if inch else "millimetres"}. Lead end: out first. Places are from the lead end.

[panel]
name = "Liner tray, third after the move"
units = "{units}"
width = "{show(wide, units)}"
length = "{show(long, units)}"
leg = "{show(leg, units)}"
legs = "down"                  # as it lay on the bench
machine = "Liner line, bay 2{"" if inch else " (mm)"}"
taken = "2026-10-02 10:15"
by = "R. Quill"
coil = "C-208"

[tape]                         # for edges, ends, diagonals and widths
mark = "{show(tape.mark, units)}"
set = "{show(tape.placing, units)}"

[rule]                         # for gaps, lifts, waves and legs
mark = "{show(rule.mark, units)}"
set = "{"1/128" if inch else show(rule.placing, units)}"

[square]                       # corner to corner; diagonals by the edge they start on at the lead end
operator = {read(true["left"], tape)}
drive = {read(true["right"], tape)}
lead = {read(true["lead"], tape)}
tail = {read(true["tail"], tape)}
from_operator = {read(true["from_left"], tape)}
from_drive = {read(true["from_right"], tape)}

[[offsets]]                    # straightedge along the hollow edge
of = "camber"
edge = "drive"
places = [{camber_at}]
readings = [{camber}]

[[offsets]]                    # a length of strip laid flat, before forming
of = "strip"
edge = "drive"
places = [{strip_at}]
readings = [{strip_gaps}]

[[offsets]]                    # tray on the bench, gaps under the edge
of = "bow"
edge = "operator"
line = "under"
places = [{bow_at}]
readings = [{bow_gaps}]

[twist]
end = "lead"
edge = "operator"
lift = {read(LIFT * 25.4, rule)}

[[wave]]                       # oil canning
where = "pan"
height = {read(WAVE_HEIGHT * 25.4, rule)}
pitch = {read(WAVE_PITCH * 25.4, tape)}
places = [{", ".join(f'"{round(p * 25.4 / one)}"' for p in WAVES_AT)}]
{across}

[limits]
camber = {{ height = "{"1/4" if inch else "6"}", over = "{"96" if inch else "2400"}" }}
strip = {{ height = "{"1/4" if inch else "6"}", over = "{"96" if inch else "2400"}" }}
square = "en-508-square"
bow = {{ height = "{"1/4" if inch else "6"}", over = "{"96" if inch else "2400"}" }}
length = "{"1/2" if inch else "12"}"                 # of either edge: a swept tray has a long one
width = "{"1/8" if inch else "3"}"
leg = "{"1/16" if inch else "1.5"}"
twist = "{"0.5 deg/ft" if inch else "1.5 deg/m"}"
"""


def trays() -> dict[str, str]:
    """Text of the sample trays, by file name."""
    rng = np.random.default_rng(SEED)
    return {"tray.toml": tray(Units.inch, rng), "tray-mm.toml": tray(Units.mm, rng)}


def main() -> None:
    """Write the sample trays."""
    for name, text in trays().items():
        (SAMPLES / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
