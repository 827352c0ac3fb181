"""
Facts about a machine and its panel that bear on what the panel's faults come from.

A fact holds, does not hold, or is not known; each says in words what was measured. 'Does not hold' means measured and
not there beyond its uncertainty, or within its limit.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from alignment.causes.strip_path import closings, steering
from alignment.lengths import Units, decimal, show
from alignment.panel.corners import Known
from alignment.panel.panel import Bent, Curve, PanelResult, Square
from alignment.show.words.panel_figures import height_words, twist_words, wave_words, with_u
from alignment.train.solve import Solution
from alignment.train.state import judge
from alignment.train.train import Train
from alignment.uncertainty import COVERAGE

__all__ = ["Fact", "gather"]

SHARE: Final = 0.25
"""Less than this share of a panel's curvature is not called its cause (our judgement, no source)."""
TURNS_BACK: Final = {
    "camber": {"end-for-end": True, "over": True, "both": False},
    "bow": {"end-for-end": False, "over": True, "both": True},
}
"""Whether what the strip brings with it reverses when the strip is turned (geometry)."""


@dataclass(frozen=True, kw_only=True)
class Fact:
    """One thing that holds, does not, or is not known (None), with the numbers that say so."""

    name: str
    holds: bool | None
    words: str


def gather(machine: Solution | Train, result: PanelResult, turned: PanelResult | None = None) -> dict[str, Fact]:
    """
    All facts that readings of a machine, a panel, and perhaps a second panel of turned strip can give.

    Returns
    -------
    dict
        By name; a name that is not in it was not measured.
    """
    train = machine.train if isinstance(machine, Solution) else machine
    units = result.panel.units
    found = [*_train(machine, train), *_camber(result, units), *_bow(result, units), *_rest(result, units)]
    found += _pointing(train, result)
    found += _turning(result, turned, units) if turned else []
    return {fact.name: fact for fact in found}


def _seen(known: Known) -> bool:
    return abs(known.value) > COVERAGE * known.u


def _train(machine: Solution | Train, train: Train) -> Iterable[Fact]:
    state = judge(train)
    out = [s for s in state.sections if s.measured and not s.verdict.inside]
    steps = [j for j in state.joints if j.step and not j.step.verdict.inside]
    whole = all(s.measured for s in state.sections)
    if out or steps:
        unsure = not any(v.sure for v in [*(s.verdict for s in out), *(j.step.verdict for j in steps if j.step)])
        words = f"{len(out)} of {len(state.sections)} sections out of tolerance"
        words += f" ({', '.join(s.name for s in out)})" if out else ""
        words += f", {len(steps)} of {len(state.joints)} joints out of step" if steps else ""
        yield Fact(name="sections-out", holds=True, words=words + (", none of it proved by this tape" * unsure))
    elif whole:
        proved = "" if state.verdict.sure else ", not all proved by this tape"
        yield Fact(name="sections-out", holds=False, words=f"every section and joint is in tolerance{proved}")
    else:
        yield Fact(name="sections-out", holds=None, words="what was measured is in tolerance, not all was measured")
    if isinstance(machine, Solution):
        leaning = [flag.message for flag in machine.flags if flag.flag == "line-skewed"]
        words = leaning[0] if leaning else "the sections do not all lean alike"
        yield Fact(name="string-leans", holds=bool(leaning), words=words)
    facing = closings(train)
    if facing:
        toed = [c for c in facing if c.toed_in]
        words = f"{toed[0].left} and {toed[0].right} both lean inward" if toed else "no two facing sections lean inward"
        yield Fact(name="toed-in", holds=bool(toed), words=words)


def _pointing(train: Train, result: PanelResult) -> Iterable[Fact]:
    slope = steering(train)
    camber = result.camber
    if slope is None or camber is None or not camber.toward:
        return
    side = result.panel.edges[1 if slope.value > 0 else 0]
    size = f"{abs(slope.value) * 1000:.1f} in 1000 (U {COVERAGE * slope.u * 1000:.1f})"
    if not _seen(slope):
        words = f"the sections on the average point straight ahead, to within {size}"
        yield Fact(name="points-with-sweep", holds=False, words=words)
    else:
        words = f"the sections on the average point {size} toward {side}; the panel sweeps toward {camber.toward}"
        yield Fact(name="points-with-sweep", holds=side == camber.toward, words=words)


def _there(curve: Curve) -> bool:
    """Whether a curve is seen, and beyond its limit where it has one."""
    verdict = curve.finding.verdict
    return curve.seen if verdict is None else not verdict.inside


def _limit_words(curve: Curve) -> str:
    verdict = curve.finding.verdict
    return "" if verdict is None else f", {verdict} by its limit"


def _share(part: Bent, whole: Curve) -> bool:
    """Whether a part of a curvature is seen, has its sign, and is a fair share of it."""
    return part.seen and part.curvature / whole.curvature >= SHARE


def _camber(result: PanelResult, units: Units) -> Iterable[Fact]:
    camber, brought, added = result.camber, result.brought, result.added
    if camber is None:
        return
    there = _there(camber)
    size = height_words(camber, units)
    words = f"the panel's camber is {size}{f' toward {camber.toward}' if camber.toward else ''}{_limit_words(camber)}"
    yield Fact(name="camber", holds=there, words=words)
    if there and brought and added:
        part = height_words(brought, units)
        yield Fact(
            name="strip-camber",
            holds=_share(brought, camber),
            words=f"the strip's own camber was {part}{f' toward {brought.toward}' if brought.toward else ''}",
        )
        words = f"of the panel's {size}, {with_u(added.height, added.height_u, units)} is not the strip's"
        yield Fact(name="camber-added", holds=_share(added, camber), words=words)


def _bow(result: PanelResult, units: Units) -> Iterable[Fact]:
    bow = result.bow
    if bow is None:
        return
    there = _there(bow)
    legs = result.panel.legs
    words = f"bow is {height_words(bow, units)}, {bow.toward or 'none seen'}, legs {legs}{_limit_words(bow)}"
    yield Fact(name="bow", holds=there, words=words)
    if bow.toward or not there:
        to_legs = (bow.toward == "middle up") == (legs == "up")
        yield Fact(name="middle-to-legs", holds=there and to_legs, words=words)
        yield Fact(name="middle-to-pan", holds=there and not to_legs, words=words)


def _turning(one: PanelResult, other: PanelResult, units: Units) -> Iterable[Fact]:
    """Split a curvature into what stays with the machine and what turns with the strip."""
    turn = other.panel.turned
    for of, first, second in (("camber", one.camber, other.camber), ("bow", one.bow, other.bow)):
        if not (first and second and _there(first) and TURNS_BACK[of].get(turn)):
            continue
        # bow is measured with the legs as they stand; brought to one way up
        flip = -1 if of == "bow" and one.panel.legs != other.panel.legs else 1
        a, b = first.curvature, flip * second.curvature
        u = math.hypot(first.u, second.u) / 2
        machine, coil = (Bent(curvature=part, u=u, over=first.over) for part in ((a + b) / 2, (a - b) / 2))
        how = f"with the strip turned {turn}, {of} is "
        how += f"{height_words(Bent(curvature=b, u=second.u, over=first.over), units)} the "
        how += "same way" if a * b >= 0 else "other way"
        yield Fact(
            name=f"{of}-stays",
            holds=_share(machine, first),
            words=f"{how}: {height_words(machine, units)} stays with the machine",
        )
        yield Fact(
            name=f"{of}-turns",
            holds=_share(coil, first),
            words=f"{how}: {height_words(coil, units)} turns with the strip",
        )


def _rest(result: PanelResult, units: Units) -> Iterable[Fact]:
    panel = result.panel
    yield from _waves(result)
    if result.twist:
        twist = result.twist
        verdict = twist.finding.verdict
        there = bool(twist.higher) if verdict is None else not verdict.inside
        size = twist_words(twist, units)
        yield Fact(name="twist", holds=there, words=f"twist is {size}{f', {verdict} by its limit' if verdict else ''}")
    square = result.square
    if square and (square.lead or square.tail or square.both):
        ends = [end for end in (square.lead, square.tail) if end] or [end for end in (square.both,) if end]
        bad = [e for e in ends if (bool(e.ahead) if e.finding.verdict is None else not e.finding.verdict.inside)]
        sizes = " and ".join(with_u(abs(e.finding.value), e.finding.u, units) for e in ends)
        yield Fact(name="square-out", holds=bool(bad), words=f"end cuts are off square by {sizes}")
        if bad:
            yield from _alike(square, panel.edges, units)
    lead, tail = result.flare.get("lead"), result.flare.get("tail")
    if lead and tail:
        words = (
            f"against the middle, the lead end is {_plain(lead, units)} wider and the tail end {_plain(tail, units)}"
        )
        opens = _seen(lead) and _seen(tail) and lead.value > 0 and tail.value > 0
        alike = abs(lead.value - tail.value) <= COVERAGE * math.hypot(lead.u, tail.u)
        yield Fact(name="both-ends-open", holds=opens and alike, words=words)
        twisting = _seen(lead) and _seen(tail) and lead.value < 0 < tail.value
        yield Fact(name="lead-closes-tail-opens", holds=twisting, words=words)
    legs = result.legs_differ
    if legs:
        words = f"{panel.edges[0]} leg less {panel.edges[1]} leg is {_plain(legs.mean, units)} on the average, "
        words += f"{decimal(legs.spread, units)} from least to most"
        yield Fact(name="legs-differ", holds=_seen(legs.mean) and not legs.changes, words=words)
        if len(result.across) > 1:
            yield Fact(name="legs-change", holds=legs.changes, words=words)
    if result.girth and len(result.across) > 1:
        words = f"width and legs together change by {decimal(result.girth.spread, units)} along the panel"
        yield Fact(name="girth-changes", holds=result.girth.changes, words=words)


def _alike(square: Square, edges: tuple[str, str], units: Units) -> Iterable[Fact]:
    """Whether both ends are off square alike, as one shear cuts them."""
    if square.lead and square.tail and square.apart:
        alike = not _seen(square.apart) and square.lead.finding.value * square.tail.finding.value > 0
        words = f"{edges[0]} and {edges[1]} edge differ in length by {_plain(square.apart, units)}"
        words += " beyond what the sweep makes of it" if square.swept else ""
        yield Fact(name="ends-alike", holds=alike, words=words)


def _plain(known: Known, units: Units) -> str:
    return with_u(known.value, known.u, units, signed=True)


def _waves(result: PanelResult) -> Iterable[Fact]:
    panel = result.panel
    if not panel.waves_looked_for:
        return
    bad = [
        w for w in result.waves if w.i_units > COVERAGE * w.u and not (w.finding.verdict and w.finding.verdict.inside)
    ]

    def fact(name: str, where: set[str], place: str) -> Fact:
        these = [w for w in bad if w.wave.where in where]
        sizes = ", ".join(f"{wave_words(w)} in {w.wave.where}" for w in these)
        return Fact(name=name, holds=bool(these), words=f"waves: {sizes}" if these else f"no waves {place}")

    pitches = [w.wave.pitch for w in bad]
    rolls = ", ".join(show(pitch / math.pi, panel.units) for pitch in pitches)
    words = f"their pitch is one turn of a roll about {rolls} {panel.units} across" if bad else "no waves"
    yield Fact(name="waves-repeat", holds=bool(bad), words=words)

    yield fact("waves-in-pan", {"pan"}, "in the pan")
    yield fact("waves-at-edge", set(panel.edges), "at the edges")
    if result.camber and result.camber.toward:
        longer = next(edge for edge in panel.edges if edge != result.camber.toward)
        yield fact("waves-at-longer-edge", {longer}, f"at the longer edge ({longer})")
