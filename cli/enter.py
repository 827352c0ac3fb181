"""``stringtrue enter``: taking the readings one by one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from . import output, prompts
from .options import named_by_date, section_names, whole

__all__ = ["EXAMPLE", "enter"]

EXAMPLE = "Example: stringtrue enter machine.toml as-found.csv"


def enter(
    layout: Annotated[
        Path, typer.Argument(metavar="LAYOUT", help="The machine; or a file of settings or of a panel: .toml.")
    ],
    file: Annotated[
        Path | None,
        typer.Argument(
            metavar="FILE",
            help="Where they go: .csv or .tsv; .toml for settings and panels [default: named by its date].",
        ),
    ] = None,
    repeats: Annotated[int, typer.Option(help="How many times to read every point.", **whole(1, 20))] = 1,
    section: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME", autocompletion=section_names, help="Read this section only. Give it once for each."
        ),
    ] = None,
    by: Annotated[str | None, typer.Option(metavar="NAME", help="Who reads.")] = None,
    tape: Annotated[str | None, typer.Option(metavar="NAME", help="Which tape.")] = None,
    mark: Annotated[
        str | None, typer.Option(metavar="LENGTH", help="Smallest mark that you read [default: the layout's].")
    ] = None,
) -> None:
    """
    Take readings one by one, checking each.

    Of a machine, of its settings, or of a test panel. Every reading is on disk before the next is asked. Stop any time;
    the same command goes on.
    """
    from alignment.files.disk import kind_of, read_bytes, read_text

    read_bytes(layout, (".toml",))
    kind = kind_of(read_text(layout))
    if kind not in ("panel file", "settings file"):
        record = {"taken": prompts.now(), "by": by or "", "tape": tape or "", "mark": mark or ""}
        _survey(layout, file or named_by_date("survey", ".csv"), repeats, section or (), record)
        return
    given = {"--repeats": repeats > 1, "--section": section, "--tape": tape, "--mark": mark}
    for option in (name for name, value in given.items() if value):
        raise typer.BadParameter(f"{option} is for the survey of a machine, and {layout.name} is a {kind}.")
    _fill(layout, file or named_by_date(layout.stem, ".toml"), by or "", panel=kind == "panel file")


def _survey(layout: Path, survey: Path, repeats: int, section: Sequence[str], record: dict[str, str]) -> None:
    """Take a survey of a machine, point by point, and judge it."""
    from alignment.files import writing
    from alignment.files.disk import read_begun
    from alignment.machine.layout_file import read_layout
    from alignment.machine.survey_files import read_survey
    from alignment.show.json.solution import as_json
    from alignment.show.words import cautions, entering
    from alignment.show.words.solution import solution_page
    from alignment.train import solve as solution

    machine = read_layout(layout)
    writing.ready_to_renew(survey)
    text = read_begun(survey)
    # what is wrong with the files or the options is told before anything is asked
    with output.named("--section"):
        step = entering.enter(machine, text, survey.name, record=record, repeats=repeats, sections=section)
    prompts.say(cautions.opening(bool(step.entry.taken)))
    if not step.entry.taken:
        prompts.who(record)
        step = entering.enter(machine, text, survey.name, record=record, repeats=repeats, sections=section)
        prompts.say(["Type each reading. ? explains, Enter skips, b goes back, q stops."])
    step = prompts.converse(step, survey, text)
    if not step.entry.taken:
        prompts.say([f"Nothing was read; {survey.name} is as it was."])
        return
    go_on = "" if step.entry.complete else " The same command goes on."
    prompts.say([f"{step.entry.done} of {len(step.entry.asks)} read, all in {survey.name}.{go_on}"])
    if step.entry.complete:
        prompts.say([""])
        output.say(solution_page, as_json, solution.solve(machine, read_survey(survey, machine)), json=False)


def _fill(wanted: Path, file: Path, by: str, *, panel: bool) -> None:
    """Take what is measured of settings or of a panel, and judge it."""
    from alignment.files import writing
    from alignment.files.disk import read_if_there, read_text
    from alignment.panel.panel import measure
    from alignment.panel.panel_file import parse_panel, read_panel
    from alignment.settings.judging import judge_settings
    from alignment.settings.settings_file import parse_settings, read_settings
    from alignment.show.json import panel as panel_json
    from alignment.show.json import settings as settings_json
    from alignment.show.words import ask_panel, ask_settings, cautions, filling
    from alignment.show.words.panel import panel_page
    from alignment.show.words.settings import settings_page

    writing.ready((file, writing.TOML), inputs=(wanted,), force=True)
    writing.ready_to_renew(file)
    text = read_if_there(file)
    job = ask_panel.panel_job if panel else ask_settings.settings_job
    step = filling.fill(
        text,
        file.name,
        begun=job(read_text(wanted), prompts.now(), by),
        ask=ask_panel.measured if panel else ask_settings.measured,
        read=parse_panel if panel else parse_settings,
    )
    prompts.say(cautions.opening(bool(text)))
    step = prompts.converse(step, file, text)
    prompts.say(step.ended())
    if not step.text or not step.complete:
        return
    if step.lacking:
        prompts.say(step.lacking)
        return
    prompts.say([""])
    if panel:
        output.say(panel_page, panel_json.as_json, measure(read_panel(file)), json=False)
    else:
        output.say(settings_page, settings_json.as_json, judge_settings(read_settings(file)), json=False)
