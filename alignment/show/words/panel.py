"""What is said of a panel: the verdict and the next step, what the numbers mean, then the table, limits and doubts."""

from __future__ import annotations

import math
from typing import Final

from alignment.lengths import Units, decimal
from alignment.panel.corners import Known
from alignment.panel.found import Curve, EndCut, PanelResult
from alignment.panel.limits import Finding, Limit
from alignment.panel.next_step import Next, next_step
from alignment.panel.parts import Part, Side, Where
from alignment.show.page import Block, Degree, Page, Table, items
from alignment.show.page import Part as Chapter
from alignment.show.words.opening import opening
from alignment.show.words.panel_doubts import contradiction, doubts
from alignment.show.words.panel_figures import (
    curve_of,
    length_words,
    radius_words,
    size,
    to_u,
    toward_words,
    twist_unit,
    twist_words,
    wave_words,
    where_words,
    with_u,
)
from alignment.show.words.phrases import verdict_words
from alignment.show.words.sources import limit_source
from alignment.uncertainty import COVERAGE, Verdict

__all__ = [
    "LESS_NOMINAL",
    "again",
    "limit_words",
    "meanings",
    "panel_page",
    "panel_title",
    "short_verdict",
    "table_rows",
    "verdict_line",
]

LESS_NOMINAL: Final = "Lengths, widths and legs: measured minus nominal."
MEANS_U: Final = "U: the number may be wrong by this much (2 standard uncertainties)."
LENGTHS: Final = {
    "left": "the {left} edge",
    "right": "the {right} edge",
    "lead": "the lead end",
    "tail": "the tail end",
    "from_left": "the diagonal from the {left} corner of the lead end",
    "from_right": "the diagonal from the {right} corner of the lead end",
}


def panel_title(result: PanelResult) -> str:
    """Name, file, size and date in one line."""
    panel, record = result.panel, result.panel.record
    told = f", taken {record['taken']}" if "taken" in record else ""
    told += f" by {record['by']}" if "by" in record else ""
    return f"{panel.name} ({panel.source}), {size(panel.width, panel.units)} by {size(panel.length, panel.units)}{told}"


def verdict_line(result: PanelResult) -> str:
    """Verdict of the panel, and what is out, in one sentence."""
    if result.verdict is None:
        return "Not judged. No limit was chosen for what was measured."
    out = _out(result)
    if out:
        return f"{result.verdict.printed}. Out of its limit: {', '.join(out)}."
    if result.verdict is Verdict.unknown:
        return f"{result.verdict.printed}. Nothing is seen out of its limit, but these readings are too coarse to tell."
    doubt = "" if result.verdict.sure else " Not all of it is proved."
    return f"{result.verdict.printed}. Everything that has a limit is within it.{doubt}"


def short_verdict(result: PanelResult) -> str:
    """Verdict with what is out, for a line that names the panel: ``OUT (camber)``."""
    out = _out(result)
    told = result.verdict.printed if result.verdict else "not judged"
    return told + (f" ({', '.join(out)})" if out else "")


def _out(result: PanelResult) -> list[str]:
    """What is out, and where it is not proved."""
    judged = [(where, f.verdict) for where, f in result.judged if f.verdict]
    return [
        where_words(where, result.panel) + ("" if verdict is Verdict.out else " (not proved)")
        for where, verdict in judged
        if not verdict.inside
    ]


def panel_page(result: PanelResult) -> Page:
    """The whole answer as a page."""
    step = next_step(result)
    words = limit_words(result)
    sends = step in (Next.read_again, Next.read_finer, Next.find_cause, Next.measure_strip)
    return Page(
        title=panel_title(result),
        parts=(
            opening([verdict_line(result)], _act(result, step), sends=sends),
            Chapter(heading="Read these again first", blocks=items(again(result))),
            Chapter(heading="Out of its limit", blocks=items(_beyond(result))),
            Chapter(heading="What it means", blocks=items(meanings(result))),
            Chapter(heading="Measured", blocks=_table(result), degree=Degree.full),
            Chapter(
                heading="Limits and where they come from",
                blocks=items([f"{whats}: {says}. Source: {source}." for whats, says, source in words]),
                degree=Degree.full,
            ),
            Chapter(heading="Doubts", blocks=items(doubts(result)), degree=Degree.full),
        ),
        act=_act(result, step),
    )


def _act(result: PanelResult, step: Next) -> str:
    source = result.panel.source
    if step is Next.read_again and result.square and result.square.corners.slip:
        return f"read {_length_name(result, result.square.corners.slip.name)} again, then run this again."
    return {
        Next.read_again: "read both edges and the sweep again, then run this again.",
        Next.measure_strip: "lay a piece of the same strip flat, measure its sweep and add it: stringtrue enter.",
        Next.find_cause: f"find where it comes from: stringtrue causes LAYOUT SURVEY {source}",
        Next.read_finer: "read what has a '?' again, with finer marks or more readings.",
        Next.choose_limits: "choose limits for what matters: [limits] in the panel's file.",
        Next.keep: f"keep it with the record: stringtrue report LAYOUT LOG --panel {source} -o FILE.pdf",
    }[step]


def again(result: PanelResult) -> list[str]:
    """What is to be read again before anything is made of the panel."""
    return [text for text in (_slip_words(result), contradiction(result)) if text]


def _length_name(result: PanelResult, name: str) -> str:
    left, right = result.panel.edges
    return LENGTHS[name].format(left=left, right=right)


def _slip_words(result: PanelResult) -> str:
    """What seems misread among the lengths for square; empty where nothing does."""
    slip = result.square.corners.slip if result.square else None
    if slip is None:
        return ""
    way = "long" if slip.by > 0 else "short"
    name = _length_name(result, slip.name)
    told = "The lengths for square contradict each other. "
    told += f"{name[0].upper()}{name[1:]} is probably {length_words(abs(slip.by), result.panel.units)} too {way}."
    if slip.alone:
        return told
    return f"{told} One length to spare shows that a reading is wrong, not which. Read both diagonals, this one first."


def _beyond(result: PanelResult) -> list[str]:
    """Each number beyond its limit, with the limit and where it comes from."""
    rows = zip(result.findings, table_rows(result), strict=True)
    return [
        f"{name}: {value} (U {u}), limit {limit} ({limit_source(finding.bounds.limit)}). {verdict}."
        for (where, finding), (name, value, u, limit, verdict) in rows
        if finding.bounds and finding.verdict and not finding.verdict.inside and where.part is not Part.strip_camber
    ]


def meanings(result: PanelResult) -> list[str]:
    """What the numbers mean, most telling first; a few short sentences each."""
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
            f"Twist: against the tail end, the lead end has its {result.panel.edge(higher)} edge higher, {amount}."
            if higher
            else f"No twist seen: {amount}."
        )
    return said + _across_words(result)


def _camber_words(result: PanelResult, camber: Curve) -> list[str]:
    panel, units = result.panel, result.panel.units
    over = f"over {size(camber.over, units)}"
    if not camber.toward:
        return [f"No sweep seen, as near as this can be measured ({_expanded(camber, units)} {over})."]
    hollow, longer = panel.edge(camber.toward), panel.edge(camber.toward.other)
    turn = panel.width * panel.length
    said = [
        f"Sweeps toward the {hollow} edge: hollow there by {with_u(camber.height, camber.height_u, units)} {over}, "
        f"radius {radius_words(camber.radius, units)}. The {longer} edge is longer by "
        f"{with_u(abs(camber.curvature) * turn, camber.u * turn, units)}"
        f"{_edges_measured(result, camber.toward.other)}."
    ]
    brought, added = result.brought, result.added
    if brought and added:
        part = with_u(brought.height, brought.height_u, units)
        toward = f" toward {panel.edge(brought.toward)}" if brought.toward else ""
        rest = "No more is seen from forming."
        if added.toward:
            more = with_u(added.height, added.height_u, units)
            rest = f"Forming added {more} toward {panel.edge(added.toward)}."
        said.append(f"The strip itself swept {part}{toward} over the same length. {rest}")
    return said


def _expanded(curve: Curve, units: Units) -> str:
    return length_words(COVERAGE * curve.height_u, units)


def _edges_measured(result: PanelResult, longer: Side) -> str:
    """By how much an edge was measured to be the longer one; empty where not both were measured."""
    edges = result.square.corners.edges if result.square else None
    if edges is None:
        return ""
    sign = 1 if longer is Side.left else -1
    return f". Measured: {with_u(sign * edges.value, edges.u, result.panel.units)}"


def _wave_words(result: PanelResult) -> list[str]:
    panel = result.panel
    if panel.waves_looked_for and not result.waves:
        return ["Waves were looked for. There are none."]
    said = []
    for wave in result.waves:
        side = wave.wave.side
        where = f"along the {panel.edge(side)} edge" if side else "in the pan (oil canning)"
        high = f"{size(wave.wave.height, panel.units)} high, pitch {size(wave.wave.pitch, panel.units)}"
        said.append(
            f"Waves {where}: {high}, {wave_words(wave)}. {'That edge' if side else 'The pan'} is longer than the rest "
            "by that many parts in 100,000."
        )
    return said


def _square_words(result: PanelResult) -> list[str]:
    square, panel = result.square, result.panel
    if square is None:
        return []
    ends = [("Lead end", square.lead), ("Tail end", square.tail)]
    if not (square.lead and square.tail) and square.both:
        ends = [("Ends, on the average", square.both)]
    told = [(name, cut) for name, cut in ends if cut]
    if len(told) == 2 and not any(cut.ahead for _, cut in told):
        u = length_words(COVERAGE * max(cut.finding.u for _, cut in told), panel.units)
        return [f"Both ends are square{_to(result)}, as near as this can be measured ({u} over the width)."]
    return [f"{name}: {_cut_words(cut, result)}." for name, cut in told]


def _to(result: PanelResult) -> str:
    return " to the strip" if result.camber else ""


def _cut_words(cut: EndCut, result: PanelResult) -> str:
    panel = result.panel
    if not cut.ahead:
        u = length_words(COVERAGE * cut.finding.u, panel.units)
        return f"square{_to(result)}, as near as this can be measured ({u})"
    off = with_u(abs(cut.finding.value), cut.finding.u, panel.units)
    return (
        f"off square{_to(result)}. The {panel.edge(cut.ahead)} corner is {off} too far downstream, "
        f"{abs(cut.angle):.1f} degrees"
    )


def _bow_words(result: PanelResult, bow: Curve) -> str:
    units, legs = result.panel.units, result.panel.legs
    over = f"over {size(bow.over, units)}"
    if not bow.toward:
        return f"No bow seen, as near as this can be measured ({_expanded(bow, units)} {over})."
    high = with_u(bow.height, bow.height_u, units)
    longer = "legs" if bow.toward.other == legs else "pan"
    way = toward_words(bow.toward, result.panel)
    return f"Bow: {way} with the legs {legs}, {high} {over}. The {longer} side is longer."


def _across_words(result: PanelResult) -> list[str]:
    units, said = result.panel.units, []
    moved = [f"{end} end {with_u(k.value, k.u, units, signed=True)}" for end, k in result.flare.items() if _seen(k)]
    if moved:
        said.append(f"Flare, against the width at the middle: {', '.join(moved)}.")
    legs = result.legs_differ
    if legs and legs.changes:
        said.append(
            f"The legs change against each other by {length_words(legs.spread.value, units)}. The strip wandered."
        )
    elif legs and _seen(legs.mean):
        more = result.panel.edge(Side.left if legs.mean.value > 0 else Side.right)
        high = with_u(abs(legs.mean.value), legs.mean.u, units)
        said.append(f"The {more} leg is higher by {high}. The strip ran off centre.")
    if result.girth and result.girth.changes:
        spread = length_words(result.girth.spread.value, units)
        said.append(f"Width and legs together change by {spread}. The strip's own width changes.")
    return said


def _seen(known: Known) -> bool:
    return abs(known.value) > COVERAGE * known.u


def _table(result: PanelResult) -> tuple[Block, ...]:
    rows = tuple(table_rows(result))
    if not rows:
        return ()
    nominal = any(not where.part.signless for where, _ in result.findings)
    note = f"{result.panel.units.plural.capitalize()} unless said. {MEANS_U}" + (f" {LESS_NOMINAL}" if nominal else "")
    return (Table(head=("", "value", "U", "limit", "verdict"), rows=rows, align="lrrrl", note=note),)


def table_rows(result: PanelResult) -> list[tuple[str, str, str, str, str]]:
    """
    Name, value, U, limit and verdict of everything measured.

    All of a row are decimals in one unit, so that value, U and limit can be set against one another; twist and waves
    are in their own units.
    """
    units, rows = result.panel.units, []
    for where, finding in result.findings:
        own, per = _own_unit(where, finding, units)
        if own:
            value, u = to_u(abs(finding.value) * per, finding.u * per)
            limit = f"{finding.bounds.upper * per:.3g}" if finding.bounds else "none"
        else:
            signless = where.part.signless
            value = decimal(abs(finding.value) if signless else finding.value, units, signed=not signless)
            u, limit = decimal(COVERAGE * finding.u, units), _limit_cell(finding, units)
        curve = curve_of(where, result)
        name = where_words(where, result.panel) + (f" over {size(curve.finding_over, units)}" if curve else "")
        rows.append((name + own, value, u, limit, verdict_words(finding)))
    return rows


def _own_unit(where: Where, finding: Finding, units: Units) -> tuple[str, float]:
    """Unit of a finding that is no length, and what turns it into that."""
    if where.part is Part.twist:
        per, unit = twist_unit(units)
        return f", {unit}", per
    by_height = finding.bounds is not None and bool(finding.bounds.limit.pitches)
    return (", I-units", 1.0) if where.part is Part.waves and not by_height else ("", 1.0)


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
        found.setdefault(limit, []).append(str(what))
    return [(", ".join(whats), limit.says, limit_source(limit)) for limit, whats in found.items()]
