"""
A job at the machine as a person does it, at a pseudo-terminal 40 columns wide and without colour.

From an empty folder to the record: two typing mistakes, one misread inch, killed twice, quit and taken up.
"""

from __future__ import annotations

import math
import re
import sys
from pathlib import Path

import numpy as np
import pytest

if sys.platform == "win32":
    pytest.skip("Python opens no pseudo-terminal on Windows", allow_module_level=True)

from alignment.lengths import Units
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_files import read_survey
from alignment.machine.survey_text import parse_survey
from alignment.train.work.next_act import Act, Next, next_act
from tests.cli.test_terminal import Run, Screen, run_at

__all__ = ["run_at"]

IN = 25.4
START = ("--sections", "2", "--length", "15", "--gap", "1", "--bolts", "2", "--target", "18 3/8")
NEW = ("--by", "R. Quill", "--tape", "T-14")


class Bench:
    """The machine behind the screen: it reads and stops as asked, and tightening moves nothing."""

    def __init__(self, folder: Path, name: str) -> None:
        self.layout = read_layout(folder / "machine.toml")
        self.file = folder / name
        self.ends = {s.name: np.zeros(2) for s in self.layout.sections}
        self.ends["operator-1"] = np.array([0.0, IN / 4])

    def next(self) -> Next:
        """What the log on disk asks for; one that is not there yet holds nothing."""
        text = self.file.read_text() if self.file.exists() else "# strong_shy: true\nsection,point,reading\n"
        log = parse_survey(text, self.layout, begun=True)
        return next_act(self.layout, log)

    def reading(self, section: str, point: str) -> str:
        """Whole inches and a fraction, to a quarter of a sixteenth."""
        off = self.ends[section][("entry", "exit").index(point)]
        quarters = round((18.375 + off / IN) * 64)
        sixteenths, rest = divmod(quarters, 4)
        sixteenths, sign = (sixteenths, "+" if rest else "") if rest < 2 else (sixteenths + 1, "-")
        inches, part = divmod(sixteenths, 16)
        if not part:
            return f"{inches}{sign}"
        over = math.gcd(part, 16)
        return f"{inches} {part // over}/{16 // over}{sign}"

    def move(self, act) -> None:
        """Set the bolt ends to their stops, about the pivot."""
        section = act.section
        ends = self.ends[section.name]
        places = [(s.place, s.reading - 18.375 * IN) for s in act.stops]
        if len(places) == 1:
            pivot = section.bolts[1 - act.stops[0].end]
            share = pivot / section.length
            places.append((pivot, float(ends @ [1 - share, share])))
        (x, y), (x2, y2) = places
        slope = (y2 - y) / (x2 - x)
        self.ends[section.name] = np.array([y - slope * x, y + slope * (section.length - x)])


def answer(screen: Screen, bench: Bench) -> None:
    """Do the one thing that is asked, and wait until it is saved and the next is asked."""
    act = bench.next()
    if act.act is Act.move:
        screen.type("")
        bench.move(act)
    else:
        point = act.section.point_name(act.points[0], Units.inch)
        screen.type(bench.reading(act.section.name, point))


def rows(bench: Bench) -> int:
    log = read_survey(bench.file, bench.layout, begun=True)
    return len(log.readings) + len(log.moves)


PROMPTS = ("entry: ", "exit: ", "reading: ")


def test_a_whole_job(tmp_path, run_at: Run):
    run_at("start", "machine.toml", *START).finish()
    screen = run_at("work", "machine.toml", "job.csv", *NEW)
    screen.answer("[y]: ", "")
    shown = screen.wait_for("operator-1 entry: ")
    assert "Wanted 18 3/8." in " ".join(shown.split())
    bench = Bench(tmp_path, "job.csv")
    # a fraction that is none, and letters
    for wrong, said in (("18 9/8", "is not a length"), ("eighteen", "is not a length")):
        screen.type(wrong)
        assert said in screen.wait_for("operator-1 entry: ")
    # a misread inch is doubted, and read again
    screen.type("19 3/8")
    assert '1" more than its target (18 3/8)' in " ".join(screen.wait_for("(k keeps it): ").split())
    screen.type("3/8")
    assert "18 3/8 saved." in screen.wait_for("operator-1 exit: ")
    killed, done, shown = 0, 1, ""
    for _ in range(60):
        answer(screen, bench)
        done += 1
        if killed < 2 and done in (3, 5):
            screen.wait_for(*PROMPTS)
            screen.kill()
            killed += 1
            screen = run_at("work", "machine.toml", "job.csv")
            screen.wait_for(*PROMPTS)
            continue
        if done == 7:
            screen.wait_for(*PROMPTS)
            screen.type("q")
            assert "The same command goes on." in " ".join(screen.finish().split())
            screen = run_at("work", "machine.toml", "job.csv")
            assert "Going on with job.csv" in screen.wait_for(*PROMPTS)
            continue
        if bench_done(bench):
            break
        screen.wait_for(*PROMPTS)
    shown = screen.finish()
    assert "Done. 4 sections OK." in " ".join(shown.split())
    assert killed == 2
    assert max(map(len, screen.shown.splitlines())) <= 41
    assert "\x1b" not in screen.shown
    for ends in bench.ends.values():
        assert np.abs(ends).max() <= IN / 16
    log = read_survey(tmp_path / "job.csv", bench.layout)
    assert {m.section for m in log.moves} == {"operator-1"}
    assert (log.record["by"], log.record["tape"], log.record["strong_shy"]) == ("R. Quill", "T-14", "true")
    screen = run_at("report", "machine.toml", "job.csv", "-o", "report.pdf")
    screen.finish()
    assert screen.process.returncode == 0
    assert (tmp_path / "report.pdf").read_bytes().startswith(b"%PDF-")


def bench_done(bench: Bench) -> bool:
    """Whether the log on disk asks for nothing more."""
    import time

    time.sleep(0.3)
    return bench.next().act is Act.done


def test_two_writers_are_noticed_and_neither_loses_a_row(tmp_path, run_at: Run):
    run_at("start", "machine.toml", *START).finish()
    screen = run_at("work", "machine.toml", "job.csv", *NEW)
    screen.answer("[y]: ", "")
    screen.answer("operator-1 entry: ", "3/8")
    screen.wait_for("operator-1 exit: ")
    file = tmp_path / "job.csv"
    file.write_text(file.read_text() + "operator-1,exit,18 3/8,,,from the phone\n")
    screen.type("3/8")
    shown = " ".join(screen.wait_for("operator-2 entry: ").split())
    assert "changed elsewhere" in shown
    screen.answer("", "3/8")
    screen.wait_for("operator-2 exit: ")
    screen.type("q")
    screen.finish()
    found = [(r.section, r.note) for r in read_survey(file, read_layout(tmp_path / "machine.toml")).readings]
    assert found == [("operator-1", ""), ("operator-1", "from the phone"), ("operator-2", "")]


def test_keys_for_one_section_moved_once_and_accepted(tmp_path, run_at: Run):
    """Beside the readings themselves: Enter behind each of them, and Enter for the move."""
    run_at("start", "machine.toml", *START).finish()
    screen = run_at("work", "machine.toml", "job.csv", *NEW)
    screen.answer("[y]: ", "")
    screen.wait_for(*PROMPTS)
    bench = Bench(tmp_path, "job.csv")
    keys = 0
    while True:
        act = bench.next()
        if act.section.name != "operator-1":
            break
        answer(screen, bench)
        keys += 1
        screen.wait_for(*PROMPTS)
    screen.type("q")
    screen.finish()
    assert any(m.section == "operator-1" for m in read_survey(bench.file, bench.layout, begun=True).moves)
    assert keys <= 25


def test_back_list_why_and_skip(tmp_path, run_at: Run):
    run_at("start", "machine.toml", *START).finish()
    screen = run_at("work", "machine.toml", "job.csv", *NEW)
    screen.answer("[y]: ", "")
    screen.answer("operator-1 entry: ", "3/8+")
    screen.answer("operator-1 exit: ", "b")
    assert "Taken off: operator-1 entry 18 3/8+." in screen.answer("operator-1 entry: ", "l")
    assert "drive-2: not read" in screen.answer("operator-1 entry: ", "?")
    assert "read both ends" in " ".join(screen.answer("operator-1 entry: ", "s").split())
    assert "put off" in screen.answer("operator-2 entry: ", "q")
    assert not re.search(r"\n.{42,}", screen.finish())
