"""What a person should look at in the readings before a bolt is touched, most harmful first."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from alignment.fitting.lines import CHECKED
from alignment.machine.slips import SlipKind
from alignment.machine.survey import Reading, StepReading
from alignment.quantiles import chi_square_point, normal_point
from alignment.train.faces import adjust, point_worth
from alignment.train.flags.doubted import find_doubted
from alignment.train.flags.flag import Flag, FlagKind
from alignment.train.flags.leaning import Lean, find_leans
from alignment.train.flags.points import hint_for, name_of, points_of
from alignment.train.flags.strays import Stray, critical_w, find_strays
from alignment.train.train import Train
from alignment.uncertainty import SAME

__all__ = ["find_flags"]

MOVED: Final = 0.01
"""Chance that any closing reading of a clean survey says that its string moved."""
ROUNDS: Final = 50
"""Steps set aside one by one, each with all adjusted anew: the time would grow as the square of their number."""


def find_flags(train: Train) -> tuple[Flag, ...]:
    """
    Flags of a fitted survey, most harmful first.

    One slip gives one flag: a stray explains the scatter of its section and the spread of its point.
    """
    strays, leans = find_strays(train), find_leans(train)
    told = {s.reading.section for s in strays}
    doubted = find_doubted(train, told, leans)
    told |= {flag.section for flag in doubted}
    spread = [flag for flag in _spread(train) if flag.section not in told]
    told |= {flag.section for flag in spread}
    contradicted = [_stray(train, stray) for stray in strays]
    return (
        *_line_moved(train, [*contradicted, *doubted]),
        *contradicted,
        *doubted,
        *(_skewed(lean) for lean in leans),
        *_misfit_steps(train),
        *spread,
        *(flag for flag in _scatter(train) if flag.section not in told),
        *_lone(train),
    )


def _line_moved(train: Train, misread: list[Flag]) -> list[Flag]:
    """
    Closing readings that differ from the opening ones by more than one mark, and by more than they may by chance.

    Not where the opening reading alone is flagged as misread and the closing one bears that out.
    """
    flags = []
    layout, tape = train.layout, train.survey.tape
    own, _ = point_worth(train.survey)
    opened, closed = points_of(train), _closings(train)
    compared = {at: again for at, again in closed.items() if at in opened}
    for at, again in compared.items():
        section, place = at
        opening = [r for _, r in opened[at]]
        change = float(np.mean([r.value for r in again]) - np.mean([r.value for r in opening]))
        # what all of them share of the rounding drops out; what is left is that of either mean
        first = float(np.mean([own[k] ** 2 for k, _ in opened[at]])) / len(opening)
        u = float(np.sqrt(first + np.mean([r.u**2 for r in again]) / len(again)))
        allowed = max(u * normal_point(1 - MOVED / (2 * len(compared))), tape.graduation)
        if abs(change) <= allowed + SAME:
            continue
        point = name_of(train, section, place)
        if any(_explains(flag, section, point, change) for flag in misread):
            continue
        flags.append(
            Flag(
                flag=FlagKind.line_moved,
                section=section,
                point=point,
                string=layout.rows[layout.sections[layout.index[section]].row].string,
                read=(opening[0].text, again[-1].text),
                hint=hint_for(train, again[-1], change, u),
                numbers={"change": change, "allowed": allowed},
            )
        )
    return flags


def _closings(train: Train) -> dict[tuple[str, float], list[Reading]]:
    found: dict[tuple[str, float], list[Reading]] = {}
    for reading in train.survey.readings:
        if reading.closing:
            found.setdefault((reading.section, round(reading.place, 6)), []).append(reading)
    return found


def _explains(flag: Flag, section: str, point: str, change: float) -> bool:
    """Whether a flag tells of one misread opening reading, and of as much as the closing reading differs by."""
    if flag.section != section:
        return False
    if not flag.point:
        # its ends were swapped
        return flag.hint is not None and flag.hint.kind is SlipKind.ends
    slip = flag.numbers["slip"]
    return flag.point == point and flag.numbers.get("rest", 0.0) < abs(slip) / 2 and abs(change + slip) < abs(slip) / 2


def _stray(train: Train, stray: Stray) -> Flag:
    reading = stray.reading
    return Flag(
        flag=FlagKind.stray,
        section=reading.section,
        point=name_of(train, reading.section, reading.place),
        read=(reading.text,),
        others=tuple((name_of(train, r.section, r.place), r.text) for r in stray.tied),
        decided=stray.decided,
        hint=hint_for(train, reading, stray.slip, stray.u_slip) if stray.decided else None,
        numbers={
            "slip": stray.slip,
            "u": stray.u_slip,
            "detectable": stray.detectable,
            "expected": reading.value - stray.slip,
        },
        reading=reading,
    )


def _misfit_steps(train: Train) -> list[Flag]:
    """
    Steps measured at joints that the tape readings contradict: worst first, set aside, and all adjusted anew.

    After `ROUNDS` of it those that still contradict are told as they stand, the worst of each joint.
    """
    flags: list[Flag] = []
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
        beyond = np.flatnonzero(w > critical)
        if not len(beyond):
            break
        if len(flags) >= ROUNDS:
            told = {flag.section for flag in flags}
            for k in beyond[np.argsort(-w[beyond], kind="stable")]:
                if steps[checked[k]].upstream not in told:
                    told.add(steps[checked[k]].upstream)
                    flags.append(_misfit(steps[checked[k]], float(slips[k])))
            break
        worst = beyond[np.argmax(w[beyond])]
        aside = steps[checked[worst]]
        flags.append(_misfit(aside, float(slips[worst])))
        survey = replace(survey, steps=tuple(s for s in survey.steps if s is not aside))
        adjusted = adjust(train.layout, survey)
    return flags


def _misfit(step: StepReading, slip: float) -> Flag:
    return Flag(
        flag=FlagKind.stray,
        section=step.upstream,
        beside=step.downstream,
        point="joint",
        read=(step.text,),
        numbers={"slip": slip, "expected": step.value - slip},
    )


def _skewed(lean: Lean) -> Flag:
    span = lean.last - lean.first
    numbers = {
        "grow": lean.slope * span,
        "U": lean.expanded * span,
        "entry": lean.entry,
        "exit": lean.exit,
        "over": span,
    }
    return Flag(flag=FlagKind.line_skewed, string=lean.string, numbers=numbers, number=lean.share)


def _spread(train: Train) -> list[Flag]:
    """Repeats that are farther apart than as many are by chance: 95 % over all points of the survey."""
    flags = []
    tape = train.survey.tape
    repeated = {at: group for at, group in points_of(train).items() if len(group) > 1}
    for (section, place), group in repeated.items():
        values = [reading.value for _, reading in group]
        spread = max(values) - min(values)
        # to the mark: what the tape is read to does not depend on which of two marks a point is nearer to
        middle = round(float(np.mean(values)) / tape.graduation) * tape.graduation
        allowed = max(tape.repeats_apart(middle, len(group), 1 - 0.05 / len(repeated)), tape.graduation)
        if spread > allowed + SAME:
            flags.append(
                Flag(
                    flag=FlagKind.spread,
                    section=section,
                    point=name_of(train, section, place),
                    read=tuple(reading.text for _, reading in group),
                    numbers={"spread": spread, "allowed": allowed},
                )
            )
    return flags


def _scatter(train: Train) -> list[Flag]:
    """Sections whose readings lie off a straight face by more than the tape explains: 95 % over all sections."""
    flags = []
    lines, checked = train.lines, np.flatnonzero(train.lines.dof)
    # one section in twenty has its U grown by chance; only what chance does not explain sends a person back
    beyond = lines.chi2[checked] > chi_square_point(lines.dof[checked], 1 - 0.05 / max(len(checked), 1))
    for i in checked[beyond]:
        name = train.layout.sections[i].name
        own = [(k, r) for k, r in enumerate(train.survey.fitted) if r.section == name]
        k, reading = max(own, key=lambda pair: abs(train.lines.residual[pair[0]]))
        flags.append(
            Flag(
                flag=FlagKind.scatter,
                section=name,
                others=((name_of(train, name, reading.place), reading.text),),
                reading=reading,
                numbers={"off": float(train.lines.residual[k])},
                number=float(train.birge[i]),
                read=tuple(r.text for _, r in own),
            )
        )
    return flags


def _lone(train: Train) -> list[Flag]:
    """Points read once that no other reading checks."""
    flags = []
    for (section, place), group in points_of(train).items():
        k, reading = group[0]
        # a section that is not measured enough has no redundancy to speak of
        if len(group) == 1 and not train.lines.checked[k]:
            point = name_of(train, section, place)
            flags.append(Flag(flag=FlagKind.lone, section=section, point=point, read=(reading.text,)))
    return flags
