"""What is said of a panel: the verdict and what it means, then the table, the limits with their sources, the doubts."""

from __future__ import annotations

import math

from alignment.lengths import Units, decimal
from alignment.panel.corners import Known
from alignment.panel.limits import Finding, Limit
from alignment.panel.panel import Curve, EndCut, PanelResult
from alignment.show.terminal import headed, short, wrap
from alignment.show.words.panel_doubts import contradiction, doubts
from alignment.show.words.panel_figures import radius_words, size, to_u, twist_unit, twist_words, wave_words, with_u
from alignment.show.words.phrases import verdict_words
from alignment.uncertainty import COVERAGE, Verdict

__all__ = [
    "LESS_NOMINAL",
    "again",
    "limit_words",
    "meanings",
    "panel_text",
    "panel_title",
    "short_verdict",
    "table_rows",
    "verdict_line",
]

_ROW = 34
LESS_NOMINAL = "Lengths, widths and legs are told as measured less nominal."


def panel_title(result: PanelResult) -> str:
    """Name, file, size and date in one line."""
    panel, record = result.panel, result.panel.record
    sizes = f"{size(panel.width, panel.units)} by {size(panel.length, panel.units)} {panel.units}"
    told = f", taken {record['taken']}" if "taken" in record else ""
    told += f" by {record['by']}" if "by" in record else ""
    return f"{panel.name} ({panel.source}), {sizes}{told}"


def verdict_line(result: PanelResult) -> str:
    """Verdict of the panel, and what is out, in one sentence."""
    if result.verdict is None:
        return "Not judged: no limit was chosen that speaks of what was measured."
    out = _out(result)
    if out:
        return f"Verdict: {result.verdict.printed}. Out: {', '.join(out)}."
    doubt = "" if result.verdict.sure else ", not all proved"
    return f"Verdict: {result.verdict.printed}. Everything that has a limit is within it{doubt}."


def short_verdict(result: PanelResult) -> str:
    """Verdict with what is out, for a line that names the panel: ``out (camber)``."""
    out = _out(result)
    return (result.verdict.printed if result.verdict else "not judged") + (f" ({', '.join(out)})" if out else "")


def _out(result: PanelResult) -> list[str]:
    """What is out, and where it is not proved."""
    judged = [(name, f.verdict) for name, f in result.findings if f.verdict is not None and name != "strip camber"]
    return [f"{name}{'' if v is Verdict.out else ' (not proved)'}" for name, v in judged if not v.inside]


def panel_text(result: PanelResult) -> str:
    """The whole answer as text."""
    lines = [*wrap(panel_title(result)), *wrap(verdict_line(result)), ""]
    lines += headed("READ THESE AGAIN FIRST", again(result))
    lines += headed("WHAT IT MEANS", meanings(result))
    lines += _table(result)
    lines += _limits(result)
    lines += headed("DOUBTS", doubts(result))
    return "\n".join(lines).rstrip() + "\n"


def again(result: PanelResult) -> list[str]:
    """What is to be read again before anything is made of the panel."""
    return [text for text in (_slip_words(result), contradiction(result)) if text]


def _slip_words(result: PanelResult) -> str:
    """What seems misread among the lengths for square; empty where nothing does."""
    square, panel = result.square, result.panel
    slip = square.corners.slip if square else None
    if square is None or slip is None:
        return ""
    left, right = panel.edges
    names = {
        "left": f"the {left} edge",
        "right": f"the {right} edge",
        "lead": "the lead end",
        "tail": "the tail end",
        "from_left": f"the diagonal from the {left} corner of the lead end",
        "from_right": f"the diagonal from the {right} corner of the lead end",
    }
    way = "long" if slip.by > 0 else "short"
    told = f"The lengths for square contradict one another. {names[slip.name]} seems read "
    told = told.replace(". t", ". T") + f"{decimal(abs(slip.by), panel.units)} {panel.units} too {way}"
    if slip.alone:
        return told + "."
    return told + (
        ": without it the panel comes nearest to a rectangle. One length to spare proves a slip, not which: read both "
        "diagonals again, that one first."
    )


def meanings(result: PanelResult) -> list[str]:
    """What the numbers mean, most telling first; one sentence or two each."""
    said = []
    if result.camber:
        said += _camber_words(result, result.camber)
    said += _wave_words(result)
    said += _square_words(result)
    if result.bow:
        said.append(_bow_words(result, result.bow))
    if result.twist:
        amount, higher = twist_words(result.twist, result.panel.units), result.twist.higher
        said.append(
            f"Twist: at the lead end the {higher} edge is the higher one against the tail end, {amount}."
            if higher
            else f"No twist seen: {amount}."
        )
    said += _across_words(result)
    return said


def _camber_words(result: PanelResult, camber: Curve) -> list[str]:
    panel, units = result.panel, result.panel.units
    over = f"over {size(camber.over, units)} {units}"
    if not camber.toward:
        return [f"No sweep seen, to within {decimal(COVERAGE * camber.height_u, units)} {units} {over}."]
    other = next(edge for edge in panel.edges if edge != camber.toward)
    turn = panel.width * panel.length
    longer = with_u(abs(camber.curvature) * turn, camber.u * turn, units)
    said = [
        f"Sweeps toward the {camber.toward} edge: hollow there by {with_u(camber.height, camber.height_u, units)} "
        f"{units} {over}, radius {radius_words(camber.radius, units)}. That makes the {other} edge the longer one, by "
        f"{longer} {units}{_edges_measured(result, other)}."
    ]
    brought, added = result.brought, result.added
    if brought and added:
        toward = f" toward {brought.toward}" if brought.toward else ""
        rest = "no more is seen from forming"
        if added.toward:
            rest = f"{with_u(added.height, added.height_u, units)} {units} toward {added.toward} came with forming"
        part = with_u(brought.height, brought.height_u, units)
        said.append(f"The strip brought {part} {units}{toward} over the same length; {rest}.")
    return said


def _edges_measured(result: PanelResult, longer: str) -> str:
    """By how much an edge was measured to be the longer one; empty where not both were measured."""
    edges = result.square.corners.edges if result.square else None
    if edges is None:
        return ""
    sign = 1 if longer == result.panel.edges[0] else -1
    return f"; measured: {with_u(sign * edges.value, edges.u, result.panel.units)}"


def _wave_words(result: PanelResult) -> list[str]:
    units = result.panel.units
    if result.panel.waves_looked_for and not result.waves:
        return ["Waves were looked for and none found."]
    said = []
    for wave in result.waves:
        pan = wave.wave.where == "pan"
        where = "in the pan (oil canning)" if pan else f"along the {wave.wave.where} edge"
        longer = "the pan" if pan else "that edge"
        high = f"{size(wave.wave.height, units)} high at a pitch of {size(wave.wave.pitch, units)} {units}"
        said.append(
            f"Waves {where}: {high}, {wave_words(wave)}: {longer} is longer than the rest by that many parts in "
            "100,000."
        )
    return said


def _square_words(result: PanelResult) -> list[str]:
    square, panel = result.square, result.panel
    if square is None:
        return []
    ends = [("Lead end", square.lead), ("Tail end", square.tail)]
    if not (square.lead and square.tail) and square.both:
        ends = [("Both ends, on the average", square.both)]
    told = [(name, cut) for name, cut in ends if cut]
    alike = len(told) == 2 and {cut.ahead for _, cut in told if cut} == {told[0][1].ahead if told[0][1] else ""}
    if alike and told[0][1] and not told[0][1].ahead:
        u = decimal(COVERAGE * max(cut.finding.u for _, cut in told if cut), panel.units)
        to = " to the strip where it was cut" if result.camber else ""
        return [f"No end is seen to be off square{to}, to within {u} {panel.units} over the width."]
    return [f"{name}: {_cut_words(cut, result)}." for name, cut in told if cut]


def _cut_words(cut: EndCut, result: PanelResult) -> str:
    panel = result.panel
    if not cut.ahead:
        return f"not seen to be off square, to within {decimal(COVERAGE * cut.finding.u, panel.units)} {panel.units}"
    off = with_u(abs(cut.finding.value), cut.finding.u, panel.units)
    to = " to the strip there" if result.camber else ""
    return (
        f"the {cut.ahead} corner lies {off} {panel.units} farther downstream than square{to}, {abs(cut.angle):.1f} "
        "degrees"
    )


def _bow_words(result: PanelResult, bow: Curve) -> str:
    units, legs = result.panel.units, result.panel.legs
    over = f"over {size(bow.over, units)} {units}"
    if not bow.toward:
        return f"No bow seen, to within {decimal(COVERAGE * bow.height_u, units)} {units} {over}."
    high = with_u(bow.height, bow.height_u, units)
    side = "legs" if (bow.toward == "middle up") == (legs == "up") else "pan"
    return f"Bow: {bow.toward} with the legs {legs}, {high} {units} {over}: the {side} side is the longer one."


def _across_words(result: PanelResult) -> list[str]:
    units, (left, right) = result.panel.units, result.panel.edges
    said = []
    moved = [
        f"{end} end {with_u(known.value, known.u, units, signed=True)} {units}"
        for end, known in result.flare.items()
        if _seen(known)
    ]
    if moved:
        said.append(f"Flare against the middle: {', '.join(moved)}.")
    legs = result.legs_differ
    if legs and legs.changes:
        said.append(
            f"The legs change against one another by {decimal(legs.spread, units)} {units}: the strip wandered."
        )
    elif legs and _seen(legs.mean):
        more = left if legs.mean.value > 0 else right
        high = with_u(abs(legs.mean.value), legs.mean.u, units)
        said.append(f"The {more} leg is higher by {high} {units}: the strip ran off centre.")
    if result.girth and result.girth.changes:
        said.append(
            f"Width and legs together change by {decimal(result.girth.spread, units)} {units}: the strip's own width."
        )
    return said


def _seen(known: Known) -> bool:
    return abs(known.value) > COVERAGE * known.u


def _table(result: PanelResult) -> list[str]:
    units = result.panel.units
    lines = [f"MEASURED ({units.plural} unless said; U = 2u)"]
    lines.append(f"{'':<{_ROW}} {'value':>8} {'U':>7} {'limit':>11}  verdict")
    for name, value, u, limit, verdict in table_rows(result):
        lines.append(f"{short(name, _ROW)} {value:>8} {u:>7} {limit:>11}  {verdict}".rstrip())
    if any(name.split()[0] == "width" or "leg at" in name or "length" in name for name, _ in result.findings):
        lines.append(LESS_NOMINAL)
    return [*lines, ""]


def table_rows(result: PanelResult) -> list[tuple[str, str, str, str, str]]:
    """
    Name, value, U, limit and verdict of everything measured.

    All of a row are decimals in one unit, so that value, U and limit can be set against one another; twist and waves
    are in their own units.
    """
    units, rows = result.panel.units, []
    arcs = {"camber": result.camber, "bow": result.bow, "strip camber": result.strip}
    plain = (*arcs, "square", "waves")
    for name, finding in result.findings:
        own, per = _own_unit(name, finding, units)
        if own:
            value, u = to_u(abs(finding.value) * per, finding.u * per)
            limit = f"{finding.bounds.upper * per:.3g}" if finding.bounds else "none"
        else:
            value = decimal(abs(finding.value) if name.startswith(plain) else finding.value, units, signed=True)
            value = value.removeprefix("+") if name.startswith(plain) else value
            u, limit = decimal(COVERAGE * finding.u, units), _limit_cell(finding, units)
        rows.append((_row_name(name, arcs.get(name), units) + own, value, u, limit, verdict_words(finding)))
    return rows


def _own_unit(name: str, finding: Finding, units: Units) -> tuple[str, float]:
    """Unit of a finding that is no length, and what turns it into that."""
    if name == "twist":
        per, unit = twist_unit(units)
        return f", {unit}", per
    by_height = finding.bounds is not None and bool(finding.bounds.limit.pitches)
    return (", I-units", 1.0) if name.startswith("waves") and not by_height else ("", 1.0)


def _row_name(name: str, curve: Curve | None, units: Units) -> str:
    return f"{name} over {size(curve.finding_over, units)}" if curve else name


def _limit_cell(finding: Finding, units: Units) -> str:
    bounds = finding.bounds
    if bounds is None:
        return "none"
    lower, upper = (decimal(b, units, places=_places(b, units)) for b in (bounds.lower, bounds.upper))
    return upper if math.isclose(bounds.lower, -bounds.upper) else f"{lower}/+{upper}"


def _places(length: float, units: Units) -> int | None:
    """Decimals of a limit: the usual ones, or one more where these would round it."""
    usual = decimal(length, units)
    exact = math.isclose(float(usual), units.of(length), abs_tol=1e-9)
    return None if exact else len(usual.partition(".")[2]) + 1


def limit_words(result: PanelResult) -> list[tuple[str, str, str]]:
    """Limits in force: what they are for, what they say, and their source; one that serves twice stands once."""
    found: dict[Limit, list[str]] = {}
    for what, limit in result.panel.limits.items():
        found.setdefault(limit, []).append(what)
    return [(", ".join(whats), limit.says, limit.source) for limit, whats in found.items()]


def _limits(result: PanelResult) -> list[str]:
    words = limit_words(result)
    if not words:
        return []
    lines = ["LIMITS AND WHERE THEY COME FROM"]
    for whats, says, source in words:
        lines += wrap(f"{whats}: {says}", "  ", "    ") + wrap(f"source: {source}", "    ", "      ")
    return [*lines, ""]
