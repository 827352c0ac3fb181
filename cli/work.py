"""``stringtrue work``: at the machine - read, swing, tighten, read again, next."""

from __future__ import annotations

from typing import Annotated

import typer

from . import prompts
from .options import LayoutFile, LogFile, job_log

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
    from alignment.show.words import cautions, working

    machine = read_layout(layout)
    file = log or job_log(machine)
    writing.ready_to_renew(file)
    text = read_begun(file)
    prompts.say(cautions.opening(bool(text and text.strip())))
    kept = text
    if text is None or not text.strip():
        record = {"taken": prompts.now(), "by": by or "", "tape": tape or "", "mark": mark or ""}
        prompts.who(record)
        if not machine.tape.strong_shy:
            told = prompts.yes("Do you read over and under a mark, 3/8+ or 3/8-? y or n [y]: ")
            record["strong_shy"] = "true" if told else "false"
        text = log_text.begun(record, delimiter="\t" if file.suffix.lower() == ".tsv" else ",")
        prompts.say([f"All goes into {file.name}. {working.KEYS}"])
    done = prompts.converse(working.take_up(machine, text, file.name), file, kept)
    if not done.text or (done.text == text and kept is None):
        prompts.say([f"Nothing was read, so there is no {file.name}."])
    elif done.told.act.value != "done":
        prompts.say([f"All in {file.name}. The same command goes on."])
    else:
        prompts.say([f"All in {file.name}. The record: stringtrue report {layout} {file.name} -o report.pdf"])
