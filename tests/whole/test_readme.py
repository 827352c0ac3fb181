"""The README says what is there: its commands run as written, and what it shows is what they print."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest

from cli.app import commands

README = (Path(__file__).parent.parent.parent / "README.md").read_text(encoding="utf-8")
COMMANDS = [command.name for command in commands().registered_commands]
CUT = "[...]"


def shown() -> list[tuple[str, list[str]]]:
    """Commands of the console blocks, each with the output shown under it."""
    found: list[tuple[str, list[str]]] = []
    for block in re.findall(r"```console\n(.*?)```", README, re.S):
        for line in block.splitlines():
            if line.startswith("$ "):
                found.append((line[2:], []))
            else:
                found[-1][1].append(line)
    return found


def test_readme_commands_print_what_is_shown(run, tmp_path, monkeypatch):
    """Line by line up to the cut; a panel or solve of a machine that is out still ends with status 0."""
    monkeypatch.chdir(tmp_path)
    assert run("demo").status == 0
    # where the README says that they are run
    monkeypatch.chdir(tmp_path / "stringtrue-demo")
    assert len(shown()) > 5
    for command, lines in shown():
        program, *arguments = shlex.split(command)
        assert program == "stringtrue"
        outcome = run(*arguments)
        assert outcome.status == 0, (command, outcome.err)
        wanted = lines[: lines.index(CUT)] if CUT in lines else lines
        assert outcome.out.splitlines()[: len(wanted)] == wanted, command


@pytest.mark.parametrize("name", COMMANDS)
def test_readme_names_every_command(name):
    assert f"`stringtrue {name}" in README


@pytest.mark.parametrize("name", COMMANDS)
def test_help_fits_and_ends_with_an_example_that_runs(name, samples, run, tmp_path, monkeypatch):
    """80 columns; the example is of this command, and runs on the samples."""
    text = run(name, "--help").out
    assert max(map(len, text.splitlines())) <= 80
    last = " ".join(text.split("Example: ")[-1].split())
    assert last.startswith(f"stringtrue {name}")
    for file in samples.iterdir():
        shutil.copy(file, tmp_path)
    monkeypatch.chdir(tmp_path)
    if name == "start":
        (tmp_path / "machine.toml").unlink()
    if name == "enter":
        pytest.skip("asks at a terminal: driven in test_terminal")
    if name == "phone":
        pytest.skip("serves until it is interrupted: driven in a browser in tests/phone")
    outcome = run(*shlex.split(last)[1:])
    assert outcome.status == 0, outcome.err
