"""
Settings and panels by the prompt, at a pseudo-terminal 40 columns wide: nobody writes TOML at the machine.

What is wanted is asked once and kept; what is measured goes into a file of the job.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

if sys.platform == "win32":
    pytest.skip("Python opens no pseudo-terminal on Windows", allow_module_level=True)

from alignment.lengths import INCH
from alignment.panel.panel_file import read_panel
from alignment.settings.settings_file import read_settings
from tests.cli.test_terminal import COMMAND, Run, Screen, run_at

__all__ = ["run_at"]

IN = float(INCH)
WANTED = (
    ("in or mm [in]: ", ""),
    ("[My machine]: ", "Liner line, bay 2"),
    ("[rule]: ", ""),
    ("digit it shows: ", "1/64"),
    ("uncertainty): ", "1/256"),
    ("What else do you measure with: ", "caliper"),
    ("digit it shows: ", "0.001"),
    ("uncertainty): ", "0.001"),
    ("What else do you measure with: ", ""),
    ("Width of the strip: ", "23 1/4"),
    ("Thickness of the strip: ", "0.0336"),
    ("with [rule]: ", ""),
    ("a thing that is set: ", "entry guides"),
    ("level, shear): ", "guide"),
    ("over the strip's width: ", "1/16"),
    ("may be off by: ", "1/32"),
    ("with [rule]: ", ""),
    ("Name of the next one: ", "roll gap, station 1"),
    ("level, shear): ", "gap"),
    ("wanted: ", "0.0360"),
    ("may be off by: ", "0.0040"),
    ("with [rule]: ", "caliper"),
    ("Name of the next one: ", ""),
)
PROFILE = (
    ("in or mm [in]: ", ""),
    ("[Test panel]: ", "Liner tray"),
    ("edge to edge: ", "19 1/4"),
    ("Length: ", "120"),
    ("its legs: ", "2"),
    ("[operator, drive]: ", ""),
    ("diagonals [1/16]: ", ""),
    ("heights [1/64]: ", "1/32"),
    ("published one: ", "1/4"),
    ("what length [96]: ", ""),
    ("published one: ", ""),
    ("published one: ", "mill-table"),
    ("over the width: ", "en-508-square"),
    ("length, either way: ", "1/2"),
    ("width, either way: ", ""),
    ("legs, either way: ", ""),
    ("0.5 deg/ft: ", ""),
)


def go_through(screen: Screen, answers: tuple[tuple[str, str], ...]) -> None:
    for prompt, text in answers:
        ends = re.escape(prompt).replace(r"\ ", r"\s+")
        screen.wait_for_match(ends)
        screen.type(text)


def plain(shown: str) -> str:
    return " ".join(shown.split())


def test_settings_from_an_empty_folder_to_what_to_set(tmp_path, run_at: Run):
    screen = run_at("start", "settings.toml", "--settings")
    go_through(screen, WANTED)
    assert "Then: stringtrue enter settings.toml" in plain(screen.finish())
    before = (tmp_path / "settings.toml").read_text()

    screen = run_at("enter", "settings.toml", "measured.toml")
    shown = plain(screen.wait_for("Your name: "))
    assert "Lock out and tag out" in shown
    screen.type("R. Quill")
    go_through(screen, (("nominal 23 1/4 (rule): ", "23 1/4, 23 17/64, 23 9/8"),))
    shown = plain(screen.wait_for_match(r"\(rule\): "))
    assert "9/8 is more than one" in shown
    screen.type("23 1/4, 23 17/64")
    # what is wanted stands beside what is asked
    go_through(screen, (("wanted 1/16 over the strip (rule): ", "23 25/64"), ("wanted 0.0360 (caliper): ", "b")))
    go_through(screen, (("(rule) [23 25/64]: ", "23 25/64, 23 25/64"), ("wanted 0.0360 (caliper): ", "0.0365")))
    shown = plain(screen.finish())
    assert screen.process.returncode == 0
    assert 'entry guides: close it by 5/64", to 23 21/64".' in shown
    assert "Lock out, tag out" in shown
    found = read_settings(tmp_path / "measured.toml")
    assert [s.found.readings for s in found.settings] == [
        pytest.approx((23.390625 * IN,) * 2),
        pytest.approx((0.0365 * IN,)),
    ]
    assert found.record["by"] == "R. Quill"
    # what is wanted stays with the machine as it was
    assert (tmp_path / "settings.toml").read_text() == before
    assert max(map(len, screen.shown.splitlines())) <= 80
    assert "\x1b" not in screen.shown


def test_a_panel_from_an_empty_folder_to_its_verdict(tmp_path, run_at: Run):
    screen = run_at("start", "tray.toml", "--panel")
    go_through(screen, PROFILE)
    screen.finish()
    screen = run_at("enter", "tray.toml", "tray-3.toml", "--by", "R. Quill")
    go_through(
        screen,
        (
            ("Coil: ", "C-208"),
            ("operator edge: ", "120 5/16"),
            ("drive edge: ", "119 5/8"),
            ("lead end: ", "19 3/16"),
            ("tail end: ", "91 1/4"),
        ),
    )
    # a width that no panel of this size has
    assert "possible is" in plain(screen.wait_for_match(r"tail end: "))
    screen.type("19 1/4")
    go_through(
        screen,
        (
            ("corner of operator: ", "121 1/2"),
            ("corner of drive: ", "121 1/2"),
            ("measured [up]: ", "sideways"),
            ("measured [up]: ", "down"),
            ("hollow, operator or drive: ", "drive"),
            ("[0, 30, 60, 90, 120]: ", ""),
            ("gap at 0: ", "0"),
            ("gap at 30: ", "7/16"),
            ("gap at 60: ", "9/16"),
        ),
    )
    screen.wait_for_match("gap at 90: ")
    screen.kill()
    # nothing is lost, and the same command goes on behind it
    screen = run_at("enter", "tray.toml", "tray-3.toml")
    assert "Going on with tray-3.toml" in plain(screen.wait_for_match("gap at 90: "))
    screen.type("7/16")
    go_through(
        screen,
        (
            ("gap at 120: ", "0"),
            ("read under, operator or drive: ", ""),
            ("hollow edge, operator or drive: ", ""),
            ("lead or tail: ", ""),
            ("saw none: ", "none"),
            ("Lead end, width over the pan: ", "19 1/4"),
            ("Lead end, operator leg: ", "2"),
            ("Lead end, drive leg: ", "2"),
        ),
    )
    for where in ("Middle", "Tail end"):
        for what in ("width over the pan", "operator leg", "drive leg"):
            go_through(screen, ((f"{where}, {what}: ", ""),))
    shown = plain(screen.finish())
    assert screen.process.returncode == 0
    assert "camber" in shown.lower()
    panel = read_panel(tmp_path / "tray-3.toml")
    assert panel.lengths["tail"] == pytest.approx((19.25 * IN,))
    assert panel.offsets[0].readings == pytest.approx([x * IN for x in (0, 7 / 16, 9 / 16, 7 / 16, 0)])
    assert panel.waves_looked_for
    assert (panel.legs, panel.record["coil"], panel.record["by"]) == ("down", "C-208", "R. Quill")


@pytest.mark.parametrize("count", [1, 4, 10, 15, 18])
def test_closed_input_loses_nothing(tmp_path, count):
    """After any number of answers the input ends; the same command goes on with the rest and gives the same file."""

    def start(folder: Path, answers: list[str]) -> Path:
        folder.mkdir(exist_ok=True)
        environment = os.environ | {"PYTHONPATH": str(Path(__file__).parent.parent.parent)}
        subprocess.run(
            [*COMMAND, "start", "s.toml", "--settings"], cwd=folder, check=True, env=environment,
            input="".join(f"{a}\n" for a in answers), capture_output=True, text=True,
        )  # fmt: skip
        return folder / "s.toml"

    answers = [text for _, text in WANTED]
    whole = start(tmp_path / "whole", answers)
    start(tmp_path / "parts", answers[:count])
    assert start(tmp_path / "parts", answers[count:]).read_text() == whole.read_text()


def test_a_file_changed_by_something_else_is_kept_and_read_anew(tmp_path, run_at: Run):
    screen = run_at("start", "s.toml", "--settings")
    go_through(screen, WANTED[:4])
    screen.wait_for_match(r"uncertainty\): ")
    file = tmp_path / "s.toml"
    file.write_text(file.read_text().replace("Liner line, bay 2", "Liner line, bay 3"))
    screen.type("1/256")
    assert "NOT SAVED: s.toml was changed elsewhere" in plain(screen.wait_for_match(r"uncertainty\): "))
    screen.type("1/256")
    screen.wait_for_match("measure with: ")
    screen.type("q")
    screen.finish()
    text = file.read_text()
    assert "bay 3" in text
    assert 'zero = "1/256"' in text


def test_what_belongs_to_a_survey_is_refused_for_settings(run, samples, tmp_path):
    done = run("enter", samples / "settings.toml", tmp_path / "m.toml", "--repeats", "2")
    assert done.status == 2
    assert "--repeats is for the survey of a machine" in done.err
    assert list(tmp_path.iterdir()) == []


def test_a_profile_is_never_written_into(run, samples, tmp_path):
    file = tmp_path / "tray.toml"
    file.write_text((samples / "tray.toml").read_text())
    done = run("enter", file, file)
    assert done.status == 2
    assert "is read for this" in done.err
