"""A plan as a checklist: the moves in the order of work, each with the readings to take before going on."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Final

from alignment.files.tables import safe_text
from alignment.lengths import show
from alignment.machine.layout import Layout
from alignment.show.page import Block, Item, Items, Page, Part, Text, items
from alignment.show.words import cautions
from alignment.show.words.flags import flag_words
from alignment.show.words.moves import IF_THE_STRING_STAYS, by_section, read_again_words, step_lines, string_doubted
from alignment.show.words.phrases import DIRECTIONS
from alignment.show.words.stops import reading_words, stop_words
from alignment.train.moves.plan import Step
from alignment.train.solve import Solution, of_string

__all__ = ["KINDS", "checklist_page", "checklist_rows"]

KINDS: Final = (".txt", ".csv")
REST: Final = "Enter the new readings in a survey. Solve it with --done NAME for each section that is finished."
COLUMNS: Final = (
    "order", "section", "loosen", "pivot", "move", "direction", "point", "reads now", "wanted", "stop at",
    "other point", "then reads", "units", "done", "read after", "read after at other point",
    "cautions",
)  # fmt: skip


def checklist_page(solution: Solution) -> Page:
    """The plan with boxes to tick and lines to write readings on."""
    layout, mark = solution.layout, solution.survey.tape.mark
    again = [flag_words(f, layout) for f in solution.flags if f.harmful and not of_string(f)]
    again += read_again_words(solution)
    held = [section.name for section in layout.sections if section.hold]
    tight = [f"Check that these are tight; they stay as they are: {', '.join(held)}."] if held else []
    strings = [flag_words(f, layout) for f in solution.flags if of_string(f)]
    doubted = [Text(words=IF_THE_STRING_STAYS)] if string_doubted(solution) else []
    sections: list[Block] = []
    for number, steps in enumerate(by_section(solution.plan.steps), 1):
        sections += [Text(words=f"{number}. {steps[0].section}"), _section(steps, layout, mark)]
    return Page(
        title=f"{layout.name}: moves from {solution.survey.source}",
        parts=(
            Part(heading="Before a bolt is touched", blocks=(cautions.short(),)),
            Part(heading="Check the string first", blocks=items(strings, boxes=True)),
            Part(heading="Read again first", blocks=items(again, boxes=True)),
            Part(heading="Sections on hold", blocks=items(tight, boxes=True)),
            Part(heading="Moves, in this order", blocks=(*doubted, *(sections or [Text(words="Nothing to move.")]))),
            Part(heading="To plan the rest anew", blocks=(Text(words=REST),)),
        ),
    )


def _section(steps: Sequence[Step], layout: Layout, mark: float) -> Items:
    """What to do at one section, and a line for each reading to take."""
    points = [(s.watch.point, s.watch.target) for s in steps]
    if len(steps) == 1:
        points.append((steps[0].other.point, steps[0].other.target))
    lines = tuple(f"{name}: ____________  (wanted {reading_words(at, mark, layout.units)})" for name, at in points)
    todo = [Item(words=_capital(text)) for text in step_lines(steps, layout, mark)]
    return Items(items=(*todo, Item(words="Tighten, then read again:", more=lines)), boxes=True)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def checklist_rows(solution: Solution) -> str:
    """The plan as rows for a spreadsheet."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    order = {name: k for k, name in enumerate(dict.fromkeys(s.section for s in solution.plan.steps), 1)}
    above = " ".join(cautions.SHORT)
    for step in solution.plan.steps:
        cells = (order[step.section], *_cells(step, solution), "", "", "", above)
        writer.writerow([safe_text(cell) for cell in cells])
    return out.getvalue()


def _cells(step: Step, solution: Solution) -> tuple[str, ...]:
    units, mark = solution.layout.units, solution.survey.tape.mark
    return (
        step.section,
        step.loosen,
        step.pivot,
        show(abs(step.move), units),
        DIRECTIONS[step.direction],
        step.watch.point,
        reading_words(step.watch.read, mark, units),
        reading_words(step.watch.target, mark, units),
        stop_words(step.watch.stop, mark, units),
        step.other.point,
        # a prediction: to the nearest mark or half, as a stop is told
        f"about {stop_words(step.other.after, mark, units)}",
        str(units),
    )
