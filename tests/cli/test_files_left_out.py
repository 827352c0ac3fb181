"""Where a folder holds a ``machine.toml`` and logs by date, neither need be named; it is said which was taken."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

COMMANDS = {
    "budget": (),
    "solve": ("as-found.csv",),
    "compare": ("as-found.csv", "as-left.csv"),
    "history": ("before-move.csv", "as-left.csv"),
    "causes": ("as-found.csv", "tray.toml"),
}


@pytest.fixture
def here(samples, tmp_path, monkeypatch):
    for file in samples.iterdir():
        shutil.copy(file, tmp_path)
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("name", COMMANDS)
def test_the_layout_of_the_folder_is_taken_and_named(here, run, name):
    named = run(name, "machine.toml", *COMMANDS[name], "--json")
    left_out = run(name, *COMMANDS[name], "--json")
    assert (named.status, named.err) == (0, "")
    assert (left_out.status, left_out.err) == (0, "Layout: machine.toml\n")
    assert left_out.out == named.out


def test_options_before_and_behind_change_nothing(here, run):
    done = run("solve", "--aim", "least", "as-found.csv", "--json")
    assert (done.status, done.err) == (0, "Layout: machine.toml\n")


def test_another_layout_is_taken_as_named(here, run):
    Path("machine-mm.toml").rename("other.toml")
    done = run("budget", "other.toml")
    assert (done.status, done.err) == (0, "")
    assert "(mm)" in done.out


def test_without_one_in_the_folder_it_is_asked_for(run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = run("budget")
    assert (done.status, done.out) == (2, "")
    assert "LAYOUT" in done.err


def test_help_says_nothing_of_it(here, run):
    assert run("budget", "--help").err == ""


ON_A_LOG = {"solve": (), "next": (), "compare": (), "report": ("-o", "report.pdf")}
BEGUN = "# strong_shy: true\nsection,point,reading\noperator-1,entry,18 3/8\n"


@pytest.mark.parametrize("name", ON_A_LOG)
def test_the_newest_log_of_the_folder_is_taken_and_named(here, run, name):
    Path("job-2026-09-30.csv").write_text(BEGUN)
    shutil.copy("job.csv", "job-2026-10-02.csv")
    named = run(name, "machine.toml", "job-2026-10-02.csv", *ON_A_LOG[name])
    left_out = run(name, *ON_A_LOG[name], *(["--force"] if name == "report" else []))
    assert (named.status, named.err) == (0, "")
    assert (left_out.status, left_out.err) == (0, "Layout: machine.toml\nLog: job-2026-10-02.csv\n")
    assert left_out.out == named.out


def test_no_other_name_is_taken_for_a_log(here, run):
    shutil.copy("job.csv", "job-of-monday.csv")
    done = run("next")
    assert (done.status, done.out) == (2, "")
    assert "LOG" in done.err


def test_work_goes_on_with_the_log_that_is_not_done(here, run, monkeypatch):
    """Also on another day; where it is done, a new one is begun under the day's name."""
    monkeypatch.setattr("builtins.input", lambda question: "y" if "y or n" in question else "q")
    Path("job-2026-09-30.csv").write_text(BEGUN)
    done = run("work")
    assert done.status == 0
    assert "Going on with job-2026-09-30.csv: 1 row." in done.out
    assert done.err == "Layout: machine.toml\nLog: job-2026-09-30.csv\n"
    shutil.copy("job.csv", "job-2026-10-02.csv")
    done = run("work", "--by", "R. Quill", "--tape", "T-14")
    assert "job-2026-10-02.csv" not in done.out + done.err
    assert "so there is no job-" in done.out


def test_next_takes_a_log_that_was_only_begun(here, run):
    """Also before its first reading."""
    Path("begun.csv").write_text(BEGUN.replace("operator-1,entry,18 3/8\n", ""))
    done = run("next", "machine.toml", "begun.csv")
    assert (done.status, done.err) == (0, "")
    assert "operator-1: read entry then exit. Wanted 18 3/8." in done.out
