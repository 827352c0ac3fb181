"""
Symptom and cause: what a panel's faults may come from, judged by what was measured of machine, panel and strip.

The causes live in a table that is shipped with the package. No probability is made up: a cause is supported,
contradicted or not tested, with the facts that say so and the cheapest test for what is open.
"""

from __future__ import annotations

import enum
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

from alignment.causes.fact import Fact, FactName, Holds, Why
from alignment.causes.facts import gather
from alignment.causes.strip_path import Bend, bends
from alignment.errors import InputError, NameUnknownError, Problem, nearest, quote
from alignment.machine.layout import Layout
from alignment.panel.found import PanelResult
from alignment.results import Result
from alignment.train.across import rows_across
from alignment.train.solve import Solution
from alignment.train.train import Train

__all__ = [
    "Cause",
    "CauseTable",
    "CauseVerdict",
    "Causes",
    "Judgement",
    "Standing",
    "Term",
    "clause",
    "find_causes",
    "table",
]


class CauseVerdict(enum.StrEnum):
    """What the readings say of a cause."""

    supported = "supported"
    not_tested = "not tested"
    contradicted = "contradicted"


class Standing(enum.StrEnum):
    """What a rule rests on; the table of causes says what each means."""

    geometry = "geometry"
    published = "published"
    practice = "practice"
    guess = "guess"
    no_rule = "no rule"


@dataclass(frozen=True, kw_only=True)
class Term:
    """A fact, or that it does not hold."""

    fact: FactName
    denied: bool = False


Clause = tuple[Term, ...]
"""Terms of which one is enough."""


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One row of the table of causes; see the table for what each means."""

    name: str
    words: str
    standing: Standing
    source: str
    shows: tuple[Clause, ...]
    because: tuple[Clause, ...]
    test: str
    effort: int
    second: Standing | None = None
    side: Standing | None = None

    @property
    def guessed(self) -> bool:
        """Whether it is an inference and no rule."""
        return self.standing is Standing.guess


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
    open: tuple[Fact, ...]
    """Facts that were looked at and are unknown."""
    fits: bool
    """Whether what it would show was measured and is there, or cannot be ruled out."""

    @property
    def again(self) -> tuple[Fact, ...]:
        """What finer readings would settle, so that nothing else need be tried first."""
        return tuple(fact for fact in self.open if fact.why is Why.doubtful)

    @property
    def effort(self) -> int:
        """Of its next test: readings taken again are cheaper than a trial."""
        return min(self.cause.effort, 2) if self.again else self.cause.effort


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Causes(Result):
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

    @property
    def headline(self) -> str:
        """The causes that are supported."""
        return ", ".join(j.cause.name for j in self.of(CauseVerdict.supported)) or "nothing supported"

    def of(self, verdict: CauseVerdict) -> list[Judgement]:
        """Judgements with this verdict."""
        return [j for j in self.judgements if j.verdict is verdict]

    @property
    def next_test(self) -> Judgement | None:
        """The open cause that fits what the panel shows and costs least to test; None where none is open."""
        return min(
            (j for j in self.of(CauseVerdict.not_tested) if j.fits),
            key=lambda j: j.effort,
            default=None,
        )


def clause(text: str) -> Clause:
    """
    ``FACT``, ``not FACT`` or ``ONE or OTHER``, as the table writes it.

    Raises
    ------
    NameUnknownError
        No such fact.

    Examples
    --------
    >>> [(term.fact.value, term.denied) for term in clause("twist or not camber")]
    [('twist', False), ('camber', True)]
    """
    terms = []
    for part in text.split(" or "):
        name = part.strip().removeprefix("not ").strip()
        if name not in list(FactName):
            raise NameUnknownError(f"{quote(name)} is no fact.{nearest(name, list(FactName))}")
        terms.append(Term(fact=FactName(name), denied=part.strip().startswith("not ")))
    return tuple(terms)


@lru_cache
def table() -> CauseTable:
    """The table of causes that is shipped with the package."""
    data = tomllib.loads(files("alignment.causes").joinpath("causes.toml").read_text(encoding="utf-8"))
    materials = tuple((m["word"], float(m["modulus"]), m["source"]) for m in data["material"])
    return CauseTable(causes=tuple(map(_cause, data["cause"])), materials=materials, unseen=tuple(data["unseen"]))


def _cause(row: Mapping[str, Any]) -> Cause:
    clauses = {key: tuple(map(clause, row[key])) for key in ("shows", "because")}
    standings = {key: Standing(row[key]) for key in ("standing", "second", "side") if key in row}
    return Cause(**{**row, **clauses, **standings})


def find_causes(
    machine: Solution | Train, panel: PanelResult, *, turned: PanelResult | None = None, among: CauseTable | None = None
) -> Causes:
    """
    Judge every cause in the table.

    Parameters
    ----------
    machine : Solution or Train
        The machine as measured.
    panel : PanelResult
        A panel that it made.
    turned : PanelResult, optional
        A panel of the same coil whose strip was turned before it was fed, as its file says.
    among : CauseTable, optional
        A table in place of the one that is shipped.

    Returns
    -------
    Causes
        Each cause supported, contradicted or not tested. Only proof supports or contradicts.

    Raises
    ------
    InputError
        The second panel does not say how its strip was turned, or its edges bear other names.

    Examples
    --------
    >>> import alignment
    >>> samples = alignment.sample_folder()
    >>> machine = alignment.read_layout(samples / "machine.toml")
    >>> solution = alignment.solve(machine, alignment.read_survey(samples / "as-found.csv", machine))
    >>> found = alignment.find_causes(solution, alignment.measure(alignment.read_panel(samples / "tray.toml")))
    >>> found.judgements[0].cause.name
    'sections-out-of-line'
    """
    train = machine.train if isinstance(machine, Solution) else machine
    _check(train.layout, panel, turned)
    known = among or table()
    facts = gather(machine, panel, turned)
    judged = sorted((_judge(cause, facts) for cause in known.causes), key=_order)
    material = train.layout.strip.material.lower()
    modulus = next(((m, source) for word, m, source in known.materials if word in material), None)
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
    return list(CauseVerdict).index(judgement.verdict), not judgement.fits, judgement.cause.guessed


@dataclass(frozen=True, kw_only=True)
class _Answer:
    """Whether a clause holds, by which facts, and which of them are unknown."""

    holds: Holds
    by: tuple[Fact, ...] = ()
    open: tuple[Fact, ...] = ()


def _answer(terms: Clause, facts: Mapping[FactName, Fact]) -> _Answer:
    told = [(term, facts[term.fact]) for term in terms if term.fact in facts]
    true = tuple(fact for term, fact in told if fact.holds is (Holds.no if term.denied else Holds.yes))
    if true:
        return _Answer(holds=Holds.yes, by=true)
    false = tuple(fact for term, fact in told if fact.holds is (Holds.yes if term.denied else Holds.no))
    # every alternative must have been measured before their absence says anything
    if len(false) == len(terms):
        return _Answer(holds=Holds.no, by=false)
    return _Answer(holds=Holds.unknown, open=tuple(fact for _, fact in told if fact.holds is Holds.unknown))


def _judge(cause: Cause, facts: Mapping[FactName, Fact]) -> Judgement:
    shows = [_answer(terms, facts) for terms in cause.shows]
    because = [_answer(terms, facts) for terms in cause.because]
    denied = [fact for answer in shows + because if answer.holds is Holds.no for fact in answer.by]
    proved = any(answer.holds is Holds.yes for answer in because)
    # its sign is there, or was looked at and cannot be ruled out
    signs = shows[:1] or because
    seen = any(answer.holds is Holds.yes for answer in signs)
    doubtful = any(fact.why is Why.doubtful for answer in signs for fact in answer.open)
    if denied:
        verdict = CauseVerdict.contradicted
    elif proved and (seen or not shows):
        verdict = CauseVerdict.supported
    else:
        verdict = CauseVerdict.not_tested
    return Judgement(
        cause=cause,
        verdict=verdict,
        speak_for=_once(fact for a in because + shows if a.holds is Holds.yes for fact in a.by),
        against=_once(denied),
        open=_once(fact for answer in because + shows for fact in answer.open),
        fits=not denied and (seen or doubtful),
    )


def _once(facts: Iterable[Fact]) -> tuple[Fact, ...]:
    return tuple({fact.name: fact for fact in facts}.values())
