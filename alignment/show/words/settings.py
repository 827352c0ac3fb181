"""What the settings of a machine say to a person: what to set, then the table, then the doubts."""

from __future__ import annotations

import math

from alignment.instruments import Tape
from alignment.lengths import INCH, Units, decimal, show
from alignment.settings.judging import SHEAR_SOURCE, SettingsResult, SettingState
from alignment.show.terminal import caution_lines, headed, short, wrap
from alignment.show.words.phrases import counted, verdict_words
from alignment.uncertainty import COVERAGE, Verdict

__all__ = ["clearance_words", "doubts", "feeler_words", "settings_text", "summary", "table_rows", "to_do"]

WAYS = {"guide": ("close", "open"), "gap": ("close", "open"), "shear": ("close", "open"), "die": ("reduce", "increase")}
"""What to do about a setting that is larger than wanted, and about one that is smaller."""
FINEST_FRACTION = float(INCH) / 64


def settings_text(result: SettingsResult) -> str:
    """The settings as text."""
    settings, states, out = result.settings, result.states, result.out
    told = [f"{key} {settings.record[key]}" for key in ("taken", "by") if key in settings.record]
    lines = wrap(f"{settings.name}, {settings.source}" + (f", {' '.join(told)}" if told else ""))
    lines += [f"Verdict: {result.verdict.printed}. {summary(result)}", ""]
    if out:
        lines += ["BEFORE ANYTHING IS SET", *caution_lines(), ""]
        lines += headed("SET THESE", (f"{s.setting.name}: {to_do(s, settings.units)}" for s in out))
    lines += headed("A FEELER-GAUGE JOB", (feeler_words(s, settings.units) for s in states if s.feeler))
    lines += [
        f"SETTINGS ({settings.units.plural}; off is measured less wanted; U = 2u)",
        *_table(states, settings.units),
        "",
    ]
    lines += _clearances(result)
    lines += headed("DOUBTS", doubts(result))
    return "\n".join(lines).rstrip() + "\n"


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
    judged, found = s.judged, s.setting.found
    if judged is None or found is None:
        return ""
    amount = f"{_length(abs(judged.value), found.worth, units)} {units}"
    sure = "" if judged.verdict.sure else " (not proved: measure it again first)"
    if s.setting.kind == "level":
        over = f" over {show(s.setting.over, units)} {units}" if s.setting.over else ""
        return f"lower the {'right' if judged.value > 0 else 'left'} side by {amount}{over}{sure}."
    more, less = WAYS[s.setting.kind]
    stop = f"{_length(s.wanted, found.worth, units)} {units}"
    return f"{more if judged.value > 0 else less} it by {amount}, to {stop}{sure}."


def feeler_words(s: SettingState, units: Units) -> str:
    """What is to be measured with feeler gauges, and why."""
    low, high = (decimal(s.wanted + sign * s.tolerance, units, places=_fine(units)) for sign in (-1, 1))
    found = s.setting.found
    why = (
        "it was not measured"
        if found is None
        else (
            f"measured with {found.instrument}, U {decimal(COVERAGE * found.u, units, places=_fine(units))} {units}, "
            "which cannot tell"
        )
    )
    source = f" ({SHEAR_SOURCE})" if math.isnan(s.setting.wanted) else ""
    return (
        f"{s.setting.name}: {low} to {high} {units} wanted{source}; {why}. Measure it with feeler gauges, with the "
        "machine locked out, never with a hand between the blades."
    )


def _fine(units: Units) -> int:
    return 4 if units is Units.inch else 3


def _table(states: tuple[SettingState, ...], units: Units) -> list[str]:
    width = min(max([len(s.setting.name) for s in states] + [7]), 24)
    lines = [f"{'setting':<{width}} {'wanted':>9} {'tol.':>7} {'measured':>9} {'off':>8} {'U':>7}  verdict"]
    for name, wanted, tolerance, measured, off, u, verdict in table_rows(states, units):
        line = f"{short(name, width)} {wanted:>9} {tolerance:>7}"
        line += f" {measured:>9} {off:>8} {u:>7}  {verdict}" if measured else f" {verdict:>12}"
        lines.append(line)
    return lines


def table_rows(states: tuple[SettingState, ...], units: Units) -> list[tuple[str, ...]]:
    """
    Name, wanted value, tolerance, measured, off, U and verdict of each setting; blank where there is none.

    Wanted and measured stand as the instrument shows them; tolerance, off and U are decimals, to be set side by side.
    """
    rows: list[tuple[str, ...]] = []
    for s in states:
        found = s.setting.found
        worth = found.worth if found else None
        fine = s.setting.kind == "shear"
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


def _clearances(result: SettingsResult) -> list[str]:
    first, *others = clearance_words(result) or [""]
    lines = [f"STRIP AND GUIDES: {first}", *(line for text in others for line in wrap(text, "  - ")), ""]
    return lines if first else []


def clearance_words(result: SettingsResult) -> list[str]:
    """The strip, and what it has between the guides; empty where either is not told."""
    settings, states = result.settings, result.states
    best, units = settings.strip.best, settings.units
    if best is None or not any(s.setting.kind == "guide" for s in states):
        return []
    found = settings.strip.found
    how = "measured" if found else "nominal"
    worth = found.worth if found else None
    words = [f"strip {_length(best[0], worth, units)} {units} ({how}, U {_u(2 * best[1], worth, units)})"]
    for s in states:
        if s.clearance is not None and s.setting.found is not None:
            value, expanded = s.clearance.value, s.clearance.expanded
            own = s.setting.found.worth
            said = f"{s.setting.name}: clearance {_length(value, own, units, signed=True)} {units}"
            said += f" (U {_u(expanded, own, units)})"
            if value <= -expanded:
                said += ": the strip is wider than the guides and will buckle or climb"
            elif value < expanded:
                said += ": the strip may not fit, as far as this can tell"
            words.append(f"{said}.")
    return words


def doubts(result: SettingsResult) -> list[str]:
    """What the measurements leave open."""
    settings, states = result.settings, result.states
    units, said = settings.units, []
    if any(s.verdict is not None and not s.verdict.sure for s in states):
        said.append(
            "'?' marks what was not measured finely enough to prove; the percentage is the probability of being in "
            "tolerance."
        )
    said += [
        f"{s.setting.name}: U {_u(s.judged.expanded, found.worth, units)} is more than the tolerance. Measured with "
        f"{found.instrument} it can never be proved in: take something finer."
        for s in states
        if s.coarse and s.judged is not None and (found := s.setting.found) is not None
    ]
    said += [
        f"{s.setting.name}: its {len(found.readings)} readings differ by more than {found.instrument} explains; U is "
        "grown. Measure it again."
        for s in states
        if (found := s.setting.found) is not None and found.scattered
    ]
    lone = [s for s in states if s.setting.found is not None and len(s.setting.found.readings) == 1]
    if lone:
        said.append(f"{counted(len(lone), 'setting')} measured once: nothing checks the reading.")
    used = {f.instrument for s in states if (f := s.setting.found) is not None and not f.worth.zero}
    if used:
        said.append(f"No zero error is given for {', '.join(sorted(used))}; it is taken as none.")
    if settings.strip.found is None and settings.strip.width is not None and any(s.clearance for s in states):
        exact = "" if settings.strip.tolerance else ", and taken as exact"
        said.append(f"The strip's width is the nominal one{exact}. Measure the coil at hand.")
    if any(s.verdict in (Verdict.out, Verdict.out_unsure) and s.setting.kind == "level" for s in states):
        said.append("A level is positive where the right side is high, looking downstream.")
    return said
