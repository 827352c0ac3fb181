"""The first page of a record, which is signed: which machine, what was found, what was moved, what is still open."""

from __future__ import annotations

import hashlib
import itertools
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from alignment.lengths import Units, decimal, show, show_both, show_exact
from alignment.machine.layout import Layout
from alignment.machine.survey import Survey
from alignment.show.letters import cut
from alignment.show.page import Block, Page, Part, Table, Text, items
from alignment.show.words import cautions, panel_doubts
from alignment.show.words import comparison as comparison_words
from alignment.show.words import panel as panel_words
from alignment.show.words import settings as settings_words
from alignment.show.words.flags import flag_words
from alignment.show.words.phrases import counted
from alignment.show.words.record_order import other_machine, panel_when, settings_when, signed
from alignment.show.words.solution import summary
from alignment.show.words.solution_doubts import doubts
from alignment.train.state import JointState, SectionState
from alignment.uncertainty import COVERAGE, Verdict

if TYPE_CHECKING:
    from alignment.show.paper.job import Job

__all__ = [
    "BOXES",
    "OPEN_POINTS",
    "ROLES",
    "SIGNED_HEADS",
    "TITLE",
    "VOUCHES",
    "front_page",
    "logged",
    "moved",
    "number",
    "open_parts",
    "story",
    "told_page",
]

TITLE: Final = "Alignment record"
BOXES: Final = ("accepted", "accepted with open points", "rejected")
OPEN_POINTS: Final = "Open points accepted:"
ROLES: Final = ("Read by", "Moved and tightened by", "Checked and released by")
SIGNED_HEADS: Final = ("name", "signature", "date")
VOUCHES: Final = (
    "Worked out by stringtrue from the user's own readings. It says how this machine stood at these times, as far as "
    "these readings tell, and no more. No accredited laboratory made or checked it. Copy it whole."
)
NAMED: Final = {
    "taken": "when",
    "by": "read by",
    "tape": "tape",
    "string": "string",
    "place": "place",
    "temperature": "temperature",
}
"""Lines of a survey's record that a reader looks for, there or not, and what they are called."""
MISSING: Final = "not recorded"
NAME: Final = 28
"""Letters of a name that fit the tables of the first page."""
LISTED: Final = 16
"""Sections that the first page has room for; beyond, the worst of them."""
MOVED: Final = 6
"""Moves that the first page has room for."""
STEPS: Final = 3
"""Joints that the first page has room for."""
LETTERS: Final = 600
"""Letters of a list that the first page has room for."""


def number(job: Job) -> str:
    """Number of a record, made from the hashes of its files: the same files give the same number."""
    digest = hashlib.sha256("".join(digest for _, _, digest in job.digests).encode()).hexdigest()
    return "-".join(digest[k : k + 4] for k in (0, 4, 8))


def told_page(job: Job, file: str) -> Page:
    """What to say of a record that was written."""
    said = [signed(job), *other_machine(job), *story(job)]
    if job.panel:
        said.append(f"Test panel {job.panel.panel.name}: {panel_words.short_verdict(job.panel)}. {panel_when(job)}")
    if job.settings:
        said.append(f"Settings: {settings_words.summary(job.settings)} {settings_when(job)}")
    parts = (Part(blocks=(*_cautions(job), *(Text(words=text) for text in said))),)
    return Page(title=f"{file}: the record of {job.layout.name}, number {number(job)}", parts=parts)


def front_page(job: Job) -> Page:
    """The page that is signed."""
    verdicts = [Text(words=text, strong=True) for text in (signed(job), *other_machine(job))]
    told = [Text(words=text) for text in _in_short(story(job))]
    return Page(
        title=f"{TITLE}: {job.layout.name}",
        parts=(
            Part(blocks=(*verdicts, *told)),
            Part(heading="Machine and readings", blocks=_identified(job)),
            Part(heading="Wanted, as found, as left" if job.left else "Wanted and as read", blocks=_ends(job)),
            Part(heading="What was moved", blocks=_moved_in_short(job)),
            Part(heading="Open points", blocks=_open_in_short(job)),
        ),
    )


def story(job: Job) -> list[str]:
    """What moved between the surveys, or what the one survey asks for."""
    return list(comparison_words.sentences(job.comparison)) if job.comparison else [summary(job.found)]


def _identified(job: Job) -> tuple[Block, ...]:
    """Which machine and which surveys: when, who, with what, where."""
    layout, units = job.layout, job.layout.units
    rows = ", ".join(f"{row} {counted(len(layout.row_sections(row)), 'section')}" for row in layout.rows)
    strip = layout.strip
    made = [f"{_length(show(strip.width, units), layout)} wide"] if strip.width else []
    made += [f"{_length(decimal(strip.thickness, units), layout)} thick"] if strip.thickness else []
    made += [strip.material] if strip.material else []
    machine = f"Machine: {layout.name} ({layout.source}). Rows: {rows}."
    machine += f" Strip: {', '.join(made)}." if made else ""
    own = {"mark", "set", "tilt", "zero", "strong_shy", "units", *NAMED}
    extra = {k: k for _, s in job.surveys for k in s.survey.record if k not in own}
    told = [
        ("file", *(s.survey.source for _, s in job.surveys)),
        *(
            (called, *(_recorded(name, s.survey, layout) for _, s in job.surveys))
            for name, called in (NAMED | extra).items()
        ),
    ]
    return (
        Text(words=machine),
        Table(head=("", *(name.lower() for name, _ in job.surveys)), rows=tuple(told)),
    )


def _recorded(name: str, survey: Survey, layout: Layout) -> str:
    said = survey.record.get(name, "")
    if name == "tape":
        mark = f"marks {_length(show_exact(survey.tape.mark, layout.units), layout)}"
        return f"{said}, {mark}" if said else f"{MISSING}, {mark}"
    return said or MISSING


def _length(number: str, layout: Layout) -> str:
    """A length with its unit; inches by their sign, since 'in' is a word."""
    return f'{number}"' if layout.units is Units.inch else f"{number} {layout.units}"


def _ends(job: Job) -> tuple[Block, ...]:
    """Both ends of each section: what is wanted, what was read, what it is worth and how it is judged."""
    layout, units, t = job.layout, job.layout.units, job.layout.tolerance
    last = job.surveys[-1][1].state
    pairs = list(zip(*(s.state.sections for _, s in job.surveys), strict=True))
    shown = pairs
    note = f"{units.plural.capitalize()}, face to string"
    if len(pairs) > LISTED:
        shown = sorted(pairs, key=lambda pair: -pair[-1].verdict.rank)[:LISTED]
        note = f"The {LISTED} worst of {len(pairs)} sections; all are in annex A. {note}"
    rows, names = [], _names(layout)
    for states in shown:
        left = states[-1]
        cells = [names[left.name], _wanted(left, layout)]
        for state in states:
            cells += [show(end.reading, units) if end else "-" for end in (state.entry, state.exit)]
        known = left.entry is not None and left.exit is not None
        cells.append(decimal(max(e.deviation.expanded for e in (left.entry, left.exit) if e), units) if known else "-")
        cells += [end.deviation.verdict.printed if end else "not read" for end in (left.entry, left.exit)]
        cells.append(left.skew.verdict.printed if left.skew else "-")
        rows.append(tuple(cells))
    when = [name.lower().removeprefix("as ") for name, _ in job.surveys]
    head = ["section", "wanted", *(f"{name}, {end}" for name in when for end in ("entry", "exit"))]
    head += ["U", "entry", "exit", "square"]
    note += (
        f". U = 2u. U and verdicts are of what is {job.surveys[-1][0].lower()}. Tolerance at either end "
        f"{show_both(t.offset, units)}, square {show_both(t.square, units)} end to end, step "
        f"{show_both(t.step, units)}."
    )
    table = Table(head=tuple(head), rows=tuple(rows), align="l" + "r" * (len(head) - 4) + "lll", note=note)
    return (table, *(Text(words=text) for text in _steps(last.joints, layout)))


def _names(layout: Layout) -> dict[str, str]:
    """Names that fit the first page; longer ones lose the end that all share, or their middle."""
    names = [s.name for s in layout.sections]
    letters = zip(*(name[::-1] for name in names), strict=False)
    alike = sum(1 for _ in itertools.takewhile(lambda last: len(set(last)) == 1, letters)) if len(names) > 1 else 0
    ends = {name: name if len(name) <= NAME or alike < 3 else name[:-alike].rstrip(" ,") + ".." for name in names}
    return {name: cut(end, NAME) for name, end in ends.items()}


def _wanted(state: SectionState, layout: Layout) -> str:
    """The reading wanted at both ends, which differs where deviations are taken from a line."""
    ends = [end for end in (state.entry, state.exit) if end]
    return " / ".join(dict.fromkeys(show(end.target, layout.units) for end in ends)) if ends else _target(state, layout)


def _target(state: SectionState, layout: Layout) -> str:
    section = layout.sections[layout.index[state.name]]
    target = layout.rows[section.row].target
    return show(target + section.setback, layout.units) if target is not None else "-"


def _steps(joints: Sequence[JointState], layout: Layout) -> list[str]:
    """The first joints that are not proved OK, in one line; that all are where they are."""
    if not joints:
        return []
    open_ = [j for j in joints if j.step is None or j.step.verdict is not Verdict.ok]
    if not open_:
        return [f"Steps at joints: all {len(joints)} OK."]
    said = [
        f"{j.upstream} / {j.downstream} not measured"
        if j.step is None
        else f"{j.upstream} / {j.downstream} {show(j.step.value, layout.units, signed=True)} "
        f"(U {decimal(j.step.expanded, layout.units)}) {j.step.verdict.printed}"
        for j in open_[:STEPS]
    ]
    rest, more = len(joints) - len(open_), len(open_) - len(said)
    tail = f" {more} more in annex A." if more else ""
    return [f"Steps at joints: {'; '.join(said)}.{tail}" + (f" The other {rest} OK." if rest else "")]


def _moved_in_short(job: Job) -> tuple[Block, ...]:
    """The first of the bolt ends that were moved, and how many more there are."""
    first = logged(job) if job.moves else moved(job)[0]
    if not isinstance(first, Table) or len(first.rows) <= MOVED:
        return (first,)
    names = _names(job.layout)
    rows = tuple((names[name], *cells) for name, *cells in first.rows[:MOVED])
    more = Text(words=f"{len(first.rows) - MOVED} more in annex A.")
    return (Table(head=first.head, rows=rows, align=first.align, note=first.note), more)


def logged(job: Job) -> Table:
    """Bolt ends that were moved, as the job log has them, in its order."""
    units = job.layout.units
    rows = tuple(
        (
            move.section,
            ("entry", "exit")[move.end],
            "nobody looked" if move.stop is None else show(move.stop, units),
            move.when,
            move.note,
        )
        for move in job.moves
    )
    note = f"From the job log. Stopped at: what the tape read there, in {units.plural}."
    head = ("section", "bolt end", "stopped at", "when", "note")
    keep = [k for k in range(len(head)) if k < 3 or any(row[k] for row in rows)]
    return Table(head=tuple(head[k] for k in keep), rows=tuple(tuple(row[k] for k in keep) for row in rows), note=note)


def moved(job: Job) -> tuple[Block, ...]:
    """Bolt ends that were moved, as far as the two surveys tell."""
    if job.comparison is None:
        return (Text(words="Nothing is on record as moved: there is one survey. What it asks for is in annex A."),)
    layout, units = job.layout, job.layout.units
    rows = []
    for move in job.comparison.moves:
        row = layout.rows[layout.sections[layout.index[move.section]].row]
        told = not math.isnan(move.done)
        rows.append(
            (
                move.section,
                move.bolt_end,
                comparison_words.move_words(move.planned, row, units),
                comparison_words.move_words(move.done, row, units) if told else "-",
                decimal(COVERAGE * move.u, units) if told else "-",
                str(move.outcome),
            )
        )
    if not rows:
        return (Text(words="The survey as found asks for no moves."),)
    head = ("section", "bolt end", "asked for", "done", "U", "outcome")
    return (
        Table(head=head, rows=tuple(rows), align="llllrl", note=f"{units.plural.capitalize()} at the bolt; U = 2u."),
    )


def _in_short(texts: Sequence[str]) -> list[str]:
    """As many of the first texts as there is room for, and how many more there are."""
    lengths = list(itertools.accumulate(map(len, texts)))
    shown = [text for text, length in zip(texts, lengths, strict=True) if length <= LETTERS]
    return [*shown, f"{len(texts) - len(shown)} more in annex A."] if len(shown) < len(texts) else shown


def _open_in_short(job: Job) -> tuple[Block, ...]:
    """The first of the open points, and how many more there are."""
    said = _open_points(job)
    if not said:
        return (Text(words="None known."),)
    return (*_cautions(job), *items(_in_short(said)))


def _cautions(job: Job) -> tuple[Block, ...]:
    """The short cautions, over what sends a person to the machine: moves that are wanted, readings to take again."""
    _, last = job.surveys[-1]
    return (cautions.short(),) if last.plan.steps or last.plan.missed or doubts(last) else ()


def _open_points(job: Job) -> list[str]:
    """What is open where the record is signed, most telling first."""
    name, last = job.surveys[-1]
    said = [f"{name}: {flag_words(flag, last.layout)}" for flag in last.flags if flag.harmful]
    said += [f"{name}: {text}" for text in doubts(last)]
    if job.panel and (panel := panel_words.again(job.panel)):
        said += [f"Test panel: {text}" for text in panel]
    said += [f"Test panel. {panel_when(job)}"] if job.panel else []
    said += [f"Settings. {settings_when(job)}"] if job.settings else []
    return said


def open_parts(job: Job) -> tuple[Part, ...]:
    """Everything that the measurements leave open."""
    told = [(name, doubts(s)) for name, s in job.surveys]
    if job.comparison:
        told.append(("Before and after", comparison_words.doubts(job.comparison)))
    if job.panel:
        told.append(("Test panel", panel_doubts.doubts(job.panel)))
    if job.settings:
        told.append(("Settings", settings_words.doubts(job.settings)))
    blocks: list[Block] = []
    for name, said in told:
        if said:
            blocks += [Text(words=f"{name}:", strong=True), *items(said)]
    return (Part(heading="What the readings leave open", blocks=tuple(blocks)),)
