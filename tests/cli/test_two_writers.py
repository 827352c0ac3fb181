"""Two who answer into one file in the same instant: whatever somebody was told is saved stands in the file, once."""

from __future__ import annotations

import re
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest

if sys.platform == "win32":
    pytest.skip("Python opens no pseudo-terminal on Windows", allow_module_level=True)

import httpx2

from alignment.machine.layout import Layout
from alignment.machine.survey_files import read_survey
from tests.cli.test_terminal import COMMAND, Run, Screen, layout, run_at

__all__ = ["layout", "run_at"]

MEETINGS = 3
WHO = ("--by", "R. Quill", "--tape", "T-14")


@pytest.fixture
def phone(tmp_path: Path, layout: Layout) -> Iterator[Callable[[int], bool]]:
    """Sends a reading as a phone does, and tells whether it was saved."""
    program = [*COMMAND, "phone", "machine.toml", "log.csv"]
    with subprocess.Popen(program, cwd=tmp_path, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        found = re.search(r"(http://[\d.:]+)/\?key=\S+", server.stdout.readline())
        assert found is not None
        with httpx2.Client(base_url=found[1], headers={"origin": found[1], "accept": "application/json"}) as client:
            client.get(found[0])

            def send(number: int) -> bool:
                said = {"kind": "read", "section": "drive-2", "point": "entry", "part": "typed", "typed": "18 3/8"}
                answer = client.post("/answer", data=said | {"id": f"p{number}"})
                return bool(answer.json()["saved"] == "saved")

            yield send
        server.kill()


def ask(screen: Screen) -> str:
    """Read the screen up to its next question for a reading."""
    shown = screen.wait_for_match(r"(\[y\]|entry|exit|closing|back): ")
    if shown.endswith("[y]: "):
        screen.type("")
        shown = screen.wait_for_match(r"(entry|exit): ")
    return " ".join(shown.split())


def meet(*answers: Callable[[], None]) -> None:
    """Let all answer in the same instant."""
    together = threading.Barrier(len(answers))

    def one(answer: Callable[[], None]) -> None:
        together.wait()
        answer()

    threads = [threading.Thread(target=one, args=(answer,)) for answer in answers]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def saved(shown: str) -> bool:
    """Whether the screen took what was typed, rather than asking for it again."""
    if "NOT SAVED: log.csv was changed elsewhere. It is read anew." in shown:
        return False
    assert " saved" in shown or "Tighten, next." in shown
    return True


def count(folder: Path, layout: Layout) -> int:
    assert sorted(path.name for path in folder.iterdir()) == ["log.csv", "machine.toml"]
    return len(read_survey(folder / "log.csv", layout, begun=True).readings)


@pytest.mark.parametrize("command", ["enter", "work"])
def test_two_terminals(tmp_path, run_at: Run, layout, command):
    first = run_at(command, "machine.toml", "log.csv", *WHO)
    ask(first)
    first.type("18 3/8")
    ask(first)
    second = run_at(command, "machine.toml", "log.csv", *WHO)
    ask(second)
    rows = 1
    for _ in range(MEETINGS):
        meet(lambda: first.type("18 3/8"), lambda: second.type("18 3/8"))
        taken = [saved(ask(screen)) for screen in (first, second)]
        assert any(taken)
        rows += sum(taken)
    assert count(tmp_path, layout) == rows


def test_a_terminal_and_a_phone(tmp_path, run_at: Run, layout, phone):
    """The phone's answer is made of what stands in the log, and so always saved; the person is asked again."""
    screen = run_at("work", "machine.toml", "log.csv", *WHO)
    ask(screen)
    rows, sent = 0, list[bool]()

    def sends(number: int) -> None:
        sent.append(phone(number))

    for number in range(MEETINGS):
        meet(lambda: screen.type("18 3/8"), partial(sends, number))
        rows += 1 + saved(ask(screen))
    assert sent == [True] * MEETINGS
    assert count(tmp_path, layout) == rows
