"""
Gathering the facts about a machine and its panel that bear on what the panel's faults come from.

A fact holds, does not hold, or is unknown, and only proof makes it hold or not: a verdict that is sure, or where no
limit says how much matters a number three standard uncertainties from nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Final

from alignment.causes.fact import Evidence, Fact, FactName, Holds, Sections, Share, Steered, Toed, Why
from alignment.causes.strip_path import closings, steering
from alignment.panel.corners import Known
from alignment.panel.found import Bent, Curve, PanelResult, WaveFound
from alignment.panel.limits import Finding
from alignment.panel.parts import Part, Side, Spot
from alignment.train.flags.leaning import find_leans, lean_tests
from alignment.train.solve import Solution
from alignment.train.state import judge
from alignment.train.train import Train
from alignment.uncertainty import COVERAGE, Verdict

__all__ = ["PROOF", "TURNS_BACK", "gather"]

SHARE: Final = 0.25
"""Less than this share of a panel's curvature is not called its cause (our judgement, no source)."""
PROOF: Final = 3.0
"""Standard uncertainties from nothing that prove a number where no limit says how much matters (our judgement)."""
PROVED: Final = 0.9973
"""The same as a probability, for numbers that should be one."""
TURNS_BACK: Final = {
    Part.camber: {"end-for-end": True, "over": True, "both": False},
    Part.bow: {"end-for-end": False, "over": True, "both": True},
}
"""Whether what the strip brings with it reverses when the strip is turned (geometry)."""


def _fact(name: FactName, known: bool | None, numbers: Evidence, why: Why = Why.doubtful) -> Fact:
    return Fact(name=name, holds=Holds.of(known), numbers=numbers, why=why if known is None else None)


def gather(machine: Solution | Train, result: PanelResult, turned: PanelResult | None = None) -> dict[FactName, Fact]:
    """
    All facts that readings of a machine, a panel, and perhaps a second panel of turned strip can give.

    Returns
    -------
    dict
        By name; a name that is not in it was not measured.
    """
    train = machine.train if isinstance(machine, Solution) else machine
    found = [*_train(train), *_pointing(train, result), *_camber(result), *_bow(result), *_waves(result)]
    found += [*_ends(result), *_across(result), *(_turning(result, turned) if turned else ())]
    return {fact.name: fact for fact in found}


# ---- proof


def _proved(finding: Finding) -> bool | None:
    """Whether a number is out of its limit; without one whether it is there. None where that is not proved."""
    if finding.verdict is not None:
        return (not finding.verdict.inside) if finding.verdict.sure else None
    return True if abs(finding.value) > PROOF * finding.u else None


def _open(finding: Finding) -> Why:
    """Why that is not proved."""
    unseen = finding.verdict is None and abs(finding.value) <= COVERAGE * finding.u
    return Why.no_limit if unseen else Why.doubtful


def _all(known: Iterable[bool | None]) -> bool | None:
    """Whether all hold; one that does not is enough to say no."""
    told = list(known)
    return False if False in told else None if None in told else True


def _any(known: Iterable[bool | None]) -> bool | None:
    told = list(known)
    return True if True in told else None if None in told else False


def _beyond(value: float, u: float) -> bool | None:
    """Whether a number is positive: yes or no where it is by more than its U."""
    return None if abs(value) <= COVERAGE * u else value > 0


# ---- the machine


def _train(train: Train) -> Iterable[Fact]:
    state = judge(train)
    measured = [s for s in state.sections if s.measured]
    steps = [j for j in state.joints if j.step]
    numbers = Sections(
        out=tuple(s for s in measured if s.verdict is Verdict.out),
        doubtful=tuple(s for s in measured if not s.verdict.sure),
        unread=tuple(s for s in state.sections if not s.measured),
        sections=len(state.sections),
        joints_out=tuple(j for j in steps if j.step and j.step.verdict is Verdict.out),
        joints_doubtful=tuple(j for j in steps if j.step and not j.step.verdict.sure),
        joints=len(state.joints),
    )
    known: bool | None = False
    if numbers.out or numbers.joints_out:
        known = True
    elif numbers.doubtful or numbers.joints_doubtful or numbers.unread:
        known = None
    doubtful = numbers.doubtful or numbers.joints_doubtful
    yield _fact(FactName.sections_out, known, numbers, Why.doubtful if doubtful else Why.unread)
    yield _leaning(train)
    facing = closings(train)
    if facing:
        tolerance = train.layout.tolerance.square
        toed = {c: _all(_inward(skew, tolerance) for skew in c.inward) for c in facing}
        pairs = tuple(c for c, known in toed.items() if known)
        yield _fact(FactName.toed_in, _any(toed.values()), Toed(pairs=pairs, facing=len(facing)))


def _inward(skew: Known, tolerance: float) -> bool | None:
    """Whether a section leans inward out of tolerance."""
    beyond = skew.value - tolerance
    return None if abs(beyond) < COVERAGE * skew.u else beyond > 0


def _leaning(train: Train) -> Fact:
    """Whether a string leans; 'no' takes a test of every string that would have seen a lean out of tolerance."""
    # a line fitted to the sections has taken up what their string leans
    hung = train.on_string()
    tests = lean_tests(hung)
    leaning: list[bool | None] = [test.leans for test in tests]
    # a string of which nothing was measured was not tested
    leaning += [None] * (len(hung.layout.strings) - len(tests))
    return _fact(FactName.string_leans, _any(leaning), find_leans(hung), Why.no_power)


def _pointing(train: Train, result: PanelResult) -> Iterable[Fact]:
    slope, camber = steering(train), result.camber
    if slope is None or camber is None or camber.toward is None:
        return
    numbers = Steered(slope=slope, swept=camber.toward)
    # as much as sections may be askew within tolerance
    allowed = sum(train.layout.tolerance.square / s.length for s in train.layout.sections) / len(train.layout.sections)
    known: bool | None = None
    if abs(slope.value) + COVERAGE * slope.u <= allowed:
        known = False
    elif abs(slope.value) > PROOF * slope.u:
        known = numbers.side is camber.toward
    yield _fact(FactName.points_with_sweep, known, numbers)


# ---- the panel


def _part_of(of: Part, part: Bent, whole: Curve, u: float, turned: Bent | None = None) -> tuple[bool | None, Share]:
    """Whether a part of a curvature has its sign and is a fair share of it; `u` is that of part less share of whole."""
    sign = 1 if whole.curvature > 0 else -1
    more = sign * (part.curvature - SHARE * whole.curvature)
    return _beyond(more, u), Share(of=of, part=part, whole=whole, turned=turned)


def _camber(result: PanelResult) -> Iterable[Fact]:
    camber, brought, added = result.camber, result.brought, result.added
    if camber is None:
        return
    there = _proved(camber.finding)
    yield _fact(FactName.camber, there, camber, _open(camber.finding))
    if there and brought and added:
        u = math.hypot(brought.u, SHARE * camber.u)
        yield _fact(FactName.strip_camber, *_part_of(Part.camber, brought, camber, u))
        u = math.hypot(brought.u, (1 - SHARE) * camber.u)
        yield _fact(FactName.camber_added, *_part_of(Part.camber, added, camber, u))


def _bow(result: PanelResult) -> Iterable[Fact]:
    bow = result.bow
    if bow is None:
        return
    there, why = _proved(bow.finding), _open(bow.finding)
    yield _fact(FactName.bow, there, bow, why)
    middle_up, legs_up = bow.curvature < 0, result.panel.legs == Side.up
    for name, to_legs in ((FactName.middle_to_legs, True), (FactName.middle_to_pan, False)):
        known = there if not there else bow.toward is not None and (middle_up == legs_up) == to_legs
        yield _fact(name, known if bow.toward or not there else None, bow, why)


def _turning(one: PanelResult, other: PanelResult) -> Iterable[Fact]:
    """Split a curvature into what stays with the machine and what turns with the strip."""
    names = {
        Part.camber: (FactName.camber_stays, FactName.camber_turns),
        Part.bow: (FactName.bow_stays, FactName.bow_turns),
    }
    for of, first, second in ((Part.camber, one.camber, other.camber), (Part.bow, one.bow, other.bow)):
        if not (first and second and _proved(first.finding) and TURNS_BACK[of].get(other.panel.turned)):
            continue
        # bow is measured with the legs as they stand; brought to one way up
        flip = -1 if of is Part.bow and one.panel.legs != other.panel.legs else 1
        a, b = first.curvature, flip * second.curvature
        turned = Bent(curvature=b, u=second.u, over=first.over)
        # half a plus or minus half b, less the share of a
        u = math.hypot((0.5 - SHARE) * first.u, 0.5 * second.u)
        for name, part in zip(names[of], ((a + b) / 2, (a - b) / 2), strict=True):
            bent = Bent(curvature=part, u=math.hypot(first.u, second.u) / 2, over=first.over)
            yield _fact(name, *_part_of(of, bent, first, u, turned))


def _waves(result: PanelResult) -> Iterable[Fact]:
    if not result.panel.waves_looked_for:
        return

    def fact(name: FactName, *sides: Side | None) -> Fact:
        these = tuple(w for w in result.waves if w.wave.side in sides)
        known = _any(_wavy(wave) for wave in these)
        shown = tuple(w for w in these if _wavy(w) is known) if these else ()
        return _fact(name, known, shown)

    everywhere = (None, Side.left, Side.right)
    yield fact(FactName.waves_repeat, *everywhere)
    yield fact(FactName.waves_in_pan, None)
    yield fact(FactName.waves_at_edge, Side.left, Side.right)
    if result.camber and result.camber.toward:
        yield fact(FactName.waves_at_longer_edge, result.camber.toward.other)


def _wavy(wave: WaveFound) -> bool | None:
    if wave.finding.verdict is not None:
        return _proved(wave.finding)
    return True if wave.i_units > PROOF * wave.u else None


def _ends(result: PanelResult) -> Iterable[Fact]:
    twist, square = result.twist, result.square
    if twist:
        yield _fact(FactName.twist, _proved(twist.finding), twist, _open(twist.finding))
    if square is None or not (square.lead or square.tail or square.both):
        return
    ends = tuple(end for end in (square.lead, square.tail) if end) or tuple(e for e in (square.both,) if e)
    known = _any(_proved(end.finding) for end in ends)
    doubtful = any(_open(e.finding) is Why.doubtful for e in ends)
    yield _fact(FactName.square_out, known, ends, Why.doubtful if doubtful else Why.no_limit)
    if known and square.lead and square.tail and square.apart:
        lead, tail, apart = square.lead.finding, square.tail.finding, square.apart
        alike: bool | None = None
        if abs(apart.value) > PROOF * apart.u:
            alike = False
        elif min(abs(f.value) - PROOF * f.u for f in (lead, tail)) > 0:
            alike = lead.value * tail.value > 0
        yield _fact(FactName.ends_alike, alike, square)


def _across(result: PanelResult) -> Iterable[Fact]:
    lead, tail = (result.flare.get(spot) for spot in (Spot.lead, Spot.tail))
    wide, high = (_allowed(result, part) for part in (Part.width, Part.leg))
    if lead and tail:
        why = _unseen((lead, tail), wide)
        apart = Known(value=lead.value - tail.value, u=math.hypot(lead.u, tail.u))
        opens = _all([_more(lead, wide), _more(tail, wide), _alike(apart)])
        yield _fact(FactName.both_ends_open, opens, result.flare, why)
        closed = Known(value=-lead.value, u=lead.u)
        twisting = _all([_more(closed, wide), _more(tail, wide)])
        yield _fact(FactName.lead_closes_tail_opens, twisting, result.flare, why)
    legs, girth = result.legs_differ, result.girth
    if legs:
        size = Known(value=abs(legs.mean.value), u=legs.mean.u)
        # legs that change against each other do not differ alike all along
        steady = False if legs.scatters(PROVED) else None if legs.changes else True
        yield _fact(FactName.legs_differ, _all([_more(size, high), steady]), legs, _unseen((size,), high))
    for name, found, limit in ((FactName.legs_change, legs, high), (FactName.girth_changes, girth, wide)):
        if found and found.count > 1:
            within = limit is not None and found.spread.value + COVERAGE * found.spread.u <= limit
            changes = False if within else True if found.scatters(PROVED) else None
            yield _fact(name, changes, found, Why.doubtful if found.changes or limit is not None else Why.no_limit)


def _allowed(result: PanelResult, part: Part) -> float | None:
    """How much a size across may be off, where a limit says so."""
    limit = result.panel.limits.get(part)
    bounds = limit.bounds() if limit else None
    return bounds.upper if bounds else None


def _more(known: Known, allowed: float | None) -> bool | None:
    """Whether one size is larger than another, which takes proof; within a limit, or proved smaller, it is not."""
    if allowed is not None and known.value + COVERAGE * known.u <= allowed:
        return False
    return None if abs(known.value) <= PROOF * known.u else known.value > 0


def _alike(apart: Known) -> bool | None:
    """Whether two sizes are one, as far as their difference tells."""
    size = abs(apart.value) / apart.u
    return True if size <= COVERAGE else False if size > PROOF else None


def _unseen(known: Iterable[Known], allowed: float | None) -> Why:
    """Why sizes across tell nothing, if they do not."""
    nothing = allowed is None and all(abs(k.value) <= COVERAGE * k.u for k in known)
    return Why.no_limit if nothing else Why.doubtful
