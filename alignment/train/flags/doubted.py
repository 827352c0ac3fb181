"""Readings that nothing has borne out, and that neighbours, target or the section's other end make implausible."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from statistics import median
from typing import Final

import numpy as np

from alignment.lengths import INCH, Units
from alignment.machine.slips import LikelySlip, SlipKind, tape_units, whole_sizes
from alignment.machine.survey import Reading
from alignment.train.flags.flag import Basis, Flag, FlagKind
from alignment.train.flags.leaning import Lean
from alignment.train.flags.likelihood import OUT, improbable
from alignment.train.flags.neighbours import Expectation, Neighbours
from alignment.train.flags.points import hint_for, name_of, points_of
from alignment.train.train import Train

__all__ = ["find_doubted"]

SLOT: Final = {Units.inch: float(INCH) / 2, Units.mm: 12.0}
"""What no bolt end travels, where the layout does not tell. [mm]"""
QUIET: Final = OUT / 3
"""Scatter of the neighbours below which a machine is not badly out: there 10 mm are a sign of a slip. [mm]"""
NEAR: Final = 3.0
"""Standard uncertainties within which a length is a whole one of the tape: one such slip in 400 is missed."""


def find_doubted(train: Train, told: set[str], leans: Sequence[Lean]) -> list[Flag]:
    """
    Readings that nothing has borne out and that neighbours, target and the section's other end make implausible.

    A point that was read again alike is taken.
    """
    flags: list[Flag] = []
    layout, readings = train.layout, train.survey.fitted
    neighbours = Neighbours(train)
    repeated = {at for at, group in points_of(train).items() if len(group) > 1}
    once = np.array([(r.section, round(r.place, 6)) not in repeated for r in readings], dtype=bool)
    deviation = np.where([r.section in told for r in readings], np.nan, neighbours.deviation)
    # what checks itself is for the test of strays
    tested = once & ~train.lines.checked
    beyond = improbable(train, deviation, tested, {lean.string for lean in leans})
    by_section: dict[str, list[int]] = {}
    for k, reading in enumerate(readings):
        by_section.setdefault(reading.section, []).append(k)
    for name, own in by_section.items():
        if name in told or not once[own].any() or np.isnan(deviation[own]).any():
            continue
        i = layout.index[name]
        expectation = neighbours.expect(i) or neighbours.expect_alone(i, leans)
        flag = None
        if expectation is not None:
            members = [k for k in own if tested[k]]
            flag = _implausible(train, neighbours, members, [k for k in beyond if k in members], expectation)
        if flag is None and layout.rows[layout.sections[i].row].target is not None:
            flag = _beyond(train, neighbours, own, [k for k in own if once[k]], expectation)
        if flag is not None:
            flags.append(flag)
    return _of_one_string(train, neighbours, flags, leans)


def _implausible(
    train: Train, neighbours: Neighbours, members: list[int], beyond: list[int], expectation: Expectation
) -> Flag | None:
    """The reading of a section that is too far off, the worst where there are more; or its ends swapped."""
    if not members:
        return None
    readings = [train.survey.fitted[k] for k in members]
    section = train.layout.index[readings[0].section]
    basis = expectation.basis
    swapped = basis is Basis.neighbours and _swapped(train, section, readings, neighbours.roughness(section))
    if not swapped and not beyond:
        return None
    off = neighbours.deviation[members] - expectation.at(neighbours.x[members])
    kind = FlagKind.unlikely if basis is Basis.neighbours else FlagKind.off_target
    worst = members.index(beyond[0]) if beyond else int(np.argmax(np.abs(off)))
    flag = _far(train, members, off, worst, basis, kind, expectation.scatter)
    return replace(flag, point="", hint=LikelySlip(kind=SlipKind.ends)) if swapped else flag


def _beyond(
    train: Train, neighbours: Neighbours, own: list[int], once: list[int], expectation: Expectation | None
) -> Flag | None:
    """
    A section read farther from its target than any slot allows, or by a whole number of the tape.

    Where neighbours, or a string that leans, say the same it is the string, and no reading of this section.
    """
    layout, tape = train.layout, train.survey.tape
    off = neighbours.deviation[once]
    slot = layout.moves.travel or SLOT[layout.units]
    far = np.abs(off) > slot
    if expectation is not None and expectation.basis is Basis.neighbours and expectation.scatter < QUIET:
        u = np.hypot([train.survey.fitted[k].u for k in once], tape.zero)
        for size in whole_sizes(tape_units(tape.mark)):
            far |= np.abs(np.abs(off) - size) <= NEAR * u
    # of points that check one another, all have to be off: one alone is for the test of strays
    far &= np.array([not train.lines.checked[k] for k in once]) | (far.all() and len(once) == len(own))
    if expectation is not None:
        far &= np.abs(off - expectation.at(neighbours.x[once])) > np.abs(off) / 2
    if not far.any():
        return None
    members, off = [k for k, is_far in zip(once, far, strict=True) if is_far], off[far]
    worst = int(np.argmax(np.abs(off)))
    all_ = neighbours.deviation[own]
    return _far(train, members, off, worst, Basis.target, FlagKind.off_target, 0.0, all_=all_)


def _far(
    train: Train,
    members: list[int],
    off: np.ndarray,
    worst: int,
    basis: Basis,
    kind: FlagKind,
    scatter: float,
    all_: np.ndarray | None = None,
) -> Flag:
    """Flag of one of a section's readings, its worst."""
    readings = [train.survey.fitted[k] for k in members]
    reading, slip = readings[worst], float(off[worst])
    # a slip is named where the others stand still enough to tell it from the next
    u = float(np.hypot(max(scatter, train.layout.tolerance.offset / 2), reading.u))
    u = min(u, float(INCH) / 8)
    rest = np.delete(off, worst) if all_ is None else np.delete(all_, int(np.argmax(np.abs(all_))))
    return Flag(
        flag=kind,
        section=reading.section,
        point=name_of(train, reading.section, reading.place),
        read=tuple(r.text for r in ([reading] if kind is FlagKind.off_target else readings)),
        reading=reading,
        hint=hint_for(train, reading, slip, u),
        basis=basis,
        numbers={
            "slip": slip,
            "rest": float(np.max(np.abs(rest), initial=0.0)),
            "expected": reading.value - slip,
        },
    )


def _of_one_string(train: Train, neighbours: Neighbours, flags: list[Flag], leans: Sequence[Lean]) -> list[Flag]:
    """
    Where all sections of a string are off alike it is the string, or the wanted reading: one flag in place of many.

    Found with two sections or more, by the middle of their readings; not on a string that leans.
    """
    layout = train.layout
    found = list(flags)
    for string in layout.strings:
        rows = {name for name, row in layout.rows.items() if row.string == string and row.target is not None}
        at = np.array([layout.sections[i].row in rows for i in neighbours.section], dtype=bool)
        sections = sorted({layout.sections[i].name for i in neighbours.section[at]})
        if len(sections) < 2 or any(lean.string == string for lean in leans):
            continue
        d = neighbours.deviation[at] * train.datum.sign[neighbours.section[at]]
        middle = float(median(d))
        slot = layout.moves.travel or SLOT[layout.units]
        u = 2 * float(np.hypot(train.survey.tape.zero, train.layout.tolerance.offset))
        whole = any(abs(abs(middle) - size) <= u for size in whole_sizes(tape_units(train.survey.tape.mark)))
        alike = np.abs(d - middle) <= abs(middle) / 2
        if not (abs(middle) > slot or whole) or np.mean(alike) < 0.75:
            continue
        off = {layout.sections[i].name for i in neighbours.section[at][~alike]}
        found = [f for f in found if f.section not in sections or f.section in off]
        first = next(train.survey.fitted[k] for k in np.flatnonzero(at))
        numbers = {"slip": middle * float(train.datum.sign[layout.index[first.section]])}
        found.append(
            Flag(flag=FlagKind.off_target, string=string, basis=Basis.target, numbers=numbers, number=len(sections))
        )
    return found


def _swapped(train: Train, i: int, readings: list[Reading], scatter: float) -> bool:
    """
    Whether two readings follow their neighbours the other way round, and not as they are.

    The neighbours' faces are carried on to this section's points: the nearest reading up- and downstream of it. How
    well they follow one another is their scatter.
    """
    if len(readings) != 2:
        return False
    layout = train.layout
    row = layout.sections[i].row
    beside = [j for j in (i - 1, i + 1) if 0 <= j < len(layout.sections) and layout.sections[j].row == row]
    beside = [j for j in beside if train.measured[j]]
    if len(beside) < 2:
        return False
    up, down = beside
    entry, exit_ = sorted(readings, key=lambda r: r.place)
    x = train.start[i] + np.array([entry.place, exit_.place])
    ends = np.array([train.start[up] + train.length[up], train.start[down]])
    faces = np.array([train.ends[1].value[up], train.ends[0].value[down]])
    expected = faces[0] + (faces[1] - faces[0]) * (x - ends[0]) / (ends[1] - ends[0])
    target = train.targets(np.array([i, i]), x)
    own = np.array([entry.value, exit_.value]) - target
    now, turned = (float(np.sum((d - expected) ** 2)) for d in (own, own[::-1]))
    u2 = max(2 * entry.u, scatter) ** 2
    return now > 25 * u2 and turned < 4 * u2
