"""What a command reads it never writes over: every input of every command against every file it can write."""

from __future__ import annotations

import inspect
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from typing import Any, get_type_hints

import pytest
from typer.models import OptionInfo

from cli.app import commands

FILES = {
    "layout": "machine.toml",
    "survey": "as-found.csv",
    "surveys": "as-found.csv",
    "before": "before-move.csv",
    "after": "as-left.csv",
    "panel": "tray.toml",
    "turned": "tray.toml",
    "settings": "settings.toml",
    "file": "settings.toml",
    "log": "job.csv",
}
"""A sample for each parameter that names a file to be read."""
WRITTEN = {"out": ".pdf", "plot": ".svg", "table": ".csv", "checklist": ".txt"}
"""Parameters that name a file to be written, and an ending that each takes."""
KEPT = ("demo", "start", "enter", "phone", "work")
"""Commands whose one file is there to be written; they have tests of their own."""


def files_of(command: Callable[..., Any]) -> list[str]:
    """Parameters of a command that name files."""
    hints = get_type_hints(command)
    return [name for name in inspect.signature(command).parameters if "Path" in str(hints[name])]


def pairs() -> Iterator[Any]:
    for command in commands().registered_commands:
        if command.name in KEPT or command.callback is None:
            continue
        names = files_of(command.callback)
        for read in names:
            for written in names:
                if read not in WRITTEN and written in WRITTEN:
                    label = f"{command.name} {read} {written}"
                    yield pytest.param(command.name, command.callback, read, written, id=label)


@pytest.mark.parametrize("link", [os.link, os.symlink])
@pytest.mark.parametrize(("name", "command", "read", "written"), [*pairs()])
def test_no_input_is_written_over(run, samples, tmp_path, name, command, read, written, link):
    """Even with --force, and under another name with an ending that the command writes."""
    arguments: list[object] = []
    for key in inspect.signature(command).parameters:
        if key not in files_of(command) or key in WRITTEN:
            continue
        file = tmp_path / FILES[key]
        shutil.copy(samples / FILES[key], file)
        told = get_type_hints(command, include_extras=True)[key].__metadata__
        option = any(isinstance(info, OptionInfo) for info in told)
        arguments += [f"--{key}", file] if option else [file]
    target = tmp_path / f"other{WRITTEN[written]}"
    link(tmp_path / FILES[read], target)
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    done = run(name, *arguments, f"--{written}", target, "--force")
    assert (done.status, done.out) == (2, "")
    assert (
        done.err == f"stringtrue: {target}: is read for this, and would be lost. Give what is written another name.\n"
    )
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_the_files_of_one_command_are_all_known():
    """A new parameter that names a file must be listed above, and so be tried."""
    for command in commands().registered_commands:
        if command.callback is not None and command.name not in KEPT:
            assert set(files_of(command.callback)) <= {*FILES, *WRITTEN}


@pytest.mark.parametrize("name", ["machine.toml", "./machine.toml", "sub/../machine.toml"])
def test_an_input_by_its_own_name(run, samples, tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sub").mkdir()
    for file in ("machine.toml", "as-found.csv"):
        shutil.copy(samples / file, tmp_path)
    for options in (["-o", name, "--force"], ["--table", "as-found.csv", "--force"], ["-o", name]):
        done = run("solve", "machine.toml", "as-found.csv", *options)
        assert done.status == 2
        assert "is read for this, and would be lost." in done.err
    for file in ("machine.toml", "as-found.csv"):
        assert (tmp_path / file).read_bytes() == (samples / file).read_bytes()


def test_standard_input_that_is_a_file(samples, tmp_path):
    """``solve machine.toml - < as-found.csv``: the shell opened it, and it is read all the same."""
    for file in ("machine.toml", "as-found.csv"):
        shutil.copy(samples / file, tmp_path)
    program = [sys.executable, "-m", "alignment", "solve", tmp_path / "machine.toml", "-"]
    target = tmp_path / "as-found.csv"
    with target.open("rb") as source:
        done = subprocess.run([*program, "--table", target, "--force"], stdin=source, capture_output=True, check=False)
    assert done.returncode == 2
    assert b"is read for this" in done.stderr
    assert target.read_bytes() == (samples / "as-found.csv").read_bytes()


def test_surveys_of_a_folder(run, samples, tmp_path):
    """Files that a command finds for itself in a folder are inputs like those that are named."""
    (tmp_path / "days").mkdir()
    for file in ("before-move.csv", "as-left.csv"):
        shutil.copy(samples / file, tmp_path / "days")
    target = tmp_path / "days" / "as-left.csv"
    done = run("history", samples / "machine.toml", tmp_path / "days", "--table", target, "--force")
    assert done.status == 2
    assert f"{target}: is read for this" in done.err
    assert target.read_bytes() == (samples / "as-left.csv").read_bytes()


def test_the_demonstration_in_its_own_samples(run, samples, monkeypatch):
    """Where the samples are, the demonstration would write each over itself."""
    monkeypatch.setattr("alignment.files.writing._replace", lambda *_: pytest.fail("written"))
    done = run("demo", samples, "--force")
    assert done.status == 2
    assert "is read for this" in done.err
