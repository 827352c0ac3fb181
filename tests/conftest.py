"""What many tests share: the samples, and the command line run inside the test."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from alignment.files.disk import sample_folder
from cli import app


@dataclass(frozen=True)
class Outcome:
    """What a run of the command left behind."""

    status: int
    out: str
    err: str


@pytest.fixture
def samples() -> Path:
    """Folder of the shipped samples."""
    return sample_folder()


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., Outcome]:
    """The command line, run in this process."""

    def go(*arguments: object) -> Outcome:
        capsys.readouterr()
        status = app.run([str(a) for a in arguments])
        return Outcome(status, *capsys.readouterr())

    return go
