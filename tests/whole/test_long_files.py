"""Files far longer than any that a hand writes: read in a time that grows as they do."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent.parent
ROWS = 60_000
SECONDS = 12.0
"""Of processor time: what is linear takes a quarter of it, what grows as the square hundreds."""

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not hasattr(os, "wait4"), reason="asks the system what a program used"),
]


def used(folder: Path, *arguments: str) -> tuple[int, float]:
    """Exit status and seconds of a run of the command."""
    child = os.posix_spawn(
        sys.executable,
        [sys.executable, "-m", "alignment", *arguments],
        os.environ | {"PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"},
        file_actions=[(os.POSIX_SPAWN_OPEN, 1, str(folder / "out.txt"), os.O_CREAT | os.O_WRONLY, 0o600)],
    )
    _, status, usage = os.wait4(child, 0)
    return os.waitstatus_to_exitcode(status), usage.ru_utime


@pytest.mark.parametrize(
    ("command", "heads", "row"),
    [
        ("solve", "", "operator-{section},{end},18 3/8"),
        ("next", "", "operator-{section},{end},18 3/8"),
        # steps that no tape bears out: each joint is told, not each of its readings
        ("solve", "operator-1,entry,18 3/8\noperator-1,exit,18 3/8\noperator-2,entry,18 3/8\noperator-2,exit,18 3/8\n",
         "operator-1,joint,{third}/32"),
    ],
)  # fmt: skip
def test_sixty_thousand_rows(samples, tmp_path, command, heads, row):
    rows = (
        row.format(section=k % 5 + 1, end=("entry", "exit")[k // 5 % 2], third=k % 3 if k % 3 != 1 else 4)
        for k in range(ROWS)
    )
    log = tmp_path / "long.csv"
    log.write_text(f"section,point,reading\n{heads}" + "\n".join(rows) + "\n")
    status, seconds = used(tmp_path, command, str(samples / "machine.toml"), str(log))
    assert status == 0
    assert "operator-" in (tmp_path / "out.txt").read_text()
    assert seconds < SECONDS
