"""What is said of a panel: the verdict and what it means, then the table, the limits with their sources, the doubts."""

from __future__ import annotations

import math

from alignment.lengths import Units, decimal, show
from alignment.limits import Finding, Limit
from alignment.panel import Curve, EndCut, PanelResult
from alignment.quadrilateral import Known
from alignment.uncertainty import COVERAGE, Verdict
from alignment.wording import counted, short, wrap

__all__ = [
    "LESS_NOMINAL",
    "doubts",
    "limit_words",
    "meanings",
    "panel_text",
    "panel_title",
    "slip_words",
    "table_rows",
    "verdict_line",
    "verdict_words",
]

_ROW = 34
LESS_NOMINAL = "Lengths, widths and legs are told as measured less nominal."


def panel_title(result: PanelResult) -> str:
    """Name, file, size and date in one line."""
    panel, record = result.panel, result.panel.record
    size = f"{show(panel.width, panel.units)} by {show(panel.length, panel.units)} {panel.units}"
    told = f", taken {record['taken']}" if "taken" in record else ""
    told += f" by {record['by']}" if "by" in record else ""
    return f"{panel.name} ({panel.source}), {size}{told}"


def verdict_line(result: PanelResult) -> str:
    """Verdict of the panel, and what is out, in one sentence."""
    judged = [(name, f.verdict) for name, f in result.findings if f.verdict is not None and name != "strip camber"]
    if not judged:
        return "Not judged: no limit was chosen for anything that was measured."
    out = [f"{name}{'' if v is Verdict.outside else ' (not proved)'}" for name, v in judged if not v.is_in]
    if out:
        return f"Verdict: {result.verdict}. Out: {', '.join(out)}."
    sure = result.verdict is not None and result.verdict.sure
    doubt = "" if sure else ", not all proved"
    return f"Verdict: {result.verdict}. Everything that has a limit is within it{doubt}."


def panel_text(result: PanelResult) -> str:
    """The whole answer as text."""
    lines = [*wrap(panel_title(result)), *wrap(verdict_line(result)), ""]
    slip = slip_words(result)
    if slip:
        lines += ["READ THESE AGAIN FIRST", *wrap(slip, "  - "), ""]
    lines += ["WHAT IT MEANS", *(line for text in meanings(result) for line in wrap(text, "  - ")), ""]
    lines += _table(result)
    lines += _limits(result)
    lines += ["DOUBTS", *(line for text in doubts(result) for line in wrap(text, "  - "))]
    return "\n".join(lines).rstrip() + "\n"


def slip_words(result: PanelResult) -> str:
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
    told = told.replace(". t", ". T") + f"{show(abs(slip.by), panel.units)} {panel.units} too {way}"
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
        size = f"{abs(result.twist.finding.value):.2f} degrees per m"
        higher = result.twist.higher
        said.append(
            f"Twist: at the lead end the {higher} edge is the higher one against the tail end, {size}."
            if higher
            else f"No twist seen, to within {COVERAGE * result.twist.finding.u:.2f} degrees per m."
        )
    said += _across_words(result)
    return said


def _with_u(value: float, u: float, units: Units) -> str:
    return f"{decimal(value, units)} (U {decimal(COVERAGE * u, units)})"


def _camber_words(result: PanelResult, camber: Curve) -> list[str]:
    panel, units = result.panel, result.panel.units
    over = show(camber.over, units)
    if not camber.toward:
        return [f"No sweep seen, to within {decimal(COVERAGE * camber.height_u, units)} over {over} {units}."]
    other = next(edge for edge in panel.edges if edge != camber.toward)
    longer = abs(camber.curvature) * panel.width * panel.length
    said = [
        f"Sweeps toward the {camber.toward} edge: hollow there by {_with_u(camber.height, camber.height_u, units)} "
        f"over {over} {units}, radius {_radius(camber.radius, units)}. The {other} edge is longer by "
        f"{decimal(longer, units)} {units}."
    ]
    if result.strip and result.added:
        per = camber.over**2 / 8
        part, u = abs(result.added.value) * per, result.added.u * per
        strip = _with_u(abs(result.strip.curvature) * per, result.strip.u * per, units)
        toward = f" toward {result.strip.toward}" if result.strip.toward else ""
        side = panel.edges[1 if result.added.value > 0 else 0]
        seen = abs(result.added.value) > COVERAGE * result.added.u
        rest = f"{_with_u(part, u, units)} toward {side} came with forming" if seen else "no more is seen from forming"
        said.append(f"The strip brought {strip}{toward} over the same length; {rest}.")
    return said


def _radius(radius: float, units: Units) -> str:
    """A radius in feet or metres, to what matters of it."""
    return f"{radius / 304.8:,.0f} ft" if units is Units.inch else f"{radius / 1000:,.0f} m"


def _wave_words(result: PanelResult) -> list[str]:
    units = result.panel.units
    if result.panel.waves_looked_for and not result.waves:
        return ["Waves were looked for and none found."]
    said = []
    for wave in result.waves:
        pan = wave.wave.where == "pan"
        where = "in the pan (oil canning)" if pan else f"along the {wave.wave.where} edge"
        longer = "the pan" if pan else "that edge"
        size = f"{decimal(wave.wave.height, units)} high at a pitch of {decimal(wave.wave.pitch, units)} {units}"
        said.append(
            f"Waves {where}: {size}, {wave.i_units:.0f} I-units (U {COVERAGE * wave.u:.0f}): {longer} is longer than "
            "the rest by that many parts in 100,000."
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
        return [f"No end is seen to be off square, to within {u} {panel.units} over the width."]
    return [f"{name}: {_cut_words(cut, result)}." for name, cut in told if cut]


def _cut_words(cut: EndCut, result: PanelResult) -> str:
    panel = result.panel
    if not cut.ahead:
        return f"not seen to be off square, to within {decimal(COVERAGE * cut.finding.u, panel.units)} {panel.units}"
    size = _with_u(abs(cut.finding.value), cut.finding.u, panel.units)
    return (
        f"the {cut.ahead} corner lies {size} {panel.units} farther downstream than square, {abs(cut.angle):.2f} degrees"
    )


def _bow_words(result: PanelResult, bow: Curve) -> str:
    units, legs = result.panel.units, result.panel.legs
    over = show(bow.over, units)
    if not bow.toward:
        return f"No bow seen, to within {decimal(COVERAGE * bow.height_u, units)} over {over} {units}."
    size = _with_u(bow.height, bow.height_u, units)
    side = "legs" if (bow.toward == "middle up") == (legs == "up") else "pan"
    return f"Bow: {bow.toward} with the legs {legs}, {size} over {over} {units}: the {side} side is the longer one."


def _across_words(result: PanelResult) -> list[str]:
    units, (left, right) = result.panel.units, result.panel.edges
    said = []
    moved = [f"{end} end {_signed(known, units)}" for end, known in result.flare.items() if _seen(known)]
    if moved:
        said.append(f"Flare against the middle: {', '.join(moved)}.")
    legs = result.legs_differ
    if legs and legs.changes:
        said.append(f"The legs change against one another by {decimal(legs.spread, units)}: the strip wandered.")
    elif legs and _seen(legs.mean):
        more = left if legs.mean.value > 0 else right
        size = _with_u(abs(legs.mean.value), legs.mean.u, units)
        said.append(f"The {more} leg is higher by {size} {units}: the strip ran off centre.")
    if result.girth and result.girth.changes:
        said.append(f"Width and legs together change by {decimal(result.girth.spread, units)}: the strip's own width.")
    return said


def _seen(known: Known) -> bool:
    return abs(known.value) > COVERAGE * known.u


def _signed(known: Known, units: Units) -> str:
    return f"{decimal(known.value, units, signed=True)} (U {decimal(COVERAGE * known.u, units)})"


def _table(result: PanelResult) -> list[str]:
    units = result.panel.units
    lines = [f"MEASURED ({units} unless said; U = 2u)"]
    lines.append(f"{'':<{_ROW}} {'value':>8} {'U':>7} {'limit':>11}  verdict")
    for name, value, u, limit, verdict in table_rows(result):
        lines.append(f"{short(name, _ROW)} {value:>8} {u:>7} {limit:>11}  {verdict}".rstrip())
    if any(name.split()[0] == "width" or "leg at" in name or "length" in name for name, _ in result.findings):
        lines.append(LESS_NOMINAL)
    return [*lines, ""]


def table_rows(result: PanelResult) -> list[tuple[str, str, str, str, str]]:
    """
    Name, value, U, limit and verdict of everything measured.

    Lengths as fractions, U as decimals, twist and waves in their own units.
    """
    units, rows = result.panel.units, []
    names = {"camber": _arc_name("camber", result.camber, units), "bow": _arc_name("bow", result.bow, units)}
    names["strip camber"] = _arc_name("strip camber", result.strip, units)
    for name, finding in result.findings:
        own = _own_unit(name, finding)
        if own:
            value, u = f"{abs(finding.value):.2f}", f"{COVERAGE * finding.u:.2f}"
        else:
            plain = name in names or name.startswith(("square", "waves"))
            value = show(abs(finding.value) if plain else finding.value, units, signed=not plain)
            u = decimal(COVERAGE * finding.u, units)
        limit = _limit_cell(finding, units, plain=bool(own))
        rows.append((names.get(name, name) + own, value, u, limit, verdict_words(finding)))
    return rows


def _own_unit(name: str, finding: Finding) -> str:
    """Unit of a finding that is no length."""
    if name == "twist":
        return ", degrees per m"
    by_height = finding.bounds is not None and bool(finding.bounds.limit.pitches)
    return ", I-units" if name.startswith("waves") and not by_height else ""


def _arc_name(name: str, curve: Curve | None, units: Units) -> str:
    return f"{name} over {show(curve.finding_over, units)}" if curve else name


def _limit_cell(finding: Finding, units: Units, *, plain: bool) -> str:
    bounds = finding.bounds
    if bounds is None:
        return "none"
    if plain:
        return f"{bounds.upper:g}"
    if math.isclose(bounds.lower, -bounds.upper):
        return show(bounds.upper, units)
    return f"{show(bounds.lower, units)}/{show(bounds.upper, units, signed=True)}"


def verdict_words(finding: Finding) -> str:
    """Verdict, with the probability of being in where it is not sure; a dash where nothing was judged."""
    if finding.verdict is None or finding.p_in is None:
        return "-"
    if finding.verdict.sure:
        return str(finding.verdict)
    return f"{finding.verdict!s:<4} {100 * finding.p_in:3.0f}%"


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


def doubts(result: PanelResult) -> list[str]:
    """What the readings leave open, and what was not measured."""
    panel, square = result.panel, result.square
    said = []
    unsure = [name for name, f in result.findings if f.verdict is not None and not f.verdict.sure]
    if unsure:
        said.append(f"'?' marks what these readings cannot prove ({counted(len(unsure), 'number')}).")
    silent = [name for name, f in result.findings if f.bounds is None and _limit_key(name) in panel.limits]
    if silent:
        said.append(f"The limit says nothing of a thing of this size, so it is not judged: {', '.join(silent)}.")
    bare = list(dict.fromkeys(_limit_key(n) for n, f in result.findings if _limit_key(n) not in panel.limits))
    if bare:
        note = "; no accepted limit for oil canning exists" if "waves" in bare else ""
        said.append(f"No limit chosen for {', '.join(bare)}: measured, not judged{note}.")
    if square:
        said += _undetermined(result)
    for curve in result.curves:
        name = "The strip's camber" if curve.of == "strip" else curve.of.capitalize()
        if not curve.agree:
            said.append(f"{name}: the sets of offsets tell different curvatures; U was made larger.")
        if any(arc.scattered for _, arc in curve.sets):
            ripple = decimal(max(arc.ripple for _, arc in curve.sets), panel.units)
            said.append(f"{name} is no clean arc: {ripple} of ripple, or a slip, is left over; U was made larger.")
        if all(arc.dof == 0 for _, arc in curve.sets):
            said.append(f"{name} was read at three places, and nothing checks them. Five would.")
    if result.camber and not result.strip:
        said.append("The strip's own camber was not measured: how much the machine added is open.")
    missing = [
        name
        for name, there in (
            ("square", square),
            ("camber", result.camber),
            ("bow", result.bow),
            ("twist", result.twist),
            ("waves", panel.waves_looked_for),
            ("widths", result.across),
        )
        if not there
    ]
    if missing:
        said.append(f"Not measured: {', '.join(missing)}.")
    said.append("One panel is one panel: another of the same run shows how much they differ.")
    return said


def _limit_key(name: str) -> str:
    """What a finding is judged under, in ``[limits]``."""
    if name == "strip camber":
        return "strip"
    return next((key for key in ("square", "waves", "width", "length", "leg") if key in name), name)


def _undetermined(result: PanelResult) -> list[str]:
    square = result.square
    if square is None:
        return []
    if not (square.lead or square.tail or square.both):
        return ["Squareness takes a diagonal at least; these lengths do not tell it."]
    if not (square.lead and square.tail):
        found = "the mean of both ends" if square.both and not (square.lead or square.tail) else "one end"
        if square.lead or square.tail:
            found = "the lead end" if square.lead else "the tail end"
        return [f"These lengths tell only {found}; both edges and both diagonals tell each end."]
    if square.corners.misclosure is None:
        return ["Nothing checks the lengths for square: the sixth (edges, ends, diagonals) would."]
    return []
