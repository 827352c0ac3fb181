"""
The product as a person meets it: a real terminal, 40 columns wide and without colour.

A pseudo-terminal stands in for the screen and the keys. Windows has none that Python can open.
"""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from alignment.machine.layout import Layout
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_files import read_survey

if sys.platform == "win32":
    pytest.skip("Python opens no pseudo-terminal on Windows", allow_module_level=True)

import fcntl
import pty
import resource
import select
import struct
import termios

COMMAND = (sys.executable, "-m", "alignment")
START = ("--sections", "2", "--length", "18", "--gap", "2", "--bolts", "2", "--target", "18 3/8")
PATIENCE = 60.0
"""Seconds to wait for a prompt on a machine that is busy with other things."""


class Screen:
    """A command running at a terminal of its own."""

    def __init__(self, folder: Path, *arguments: str, largest_file: int | None = None) -> None:
        self.ours, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 40, 0, 0))
        environment = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES", "FORCE_COLOR")}

        def before() -> None:
            # Ctrl-C reaches only a terminal that is the session's own
            fcntl.ioctl(0, termios.TIOCSCTTY, 0)
            signal.signal(signal.SIGINT, signal.SIG_DFL)
            if largest_file:
                resource.setrlimit(resource.RLIMIT_FSIZE, (largest_file, largest_file))

        self.process = subprocess.Popen(
            [*COMMAND, *arguments],
            cwd=folder,
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            env=environment | {"TERM": "dumb", "NO_COLOR": "1", "PYTHONPATH": str(Path(__file__).parent.parent.parent)},
            start_new_session=True,
            preexec_fn=before,  # noqa: PLW1509  # no threads are running here
        )
        os.close(theirs)
        self.shown = ""
        self.read_to = 0

    def wait_for(self, *texts: str) -> str:
        """Read the screen until it ends in one of these; what was shown since the last time."""
        end = time.monotonic() + PATIENCE
        while not self.fresh.endswith(texts):
            assert time.monotonic() < end, f"waited for {texts}, saw {self.fresh!r}"
            if not self._more(0.2):
                raise AssertionError(f"ended before {texts}, with {self.fresh!r}")
        fresh = self.fresh
        self.read_to = len(self.shown)
        return fresh

    def wait_for_match(self, ends: str) -> str:
        """Read the screen until it ends in what a pattern says; what was shown since the last time."""
        end = time.monotonic() + PATIENCE
        while not re.search(f"{ends}$", self.fresh):
            assert time.monotonic() < end, f"waited for {ends}, saw {self.fresh!r}"
            if not self._more(0.2):
                raise AssertionError(f"ended before {ends}, with {self.fresh!r}")
        fresh = self.fresh
        self.read_to = len(self.shown)
        return fresh

    @property
    def fresh(self) -> str:
        """What was shown since the last wait."""
        return self.shown[self.read_to :]

    def _more(self, seconds: float) -> bool:
        if select.select([self.ours], [], [], seconds)[0]:
            try:
                data = os.read(self.ours, 65536)
            except OSError:  # how a terminal says on Linux that the other side has gone
                return False
            self.shown += data.decode(errors="replace").replace("\r\n", "\n")
            return bool(data)
        return True

    def type(self, text: str) -> None:
        """Type a line."""
        os.write(self.ours, f"{text}\n".encode())

    def answer(self, prompt: str, text: str) -> str:
        """Wait for a prompt and type a line; what was shown up to the prompt."""
        shown = self.wait_for(prompt)
        self.type(text)
        return shown

    def finish(self) -> str:
        """Read to the end; what was shown since the last prompt."""
        end = time.monotonic() + PATIENCE
        while self._more(0.2):
            assert time.monotonic() < end, f"does not end, with {self.fresh!r}"
            if self.process.poll() is not None and not select.select([self.ours], [], [], 0.2)[0]:
                break
        self.process.wait(PATIENCE)
        return self.fresh

    def kill(self) -> None:
        """End it as a power cut would: at once, with nothing tidied."""
        self.process.kill()
        while self._more(0.05) and self.process.poll() is None:
            pass
        self._more(0.05)
        self.process.wait(PATIENCE)

    def close(self) -> None:
        """Let go of the terminal and what still runs on it."""
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(PATIENCE)
        os.close(self.ours)


Run = Callable[..., Screen]


@pytest.fixture
def run_at(tmp_path: Path) -> Iterator[Run]:
    """Start a command at a terminal, in an empty folder."""
    screens: list[Screen] = []

    def start(*arguments: str, **how: int) -> Screen:
        screens.append(Screen(tmp_path, *arguments, **how))
        return screens[-1]

    yield start
    for screen in screens:
        screen.close()


@pytest.fixture
def layout(tmp_path: Path, run_at: Run) -> Layout:
    """Two rows of two sections, made by the command itself."""
    run_at("start", "machine.toml", *START).finish()
    return read_layout(tmp_path / "machine.toml")


def test_from_an_empty_folder_to_a_plan(tmp_path, run_at):
    """Two typing mistakes and one misread inch are caught; then one bolt end is to be moved."""
    screen = run_at("start", "machine.toml")
    for prompt, text in (
        ("in or mm [in]: ", ""),
        ("[My machine]: ", "Tray line"),
        ("[operator,drive]: ", ""),
        ("1/16 in or 1 mm: ", ""),
        ("as 6 or 6,3: ", "2"),
        ("15:15:18,31: ", "18"),
        ("1:2,1: ", "2"),
        ("entry end [0]: ", ""),
        ("ends [0]: ", "2"),
        ("row's [0]: ", ""),
        ("know it: ", "18 3/8"),
    ):
        screen.answer(prompt, text)
    assert "stringtrue work machine.toml" in " ".join(screen.finish().split())
    # its tolerances are no finer than the tape can prove
    assert "This tape can prove every" in run_at("budget", "machine.toml").finish()
    assert "Tray line, 8 points" in " ".join(run_at("sheet", "machine.toml", "-o", "sheet.pdf").finish().split())

    screen = run_at("enter", "machine.toml", "as-found.csv")
    screen.answer("Your name: ", "R. Quill")
    screen.answer("Tape, its number or name: ", "T-14")
    screen.answer("1/10 operator-1 entry: ", "18 3/8")
    screen.answer("2/10 operator-1 exit: ", "18 9/8")
    assert "Write 19 1/8 or 18 7/8." in screen.answer("2/10 operator-1 exit: ", "18 3/8").replace("\n", " ")
    screen.answer("3/10 operator-2 entry: ", "19 3/8")
    assert '1" more than operator-1 exit' in screen.answer("(k keeps it): ", "18 3/8").replace("\n", " ")
    screen.answer("4/10 operator-2 exit: ", "18 9/16")
    screen.answer("5/10 drive-1 entry: ", "18 5/")
    assert "nothing below the line" in screen.answer("5/10 drive-1 entry: ", "18 3/8").replace("\n", " ")
    for prompt in (
        "6/10 drive-1 exit: ",
        "7/10 drive-2 entry: ",
        "8/10 drive-2 exit: ",
        "9/10 operator-1 entry, closing: ",
        "10/10 drive-1 entry, closing: ",
    ):
        screen.answer(prompt, "18 3/8")
    screen.answer("b to go back: ", "")
    answer = screen.finish()
    assert screen.process.returncode == 0
    # whatever the width that it was wrapped to
    flat = " ".join(answer.split())
    assert "Tray line, as-found.csv, taken " in flat
    assert "Move 1 bolt end on 1 section" in flat
    assert "loosen exit, pivot on entry" in flat
    assert "Lock out, tag out" in flat
    typed = screen.shown[: -len(answer)]
    assert max(map(len, typed.splitlines())) <= 41  # a prompt with what was typed after it may fill the line
    assert "\x1b" not in screen.shown

    screen = run_at("solve", "machine.toml", "as-found.csv")
    assert answer.strip() == f"10 of 10 read, all in as-found.csv.\n\n{screen.finish().strip()}"
    survey = read_survey(tmp_path / "as-found.csv", read_layout(tmp_path / "machine.toml"))
    assert [r.text for r in survey.fitted] == ["18 3/8"] * 3 + ["18 9/16"] + ["18 3/8"] * 4
    assert (survey.record["by"], survey.record["tape"]) == ("R. Quill", "T-14")

    screen = run_at("enter", "machine.toml", "as-left.csv", "--by", "R. Quill", "--tape", "T-14")
    for k, point in enumerate(("operator-1", "operator-2", "drive-1", "drive-2")):
        for end in (0, 1):
            screen.answer(f"{2 * k + 1 + end}/10 {point} {('entry', 'exit')[end]}: ", "18 3/8")
    screen.answer("9/10 operator-1 entry, closing: ", "18 3/8")
    screen.answer("10/10 drive-1 entry, closing: ", "18 3/8")
    screen.answer("b to go back: ", "")
    assert "Nothing to move" in screen.finish()
    told = " ".join(run_at("compare", "machine.toml", "as-found.csv", "as-left.csv", "--same-string").finish().split())
    assert "Moved: operator-2" in told
    screen = run_at("report", "machine.toml", "as-found.csv", "--after", "as-left.csv", "-o", "report.pdf")
    assert "report.pdf: the record of Tray line" in screen.finish()
    for name in ("sheet.pdf", "report.pdf"):
        assert (tmp_path / name).read_bytes().startswith(b"%PDF-")


def test_killed_at_ten_random_moments_no_accepted_reading_is_lost(tmp_path, run_at, layout):
    chance = np.random.default_rng(20261002)
    file = tmp_path / "s.csv"
    accepted: list[str] = []
    count = 0
    for _ in range(10):
        screen = run_at("enter", "machine.toml", "s.csv", "--repeats", "20", "--by", "Q", "--tape", "T")
        for _ in range(chance.integers(1, 12)):
            screen.wait_for(": ")
            count += 1
            screen.type(text := f"18.375{count:05}")
            accepted.append(text)
        # somewhere between the key and the next question, with the last reading perhaps on its way to the disk
        time.sleep(chance.uniform(0, 0.01))
        screen.kill()
        last = accepted[-1]
        if f"{last} = 18 3/8 saved" not in " ".join(screen.fresh.split()):
            accepted.pop()
        if not accepted:
            continue
        found = [r.text for r in read_survey(file, layout).readings]
        # the last one may have reached the disk without the screen having said so
        assert found in (accepted, [*accepted, last])
        accepted = found
    assert len(accepted) > 20


def test_a_full_disk_keeps_what_was_accepted_and_asks_again(tmp_path, run_at, layout):
    """A limit on the size of a file stands in for the disk: the write itself fails."""
    screen = run_at("enter", "machine.toml", "s.csv", "--by", "Q" * 60, "--tape", "T", largest_file=240)
    for prompt in ("1/10 operator-1 entry: ", "2/10 operator-1 exit: ", "3/10 operator-2 entry: "):
        screen.answer(prompt, "18 3/8")
    shown = " ".join(screen.answer("3/10 operator-2 entry: ", "q").split())
    assert "NOT SAVED. s.csv: cannot be written: File too large." in shown
    assert "2 of 10 read, all in s.csv." in " ".join(screen.finish().split())
    assert screen.process.returncode == 0
    assert len(read_survey(tmp_path / "s.csv", layout).readings) == 2
    assert sorted(p.name for p in tmp_path.iterdir()) == ["machine.toml", "s.csv"]
    # the same command goes on from there
    screen = run_at("enter", "machine.toml", "s.csv")
    assert "2 of 10 read." in screen.answer("3/10 operator-2 entry: ", "q")


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("operator-2,exit,18 7/16,,,from the spreadsheet", "It is read anew."),
        ("operator-2,exit,18 7/,,,", "nothing below"),
    ],
)
def test_a_file_that_another_program_changed_is_left_alone(tmp_path, run_at, layout, row, said):
    """What it wrote is taken up; where that cannot be used, it is left as it is."""
    file = tmp_path / "s.csv"
    screen = run_at("enter", "machine.toml", "s.csv", "--by", "Q", "--tape", "T")
    screen.answer("1/10 operator-1 entry: ", "18 3/8")
    screen.wait_for("2/10 operator-1 exit: ")
    theirs = f"{file.read_text()}{row}\n"
    file.write_text(theirs)
    screen.type("18 3/8")
    shown = " ".join(screen.answer("operator-1 exit: ", "18 3/8").split())
    assert "NOT SAVED: s.csv was changed elsewhere." in shown
    assert said in shown
    screen.answer(": ", "q")
    screen.finish()
    if "anew" in said:
        assert [r.text for r in read_survey(file, layout).readings] == ["18 3/8", "18 7/16", "18 3/8"]
    else:
        assert file.read_text() == theirs


@pytest.mark.parametrize("key", ["\x03", "\x04"])
def test_ctrl_c_and_ctrl_d_stop_and_keep(tmp_path, run_at, layout, key):
    screen = run_at("enter", "machine.toml", "s.csv", "--by", "Q", "--tape", "T")
    screen.answer("1/10 operator-1 entry: ", "18 3/8")
    screen.wait_for("2/10 operator-1 exit: ")
    # the interpreter can miss an interrupt in the instant between its prompt and its listening
    time.sleep(1.0)
    os.write(screen.ours, key.encode())
    assert "1 of 10 read, all in s.csv." in " ".join(screen.finish().split())
    assert screen.process.returncode == 0
    assert len(read_survey(tmp_path / "s.csv", layout).readings) == 1


def test_a_stray_byte_is_a_typing_mistake(run_at, layout):
    screen = run_at("enter", "machine.toml", "s.csv", "--by", "Q", "--tape", "T")
    screen.wait_for("1/10 operator-1 entry: ")
    os.write(screen.ours, b"\xff18 3/8\n")
    assert "is not a length" in screen.answer("1/10 operator-1 entry: ", "18 3/8")
    screen.answer("2/10 operator-1 exit: ", "q")


def test_a_survey_pasted_at_the_terminal(run_at, layout):
    screen = run_at("solve", "machine.toml", "-")
    screen.wait_for("own.\n")
    for line in ("section\tentry\texit", *(f"{s.name}\t18 3/8\t18 3/8" for s in layout.sections)):
        screen.type(line)
    os.write(screen.ours, b"\x04")
    assert "standard input\nVerdict: OK." in screen.finish()


def test_readings_piped_in_without_a_terminal(tmp_path, layout):
    answers = "Q\nT\n" + "18 3/8\n" * 10 + "\n"
    done = subprocess.run(
        [*COMMAND, "enter", "machine.toml", "s.csv"],
        cwd=tmp_path,
        input=answers,
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent.parent)},
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert "Verdict: OK." in done.stdout
