"""A plan as a checklist: the moves in the order of work, each with the readings to take before going on."""

from __future__ import annotations

import csv
import io
from typing import Final

from alignment.files.tables import safe_text
from alignment.lengths import show, show_both
from alignment.show.terminal import caution_lines, wrap
from alignment.show.words.moves import by_section, doubted, step_lines, string_doubted
from alignment.train.moves.plan import Step
from alignment.train.solve import Solution

__all__ = ["KINDS", "checklist"]

KINDS: Final = (".txt", ".csv")
COLUMNS: Final = (
    "order", "section", "loosen", "snug", "move", "direction", "point", "reads now", "stop at",
    "other point", "then reads", "units", "first", "done", "read after", "read after at other point",
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
    layout, doubts = solution.layout, doubted(solution)
    lines = wrap(f"{layout.name}: moves from {solution.survey.source}")
    lines += ["", "BEFORE A BOLT IS TOUCHED", *caution_lines(), ""]
    if wait := string_doubted(solution):
        lines += [*wrap(wait), ""]
    held = [section.name for section in layout.sections if section.hold]
    if held:
        lines += [*wrap(f"Check that these are snug; they stay as they are: {', '.join(held)}.", "[ ] "), ""]
    for number, steps in enumerate(by_section(solution.plan.steps), 1):
        lines.append(f"{number}. {steps[0].section}")
        if steps[0].section in doubts:
            lines += wrap("read its points again first; go on only if they still read so", "   [ ] ")
        lines += [line for text in step_lines(steps, layout) for line in wrap(text.strip(), "   [ ] ")]
        lines += wrap("tighten, then read again:", "   [ ] ")
        for watch in (steps[0].watch, steps[0].other):
            wanted = show_both(watch.after, layout.units)
            lines.append(f"         {watch.point}: ____________  (wanted {wanted})")
        lines.append("")
    if not solution.plan.steps:
        lines += ["Nothing to move.", ""]
    lines += wrap(
        "To plan the rest anew after some sections: enter the new readings in a survey and solve it with --done NAME "
        "for each section that is finished."
    )
    return "\n".join(lines) + "\n"


def _rows(solution: Solution) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    doubts = doubted(solution)
    order = {name: k for k, name in enumerate(dict.fromkeys(s.section for s in solution.plan.steps), 1)}
    for step in solution.plan.steps:
        first = "read again first" if step.section in doubts else ""
        writer.writerow([safe_text(cell) for cell in (order[step.section], *_cells(step, solution), first, "", "", "")])
    return out.getvalue()


def _cells(step: Step, solution: Solution) -> tuple[str, ...]:
    units, notch = solution.layout.units, solution.layout.moves.notch
    return (
        step.section,
        step.loosen,
        step.snug,
        show(abs(step.move), units, to=notch),
        step.way,
        step.watch.point,
        show(step.watch.before, units),
        show(step.watch.after, units),
        step.other.point,
        show(step.other.after, units),
        str(units),
    )
