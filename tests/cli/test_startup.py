"""What a command does not import: slow libraries that it does not need."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

SLOW = ("numpy", "scipy", "pandas", "matplotlib", "openpyxl")
ASK = """
import json, sys
from cli.app import run
status = run(sys.argv[1:])
print(json.dumps([status, sorted(sys.modules)]), file=sys.stderr)
"""


def modules_after(*arguments: object) -> set[str]:
    """Modules that a run of the command has loaded."""
    done = subprocess.run(
        [sys.executable, "-c", ASK, *map(str, arguments)], capture_output=True, text=True, check=True, timeout=100
    )
    status, modules = json.loads(done.stderr.splitlines()[-1])
    assert status == 0
    return set(modules)


@pytest.mark.parametrize("arguments", [("--help",), ("solve", "--help"), ("demo", "--help"), ("--version",)])
def test_help_imports_nothing_slow(arguments):
    loaded = modules_after(*arguments)
    assert "typer" in loaded
    assert not loaded & set(SLOW)


@pytest.mark.parametrize("options", [(), ("--json",), ("--line", "fitted"), ("--aim", "true")])
def test_solve_without_a_picture(samples, options):
    loaded = modules_after("solve", samples / "machine.toml", samples / "as-found.csv", *options)
    assert "numpy" in loaded
    assert not loaded & {"matplotlib", "scipy.stats", "scipy.optimize", "pandas", "openpyxl", "highspy"}
    assert not {name for name in loaded if name.startswith(("alignment.panel", "alignment.settings"))}


def test_solve_with_a_picture_keeps_pyplot_out(samples, tmp_path):
    """The figure is drawn without pyplot, which would look for a screen."""
    loaded = modules_after(
        "solve", samples / "machine.toml", samples / "as-found.csv", "--plot", tmp_path / "train.svg"
    )  # fmt: skip
    assert "matplotlib" in loaded
    assert not loaded & {"matplotlib.pyplot", "scipy.stats", "pandas"}
