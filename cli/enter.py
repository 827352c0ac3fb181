"""``stringtrue enter``: taking the readings one by one."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from . import output, prompts
from .options import LayoutFile, section_names, whole

if TYPE_CHECKING:
    from alignment.show.words.entering import Entering

__all__ = ["EXAMPLE", "enter"]

EXAMPLE = "Example: stringtrue enter machine.toml as-found.csv"


def enter(
    layout: LayoutFile,
    survey: Annotated[Path, typer.Argument(metavar="SURVEY", help="The readings: a .csv or .tsv file, new or begun.")],
    repeats: Annotated[int, typer.Option(help="How many times to read every point.", **whole(1, 20))] = 1,
    section: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", autocompletion=section_names, help="Read this section only; may be repeated."),
    ] = None,
    by: Annotated[str | None, typer.Option(metavar="NAME", help="Who reads.")] = None,
    tape: Annotated[str | None, typer.Option(metavar="NAME", help="Which tape.")] = None,
    mark: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Smallest mark that you read [default: the layout's].")
    ] = None,
) -> None:
    """
    Take the readings one by one, checking each.

    Every reading is on disk before the next is asked. Stop any time; the same command goes on.
    """
    from alignment.files import writing
    from alignment.files.disk import read_begun
    from alignment.machine.layout_file import read_layout
    from alignment.machine.survey_files import read_survey
    from alignment.show.json.solution import as_json
    from alignment.show.words import entering
    from alignment.show.words.solution import solution_page
    from alignment.train import solve as solution

    machine = read_layout(layout)
    text = read_begun(survey)
    writing.ready_to_renew(survey)
    record = {"taken": _now(), "by": by or "", "tape": tape or "", "mark": mark or ""}
    # what is wrong with the files or the options is told before anything is asked
    with output.named("--section"):
        step = entering.enter(machine, text, survey.name, record=record, repeats=repeats, sections=section or ())
    if not step.entry.taken:
        for key, question in (("by", "Your name: "), ("tape", "Tape, its number or name: ")):
            record[key] = record[key] or prompts.ask(question) or ""
        step = entering.enter(machine, text, survey.name, record=record, repeats=repeats, sections=section or ())
        prompts.say(["Type each reading. ? explains, Enter skips, b goes back, q stops."])
    step = _take(step, survey, text)
    if not step.entry.taken:
        prompts.say([f"Nothing was read; {survey.name} is as it was."])
        return
    go_on = "" if step.entry.complete else " The same command goes on."
    prompts.say([f"{step.entry.done} of {len(step.entry.asks)} read, all in {survey.name}.{go_on}"])
    if step.entry.complete:
        readings = read_survey(survey, machine)
        prompts.say([""])
        output.say(solution_page, as_json, solution.solve(machine, readings), json=False)


def _now() -> str:
    return f"{datetime.datetime.now().astimezone():%Y-%m-%d %H:%M}"


def _take(step: Entering, survey: Path, kept: str | None) -> Entering:
    """Ask until the person has had enough, with every accepted reading on disk before the next question."""
    from alignment.errors import FileError
    from alignment.files import writing

    while not step.over:
        prompts.say(step.says)
        after = step.answer(prompts.ask(step.prompt), _now())
        try:
            if after.text != step.text:
                writing.renew_text(survey, kept, after.text)
                kept = after.text
            step = after
        except FileError as error:
            step = step.told_so(f"NOT SAVED. {error}")
    return step
