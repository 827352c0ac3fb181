"""
No output sends a person to the machine without the cautions.

Every command is run on the sample: on the screen in short and in full, as JSON, as HTML, as table, checklist, sheet and
record, and at the prompt. Wherever a text holds an act - a move, a setting, something to be read or hung again - the
cautions must stand in it. Pictures have their own check.
"""

from __future__ import annotations

import io
import json
import re
from pathlib import Path

import pypdf
import pytest

from alignment.show import door, html
from alignment.show.page import Cautions, Page, shown
from alignment.show.words import cautions
from alignment.show.words.cautions import SHORT
from tests.tools.screens import ACT, commands

FIRST_WORDS = "lock out"
SLIPS = ("half-inch-slip", "inch-slip", "leaning-string", "string-moved", "swapped-ends", "before-move", "as-left")


@pytest.fixture
def here(samples, tmp_path, monkeypatch) -> Path:
    """The sample's files, in a folder to write in."""
    for file in samples.iterdir():
        if file.suffix in (".toml", ".csv"):
            (tmp_path / file.name).write_bytes(file.read_bytes())
    monkeypatch.chdir(tmp_path)
    return tmp_path


def without_cautions(text: str) -> str | None:
    """The first act of a text that has no cautions above it; None where all is well."""
    flat = " ".join(text.split())
    bare = flat
    for caution in (*SHORT, *cautions.FULL):
        bare = bare.replace(caution, "")
    act = ACT.search(bare)
    if act is None or FIRST_WORDS in flat.lower():
        return None
    return bare[max(act.start() - 60, 0) : act.end() + 60]


COMMANDS = commands("machine.toml", "as-found.csv", "job.csv")
SURVEYS = {f"solve {name}": ("solve", "machine.toml", f"{name}.csv") for name in SLIPS}
METRIC = {f"{what} mm": (*line, "--units", "mm") for what, line in COMMANDS.items() if line[0] != "square"}
EVERY = COMMANDS | SURVEYS | METRIC


@pytest.mark.parametrize("what", EVERY)
def test_no_screen_without_cautions(here, run, what):
    for more in ((), ("--full",), ("--json",)):
        if more and EVERY[what][0] in ("sheet", "report"):
            continue
        done = run(*EVERY[what], *more)
        assert done.status == 0, done.err
        assert without_cautions(done.out) is None, more


@pytest.mark.parametrize("what", [what for what in COMMANDS if COMMANDS[what][0] in ("sheet", "report")])
def test_no_paper_without_cautions(here, run, what):
    line = COMMANDS[what]
    lines = [line, (*line, "--work")] if line[0] == "sheet" else [line]
    if line[0] == "report":
        lines.append((*line[:2], "as-found.csv", *line[3:]))
    for one in lines:
        assert run(*one).status == 0
        file = one[one.index("-o") + 1]
        text = "".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(Path(file).read_bytes())).pages)
        assert without_cautions(text) is None


@pytest.mark.parametrize("kind", [".txt", ".csv"])
def test_no_list_of_moves_without_cautions(here, run, kind):
    for survey in ("as-found", *SLIPS):
        file = Path(f"list-{survey}{kind}")
        assert run("solve", "machine.toml", f"{survey}.csv", "--checklist", file).status == 0
        # a heading of columns alone sends nobody
        text = file.read_text() if kind == ".txt" else file.read_text().partition("\n")[2]
        assert without_cautions(text) is None


def test_no_sheet_of_moves_without_cautions(here):
    """In every row, wherever a row may be copied to."""
    import alignment

    layout = alignment.read_layout("machine.toml")
    for survey in ("as-found", *SLIPS):
        sheets = alignment.tables(alignment.solve(layout, alignment.read_survey(f"{survey}.csv", layout)))
        for name, sheet in sheets.items():
            acts = [row for row in sheet.itertuples() if ACT.search(str(row)) or "loosen" in sheet.columns]
            assert not acts or set(sheet["cautions"]) == {" ".join(SHORT)}, name


def test_no_json_of_an_act_without_cautions(here, run):
    """As a field of its own, so that a program shows them as well."""
    for what, line in (COMMANDS | SURVEYS).items():
        if line[0] in ("sheet", "report"):
            continue
        told = json.loads(run(*line, "--json").out)
        objects = told if isinstance(told, list) else [told]
        for one in objects:
            if ACT.search(json.dumps(one, ensure_ascii=False)):
                assert list(SHORT) == one.get("cautions"), what


def test_no_page_without_cautions_above_the_first_act(here):
    """Of any result, for the browser too; above the act, not only somewhere."""
    import alignment

    layout = alignment.read_layout("machine.toml")
    surveys = {name: alignment.read_survey(f"{name}.csv", layout) for name in ("as-found", "job", *SLIPS)}
    panel = alignment.measure(alignment.read_panel("tray.toml"))
    results = [alignment.solve(layout, survey) for survey in surveys.values()]
    results += [alignment.next_act(layout, surveys[name]) for name in ("as-found", "job")]
    results += [
        alignment.compare(layout, surveys["job"]),
        alignment.compare(layout, surveys["as-left"], surveys["as-found"]),
    ]
    results += [
        alignment.follow(layout, [surveys["before-move"], surveys["as-found"]]),
        alignment.budget(layout),
        panel,
    ]
    results += [alignment.judge_settings(alignment.read_settings("settings.toml"))]
    results += [alignment.find_causes(results[0].train, panel)]
    for result in results:
        page = door.page(result)
        drawn = re.sub("<[^>]*>", " ", html.render(page))
        assert without_cautions(drawn) is None, type(result)
        check_above(page)


def check_above(page: Page) -> None:
    """Nothing in a page sends anybody anywhere before its cautions."""
    for part in shown(page):
        for block in part.blocks:
            if isinstance(block, Cautions):
                return
            words = getattr(block, "words", "") or " ".join(
                getattr(i, "words", "") for i in getattr(block, "items", ())
            )
            assert not ACT.search(re.sub(r"Verdict.*|Read \d+ sections?.*", "", words)), words


@pytest.mark.parametrize(
    ("line", "answers"),
    [
        (("work", "machine.toml", "new.csv"), ["Q", "T", "", "18 3/8"]),
        (("work", "machine.toml", "job-begun.csv"), ["q"]),
        (("enter", "machine.toml", "new.csv"), ["Q", "T", "18 3/8", "19 9/16", "18 3/8"]),
        (("enter", "settings.toml", "new.toml"), ["Q", "23 1/4"]),
        (("enter", "tray.toml", "new.toml"), ["Q", ""]),
        (("start", "new.toml"), ["", "", "", "", "2", "15", "1", "", "", "", ""]),
        (("square",), []),
    ],
)
def test_no_prompt_without_cautions(here, run, monkeypatch, line, answers):
    """Before the first question that is answered at the machine."""
    text = Path("as-found.csv").read_text()
    Path("job-begun.csv").write_text(text)
    told, left = [], iter(answers)
    monkeypatch.setattr("builtins.input", lambda prompt: told.append(prompt) or next(left, None) or stop(prompt, left))
    if line[0] == "square":
        line = ("square", "18-3/8", "19-9/16", "--length", "15")
    done = run(*line)
    assert without_cautions(done.out) is None
    assert FIRST_WORDS in done.out.lower()


def stop(prompt: str, left: object) -> str:
    """Enter while answers last, then the end of the input."""
    if getattr(left, "__length_hint__", lambda: 0)():
        return ""
    raise EOFError


def test_the_phone_has_them(here):
    from alignment.phone import view

    assert "cautions" in Path(view.__file__).read_text()


def test_a_page_that_lost_its_cautions_is_found(here, run, monkeypatch):
    """The check itself: with the cautions taken out, every command that sends a person anywhere is caught."""
    monkeypatch.setattr(cautions, "short", lambda: Cautions(lines=()))
    for line in (COMMANDS["solve"], COMMANDS["square"], COMMANDS["settings"], COMMANDS["causes"], COMMANDS["budget"]):
        assert without_cautions(run(*line).out) is not None, line
