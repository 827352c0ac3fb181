"""In a folder that holds a ``machine.toml`` no LAYOUT need be named, and it is said which file was taken."""

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
