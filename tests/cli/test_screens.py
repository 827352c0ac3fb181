"""What a person has to read at once: the first act near the top and again last, few lines, short sentences."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.tools.screens import ACT, commands, long_sentences, one_section

NINE, ONE, HELD = 40, 12, 8
"""Lines of nine sections and of one; lines within which the first act stands."""
MOST = {"solve --line all": 45, "causes": 30}
"""Lines of two that say more: three plans side by side, and every cause."""


@pytest.fixture
def here(samples, tmp_path, monkeypatch) -> Path:
    for file in samples.iterdir():
        if file.suffix in (".toml", ".csv"):
            (tmp_path / file.name).write_bytes(file.read_bytes())
    one_section(samples, tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def check(text: str, most: int) -> None:
    lines = text.splitlines()
    assert len(lines) <= most
    assert long_sentences(text) == []
    first = next((k for k, line in enumerate(lines) if ACT.search(line)), None)
    assert first is None or first < HELD
    # what is first at the top is last at the bottom
    starts = [k for k, line in enumerate(lines) if line.startswith("First: ")]
    if starts:
        last = " ".join(lines[starts[-1] :])
        assert last in " ".join(lines[: HELD + 1])


@pytest.mark.parametrize("what", commands("", "", ""))
def test_nine_sections(here, run, what):
    done = run(*commands("machine.toml", "as-found.csv", "job.csv")[what])
    assert done.status == 0
    check(done.out, MOST.get(what, NINE))


@pytest.mark.parametrize("what", ["solve", "solve, as left", "next", "compare", "square", "report", "sheet"])
def test_one_section(here, run, what):
    done = run(*commands("one.toml", "one-as-found.csv", "one-job.csv")[what])
    assert done.status == 0
    check(done.out, ONE)
