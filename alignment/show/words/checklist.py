"""A plan as a checklist: the moves in the order of work, each with the readings to take before going on."""

from __future__ import annotations

import csv
import io
from typing import Final

from alignment.files.tables import safe_text
from alignment.lengths import show
from alignment.show.terminal import caution_lines, wrap
from alignment.show.words.flags import flag_words
from alignment.show.words.moves import by_section, read_again_words, step_lines, string_doubted
from alignment.show.words.phrases import DIRECTIONS
from alignment.show.words.stops import reading_words, stop_words
from alignment.train.moves.plan import Step
from alignment.train.solve import Solution, of_string

__all__ = ["KINDS", "checklist"]

KINDS: Final = (".txt", ".csv")
COLUMNS: Final = (
    "order", "section", "loosen", "pivot", "move", "direction", "point", "reads now", "wanted", "stop at",
    "other point", "then reads", "units", "done", "read after", "read after at other point",
)  # fmt: skip


def checklist(solution: Solution, suffix: str) -> str:
    """
    Write the plan as text with boxes to tick, or as rows for a spreadsheet.

    Parameters
    ----------
    solution : Solution
    suffix : str
        ``.txt`` or ``.csv``.
    """
    return _rows(solution) if suffix.lower() == ".csv" else _text(solution)


def _text(solution: Solution) -> str:
    layout, mark = solution.layout, solution.survey.tape.mark
    units = layout.units
    lines = wrap(f"{layout.name}: moves from {solution.survey.source}")
    lines += ["", "BEFORE A BOLT IS TOUCHED", *caution_lines(), ""]
    if string_doubted(solution):
        lines += [*wrap("Check the string first. These moves are right only if the string stays as it is."), ""]
    again = [flag_words(f, layout) for f in solution.flags if f.harmful and not of_string(f)] + read_again_words(
        solution
    )
    if again:
        lines += ["READ AGAIN FIRST", *(line for text in again for line in wrap(text, "[ ] ")), ""]
    held = [section.name for section in layout.sections if section.hold]
    if held:
        lines += [*wrap(f"Check that these are tight; they stay as they are: {', '.join(held)}.", "[ ] "), ""]
    for number, steps in enumerate(by_section(solution.plan.steps), 1):
        lines.append(f"{number}. {steps[0].section}")
        lines += [line for text in step_lines(steps, layout, mark) for line in wrap(_capital(text), "   [ ] ")]
        lines += wrap("Tighten, then read again:", "   [ ] ")
        points = [(s.watch.point, s.watch.target) for s in steps]
        if len(steps) == 1:
            points.append((steps[0].other.point, steps[0].other.target))
        lines += [f"         {name}: ____________  (wanted {reading_words(at, mark, units)})" for name, at in points]
        lines.append("")
    if not solution.plan.steps:
        lines += ["Nothing to move.", ""]
    lines += wrap(
        "To plan the rest anew after some sections: enter the new readings in a survey and solve it with --done NAME "
        "for each section that is finished."
    )
    return "\n".join(lines) + "\n"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _rows(solution: Solution) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    order = {name: k for k, name in enumerate(dict.fromkeys(s.section for s in solution.plan.steps), 1)}
    for step in solution.plan.steps:
        writer.writerow([safe_text(cell) for cell in (order[step.section], *_cells(step, solution), "", "", "")])
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
        reading_words(step.other.after, mark, units),
        str(units),
    )
