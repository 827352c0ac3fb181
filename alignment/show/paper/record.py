"""
The record of a job, to be signed: as found, what was done, as left, and everything that it rests on.

Made as plain data for the template: titled parts of paragraphs, lists, tables and pictures, all text. Nothing here is
worked out anew; what is said is said by the modules that know it.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from alignment import __version__
from alignment.choices import Aim, Line, Paper
from alignment.lengths import Units, decimal, show, show_both, show_exact
from alignment.machine.layout import Layout
from alignment.machine.survey import Survey
from alignment.settings.judging import SHEAR_SOURCE
from alignment.show.paper.job import Job
from alignment.show.paper.record_front import front, other_machine, panel_when, settings_when, signed
from alignment.show.paper.record_parts import (
    Block,
    budget,
    itemized,
    panel_found,
    paragraph,
    raw_readings,
    settings_found,
    standing,
    state_tables,
    table,
)
from alignment.show.paper.typesetting import typeset
from alignment.show.pictures import record as report_plots
from alignment.show.pictures.record import Picture
from alignment.show.terminal import wrap
from alignment.show.words import comparison as comparison_wording
from alignment.show.words import panel as panel_wording
from alignment.show.words import panel_doubts
from alignment.show.words import settings as settings_wording
from alignment.show.words.cautions import FULL
from alignment.show.words.comparison import move_words
from alignment.show.words.moves import by_section, doubted, missed_words, step_lines
from alignment.show.words.phrases import counted
from alignment.show.words.solution import doubts, summary
from alignment.uncertainty import COVERAGE

__all__ = ["parts", "render", "told"]

RECORD: Final = ("taken", "by", "tape", "string", "temperature", "place")
"""Lines of a survey's record that a reader of the report looks for, there or not."""
RULE: Final = (
    "A deviation d with the standard uncertainty u is judged against its tolerance T. By the best estimate it is OK "
    "where d, without its sign, is at most T, and 'out' where it is more (ISO 14253-1; JCGM 106:2012, 8.3).",
    "It is taken as proved only where it lies at least a guard band of U = k u, with k = 2, away from the limit, on "
    "either side. Within the guard band a '?' is added: OK? and OUT? are best estimates that these readings do not "
    "prove. The percentage beside them is the probability that the true value is within tolerance, for a normal "
    "distribution about the estimate (JCGM 106:2012, 7). An OK without '?' is wrong with a probability of at most "
    "4.6 %.",
    "The offset of a section is judged at the worse of its two ends, its skew end to end, a joint by its step. A "
    "machine's verdict is the worst of its sections and joints, in the order OUT, OUT?, ?, OK?, OK. Deviations are "
    "positive where a face is too far from its string.",
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
    "Square sections do not prove a good panel, nor does a bad panel prove bad sections. Sweep alone does not tell the "
    "machine from the coil.",
    "'No change seen' is not 'unchanged': what is smaller than U goes unseen.",
)
LINES: Final = {
    Line.string: "the string",
    Line.fitted: "a line fitted to the sections",
    Line.free: "a line laid beside the string for the easiest plan",
}
AIMS: Final = {
    Aim.fewest: "the fewest bolt ends, then the least movement",
    Aim.least: "the least movement",
    Aim.exact: "the targets themselves, to the nearest notch",
}
Part = dict[str, Any]


def told(job: Job, file: str) -> str:
    """What to say of a report that was written."""
    return "\n".join([f"{file}: the record of {job.layout.name}", *(x for s in front(job) for x in wrap(s))]) + "\n"


def render(job: Job, paper: Paper, made: datetime.date) -> bytes:
    """The report as a PDF."""
    pictures: dict[str, bytes] = {}
    data = {
        "paper": "us-letter" if paper is Paper.letter else paper.value,
        "made": [made.year, made.month, made.day],
        "version": __version__,
        "machine": job.layout.name,
        "title": "Alignment record",
        "summary": front(job),
        "parts": parts(job, pictures),
    }
    return typeset("record", data, pictures)


def parts(job: Job, pictures: dict[str, bytes]) -> list[Part]:
    """
    The parts of a report in their order; one that would have nothing in it is left out.

    Parameters
    ----------
    job : Job
    pictures : dict
        Takes the drawings, SVG by the names that the parts give them.
    """
    first, *second = (_part(name, standing(solution)) for name, solution in job.surveys)
    found = [
        _part("Record", _record(job)),
        _part("How it is judged", [paragraph(text) for text in RULE]),
        _part("Cautions", itemized(FULL)),
        first,
        _part("What was done" if job.comparison else "Moves wanted", _done(job)),
        *second,
        _part("Test panel", [*panel_found(job.panel), paragraph(panel_when(job))] if job.panel else []),
        _part("Settings", [*settings_found(job.settings), paragraph(settings_when(job))] if job.settings else []),
        _part("Pictures", _drawn(_pictures(job), pictures), wide=True),
        *(_part(f"Readings, {name.lower()}", raw_readings(solution, job.written)) for name, solution in job.surveys),
        _part("Uncertainty of the readings", [paragraph(BUDGET), *(budget(name, s) for name, s in job.surveys)]),
        _part("Limits and their sources", _limits(job)),
        _part("What the readings leave open", _open(job)),
        _part("What the string does not see", itemized(UNSEEN)),
        _part("Program and files", _files(job)),
        _part("Signatures", _signatures(job)),
    ]
    return [part for part in found if part["blocks"]]


def _part(title: str, blocks: Sequence[Block], *, wide: bool = False) -> Part:
    return {"title": title, "blocks": list(blocks), "wide": wide}


def _record(job: Job) -> list[Block]:
    layout, units = job.layout, job.layout.units
    strip = layout.strip
    made = [f"{show(strip.width, units)} {units} wide"] if strip.width else []
    made += [f"{decimal(strip.thickness, units)} {units} thick"] if strip.thickness else []
    made += [strip.material] if strip.material else []
    machine = [("Machine", layout.name), ("Layout", layout.source), ("Units", units.plural)]
    machine += [("Strip", ", ".join(made))] if made else []
    rows = [f"{row}: {counted(len(layout.row_sections(row)), 'section')}" for row in layout.rows]
    machine += [("Rows", "; ".join(rows)), ("Deviations from", LINES[job.found.train.line])]
    machine += [("Moves planned for", AIMS[job.found.plan.aim])]
    names = ["Survey", *RECORD, "mark", "set", "tilt", "zero"]
    extra = {k: None for _, s in job.surveys for k in s.survey.record if k not in names and k != "units"}
    told = [[name, *(_recorded(name, s.survey, units) for _, s in job.surveys)] for name in (*names, *extra)]
    head = ["", *(name for name, _ in job.surveys)]
    return [
        table(["", ""], machine, "ln", title="The machine"),
        table(head, told, "l" + "n" * len(job.surveys), title="The surveys"),
    ]


def _recorded(name: str, survey: Survey, units: Units) -> str:
    tape = survey.tape
    lengths = {"mark": tape.mark, "set": tape.set_u, "zero": tape.zero}
    if name == "Survey":
        return survey.source
    if name in lengths:
        exact = name == "mark"
        return f"{show_exact(lengths[name], units) if exact else decimal(lengths[name], units, places=4)} {units}"
    return f"{tape.tilt:g} degrees" if name == "tilt" else survey.record.get(name, "not recorded")


def _done(job: Job) -> list[Block]:
    """What became of the planned moves, and what is still wanted."""
    blocks = []
    if job.comparison:
        comparison, units = job.comparison, job.layout.units
        rows = [
            [m.section, m.bolt_end, *_amounts(job.layout, m.section, m.planned, m.done, m.u), str(m.outcome)]
            for m in comparison.moves
        ]
        blocks = [paragraph(" ".join(comparison_wording.sentences(comparison)))]
        if rows:
            head = ["section", "bolt end", "planned", "done", "U", "outcome"]
            title = "The moves that the survey as found asks for, and what the survey as left shows of them"
            blocks.append(table(head, rows, "nlllrl", title=title, note=f"{units.plural}; U = 2u."))
        else:
            blocks.append(paragraph("The survey as found asks for no moves."))
    last = job.left or job.found
    wanted = "Still wanted, by the survey as left" if job.left else "In this order"
    layout, unsure = last.layout, doubted(last)
    moves: list[list[Any]] = []
    for number, steps in enumerate(by_section(last.plan.steps), 1):
        again = ["only if it still reads so when read again:"] if steps[0].section in unsure else []
        moves.append([str(number), steps[0].section, {"lines": [*again, *step_lines(steps, layout)]}])
    if moves:
        blocks.append(paragraph(summary(last)))
        title = f"{wanted}; read the cautions of this record before a bolt is touched"
        blocks.append(table(["", "section", "move"], moves, "lnw", title=title, note=layout.units.plural))
    elif job.left is None:
        blocks.append(paragraph(summary(last)))
    blocks += itemized(missed_words(last.plan, layout), "Not brought in:")
    if moves and job.left is None:
        blocks += [paragraph(f"After these moves it should read: {last.plan.state.verdict.printed}.", strong=True)]
        blocks += state_tables(last.plan.state, layout)
    return blocks


def _amounts(layout: Layout, section: str, planned: float, done: float, u: float) -> list[str]:
    row, units = layout.rows[layout.sections[layout.index[section]].row], layout.units
    if np.isnan(done):
        return [move_words(planned, row, units), "", ""]
    return [*(move_words(move, row, units) for move in (planned, done)), decimal(COVERAGE * u, units)]


def _pictures(job: Job) -> list[Picture]:
    found = [
        picture
        for name, solution in job.surveys
        for picture in report_plots.state_pictures(solution, f"{name}: {comparison_wording.dated(solution.survey)}")
    ]
    if job.comparison:
        found.append(report_plots.comparison_pictures(job.comparison))
    elif job.found.plan.steps:
        found += report_plots.state_pictures(job.found, "After the moves, as the tape should then read", after=True)
    return [*found, report_plots.panel_picture(job.panel)] if job.panel else found


def _drawn(drawings: Sequence[Picture], pictures: dict[str, bytes]) -> list[Block]:
    blocks = []
    for k, drawing in enumerate(drawings):
        names = [f"picture-{k}-{j}.svg" for j in range(len(drawing.strips))]
        pictures.update(zip(names, drawing.strips, strict=True))
        blocks.append({"kind": "pictures", "title": drawing.title, "key": drawing.key, "names": names})
    return blocks


def _limits(job: Job) -> list[Block]:
    layout, units = job.layout, job.layout.units
    rows = [
        [f"{what} (machine)", f"{show_both(getattr(layout.tolerance, key), units)} {units}", _origin(layout, key)]
        for key, what in (
            ("offset", "offset at either end"),
            ("square", "square, end to end"),
            ("step", "step at a joint"),
            ("opening", "opening, taper"),
        )
    ]
    if job.panel:
        rows += [[f"{whats} (panel)", says, source] for whats, says, source in panel_wording.limit_words(job.panel)]
    if job.settings:
        rows.append(["settings", "as in their table", f"own numbers, {job.settings.settings.source}"])
        if any(s.setting.kind == "shear" and np.isnan(s.setting.wanted) for s in job.settings.states):
            rows.append(["shear clearance (settings)", "2 to 10 % of thickness", SHEAR_SOURCE])
    return [table(["of what", "limit", "source"], rows, "nnw")]


def _origin(layout: Layout, key: str) -> str:
    """Whose number a tolerance is: the layout's, or this program's where the layout leaves it or all of them out."""
    if {"tolerance", f"tolerance.{key}"} & set(layout.assumed):
        return f"stringtrue's default, our judgement, no source: {layout.source} has none"
    return f"own number, {layout.source}"


def _signatures(job: Job) -> list[Block]:
    """What is signed, how it may be accepted, and by whom."""
    return [
        paragraph(signed(job), strong=True),
        *(paragraph(text, strong=True) for text in other_machine(job)),
        {
            "kind": "signatures",
            "boxes": ["accepted", "accepted with open points", "rejected"],
            "roles": ["Read by", "Moved and tightened by", "Checked by"],
        },
    ]


def _open(job: Job) -> list[Block]:
    blocks = []
    for name, solution in job.surveys:
        blocks += itemized(doubts(solution), f"{name}:")
    if job.comparison:
        blocks += itemized(comparison_wording.doubts(job.comparison), "Before and after:")
    if job.panel:
        blocks += itemized(panel_doubts.doubts(job.panel), "Test panel:")
    if job.settings:
        blocks += itemized(settings_wording.doubts(job.settings), "Settings:")
    return [*blocks, *(paragraph(text) for text in other_machine(job))]


def _files(job: Job) -> list[Block]:
    rows = [[what, name, {"code": digest}] for what, name, digest in job.digests]
    note = "SHA-256 of the bytes of each file: a file that gives another one is not the file this record was made from."
    return [
        paragraph(f"Made with stringtrue {__version__}, which works out what is printed here from these files alone."),
        table(["what", "file", "SHA-256"], rows, "lnl", note=note),
    ]
