"""
Symptom and cause: what a panel's faults may come from, judged by what was measured of machine, panel and strip.

The causes live in a table that is shipped with the package. No probability is made up: a cause is supported,
contradicted or not tested, with the numbers that say so and the cheapest test for what is open.
"""

from __future__ import annotations

import enum
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

from alignment import __version__
from alignment.causes.facts import Fact, gather
from alignment.causes.strip_path import Bend, bends
from alignment.errors import InputError, Problem
from alignment.machine.layout import Layout
from alignment.panel.corners import Known
from alignment.panel.panel import PanelResult
from alignment.train.across import rows_across
from alignment.train.solve import Solution
from alignment.train.train import Train

__all__ = ["Cause", "CauseTable", "CauseVerdict", "Causes", "Judgement", "as_json", "find_causes", "table"]


class CauseVerdict(enum.StrEnum):
    """What the readings say of a cause."""

    supported = "supported"
    not_tested = "not tested"
    contradicted = "contradicted"


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One row of the table of causes; see the table for what each means."""

    name: str
    words: str
    standing: str
    source: str
    shows: tuple[str, ...]
    because: tuple[str, ...]
    test: str
    effort: int


@dataclass(frozen=True, kw_only=True)
class CauseTable:
    """Causes, materials with their modulus [GPa] and its source, and what readings cannot show."""

    causes: tuple[Cause, ...]
    materials: tuple[tuple[str, float, str], ...]
    unseen: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """A cause with what speaks for and against it."""

    cause: Cause
    verdict: CauseVerdict
    speak_for: tuple[Fact, ...]
    against: tuple[Fact, ...]
    fits: bool
    """Whether what it would show was measured and is there."""


@dataclass(frozen=True, kw_only=True)
class Causes:
    """Everything that was found, supported causes first."""

    layout: Layout
    survey: str
    panel: PanelResult
    turned: PanelResult | None
    judgements: tuple[Judgement, ...]
    bends: tuple[Bend, ...]
    """Sharpest first."""
    yield_strain: float | None
    modulus_source: str
    unseen: tuple[str, ...]

    def of(self, verdict: CauseVerdict) -> list[Judgement]:
        """Judgements with this verdict."""
        return [j for j in self.judgements if j.verdict is verdict]

    @property
    def next_test(self) -> Judgement | None:
        """The open cause that fits what the panel shows and costs least to test; None where none is open."""
        return min(
            (j for j in self.of(CauseVerdict.not_tested) if j.fits),
            key=lambda j: j.cause.effort,
            default=None,
        )


@lru_cache
def table() -> CauseTable:
    """The table of causes that is shipped with the package."""
    data = tomllib.loads(files("alignment.causes").joinpath("causes.toml").read_text(encoding="utf-8"))
    causes = [Cause(**{**row, "shows": tuple(row["shows"]), "because": tuple(row["because"])}) for row in data["cause"]]
    materials = tuple((m["word"], float(m["modulus"]), m["source"]) for m in data["material"])
    return CauseTable(causes=tuple(causes), materials=materials, unseen=tuple(data["unseen"]))


def find_causes(
    machine: Solution | Train, panel: PanelResult, *, turned: PanelResult | None = None, among: CauseTable | None = None
) -> Causes:
    """
    Judge every cause in the table.

    Parameters
    ----------
    machine : Solution or Train
        The machine as measured; a `Solution` also tells whether its string leans.
    panel : PanelResult
        A panel that it made.
    turned : PanelResult, optional
        A panel of the same coil whose strip was turned before it was fed, as its file says.
    among : CauseTable, optional
        A table in place of the one that is shipped.

    Raises
    ------
    InputError
        The second panel does not say how its strip was turned, or its edges bear other names.
    """
    train = machine.train if isinstance(machine, Solution) else machine
    _check(train.layout, panel, turned)
    known = among or table()
    facts = gather(machine, panel, turned)
    judged = sorted((_judge(cause, facts) for cause in known.causes), key=_order)
    modulus = next(((m, source) for word, m, source in known.materials if word in _material(train.layout)), None)
    strength = train.layout.strip.yield_strength
    return Causes(
        layout=train.layout,
        survey=train.survey.source,
        panel=panel,
        turned=turned,
        judgements=tuple(judged),
        bends=tuple(bends(train)),
        yield_strain=strength / (modulus[0] * 1000) if strength and modulus else None,
        modulus_source=modulus[1] if modulus else "",
        unseen=known.unseen,
    )


def _material(layout: Layout) -> str:
    return layout.strip.material.lower()


def _check(layout: Layout, panel: PanelResult, turned: PanelResult | None) -> None:
    strange = [edge for edge in panel.panel.edges if edge not in layout.rows]
    if strange:
        what = f"no row '{strange[0]}' in {layout.source}: name the panel's edges after its rows, the left one first."
        raise InputError(panel.panel.source, "this panel is not of this machine", [Problem("[panel] edges", what)])
    if panel.panel.edges[::-1] in rows_across(layout):
        what = f"are the wrong way round for {layout.source}: the left one looking downstream comes first."
        raise InputError(panel.panel.source, "this panel is not of this machine", [Problem("[panel] edges", what)])
    if turned is None:
        return
    problems = []
    if not turned.panel.turned:
        what = 'is missing: say how the strip was turned, "end-for-end", "over" or "both".'
        problems.append(Problem("[panel] turned", what))
    if turned.panel.edges != panel.panel.edges:
        problems.append(Problem("[panel] edges", f"are not those of {panel.panel.source}."))
    if problems:
        raise InputError(turned.panel.source, "this second panel cannot be compared", problems)


def _order(judgement: Judgement) -> tuple[int, bool, bool]:
    guess = judgement.cause.standing.startswith("guess")
    return list(CauseVerdict).index(judgement.verdict), not judgement.fits, guess


def _holds(expression: str, facts: Mapping[str, Fact]) -> tuple[bool | None, list[Fact]]:
    """Whether ``FACT``, ``not FACT`` or ``ONE or OTHER`` holds, and the facts that say so."""
    answers = []
    for term in expression.split(" or "):
        name = term.removeprefix("not ").strip()
        fact = facts.get(name)
        if fact is not None and fact.holds is not None:
            answers.append((fact.holds != term.startswith("not "), fact))
    true = [fact for holds, fact in answers if holds]
    if true:
        return True, true
    # every alternative must have been measured before their absence says anything
    if answers and len(answers) == len(expression.split(" or ")):
        return False, [fact for _, fact in answers]
    return None, []


def _judge(cause: Cause, facts: Mapping[str, Fact]) -> Judgement:
    shows = [_holds(expression, facts) for expression in cause.shows]
    because = [_holds(expression, facts) for expression in cause.because]
    denied = [fact for holds, told in shows + because if holds is False for fact in told]
    borne = [fact for holds, told in because + shows if holds is True for fact in told]
    proved = any(holds is True for holds, _ in because)
    fits = not denied and (shows[0][0] is True if shows else proved)
    if denied:
        verdict = CauseVerdict.contradicted
    elif fits and proved:
        verdict = CauseVerdict.supported
    else:
        verdict = CauseVerdict.not_tested
    return Judgement(
        cause=cause,
        verdict=verdict,
        speak_for=tuple(dict.fromkeys(borne)),
        against=tuple(dict.fromkeys(denied)),
        fits=fits,
    )


def as_json(found: Causes) -> dict[str, Any]:
    """Causes, bends and what is not seen, as plain numbers and texts; lengths in the layout's units."""
    of = found.layout.units.of

    def known(value: Known) -> dict[str, float]:
        return {"value": value.value, "u": value.u}

    test = found.next_test
    return {
        "stringtrue": __version__,
        "machine": found.layout.name,
        "units": str(found.layout.units),
        "survey": {"file": found.survey},
        "panel": {"file": found.panel.panel.source, "name": found.panel.panel.name},
        "turned": {"file": found.turned.panel.source, "turned": found.turned.panel.turned} if found.turned else None,
        "causes": [
            {
                "cause": j.cause.name,
                "words": j.cause.words,
                "verdict": str(j.verdict),
                "standing": j.cause.standing,
                "source": j.cause.source,
                "fits": j.fits,
                "for": [{"fact": f.name, "words": f.words} for f in j.speak_for],
                "against": [{"fact": f.name, "words": f.words} for f in j.against],
                "test": j.cause.test,
                "effort": j.cause.effort,
            }
            for j in found.judgements
        ],
        "joints": [
            {
                "sections": [b.upstream, b.downstream],
                # per unit of length
                "curvature": b.curvature.value / of(1.0),
                "u": b.curvature.u / of(1.0),
                "strain": known(b.strain) if b.strain else None,
                "over_yield": b.strain.value / found.yield_strain if b.strain and found.yield_strain else None,
            }
            for b in found.bends
        ],
        "yield_strain": found.yield_strain,
        "modulus_source": found.modulus_source or None,
        "next_test": {"cause": test.cause.name, "test": test.cause.test} if test else None,
        "unseen": list(found.unseen),
    }
