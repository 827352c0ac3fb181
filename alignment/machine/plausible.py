"""
Whether a reading just taken is plausible beside those before it, so that it can be taken again while the tape is out.

A quick look, one reading at a time; the flags of the whole survey are found later and are stricter.
"""

from __future__ import annotations

import enum
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from alignment.lengths import Units
from alignment.machine.layout import Layout, Section
from alignment.machine.slips import LikelySlip, likely_slip
from alignment.machine.survey import Reading
from alignment.uncertainty import SAME

__all__ = ["Against", "Doubt", "doubt"]

DOUBTED: Final = 3.0
"""Standard uncertainties beyond which a reading is doubted: of good ones, a few in a thousand are."""
FAR: Final = 6.0
"""Faces this many tolerances apart are likelier misread than misplaced (our judgement; common practice, no source)."""


class Against(enum.StrEnum):
    """What speaks against a reading."""

    before = "before"
    """An earlier reading of the same point."""
    first = "first"
    """The first reading of the point, beside its closing one: a string that moved spoils all between them."""
    face = "face"
    """The straight face through the other points of its section."""
    point = "point"
    """The one other point of its section."""
    section = "section"
    """The nearest section of its row."""
    target = "target"
    """The wanted reading."""


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """
    Why a reading should be taken again.

    Attributes
    ----------
    against : Against
        What speaks against it.
    off, expected : float
        By how much it is too long (+) or too short, and what was expected. [mm]
    other : Reading or None
        The reading that was set beside it.
    slip : LikelySlip or None
        What would explain it.
    wanted : float or None
        The wanted reading where that speaks for the reading, and so against the other. [mm]
    """

    against: Against
    off: float
    expected: float
    other: Reading | None = None
    slip: LikelySlip | None = None
    wanted: float | None = None


def doubt(layout: Layout, before: Sequence[Reading], new: Reading, units: Units) -> Doubt | None:
    """
    Say why a reading should be taken again, or None.

    It is set against the best there is: earlier readings of the same point; else the straight line through its
    section's other points; else the one other point; else the nearest section of its row; else the row's target.

    Parameters
    ----------
    layout : Layout
        The machine.
    before : sequence of Reading
        What has been read already, without a reading that the new one stands in place of.
    new : Reading
        The reading to look at.
    units : Units
        Of the tape.

    Returns
    -------
    Doubt or None
        None where nothing speaks against the reading.
    """
    section = layout.sections[layout.index[new.section]]
    own = [r for r in before if r.section == new.section and not r.closing]
    same = [r for r in own if abs(r.place - new.place) < SAME]
    if new.closing:
        mean = sum(r.value for r in same) / len(same) if same else new.value
        u = math.sqrt(sum(r.u**2 for r in same)) / max(len(same), 1)
        return _doubt(Against.first, new, mean, 0.0, u, units, same[0] if same else None)
    if same:
        near = min(same, key=lambda r: abs(r.value - new.value))
        return _doubt(Against.before, new, near.value, 0.0, near.u, units, near)
    if len({round(r.place, 6) for r in own}) > 1:
        return _off_the_face(own, new, units)
    target = layout.rows[section.row].target
    wanted = None if target is None else target + section.setback
    limit = FAR * layout.tolerance.offset
    if own:
        near = own[-1]
        allowed = FAR * layout.tolerance.square * abs(new.place - near.place) / section.length
        said = _doubt(Against.point, new, near.value, allowed, near.u, units, near)
    elif beside := _nearest(layout, section, before, new):
        near, setback = beside
        expected = near.value - setback + section.setback
        said = _doubt(Against.section, new, expected, limit, near.u, units, near)
    elif wanted is not None:
        return _doubt(Against.target, new, wanted, limit, layout.tape.zero, units)
    else:
        return None
    if said and wanted is not None and abs(new.value - wanted) <= limit:
        return replace(said, wanted=wanted)
    return said


def _off_the_face(own: list[Reading], new: Reading, units: Units) -> Doubt | None:
    """Against the straight face through the section's other points."""
    from alignment.fitting.lines import fit_line

    line = fit_line([r.place for r in own], [r.value for r in own], u=[r.u for r in own])
    at, u = float(line.at(new.place)[0]), float(line.u_at(new.place)[0])
    return _doubt(Against.face, new, at, 0.0, u, units)


def _nearest(layout: Layout, section: Section, before: Sequence[Reading], new: Reading) -> tuple[Reading, float] | None:
    """The reading of the row that was taken nearest along the machine, and its section's setback."""
    x = section.start + new.place
    beside = [
        (abs(other.start + r.place - x), r, other.setback)
        for r in before
        if not r.closing and (other := layout.sections[layout.index[r.section]]).row == section.row
    ]
    return min(beside, key=lambda found: found[0])[1:] if beside else None


def _doubt(
    against: Against,
    new: Reading,
    expected: float,
    allowed: float,
    u: float,
    units: Units,
    other: Reading | None = None,
) -> Doubt | None:
    """A reading farther from what is expected than allowed and the tape explain, or None."""
    off = new.value - expected
    if abs(off) <= allowed + DOUBTED * math.hypot(new.u, u) + SAME:
        return None
    slip = likely_slip(new.text, new.value, off, math.hypot(new.u, u, allowed / FAR), units)
    return Doubt(against=against, off=off, expected=expected, other=other, slip=slip)
