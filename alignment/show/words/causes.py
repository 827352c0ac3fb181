"""What is said of causes: what to do first and what is supported, then the reasons, then what readings cannot show."""

from __future__ import annotations

import math
from collections.abc import Sequence

from alignment.causes.causes import Cause, Causes, CauseVerdict, Judgement
from alignment.causes.strip_path import Bend
from alignment.panel.parts import Side
from alignment.show.page import Block, Degree, Item, Items, Page, Part, Table, Text, items
from alignment.show.words.facts import again_words, fact_words
from alignment.show.words.opening import opening
from alignment.show.words.panel import panel_title, short_verdict
from alignment.show.words.panel_figures import radius_words
from alignment.show.words.phrases import counted
from alignment.uncertainty import COVERAGE

__all__ = ["causes_page", "standing_words"]

FEW = 3
"""Open causes that are named at first."""
KEY = (
    "In brackets: what a rule rests on. Geometry: true by construction. Published: --json names the source. Practice: "
    "common practice, no source. Guess: try, and measure again."
)
BENDS = (
    "Edge strain is half the strip's width times the curvature. The strip slips and the rolls give: use it to rank the "
    "joints, not as a stress."
)


def causes_page(found: Causes) -> Page:
    """The whole answer as a page."""
    supported, open_ = found.of(CauseVerdict.supported), found.of(CauseVerdict.not_tested)
    denied = found.of(CauseVerdict.contradicted)
    fitting = [j for j in open_ if j.fits]
    act = _act(found)
    act = act[:1].lower() + act[1:]
    return Page(
        title=f"{found.layout.name}, {found.survey}. {panel_title(found.panel)}",
        parts=(
            opening([_verdict(found, supported)], act, sends=True),
            Part(heading="Why", blocks=_reasons(supported[:1], found)),
            Part(
                heading="Open",
                blocks=(*_few("Would fit, not tested:", fitting), *_denied(denied)),
            ),
            Part(heading="Supported by what was measured", blocks=_group(supported, found), degree=Degree.full),
            Part(
                heading="Not tested, and would fit what is seen",
                blocks=_group(fitting, found),
                degree=Degree.full,
            ),
            Part(
                heading="Contradicted",
                blocks=_group([j for j in denied if j.speak_for], found),
                degree=Degree.full,
            ),
            Part(
                heading="Not seen in this panel",
                blocks=_absent([j for j in denied if not j.speak_for], found),
                degree=Degree.full,
            ),
            Part(
                heading="Not tested, and its sign was not measured",
                blocks=_listed("", [j for j in open_ if not j.fits]),
                degree=Degree.full,
            ),
            Part(heading="Joints", blocks=_joints(found), degree=Degree.full),
            Part(heading="What readings cannot show", blocks=items(found.unseen), degree=Degree.full),
            Part(blocks=(Text(words=KEY),), degree=Degree.full),
        ),
        act=act,
    )


def standing_words(cause: Cause) -> str:
    """What a rule rests on, in a few words."""
    told = [str(s) for s in (cause.standing, cause.second) if s]
    return "; ".join([*told, *([f"side: {cause.side}"] if cause.side else [])])


def _verdict(found: Causes, supported: Sequence[Judgement]) -> str:
    panel = f"Panel: {short_verdict(found.panel)}."
    if not supported:
        return f"{panel} Supported: nothing. The readings do not tell where its faults come from."
    words = "; ".join(j.cause.words + (" (a guess)" if j.cause.guessed else "") for j in supported)
    return f"{panel} Supported: {words}."


def _act(found: Causes) -> str:
    """The cheapest open test, or the cure of what is supported where that costs no more."""
    proved = next((j for j in found.of(CauseVerdict.supported) if not j.cause.guessed), None)
    test = found.next_test
    if test and not (proved and proved.cause.effort <= test.effort):
        return _test(test)
    if proved:
        return proved.cause.test
    guessed = next(iter(found.of(CauseVerdict.supported)), None)
    return guessed.cause.test if guessed else ""


def _test(judgement: Judgement) -> str:
    """What would settle a cause at the least effort."""
    return again_words(judgement.again) if judgement.again else judgement.cause.test


def _listed(lead: str, judgements: Sequence[Judgement]) -> tuple[Block, ...]:
    return (Text(words=f"{lead}{'; '.join(j.cause.words for j in judgements)}."),) if judgements else ()


def _few(lead: str, judgements: Sequence[Judgement]) -> tuple[Block, ...]:
    """The cheapest to test, and how many more there are."""
    cheapest = sorted(judgements, key=lambda j: j.effort)
    names = [j.cause.words for j in cheapest[:FEW]]
    names += [f"{len(cheapest) - FEW} more"] * (len(cheapest) > FEW)
    return (Text(words=lead), *items(names)) if names else ()


def _denied(judgements: Sequence[Judgement]) -> tuple[Block, ...]:
    """What is contradicted though its sign is there, and how many others."""
    named = [j.cause.words for j in judgements if j.speak_for]
    rest = len(judgements) - len(named)
    told = f"Contradicted: {'; '.join(named)}." if named else ""
    told += f" Not seen in this panel: {counted(rest, 'other cause' if named else 'cause')}." * bool(rest)
    return (Text(words=f"{told.strip()} Reasons: --full."),) if told else ()


def _reasons(judgements: Sequence[Judgement], found: Causes) -> tuple[Block, ...]:
    """What speaks for the first cause that is supported."""
    return items([fact_words(fact, found) for j in judgements for fact in j.speak_for])


def _group(judgements: Sequence[Judgement], found: Causes) -> tuple[Block, ...]:
    """Causes with what speaks for and against each, its standing and its test; what was told is not repeated."""
    told: set[str] = set()
    entries = []
    for j in judgements:
        more = []
        for sign, facts in (("+", j.speak_for), ("-", j.against), ("?", j.open)):
            words = [fact_words(fact, found) for fact in facts]
            more += [f"{sign} {text}" for text in words if text not in told]
            told |= set(words)
        if j.verdict is not CauseVerdict.contradicted:
            more.append(f"Test: {_test(j)}")
            more += ["A guess, not a rule: try, and measure again."] if j.cause.guessed else []
        entries.append(Item(words=f"{j.cause.words} [{standing_words(j.cause)}]", more=tuple(more)))
    return (Items(items=tuple(entries)),) if entries else ()


def _absent(judgements: Sequence[Judgement], found: Causes) -> tuple[Block, ...]:
    """Causes whose sign was looked for and is not there, by what was measured."""
    by_fact: dict[str, list[str]] = {}
    for j in judgements:
        by_fact.setdefault(fact_words(j.against[0], found), []).append(j.cause.words)
    entries = tuple(Item(words="; ".join(causes), more=(f"- {words}",)) for words, causes in by_fact.items())
    return (Items(items=entries),) if entries else ()


def _joints(found: Causes) -> tuple[Block, ...]:
    """Joints by the strain that they would ask of the strip."""
    if not found.bends:
        return (Text(words="Not ranked: the layout does not say on which side the strings hang."),)
    limit = found.yield_strain
    head = ("joint", "toward", "radius", "edge strain", "U", *(("times yield",) * bool(limit)))
    note = BENDS
    if limit:
        note += f" Yield is at {100 * limit:.2f} %; modulus: {found.modulus_source}."
    rows = tuple(_joint(bend, found) for bend in found.bends)
    title = "By the bend of a strip that follows every face, sharpest first."
    return (Table(head=head, rows=rows, align="llrrr" + "r" * bool(limit), title=title, note=note),)


def _joint(bend: Bend, found: Causes) -> tuple[str, ...]:
    curvature, strain, limit = bend.curvature, bend.strain, found.yield_strain
    seen = abs(curvature.value) > COVERAGE * curvature.u
    side = found.panel.panel.edge(Side.right if curvature.value > 0 else Side.left) if seen else "none seen"
    radius = radius_words(1 / abs(curvature.value) if curvature.value else math.inf, found.layout.units)
    cells = [f"{bend.upstream} / {bend.downstream}", side, radius if seen else "-"]
    cells += [f"{100 * strain.value:.2f} %", f"{100 * COVERAGE * strain.u:.2f}"] if strain else ["-", "-"]
    if limit:
        cells.append(f"{strain.value / limit:.0f}" if strain else "-")
    return tuple(cells)
