"""Names of files that are orders to a terminal, or turn words round, come to it as question marks."""

from __future__ import annotations

import json
import os
import shutil
import sys

import pytest

if os.name == "nt":
    pytest.skip("has no such names of files", allow_module_level=True)

ORDERS = "\x1b[2J\x9b31m\u202e\x07"
SHOWN = "?[2J?31m??"


@pytest.fixture
def job(samples, tmp_path, monkeypatch):
    """The samples, each under a name with orders in it, on what says that it is a terminal."""
    for file in samples.iterdir():
        shutil.copy(file, tmp_path / f"{file.stem}{ORDERS}{file.suffix}")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TERM", "dumb")

    def answer(prompt: str) -> str:
        sys.stdout.write(prompt)
        return "y" if "y or n" in prompt else "q"

    monkeypatch.setattr("builtins.input", answer)
    return tmp_path


LINES = (
    "solve machine{}.toml as-found{}.csv",
    "solve machine{}.toml as-found{}.csv --full",
    "solve machine{}.toml as-found{}.csv --json",
    "compare machine{}.toml as-found{}.csv as-left{}.csv",
    "history machine{}.toml before-move{}.csv as-found{}.csv as-left{}.csv",
    "history machine{}.toml before-move{}.csv as-left{}.csv --json",
    "work machine{}.toml as-found{}.csv",
    "work machine{}.toml new{}.csv --by A{} --tape T{}",
    "enter machine{}.toml new{}.csv --by A{} --tape T{}",
    "enter settings{}.toml new{}.toml",
    "start new{}.toml --panel",
    "start new{}.toml --settings --blank",
    "sheet machine{}.toml -o new{}.pdf",
    "report machine{}.toml job{}.csv -o new{}.pdf",
    "panel tray{}.toml --json",
    "causes machine{}.toml as-found{}.csv tray{}.toml",
    "settings settings{}.toml",
    "budget machine{}.toml",
    "solve machine{}.toml none{}.csv",
    "solve machine{}.toml as-found{}.csv --plot {}",
    "solve machine{}.toml as-found{}.csv -o none{}/{}",
    "solve machine{}.toml {}",
    "enter machine{}.toml new{}.csv --section {}",
    "square 18{} 18 --length {}",
    "{}",
)


@pytest.mark.parametrize("line", LINES)
def test_no_order_reaches_the_terminal(job, run, monkeypatch, line):
    # off a terminal the library takes some codes away by itself
    monkeypatch.setattr(type(sys.stdout), "isatty", lambda _: True, raising=False)
    monkeypatch.setenv("NO_COLOR", "1")
    done = run(*line.format(*[ORDERS] * line.count("{}")).split(" "))
    assert done.status in (0, 2)
    for told in (done.out, done.err):
        assert all(part.isprintable() for part in told.split("\n")), told


def test_it_is_still_told_which_file(job, run):
    machine, survey = f"machine{ORDERS}.toml", f"as-found{ORDERS}.csv"
    assert f"Liner line, bay 2, as-found{SHOWN}.csv" in run("solve", machine, survey).out
    found = run("solve", machine, survey, "--json").out
    assert "as-found\\u001b[2J\\u009b31m\\u202e\\u0007.csv" in found
    # programs get the name itself
    assert json.loads(found)["survey"]["file"] == survey
    gone = run("budget", f"none{ORDERS}.toml").err
    assert gone.startswith(f"stringtrue: none{SHOWN}.toml: there is no such file.")


def test_nor_through_a_picture_or_a_table(job, run, recwarn):
    files = ["--plot", "a.svg", "--table", "a.csv"]
    done = run("history", f"machine{ORDERS}.toml", f"before-move{ORDERS}.csv", f"as-left{ORDERS}.csv", *files)
    assert (done.status, done.err) == (0, "")
    assert not recwarn.list
    assert f"as-left{SHOWN}.csv" in (job / "a.csv").read_text(encoding="utf-8-sig")
    done = run("solve", f"machine{ORDERS}.toml", f"as-found{ORDERS}.csv", "--plot", "b.svg")
    assert (done.status, done.err) == (0, "")
    assert not recwarn.list
    assert "\x1b" not in (job / "b.svg").read_text(encoding="utf-8")
