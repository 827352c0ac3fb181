"""``stringtrue work``: at the machine - read, swing, tighten, read again, next."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from . import prompts
from .options import LayoutFile, LogFile, todays_log

if TYPE_CHECKING:
    from alignment.show.words.working import Working

__all__ = ["EXAMPLE", "work"]

EXAMPLE = "Example: stringtrue work machine.toml job.csv"


def work(
    layout: LayoutFile,
    log: LogFile = None,
    by: Annotated[str | None, typer.Option(metavar="NAME", help="Who works.")] = None,
    tape: Annotated[str | None, typer.Option(metavar="NAME", help="Which tape.")] = None,
    mark: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Smallest mark that you read [default: the layout's].")
    ] = None,
) -> None:
    """
    Work at the machine: read, swing, tighten, read again, next.

    Every row is on disk before the next question. Stop any time; the same command goes on.
    """
    from alignment.files import writing
    from alignment.files.disk import read_begun
    from alignment.machine import log_text
    from alignment.machine.layout_file import read_layout
    from alignment.show.words import working
    from alignment.show.words.cautions import FULL

    machine = read_layout(layout)
    file = log or todays_log()
    text = read_begun(file)
    writing.ready_to_renew(file)
    prompts.say([*(f"{number}. {caution}" for number, caution in enumerate(FULL, 1)), ""])
    kept = text
    if text is None or not text.strip():
        record = {"taken": _stamp(), "by": by or "", "tape": tape or "", "mark": mark or ""}
        for key, question in (("by", "Your name: "), ("tape", "Tape, its number or name: ")):
            record[key] = record[key] or prompts.ask(question) or ""
        if not machine.tape.strong_shy:
            told = prompts.ask("Strong and shy too, 3/8+ or 3/8-? [y]: ")
            record["strong_shy"] = "false" if (told or "").strip().lower().startswith("n") else "true"
        text = log_text.begun(record, delimiter="\t" if file.suffix.lower() == ".tsv" else ",")
        prompts.say([f"All goes into {file.name}. {working.KEYS}"])
    done = _work(working.take_up(machine, text, file.name), file, kept)
    if not done.text or (done.text == text and kept is None):
        prompts.say([f"Nothing was read, so there is no {file.name}."])
    elif done.told.act.value != "done":
        prompts.say([f"All in {file.name}. The same command goes on."])
    else:
        prompts.say([f"All in {file.name}. The record: stringtrue report {layout} {file.name} -o report.pdf"])


def _now() -> datetime.datetime:
    return datetime.datetime.now().astimezone()


def _stamp() -> str:
    return f"{_now():%Y-%m-%d %H:%M}"


def _work(step: Working, file: Path, kept: str | None) -> Working:
    """Ask until it is done or the person has had enough, with every row on disk before the next question."""
    from alignment.errors import FileError
    from alignment.files import writing
    from alignment.files.disk import read_begun

    prompts.say(step.says)
    while not step.over:
        after = step.answer(prompts.ask(step.prompt), _stamp())
        try:
            if after.text != step.text:
                writing.renew_text(file, kept, after.text)
                kept = after.text
            step = after
        except writing.ChangedError:
            # somebody else has added to the log: theirs is kept, and the answer is asked for again
            kept = read_begun(file)
            step = step.rebased(kept or step.text, "NOT SAVED: the log was changed elsewhere. It is read anew.")
        except FileError as error:
            step = step.told_so(f"NOT SAVED. {error}")
        prompts.say(step.says)
    return step
