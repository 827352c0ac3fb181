"""What the demonstration tells: what has happened, what the survey as found says, and what was left to try."""

from __future__ import annotations

from pathlib import Path

from alignment.panel.found import PanelResult
from alignment.show.page import Page, Part, Table, Text, items
from alignment.show.words.solution import solution_page
from alignment.train.solve import Solution

__all__ = ["demo_pages"]


def demo_pages(
    place: Path, files: tuple[str, str], before: Solution, found: Solution, left: Solution, panel: PanelResult
) -> tuple[Page, ...]:
    """
    The story, the answer and the files.

    Parameters
    ----------
    place : Path
        Where the files were left.
    files : tuple of str
        Layout and survey that the answer was made from.
    before, found, left : Solution
        Before the machine was moved, as found after it, and as left.
    panel : PanelResult
        The test panel as found.
    """
    layout, survey = files
    days = (
        (_day(before), "before the move", before.verdict.printed),
        (_day(found), "as found, read quickly, each end once", found.verdict.printed),
        (panel.panel.record["taken"], "a tray", panel.verdict.printed if panel.verdict else "-"),
        (_day(left), "as left, read with care", left.verdict.printed),
    )
    again = tuple(Text(words=words) for words in (f"cd {place}", f"stringtrue solve {layout} {survey}"))
    story = Page(
        title="Marram Cold Rooms (invented) dragged its tray former to another bay. Since then trays sweep.",
        parts=(
            Part(blocks=(Table(head=("when", "what", "verdict"), rows=days),)),
            Part(heading="To see what follows again", blocks=again),
        ),
    )
    made = (
        "train.png: the train as read, and after the moves",
        "tray.png: the tray as measured",
        "report.pdf: the record to sign, as found and as left",
        "the files that they are made from. Try them: stringtrue --help",
    )
    files_left = Page(title=f"Left in {place}:", parts=(Part(blocks=items(made)),))
    return story, solution_page(found), files_left


def _day(solution: Solution) -> str:
    return solution.survey.record["taken"]
