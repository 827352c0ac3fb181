"""Causes as plain numbers and texts, for other programs. Lengths in the units of the layout."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from alignment import __version__
from alignment.causes.causes import Causes, Judgement
from alignment.causes.fact import Fact
from alignment.causes.strip_path import Bend
from alignment.panel.corners import Known
from alignment.show.words.causes import standing_words
from alignment.show.words.cautions import SHORT
from alignment.show.words.facts import again_words, fact_words

__all__ = ["as_json"]


def as_json(found: Causes) -> dict[str, Any]:
    """Causes, bends and what is not seen."""
    test = found.next_test
    return {
        "stringtrue": __version__,
        "machine": found.layout.name,
        "units": str(found.layout.units),
        "survey": {"file": found.survey},
        "panel": {"file": found.panel.panel.source, "name": found.panel.panel.name},
        "turned": {"file": found.turned.panel.source, "turned": found.turned.panel.turned} if found.turned else None,
        "cautions": list(SHORT),
        "causes": [_judgement(j, found) for j in found.judgements],
        "joints": [_joint(bend, found) for bend in found.bends],
        "yield_strain": found.yield_strain,
        "modulus_source": found.modulus_source or None,
        "next_test": {"cause": test.cause.name, "test": again_words(test.again) if test.again else test.cause.test}
        if test
        else None,
        "unseen": list(found.unseen),
    }


def _judgement(j: Judgement, found: Causes) -> dict[str, Any]:
    def told(facts: Sequence[Fact]) -> list[dict[str, Any]]:
        return [{"fact": str(fact.name), "words": fact_words(fact, found)} for fact in facts]

    return {
        "cause": j.cause.name,
        "words": j.cause.words,
        "verdict": str(j.verdict),
        "standing": standing_words(j.cause),
        "source": j.cause.source,
        "fits": j.fits,
        "for": told(j.speak_for),
        "against": told(j.against),
        "open": [fact | {"why": str(f.why)} for fact, f in zip(told(j.open), j.open, strict=True)],
        "test": j.cause.test,
        "effort": j.cause.effort,
    }


def _joint(bend: Bend, found: Causes) -> dict[str, Any]:
    per = found.layout.units.of(1.0)

    def known(value: Known) -> dict[str, float]:
        return {"value": value.value, "u": value.u}

    return {
        "sections": [bend.upstream, bend.downstream],
        # per unit of length
        "curvature": bend.curvature.value / per,
        "u": bend.curvature.u / per,
        "strain": known(bend.strain) if bend.strain else None,
        "over_yield": bend.strain.value / found.yield_strain if bend.strain and found.yield_strain else None,
    }
