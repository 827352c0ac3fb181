"""What the settings of a machine say to a person: what to set, then the table, then the doubts."""

from __future__ import annotations

import math
from typing import Final

from alignment.instruments import Tape
from alignment.lengths import INCH, Units, decimal, show
from alignment.settings.judging import SettingsResult, SettingState, Way
from alignment.settings.settings_file import Kind
from alignment.show.page import Block, Degree, Page, Part, Table, items
from alignment.show.words.opening import opening
from alignment.show.words.phrases import counted, unit_mark, verdict_words
from alignment.show.words.sources import SHEAR_SOURCE
from alignment.uncertainty import COVERAGE

__all__ = ["clearance_words", "doubts", "feeler_words", "settings_page", "summary", "table_rows", "to_do"]

FINEST_FRACTION = float(INCH) / 64
MEANS_U: Final = "U: the number may be wrong by this much (2 standard uncertainties)."
SIDES: Final = {Way.lower_left: "left", Way.lower_right: "right"}
"""The side of a level to lower."""


def settings_page(result: SettingsResult) -> Page:
    """The whole answer as a page."""
    settings, states, out = result.settings, result.states, result.out
    units = settings.units
    told = [f"{key} {settings.record[key]}" for key in ("taken", "by") if key in settings.record]
    feelers = [feeler_words(s, units) for s in states if s.feeler]
    act = _act(result)
    sends = bool(out or feelers or any(s.verdict is not None and not s.verdict.sure for s in states))
    return Page(
        title=f"{settings.name}, {settings.source}" + (f", {' '.join(told)}" if told else ""),
        parts=(
            opening([f"{result.verdict.printed}. {summary(result)}"], act, sends=sends),
            Part(heading="Set these", blocks=items([f"{s.setting.name}: {to_do(s, units)}" for s in out])),
            Part(heading="A feeler-gauge job", blocks=items(feelers)),
            Part(heading="Settings", blocks=(_table(states, units),)),
            Part(heading="Strip and guides", blocks=items(clearance_words(result))),
            Part(heading="Doubts", blocks=items(doubts(result)), degree=Degree.full),
        ),
        act=act,
    )


def _act(result: SettingsResult) -> str:
    """The first thing to do: what is proved out before what is not."""
    units = result.settings.units
    first = min(result.out, key=lambda s: not (s.verdict and s.verdict.sure), default=None)
    if first:
        return f"{first.setting.name}: {to_do(first, units)}"
    feeler = next((s for s in result.states if s.feeler), None)
    if feeler:
        return f"{feeler.setting.name}: measure it with feeler gauges, machine locked out."
    unsure = next((s for s in result.states if s.verdict is None or not s.verdict.sure), None)
    if unsure:
        more = "measure it" if unsure.verdict is None else "measure it again with something finer"
        return f"{unsure.setting.name}: {more}."
    return "keep this file with the record."


def summary(result: SettingsResult) -> str:
    """How many settings are out of how many judged."""
    out, states = len(result.out), result.states
    judged = sum(s.verdict is not None for s in states)
    rest = f" {counted(len(states) - judged, 'setting')} not judged." if judged < len(states) else ""
    if not judged:
        return f"Nothing was judged.{rest}"
    return (f"{out} of {judged} to set." if out else f"Nothing to set among {judged}.") + rest


def _length(length: float, worth: Tape | None, units: Units, *, signed: bool = False) -> str:
    """Length as its instrument shows it: a tape's fractions, a caliper's decimals."""
    if worth is None or (units is Units.inch and worth.mark > FINEST_FRACTION * 0.99):
        return show(length, units, signed=signed)
    if units is Units.inch:
        return decimal(length, units, signed=signed, places=4)
    return decimal(length, units, signed=signed, places=1 if worth.mark > 0.099 else 3 if worth.mark < 0.0099 else 2)


def to_do(s: SettingState, units: Units) -> str:
    """What to do about a setting that is out."""
    judged, found, way = s.judged, s.setting.found, s.way
    if judged is None or found is None or way is None:
        return ""
    mark = unit_mark(units)
    amount = f"{_length(abs(judged.value), found.worth, units)}{mark}"
    again = "" if judged.verdict.sure else " Not proved: measure it again first."
    if way in SIDES:
        over = f" over {show(s.setting.over, units).removesuffix('.0')}{mark}" if s.setting.over else ""
        return f"lower the {SIDES[way]} side by {amount}{over}.{again}"
    return f"{way} it by {amount}, to {_length(s.wanted, found.worth, units)}{mark}.{again}"


def feeler_words(s: SettingState, units: Units) -> str:
    """What is to be measured with feeler gauges, and why."""
    mark, places = unit_mark(units), _fine(units)
    low, high = (decimal(s.wanted + sign * s.tolerance, units, places=places) for sign in (-1, 1))
    found = s.setting.found
    why = "It was not measured."
    if found is not None:
        u = decimal(COVERAGE * found.u, units, places=places)
        why = f"It was measured with {found.instrument} (U {u}{mark}): too coarse for this."
    source = f" Source: {SHEAR_SOURCE}." if math.isnan(s.setting.wanted) else ""
    return (
        f"{s.setting.name}: {low} to {high}{mark} wanted. {why}{source} Measure it with feeler gauges, machine locked "
        "out. Never put a hand between the blades."
    )


def _fine(units: Units) -> int:
    return 4 if units is Units.inch else 3


def _table(states: tuple[SettingState, ...], units: Units) -> Block:
    return Table(
        head=("setting", "wanted", "tol.", "measured", "off", "U", "verdict"),
        rows=tuple(table_rows(states, units)),
        align="lrrrrrl",
        note=f"{units.plural.capitalize()}. Off: measured minus wanted. {MEANS_U}",
    )


def table_rows(states: tuple[SettingState, ...], units: Units) -> list[tuple[str, ...]]:
    """
    Name, wanted value, tolerance, measured, off, U and verdict of each setting; blank where there is none.

    Wanted and measured stand as the instrument shows them; tolerance, off and U are decimals, to be set side by side.
    """
    rows: list[tuple[str, ...]] = []
    for s in states:
        found = s.setting.found
        worth = found.worth if found else None
        fine = s.setting.kind is Kind.shear
        wanted = decimal(s.wanted, units, places=_fine(units)) if fine else _length(s.wanted, worth, units)
        tolerance = (
            _u(s.tolerance, worth, units) if found and not fine else decimal(s.tolerance, units, places=_fine(units))
        )
        measured, off, u, verdict = "", "", "", "not measured"
        if found is not None:
            measured, verdict = _length(found.value, worth, units), "not judged"
            u = _u(s.judged.expanded if s.judged else COVERAGE * found.u, worth, units)
            if s.judged is not None:
                off, verdict = _u(s.judged.value, worth, units, signed=True), verdict_words(s.judged)
        rows.append((s.setting.name, wanted, tolerance, measured, off, u, verdict))
    return rows


def _u(length: float, worth: Tape | None, units: Units, *, signed: bool = False) -> str:
    """A length that is set against a U, as a decimal to what its instrument is worth."""
    fine = worth is not None and worth.mark < FINEST_FRACTION * 0.99
    return decimal(length, units, signed=signed, places=_fine(units) if fine else None)


def clearance_words(result: SettingsResult) -> list[str]:
    """The strip, and what it has between the guides; empty where either is not told."""
    settings, states = result.settings, result.states
    best, units = settings.strip.best, settings.units
    if best is None or not any(s.setting.kind is Kind.guide for s in states):
        return []
    found = settings.strip.found
    how = "measured" if found else "nominal"
    worth = found.worth if found else None
    mark = unit_mark(units)
    words = [f"Strip {_length(best[0], worth, units)}{mark} ({how}, U {_u(2 * best[1], worth, units)})."]
    for s in states:
        if s.clearance is not None and s.setting.found is not None:
            value, expanded = s.clearance.value, s.clearance.expanded
            own = s.setting.found.worth
            said = f"{s.setting.name}: clearance {_length(value, own, units, signed=True)}{mark}"
            said += f" (U {_u(expanded, own, units)})."
            if value <= -expanded:
                said += " The strip is wider than the guides. It will buckle or climb."
            elif value < expanded:
                said += " The strip may not fit. This is too coarse to tell."
            words.append(said)
    return words


def doubts(result: SettingsResult) -> list[str]:
    """What the measurements leave open."""
    settings, states = result.settings, result.states
    units, said = settings.units, []
    if any(s.verdict is not None and not s.verdict.sure for s in states):
        said.append("'?': not measured finely enough to prove. The percentage is the chance of being in tolerance.")
    said += [
        f"{s.setting.name}: U {_u(s.judged.expanded, found.worth, units)} is more than the tolerance. With "
        f"{found.instrument} it can never be proved OK. Take something finer."
        for s in states
        if s.coarse and s.judged is not None and (found := s.setting.found) is not None
    ]
    said += [
        f"{s.setting.name}: its {len(found.readings)} readings differ by more than {found.instrument} explains. U is "
        "larger for it. Measure it again."
        for s in states
        if (found := s.setting.found) is not None and found.scattered
    ]
    lone = [s for s in states if s.setting.found is not None and len(s.setting.found.readings) == 1]
    if lone:
        said.append(f"{counted(len(lone), 'setting')} measured once: a wrong reading would not show.")
    used = {f.instrument for s in states if (f := s.setting.found) is not None and not f.worth.zero}
    if used:
        said.append(f"No zero error is given for {', '.join(sorted(used))}. It is taken as none.")
    if settings.strip.found is None and settings.strip.width is not None and any(s.clearance for s in states):
        exact = "" if settings.strip.tolerance else " It is taken as exact."
        said.append(f"The strip's width is the nominal one.{exact} Measure the coil at hand.")
    if any(s.way in SIDES for s in states):
        said.append("A level is positive with the right side high, looking downstream.")
    return said
