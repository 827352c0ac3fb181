"""What a person should look at in the readings before a bolt is touched."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from alignment.lengths import decimal, show
from alignment.survey import Reading
from alignment.train import Train
from alignment.uncertainty import range_point

__all__ = ["Flag", "find_flags"]


@dataclass(frozen=True, kw_only=True)
class Flag:
    """
    One thing to look at.

    Attributes
    ----------
    flag : str
        ``scatter``, ``spread`` or ``lone``.
    section, point : str
        Where; `point` is empty where the whole section is meant.
    message : str
        What was read, what the others say, and what to do.
    """

    flag: str
    section: str
    point: str
    message: str


def find_flags(train: Train) -> tuple[Flag, ...]:
    """Flags of a fitted survey, most harmful first: repeats apart, readings off the straight face, lone points."""
    return (*_spread(train), *_scatter(train), *_lone(train))


def _points(train: Train) -> dict[tuple[str, float], list[tuple[int, Reading]]]:
    """Fitted readings by section and place, each with its place in the fit."""
    found: dict[tuple[str, float], list[tuple[int, Reading]]] = {}
    for k, reading in enumerate(train.survey.fitted):
        found.setdefault((reading.section, round(reading.place, 6)), []).append((k, reading))
    return found


def _name(train: Train, section: str, place: float) -> str:
    layout = train.layout
    return layout.sections[layout.index[section]].point_name(place, layout.units)


def _spread(train: Train) -> list[Flag]:
    """Repeats whose range is beyond the 95 % point of the range of as many readings of their u."""
    flags = []
    units = train.layout.units
    for (section, place), group in _points(train).items():
        if len(group) < 2:
            continue
        values = [reading.value for _, reading in group]
        u = float(np.sqrt(np.mean([reading.u**2 for _, reading in group])))
        spread, allowed = max(values) - min(values), u * range_point(len(group))
        if spread > allowed:
            point = _name(train, section, place)
            texts = ", ".join(reading.text for _, reading in group)
            message = (
                f"{section}, {point}: read {texts}: {decimal(spread, units)} {units} apart, where repeats of this "
                f"tape stay within {decimal(allowed, units)}. Read this point again."
            )
            flags.append(Flag(flag="spread", section=section, point=point, message=message))
    return flags


def _scatter(train: Train) -> list[Flag]:
    """Sections whose readings lie off a straight face by more than the tape explains."""
    flags = []
    units = train.layout.units
    for i in np.flatnonzero(train.birge > 1):
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
        flags.append(Flag(flag="scatter", section=name, point="", message=message))
    return flags


def _lone(train: Train) -> list[Flag]:
    """Points read once that no other reading checks."""
    flags = []
    for (section, place), group in _points(train).items():
        k, reading = group[0]
        # a section that is not measured enough has no redundancy to speak of
        if len(group) == 1 and train.lines.redundancy[k] < 1e-9:
            point = _name(train, section, place)
            message = f"{section}, {point}: read once ({reading.text}); no other reading checks it."
            flags.append(Flag(flag="lone", section=section, point=point, message=message))
    return flags
