"""What is said of causes: what the readings support and the next test, then the reasons, then what they cannot show."""

from __future__ import annotations

import math
from collections.abc import Sequence

from alignment.causes.causes import Causes, CauseVerdict, Judgement
from alignment.show.terminal import caution_lines, headed, short, wrap
from alignment.show.words.panel import panel_title, short_verdict
from alignment.show.words.panel_figures import radius_words
from alignment.show.words.phrases import counted
from alignment.uncertainty import COVERAGE

__all__ = ["causes_text"]

_JOINTS = 6
_HEAD = ("toward", "radius", "strain", "U", "strain")
_KEY = (
    "In brackets: what a rule rests on. Geometry: true by construction; published: its source is told with --json; "
    "practice: common practice, no source; guess: inference. After a semicolon, a second one, or what the side or "
    "handedness rests on."
)


def causes_text(found: Causes) -> str:
    """The whole answer as text."""
    supported = found.of(CauseVerdict.supported)
    lines = wrap(f"{found.layout.name}, {found.survey}; {panel_title(found.panel)}")
    lines += [*wrap(f"Panel: {short_verdict(found.panel)}."), ""]
    lines += _first(found, supported)
    lines += ["BEFORE A BOLT IS TOUCHED", *caution_lines(), ""]
    lines += [*wrap(_KEY), ""]
    told: set[str] = set()
    lines += _group("SUPPORTED BY WHAT WAS MEASURED", supported, told)
    open_ = found.of(CauseVerdict.not_tested)
    lines += _group("NOT TESTED, and would fit what is seen", [j for j in open_ if j.fits], told)
    denied = found.of(CauseVerdict.contradicted)
    lines += _group("CONTRADICTED", [j for j in denied if j.speak_for], told)
    lines += _absent([j for j in denied if not j.speak_for])
    rest = [j.cause.words for j in open_ if not j.fits]
    if rest:
        lines += ["NOT TESTED, and its sign was not measured", *wrap("; ".join(rest) + ".", "  "), ""]
    lines += _joints(found)
    lines += headed("WHAT READINGS CANNOT SHOW", found.unseen)
    return "\n".join(lines).rstrip() + "\n"


def _first(found: Causes, supported: Sequence[Judgement]) -> list[str]:
    """What to do, ahead of everything."""
    lines = []
    if supported:
        words = "; ".join(j.cause.words + (" (a guess)" if _guess(j) else "") for j in supported)
        lines += wrap(f"Supported: {words}.")
    else:
        lines += wrap("Supported: nothing. The readings do not tell where the panel's faults come from.")
    test = found.next_test
    if test:
        lines += wrap(f"Cheapest open test: {test.cause.test} (It would tell: {test.cause.words.lower()}.)")
    proved = [j for j in supported if not _guess(j)]
    if proved:
        lines += wrap(f"Then: {proved[0].cause.test}")
    return [*lines, ""]


def _guess(judgement: Judgement) -> bool:
    return judgement.cause.standing.startswith("guess")


def _group(heading: str, judgements: Sequence[Judgement], told: set[str]) -> list[str]:
    """Causes with what speaks for and against each, its standing and its test; a fact that was told is not repeated."""
    if not judgements:
        return []
    lines = [heading]
    for j in judgements:
        lines += wrap(f"{j.cause.words} [{j.cause.standing}]", "  ", "    ")
        for sign, facts in (("+", j.speak_for), ("-", j.against)):
            lines += [line for fact in facts if fact.words not in told for line in wrap(fact.words, f"    {sign} ")]
            told |= {fact.words for fact in facts}
        if j.verdict is not CauseVerdict.contradicted:
            lines += wrap(j.cause.test, "    test: ")
            lines += wrap("A guess, not a rule: try, and measure again.", "    ! ") if _guess(j) else []
    return [*lines, ""]


def _absent(judgements: Sequence[Judgement]) -> list[str]:
    """Causes whose sign was looked for and is not there, by what was measured."""
    if not judgements:
        return []
    lines = ["NOT SEEN IN THIS PANEL"]
    by_fact: dict[str, list[str]] = {}
    for j in judgements:
        by_fact.setdefault(j.against[0].words, []).append(j.cause.words)
    for words, causes in by_fact.items():
        lines += wrap("; ".join(causes), "  ", "    ")
        lines += wrap(words, "    - ")
    return [*lines, ""]


def _joints(found: Causes) -> list[str]:
    """Joints by the strain that they would ask of the strip."""
    if not found.bends:
        return ["JOINTS: not ranked; the layout does not say on which side the strings hang.", ""]
    limit = found.yield_strain
    lines = ["JOINTS, by the bend that they ask of a strip that follows every face"]
    for toward, radius_, strain, u, times in (("", "", "edge", "", "times yield"), _HEAD):
        line = f"  {'':<29} {toward:<10} {radius_:>7} {strain:>8} {u:>6}"
        lines.append((line + f"  {times:>11}" * bool(limit)).rstrip())
    for bend in found.bends[:_JOINTS]:
        pair = f"{bend.upstream} / {bend.downstream}"
        seen = abs(bend.curvature.value) > COVERAGE * bend.curvature.u
        side = found.panel.panel.edges[1 if bend.curvature.value > 0 else 0] if seen else "none seen"
        radius = 1 / abs(bend.curvature.value) if bend.curvature.value else math.inf
        size = radius_words(radius, found.layout.units)
        strain = f"{100 * bend.strain.value:.2f} %" if bend.strain else "-"
        u = f"{100 * COVERAGE * bend.strain.u:.2f}" if bend.strain else "-"
        times = f"  {bend.strain.value / limit:11.0f}" if bend.strain and limit else ""
        lines.append(f"  {short(pair, 29)} {short(side, 10)} {size if seen else '-':>7} {strain:>8} {u:>6}{times}")
    if len(found.bends) > _JOINTS:
        lines.append(f"  and {counted(len(found.bends) - _JOINTS, 'gentler one')}")
    lines += wrap(
        "Edge strain is half the strip's width times the curvature. The strip slips and the rolls give, so it does not "
        "bend so far: use it to rank the joints, not as a stress.",
        "  ",
    )
    if limit:
        lines += wrap(f"Yield is at {100 * limit:.2f} %; modulus: {found.modulus_source}.", "  ")
    return [*lines, ""]
