"""The annexes of a record: what was asked for and done, how it is judged, whose limits these are, and the files."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from alignment import __version__
from alignment.choices import Aim, Line
from alignment.lengths import show_both
from alignment.machine.layout import Layout
from alignment.show.page import Block, Item, Items, Page, Part, Table, Text, items
from alignment.show.words import cautions
from alignment.show.words import panel as panel_words
from alignment.show.words.moves import by_section, chance_words, missed_words, read_again_words, step_lines
from alignment.show.words.record import logged, moved, open_parts, story
from alignment.show.words.record_order import panel_when, settings_when
from alignment.show.words.record_readings import as_written
from alignment.show.words.record_state import (
    budget,
    listed,
    panel_part,
    settings_part,
    standing,
    state_tables,
)
from alignment.show.words.solution import summary
from alignment.show.words.sources import SHEAR_SOURCE

if TYPE_CHECKING:
    from alignment.show.paper.job import Job

__all__ = ["RULE", "annex_pages"]

RULE: Final = (
    "A deviation d with the standard uncertainty u is judged against its tolerance T. By the best estimate it is in "
    "tolerance if d, without its sign, is at most T (ISO 14253-1; JCGM 106:2012, 8.3).",
    "It is taken as proved only if it is at least a guard band of U = k u, with k = 2, away from the limit, on either "
    "side. Within the guard band a '?' is added. The percentage beside it is the probability that the true value is "
    "within tolerance, for a normal distribution about the estimate (JCGM 106:2012, 7). What is proved within "
    "tolerance is wrong with a probability of at most 4.6 %.",
    "The offset of a section is judged at each end and told by the worse one, its skew end to end, a joint by its "
    "step. A machine's verdict is the worst of its sections and joints. Deviations are positive if a face is too far "
    "from its string.",
)
METHOD: Final = (
    "A string is stretched along the machine. A tape is read from the face of each section to the string, square to "
    "it. Offset and skew of each section are fitted to its readings by weighted least squares."
)
BUDGET: Final = (
    "The standard uncertainty of a reading is made of its marks (a rectangular distribution as wide as one mark, JCGM "
    "100:2008, 4.3.7), of placing the tape and sighting the string, and of the tape's tilt. It is independent from "
    "reading to reading. The tape's zero is common to all of a survey: it moves offsets, and leaves skews and steps "
    "alone."
)
UNSEEN: Final = (
    "The string sees where faces stand. It sees no roll gap, no height, no wear and no load.",
    "A string that hangs off the true path adds the same skew to every section that is measured from it.",
    "Two strings say nothing of the spacing between rows unless it was measured across.",
    "Square sections do not prove a good panel. A bad panel does not prove bad sections. Sweep alone does not tell the "
    "machine from the coil.",
    "'No change seen' is not 'unchanged': what is smaller than U goes unseen.",
)
SHEAR: Final = "shear clearance"
KEPT: Final = {"same": "same", "changed": "ANOTHER FILE", "missing": "not there"}
LINES: Final = {
    Line.string: "the string",
    Line.fitted: "a line fitted to the sections",
    Line.free: "a line laid beside the string for the easiest plan",
}
AIMS: Final = {
    Aim.fewest: "the fewest bolt ends, then the best chances",
    Aim.least: "the least movement",
    Aim.true: "every end that can be told to be off to go to its target",
}


def annex_pages(job: Job) -> dict[str, Page]:
    """The annexes in their order, by what they hold; pictures stand under ``pictures`` and ``panel``."""
    pages = {
        "work": Page(title="Moves and state", parts=_work(job)),
        "pictures": Page(title="Pictures", parts=(Part(blocks=(cautions.short(),)),)),
        "panel": Page(title="Test panel", parts=(panel_part(job.panel, panel_when(job)),) if job.panel else ()),
        "settings": Page(
            title="Settings", parts=(settings_part(job.settings, settings_when(job)),) if job.settings else ()
        ),
        "photographs": Page(title="Photographs", parts=_photographs(job)),
        "readings": Page(title="Readings and moves" if job.moves else "Readings", parts=_readings(job)),
        "judging": Page(title="Open points, uncertainty and decision rule", parts=_judging(job)),
        "files": Page(title="Program and files", parts=(_files(job),)),
    }
    return {kind: page for kind, page in pages.items() if page.parts}


def _work(job: Job) -> tuple[Part, ...]:
    """Cautions, the moves that are wanted, and each survey's state."""
    return (
        Part(heading="Before anybody goes to the machine", blocks=(cautions.full(),)),
        *_done(job),
        _wanted(job),
        *(standing(name, solution) for name, solution in job.surveys),
    )


def _done(job: Job) -> tuple[Part, ...]:
    """What moved between the two surveys, and what became of the moves that the first asked for."""
    chance = (
        (Text(words=f"As planned from what was found. {chance_words(job.found.plan)}"),) if job.found.plan.steps else ()
    )
    blocks = (*items(story(job)), *chance, *((logged(job),) if job.moves else ()), *moved(job))
    return (Part(heading="Moves asked for and done", blocks=blocks),) if job.comparison else ()


def _wanted(job: Job) -> Part:
    """The moves that the last survey asks for, and what they should come to."""
    last = job.left or job.found
    layout, mark = last.layout, last.survey.tape.mark
    heading = "Moves still wanted, by the survey as left" if job.left else "Moves wanted"
    blocks: list[Block] = [Text(words=summary(last))]
    moves = []
    for steps in by_section(last.plan.steps):
        first, *more = step_lines(steps, layout, mark)
        moves.append(Item(words=f"{steps[0].section}: {first}", more=tuple(more)))
    blocks += listed("Read again first:", read_again_words(last))
    if moves:
        blocks += [cautions.short(), Items(items=tuple(moves), numbered=True)]
    blocks += listed("Still out after these moves:", missed_words(last.plan, layout))
    if moves and job.left is None:
        blocks.append(Text(words=f"After these moves it should read: {last.plan.state.verdict.printed}.", strong=True))
        blocks += state_tables(last.plan.state, layout)
    return Part(heading=heading, blocks=tuple(blocks))


def _photographs(job: Job) -> tuple[Part, ...]:
    """Photographs that the job log names, with their hashes."""
    if not job.photographs:
        return ()
    rows = tuple(
        (p.photo.section, p.photo.point, p.photo.when, p.photo.name, p.photo.sha256, KEPT[p.kept.name])
        for p in job.photographs
    )
    head = ("section", "point", "when", "photograph", "SHA-256", "file")
    note = "As named in the job log, and whether the file beside the log is the same."
    return (Part(blocks=(Table(head=head, rows=rows, note=note),)),)


def _readings(job: Job) -> tuple[Part, ...]:
    """Every row of every file."""
    names = [name for name, _ in job.surveys] if len(job.files) > 1 else [""]
    solved = [solution for _, solution in job.surveys]
    each = [[one] for one in solved] if len(job.files) > 1 else [solved]
    return tuple(as_written(*told, job.written) for told in zip(names, job.files, each, strict=True))


def _judging(job: Job) -> tuple[Part, ...]:
    """What is open, method, decision rule, uncertainty, limits with their sources, and what no string sees."""
    train, plan = job.found.train, job.found.plan
    how = f"{METHOD} Deviations are taken from {LINES[train.line]}. Moves are planned for {AIMS[plan.aim]}."
    return (
        *open_parts(job),
        Part(heading="Method", blocks=(Text(words=how),)),
        Part(heading="Decision rule", blocks=tuple(Text(words=text) for text in RULE)),
        Part(
            heading="Uncertainty of the readings",
            blocks=(Text(words=BUDGET), *(budget(name, solution) for name, solution in job.surveys)),
        ),
        Part(heading="Limits and their sources", blocks=(_limits(job),)),
        Part(heading="What the string does not see", blocks=items(UNSEEN)),
    )


def _limits(job: Job) -> Table:
    layout, units, t = job.layout, job.layout.units, job.layout.tolerance
    rows = [
        ("machine", what, f"{show_both(getattr(t, key), units)} {units.plural}", _origin(layout, key))
        for key, what in (
            ("offset", "offset at either end"),
            ("square", "square, end to end"),
            ("step", "step at a joint"),
            ("opening", "opening, taper"),
        )
    ]
    if job.panel:
        rows += [("panel", *told) for told in panel_words.limit_words(job.panel)]
    if job.settings:
        rows.append(("settings", "all", "as in their table", f"own numbers, {job.settings.settings.source}"))
        if any(s.setting.kind == "shear" and np.isnan(s.setting.wanted) for s in job.settings.states):
            rows.append(("settings", SHEAR, "2 to 10 % of thickness", SHEAR_SOURCE))
    alike: dict[tuple[str, str, str], list[str]] = {}
    for of, what, limit, source in rows:
        alike.setdefault((of, limit, source), []).append(what)
    return Table(
        head=("of the", "what", "limit", "source"),
        rows=tuple((of, "; ".join(whats), limit, source) for (of, limit, source), whats in alike.items()),
    )


def _origin(layout: Layout, key: str) -> str:
    """Whose number a tolerance is: the layout's, or this program's where the layout leaves it or all of them out."""
    if {"tolerance", f"tolerance.{key}"} & set(layout.assumed):
        return f"stringtrue's default, our judgement, no source: {layout.source} has none"
    return f"own number, {layout.source}"


def _files(job: Job) -> Part:
    """The program, and every file with its hash."""
    note = "SHA-256 of each file. A file that gives another one is not the file that this record was made from."
    return Part(
        blocks=(
            Text(words=f"Made with stringtrue {__version__}. Everything printed here is worked out from these files."),
            Table(head=("what", "file", "SHA-256"), rows=tuple(job.digests), note=note),
        ),
    )
