"""What a person should look at in the readings before a bolt is touched, most harmful first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from alignment.fitting.lines import CHECKED
from alignment.lengths import decimal, show
from alignment.machine.slips import likely_slip, tape_units
from alignment.machine.survey import Reading
from alignment.train.faces import adjust
from alignment.train.flags.leaning import find_leans
from alignment.train.flags.neighbours import Neighbours
from alignment.train.flags.strays import Stray, critical_w, find_strays
from alignment.train.train import Train
from alignment.uncertainty import COVERAGE, chi_square_point, range_point

__all__ = ["Flag", "find_flags"]

UNLIKELY: Final = 4.0
"""A reading this many standard deviations from where its neighbours lead one to expect it is read again."""


@dataclass(frozen=True, kw_only=True)
class Flag:
    """
    One thing to look at.

    Attributes
    ----------
    flag : str
        ``line-moved``, ``stray``, ``unlikely``, ``line-skewed``, ``spread``, ``scatter`` or ``lone``.
    section, point, string : str
        Where; empty where it does not apply.
    beside : str
        For a step, the section downstream of its joint.
    message : str
        What was read, what the others say, and what to do.
    numbers : mapping
        Lengths behind the message. [mm]
    reading : Reading or None
        For a stray, the reading that the others contradict.
    """

    flag: str
    message: str
    section: str = ""
    point: str = ""
    string: str = ""
    beside: str = ""
    numbers: Mapping[str, float] = field(default_factory=dict)
    reading: Reading | None = None

    @property
    def harmful(self) -> bool:
        """Whether it may change the moves; a point that nothing checks is a doubt and no more."""
        return self.flag != "lone"


def find_flags(train: Train) -> tuple[Flag, ...]:
    """
    Flags of a fitted survey, most harmful first.

    One slip gives one flag: a stray explains the scatter of its section and the spread of its point.
    """
    strays = find_strays(train)
    told = {s.reading.section for s in strays}
    unlikely = _unlikely(train, told)
    told |= {flag.section for flag in unlikely}
    spread = [flag for flag in _spread(train) if flag.section not in told]
    told |= {flag.section for flag in spread}
    contradicted = [_stray(train, stray) for stray in strays]
    return (
        *_line_moved(train, [*contradicted, *unlikely]),
        *contradicted,
        *unlikely,
        *_line_skewed(train),
        *_misfit_steps(train),
        *spread,
        *(flag for flag in _scatter(train) if flag.section not in told),
        *_lone(train),
    )


def _points(train: Train) -> dict[tuple[str, float], list[tuple[int, Reading]]]:
    """Fitted readings by section and place, each with its place in the fit."""
    found: dict[tuple[str, float], list[tuple[int, Reading]]] = {}
    for k, reading in enumerate(train.survey.fitted):
        found.setdefault((reading.section, round(reading.place, 6)), []).append((k, reading))
    return found


def _name(train: Train, section: str, place: float) -> str:
    layout = train.layout
    return layout.sections[layout.index[section]].point_name(place, layout.units)


def _hint(train: Train, reading: Reading, slip: float, u: float) -> str:
    """Likely slip as a sentence with a blank before it; empty where none fits."""
    hint = likely_slip(reading.text, reading.value, slip, u, tape_units(train.survey.tape.mark))
    return f" Perhaps {hint}." if hint else ""


def _line_moved(train: Train, misread: list[Flag]) -> list[Flag]:
    """
    Closing readings that differ from the opening ones by more than their U.

    Not where the opening reading alone is flagged as misread and the closing one bears that out.
    """
    flags = []
    layout, units = train.layout, train.layout.units
    opened = _points(train)
    for closing in train.survey.readings:
        if not closing.closing:
            continue
        opening = [r for _, r in opened.get((closing.section, round(closing.place, 6)), [])]
        if not opening:
            continue
        change = closing.value - float(np.mean([r.value for r in opening]))
        allowed = COVERAGE * float(np.sqrt(closing.u**2 + np.mean([r.u**2 for r in opening]) / len(opening)))
        if abs(change) <= allowed:
            continue
        point = _name(train, closing.section, closing.place)
        if any(_explains(flag, closing.section, point, change) for flag in misread):
            continue
        string = layout.rows[layout.sections[layout.index[closing.section]].row].string
        message = (
            f"String {string} moved, or the tape did: {closing.section}, {point} read {opening[0].text} at first and "
            f"{closing.text} at the end, {show(abs(change), units)} {units} apart where {decimal(allowed, units)} is "
            f"the most to expect.{_hint(train, closing, change, allowed / COVERAGE)} Read it once more; if it stays "
            "so, hang the string again and read the row again."
        )
        flags.append(
            Flag(
                flag="line-moved",
                section=closing.section,
                point=point,
                string=string,
                message=message,
                numbers={"change": change, "allowed": allowed},
            )
        )
    return flags


def _explains(flag: Flag, section: str, point: str, change: float) -> bool:
    """Whether a flag tells of one misread opening reading, and of as much as the closing reading differs by."""
    if flag.section != section:
        return False
    if not flag.point:
        # its ends were swapped
        return True
    slip = flag.numbers["slip"]
    return flag.point == point and flag.numbers.get("rest", 0.0) < abs(slip) / 2 and abs(change + slip) < abs(slip) / 2


def _stray(train: Train, stray: Stray) -> Flag:
    units, reading = train.layout.units, stray.reading
    point = _name(train, reading.section, reading.place)
    says = show(reading.value - stray.slip, units)
    message = f"{reading.section}, {point}: read {reading.text}, the others say {says} {units}."
    others = " or ".join(f"{_name(train, r.section, r.place)} ({r.text})" for r in stray.tied)
    if stray.decided:
        message += _hint(train, reading, stray.slip, stray.u_slip)
        if others:
            message += f" Its section alone could not tell it from {others}; the neighbours did."
        message += " Read it again."
    else:
        message += f" It may as well be {others} that is wrong: nothing here tells which. Read all of them again."
    message += f" (The smallest slip seen here: {show(stray.detectable, units)} {units}.)"
    return Flag(
        flag="stray",
        section=reading.section,
        point=point,
        message=message,
        numbers={"slip": stray.slip, "u": stray.u_slip, "detectable": stray.detectable},
        reading=reading,
    )


def _misfit_steps(train: Train) -> list[Flag]:
    """Steps measured at joints that the tape readings contradict: worst first, set aside, and all adjusted anew."""
    units, flags = train.layout.units, []
    adjusted, survey = train.adjusted, train.survey
    critical = None
    while adjusted.network is not None:
        steps, network = adjusted.steps, adjusted.network
        # the network's observations end with the steps
        redundancy = network.redundancy[-len(steps) :]
        checked = np.flatnonzero(redundancy > CHECKED)
        critical = critical_w(len(checked)) if critical is None else critical
        slips = network.residual[-len(steps) :][checked] / redundancy[checked]
        w = np.abs(slips) * np.sqrt(redundancy[checked]) / np.array([steps[k].u for k in checked])
        if w.max(initial=0.0) <= critical:
            break
        slip, step = float(slips[np.argmax(w)]), steps[checked[np.argmax(w)]]
        says = show(step.value - slip, units, signed=True)
        message = (
            f"{step.upstream} / {step.downstream}: step read {step.text}, the tape readings beside it say {says} "
            f"{units}. Measure the step again, and read {step.upstream} at its exit and {step.downstream} at its "
            "entry end."
        )
        flags.append(
            Flag(
                flag="stray",
                section=step.upstream,
                beside=step.downstream,
                point="joint",
                message=message,
                numbers={"slip": slip},
            )
        )
        survey = replace(survey, steps=tuple(s for s in survey.steps if s is not step))
        adjusted = adjust(train.layout, survey)
    return flags


def _unlikely(train: Train, told: set[str]) -> list[Flag]:
    """Readings that nothing in their section checks, but that their neighbours and the target make implausible."""
    flags = []
    layout, units = train.layout, train.layout.units
    checked = train.lines.checked
    neighbours = Neighbours(train)
    by_section: dict[str, list[int]] = {}
    for k, reading in enumerate(train.survey.fitted):
        by_section.setdefault(reading.section, []).append(k)
    for name, own in by_section.items():
        members = [k for k in own if not checked[k]]
        if name in told or not members:
            continue
        i = layout.index[name]
        expectation = neighbours.expect(i)
        if expectation is None:
            continue
        readings = [train.survey.fitted[k] for k in members]
        off = neighbours.deviation[members] - expectation.at(neighbours.x[members])
        if np.isnan(off).any():
            continue
        swapped = _swapped(train, i, readings)
        worst = int(np.argmax(np.abs(off)))
        if not swapped and abs(off[worst]) <= UNLIKELY * expectation.spread:
            continue
        reading = readings[worst]
        point = _name(train, name, reading.place)
        says = f"{show(reading.value - off[worst], units)} {units}"
        rest = float(np.max(np.abs(np.delete(off, worst)), initial=0.0))
        if swapped:
            point = ""
            message = (
                f"{name}: read {' and '.join(r.text for r in readings)}; the other way round they would follow the "
                "neighbours far better. Perhaps the ends were swapped. Read both again before moving anything."
            )
        else:
            hint = _hint(train, reading, float(off[worst]), expectation.spread)
            message = (
                f"{name}, {point}: read {reading.text}, where its neighbours lead one to expect about {says}.{hint} "
                "Nothing in its own section checks it: read it again before moving anything."
            )
        numbers = {"slip": float(off[worst]), "rest": rest}
        flags.append(Flag(flag="unlikely", section=name, point=point, message=message, numbers=numbers))
    return flags


def _swapped(train: Train, i: int, readings: list[Reading]) -> bool:
    """
    Whether two readings follow their neighbours the other way round, and not as they are.

    The neighbours' faces are carried on to this section's points: the nearest reading up- and downstream of it.
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
    u2 = 4 * entry.u**2
    return now > 25 * u2 and turned < 4 * u2


def _line_skewed(train: Train) -> list[Flag]:
    flags = []
    units = train.layout.units
    for lean in find_leans(train):
        over = show(lean.last - lean.first, units)
        grow, u = lean.slope * (lean.last - lean.first), lean.expanded * (lean.last - lean.first)
        ends = ", ".join(
            f"its {end} end {show(abs(by), units)} {units} {'nearer to' if by > 0 else 'farther from'} the faces"
            for end, by in (("entry", lean.entry), ("exit", lean.exit))
            if abs(by) > max(u / 2, train.layout.moves.notch)
        )
        message = (
            f"All sections on string {lean.string} lean alike: they come to lie {show(abs(grow), units)} {units} "
            f"{'farther from' if grow > 0 else 'nearer to'} it over {over} {units} (U {decimal(u, units)}). "
            f"{f'Hanging {ends} takes' if ends else 'A straight line through them takes'} away "
            f"{100 * lean.share:.0f} % of the squared deviations: look at the string before moving every section."
        )
        numbers = {"grow": grow, "U": u, "entry": lean.entry, "exit": lean.exit}
        flags.append(Flag(flag="line-skewed", string=lean.string, message=message, numbers=numbers))
    return flags


def _spread(train: Train) -> list[Flag]:
    """Repeats whose range is beyond what as many readings of their u keep to: 95 % over all points of the survey."""
    flags = []
    units = train.layout.units
    repeated = {at: group for at, group in _points(train).items() if len(group) > 1}
    for (section, place), group in repeated.items():
        values = [reading.value for _, reading in group]
        u = float(np.sqrt(np.mean([reading.u**2 for _, reading in group])))
        spread, allowed = max(values) - min(values), u * range_point(len(group), 1 - 0.05 / len(repeated))
        if spread > allowed:
            point = _name(train, section, place)
            texts = ", ".join(reading.text for _, reading in group)
            message = (
                f"{section}, {point}: read {texts}: {decimal(spread, units)} {units} apart, where repeats of this "
                f"tape stay within {decimal(allowed, units)}. Read this point again."
            )
            numbers = {"spread": spread, "allowed": allowed}
            flags.append(Flag(flag="spread", section=section, point=point, message=message, numbers=numbers))
    return flags


def _scatter(train: Train) -> list[Flag]:
    """Sections whose readings lie off a straight face by more than the tape explains: 95 % over all sections."""
    flags = []
    units = train.layout.units
    lines, checked = train.lines, np.flatnonzero(train.lines.dof)
    # one section in twenty has its U grown by chance; only what chance does not explain sends a person back
    beyond = lines.chi2[checked] > chi_square_point(lines.dof[checked], 1 - 0.05 / max(len(checked), 1))
    for i in checked[beyond]:
        name = train.layout.sections[i].name
        own = [(k, r) for k, r in enumerate(train.survey.fitted) if r.section == name]
        k, reading = max(own, key=lambda pair: abs(train.lines.residual[pair[0]]))
        off = train.lines.residual[k]
        message = (
            f"{name}: its {len(own)} readings do not lie on one straight face as well as this tape allows "
            f"(U is grown {train.birge[i]:.1f} times). Farthest off: {_name(train, name, reading.place)}, read "
            f"{reading.text}, {show(abs(off), units)} {units} {'more' if off > 0 else 'less'} than the others say. "
            "Read it again."
        )
        flags.append(Flag(flag="scatter", section=name, message=message, numbers={"off": float(off)}))
    return flags


def _lone(train: Train) -> list[Flag]:
    """Points read once that no other reading checks."""
    flags = []
    for (section, place), group in _points(train).items():
        k, reading = group[0]
        # a section that is not measured enough has no redundancy to speak of
        if len(group) == 1 and not train.lines.checked[k]:
            point = _name(train, section, place)
            message = f"{section}, {point}: read once ({reading.text}); no other reading checks it."
            flags.append(Flag(flag="lone", section=section, point=point, message=message))
    return flags
