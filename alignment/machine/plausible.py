"""
Whether a reading just taken is plausible beside those before it, so that it can be taken again while the tape is out.

A quick look, one reading at a time; the flags of the whole survey are found later and are stricter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from alignment.lengths import Units, show
from alignment.machine.layout import Layout, Section
from alignment.machine.slips import likely_slip, slip_name
from alignment.machine.survey import Reading
from alignment.uncertainty import SAME

__all__ = ["doubt"]

DOUBTED: Final = 3.0
"""Standard uncertainties beyond which a reading is doubted: of good ones, a few in a thousand are."""
FAR: Final = 6.0
"""Faces this many tolerances apart are likelier misread than misplaced (our judgement; common practice, no source)."""


def doubt(layout: Layout, before: Sequence[Reading], new: Reading, units: Units) -> str:
    """
    Say why a reading should be taken again, or nothing.

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
        In which to speak.

    Returns
    -------
    str
        One or two short sentences; empty where nothing speaks against the reading.
    """
    section = layout.sections[layout.index[new.section]]
    own = [r for r in before if r.section == new.section and not r.closing]
    same = [r for r in own if abs(r.place - new.place) < SAME]
    if new.closing:
        return _closing(same, new, units)
    if same:
        near = min(same, key=lambda r: abs(r.value - new.value))
        return _say(new, near.value, 0.0, near.u, f"before ({near.text})", units)
    if len({round(r.place, 6) for r in own}) > 1:
        return _off_the_face(own, new, units)
    target = layout.rows[section.row].target
    wanted = None if target is None else target + section.setback
    limit = FAR * layout.tolerance.offset
    if own:
        near, name = own[-1], section.point_name(own[-1].place, units)
        allowed = FAR * layout.tolerance.square * abs(new.place - near.place) / section.length
        said = _say(new, near.value, allowed, near.u, f"{name} ({near.text})", units)
    elif beside := _nearest(layout, section, before, new):
        near, other = beside
        name = f"{near.section} {other.point_name(near.place, units)}"
        said = _say(new, near.value - other.setback + section.setback, limit, near.u, f"{name} ({near.text})", units)
    elif wanted is not None:
        return _say(new, wanted, limit, layout.tape.zero, f"its target ({show(wanted, units)})", units)
    else:
        return ""
    if said and wanted is not None and abs(new.value - wanted) <= limit:
        said += f" But the target is {show(wanted, units)}: look at {name} too."
    return said


def _closing(opening: list[Reading], new: Reading, units: Units) -> str:
    """Against the first readings of the point: a string that moved spoils all between them."""
    if not opening:
        return ""
    mean = sum(r.value for r in opening) / len(opening)
    u = math.sqrt(sum(r.u**2 for r in opening)) / len(opening)
    said = _say(new, mean, 0.0, u, f"at first ({opening[0].text})", units)
    return f"{said} If it reads the same again, the string has moved." if said else ""


def _off_the_face(own: list[Reading], new: Reading, units: Units) -> str:
    """Against the straight face through the section's other points."""
    from alignment.fitting.lines import fit_line

    line = fit_line([r.place for r in own], [r.value for r in own], u=[r.u for r in own])
    at, u = float(line.at(new.place)[0]), float(line.u_at(new.place)[0])
    return _say(new, at, 0.0, u, f"its section's other points say ({show(at, units)})", units)


def _nearest(
    layout: Layout, section: Section, before: Sequence[Reading], new: Reading
) -> tuple[Reading, Section] | None:
    """The reading of the row that was taken nearest along the machine, and its section."""
    x = section.start + new.place
    beside = [
        (abs(other.start + r.place - x), r, other)
        for r in before
        if not r.closing and (other := layout.sections[layout.index[r.section]]).row == section.row
    ]
    return min(beside, key=lambda found: found[0])[1:] if beside else None


def _say(new: Reading, expected: float, allowed: float, u: float, than: str, units: Units) -> str:
    """Sentence on a reading farther from what is expected than allowed and the tape explain; empty where it is not."""
    off = new.value - expected
    if abs(off) <= allowed + DOUBTED * math.hypot(new.u, u) + SAME:
        return ""
    hint = likely_slip(new.text, new.value, off, math.hypot(new.u, u, allowed / FAR), units)
    which = "more" if off > 0 else "less"
    return f"{show(abs(off), units)} {units} {which} than {than}.{f' Perhaps {slip_name(hint)}?' if hint else ''}"
