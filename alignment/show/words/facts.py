"""What is said of a fact about a machine and its panel: one or two short sentences with its numbers."""

from __future__ import annotations

import math
from typing import Any, Final

from alignment.causes.causes import Causes
from alignment.causes.fact import Fact, FactName, Holds, Sections, Share, Steered, Toed
from alignment.lengths import Units, show
from alignment.panel.corners import Known
from alignment.panel.found import Bent, Curve, EndCut, Square, TwistFound, WaveFound
from alignment.panel.limits import Finding
from alignment.panel.parts import Part, Spot
from alignment.panel.widths import Steadiness
from alignment.show.words.panel_figures import (
    height_words,
    length_words,
    toward_words,
    twist_words,
    wave_words,
    with_u,
)
from alignment.show.words.phrases import counted, in_list, unit_mark
from alignment.train.flags.leaning import Lean
from alignment.uncertainty import COVERAGE

__all__ = ["again_words", "fact_words"]

FEW: Final = 6
"""Sections that are named; the rest are counted."""
AGAIN: Final = {
    FactName.camber: "the sweep of the panel",
    FactName.strip_camber: "the sweep of the panel and of its strip",
    FactName.camber_added: "the sweep of the panel and of its strip",
    FactName.camber_stays: "the sweep of both panels",
    FactName.camber_turns: "the sweep of both panels",
    FactName.bow: "the bow of the panel",
    FactName.middle_to_legs: "the bow of the panel",
    FactName.middle_to_pan: "the bow of the panel",
    FactName.bow_stays: "the bow of both panels",
    FactName.bow_turns: "the bow of both panels",
    FactName.twist: "the twist of the panel",
    FactName.waves_in_pan: "the waves",
    FactName.waves_at_edge: "the waves",
    FactName.waves_at_longer_edge: "the waves",
    FactName.waves_repeat: "the waves",
    FactName.square_out: "edges, ends and diagonals of the panel",
    FactName.ends_alike: "edges, ends and diagonals of the panel",
    FactName.both_ends_open: "the widths",
    FactName.lead_closes_tail_opens: "the widths",
    FactName.legs_differ: "the legs",
    FactName.legs_change: "the legs",
    FactName.girth_changes: "the widths and legs",
}
"""What is to be read again for a fact about a panel."""
WAVY: Final = {
    FactName.waves_repeat: "",
    FactName.waves_in_pan: " in the pan",
    FactName.waves_at_edge: " at the edges",
    FactName.waves_at_longer_edge: " at the longer edge",
}


def again_words(facts: tuple[Fact, ...]) -> str:
    """What to read again more finely, for facts that finer readings would settle."""
    told = [AGAIN.get(fact.name, "the sections") for fact in facts]
    return f"Read {in_list(list(dict.fromkeys(told)))} again with finer marks or more readings."


def fact_words(fact: Fact, found: Causes) -> str:
    """A fact with its numbers."""
    numbers, words = fact.numbers, _Words(found)
    if isinstance(numbers, Sections):
        return words.sections(numbers)
    if isinstance(numbers, Steered):
        return words.steered(fact, numbers)
    if isinstance(numbers, Toed):
        return words.toed(fact, numbers)
    if isinstance(numbers, Share):
        return words.share(fact, numbers)
    if isinstance(numbers, Curve):
        return words.curve(numbers)
    if isinstance(numbers, TwistFound):
        return f"Twist is {twist_words(numbers, words.units)}{_limit(numbers.finding)}."
    if isinstance(numbers, Square):
        return words.alike(numbers)
    if isinstance(numbers, Steadiness):
        return words.steady(fact, numbers)
    if isinstance(numbers, dict):
        return words.flare(numbers)
    return words.several(fact, numbers)


def _limit(finding: Finding) -> str:
    return "" if finding.verdict is None else f", {finding.verdict.printed} by its limit"


class _Words:
    """Facts in the units of one panel, with the names of its edges."""

    def __init__(self, found: Causes) -> None:
        self.found = found
        self.panel = found.panel.panel
        self.units: Units = found.panel.panel.units

    def sections(self, numbers: Sections) -> str:
        names = [s.name for s in numbers.out]
        told = [*names[:FEW], *([f"{len(names) - FEW} more"] if len(names) > FEW else [])]
        said = []
        if names or numbers.joints_out:
            out = f"{len(names)} of {numbers.sections} sections are out of tolerance"
            said.append(out + (f" ({', '.join(told)})" if names else ""))
            said += [f"{len(numbers.joints_out)} of {numbers.joints} joints are out of step"] * bool(numbers.joints_out)
        elif numbers.doubtful or numbers.joints_doubtful:
            said.append("No section is proved out")
        elif not numbers.unread:
            return "Every section and joint is proved in tolerance."
        else:
            said.append("What was measured is in tolerance")
        rest = len(numbers.doubtful), len(numbers.joints_doubtful)
        kinds = [counted(n, what) for n, what in zip(rest, ("section", "joint"), strict=True) if n]
        said += [f"Not proved either way: {' and '.join(kinds)}"] * bool(kinds)
        said += [f"Not measured: {', '.join(s.name for s in numbers.unread)}"] * bool(numbers.unread)
        return ". ".join(said) + "."

    def steered(self, fact: Fact, numbers: Steered) -> str:
        slope = numbers.slope
        size = f"{abs(slope.value) * 1000:.1f} in 1000 (U {COVERAGE * slope.u * 1000:.1f})"
        if fact.holds is Holds.no and numbers.side is numbers.swept:
            return f"The sections on the average point straight ahead, {size}."
        side, swept = self.panel.edge(numbers.side), self.panel.edge(numbers.swept)
        return f"The sections on the average point {size} toward {side}. The panel sweeps toward {swept}."

    def toed(self, fact: Fact, numbers: Toed) -> str:
        if numbers.pairs:
            return f"{numbers.pairs[0].left} and {numbers.pairs[0].right} both lean inward."
        proved = "is proved to" if fact.holds is Holds.unknown else "of them does"
        return f"{counted(numbers.facing, 'pair')} of facing sections. None {proved} lean inward on both sides."

    def curve(self, curve: Curve) -> str:
        way = toward_words(curve.toward, self.panel)
        size = f"{height_words(curve, self.units)}{_limit(curve.finding)}"
        if curve.of is Part.bow:
            return f"Bow is {size}, {way or 'no way seen'}, legs {self.panel.legs}."
        return f"The panel sweeps {size}{f', toward {way}' if way else ''}."

    def share(self, fact: Fact, numbers: Share) -> str:
        part, units = numbers.part, self.units
        if numbers.turned is None:
            if fact.name is FactName.strip_camber:
                way = toward_words(part.toward, self.panel)
                return f"The strip itself swept {height_words(part, units)}{f', toward {way}' if way else ''}."
            added = with_u(part.height, part.height_u, units)
            return f"Of the panel's {height_words(numbers.whole, units)}, {added} is not the strip's."
        other: Bent = numbers.turned
        same = numbers.whole.curvature * other.curvature >= 0
        how = self.found.turned.panel.turned if self.found.turned else ""
        where = "turns with the strip" if fact.name in _TURNING else "stays with the machine"
        return (
            f"With the strip turned {how}, {numbers.of} is {height_words(other, units)} the "
            f"{'same' if same else 'other'} way: {height_words(part, units)} {where}."
        )

    def alike(self, square: Square) -> str:
        (left, right), apart = self.panel.edges, square.apart
        size = self.plain(apart) if apart else "?"
        beyond = " beyond what the sweep makes of it" if square.swept else ""
        return f"The {left} and the {right} edge differ in length by {size}{beyond}."

    def steady(self, fact: Fact, found: Steadiness) -> str:
        spread = length_words(found.spread.value, self.units)
        if fact.name is FactName.girth_changes:
            return f"Width and legs together change by {spread} along the panel."
        left, right = self.panel.edges
        return f"{left} leg minus {right} leg is {self.plain(found.mean)} on the average. It changes by {spread}."

    def flare(self, ends: dict[Spot, Known]) -> str:
        lead, tail = (self.plain(ends[spot]) for spot in (Spot.lead, Spot.tail))
        return f"Against the middle, the lead end is {lead} wider, the tail end {tail}."

    def several(self, fact: Fact, numbers: tuple[Any, ...]) -> str:
        if fact.name is FactName.square_out:
            cuts: tuple[EndCut, ...] = numbers
            sizes = in_list([with_u(abs(e.finding.value), e.finding.u, self.units) for e in cuts])
            return f"End cuts are off square by {sizes}."
        if fact.name is FactName.string_leans:
            leans: tuple[Lean, ...] = numbers
            if leans:
                strings = in_list([lean.string for lean in leans])
                return f"All sections slope the same way along string {strings}. It is probably crooked."
            if fact.holds is Holds.no:
                return "The sections do not all slope one way. A string crooked enough to matter would have shown."
            return "The sections do not show whether a string is crooked."
        waves: tuple[WaveFound, ...] = numbers
        if not waves:
            return f"No waves{WAVY[fact.name]}."
        sizes = ", ".join(wave_words(wave) for wave in waves)
        if fact.name is FactName.waves_repeat:
            rolls = ", ".join(show(w.wave.pitch / math.pi, self.units) for w in waves)
            return f"Waves: {sizes}. Their pitch is one turn of a roll about {rolls}{unit_mark(self.units)} across."
        proved = {Holds.yes: "", Holds.no: ", within their limit", Holds.unknown: ", not proved"}[fact.holds]
        return f"Waves{WAVY[fact.name]}: {sizes}{proved}."

    def plain(self, known: Known) -> str:
        return with_u(known.value, known.u, self.units, signed=True)


_TURNING: Final = (FactName.camber_turns, FactName.bow_turns)
