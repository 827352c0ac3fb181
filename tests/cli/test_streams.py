"""Streams that are full, closed or broken, and what the system refuses: one message, status 2, never a traceback."""

from __future__ import annotations

import contextlib
import io
import os
import pty
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from alignment.machine import layout_file
from cli import app

pytestmark = pytest.mark.skipif(os.name == "nt", reason="shells and devices of POSIX systems")
PROGRAM = f"{sys.executable} -m alignment"
ROOT = Path(__file__).parent.parent.parent


def shell(line: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run a line of shell in the samples, with `st` for the command."""
    return subprocess.run(
        ["/bin/bash", "-c", f'st() {{ {PROGRAM} "$@"; }}; {line}'],
        cwd=ROOT / "sample_readings",
        env=os.environ | {"PYTHONPATH": str(ROOT)} | environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=100,
    )


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="has no full device")
@pytest.mark.parametrize("command", ["solve machine.toml as-found.csv", "budget machine.toml --json", "--version"])
def test_full_disk_on_standard_output(command):
    done = shell(f"st {command} > /dev/full")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "stringtrue: standard output: cannot be used: No space left on device.\n"


def test_closed_standard_output():
    done = shell("st square 18-3/8 18-7/16 --length 15 >&-")
    assert done.returncode == 2
    assert done.stderr == "stringtrue: standard output: cannot be used: Bad file descriptor.\n"


def test_closed_standard_input(tmp_path):
    done = shell("st solve machine.toml - <&-")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("stringtrue: standard input: ")
    done = shell(f"st enter machine.toml {tmp_path}/s.csv <&-")
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert done.stderr.startswith("stringtrue: standard input: cannot be read: Bad file descriptor.")
    assert not (tmp_path / "s.csv").exists()


ASKS = (
    "work machine.toml new.csv",
    "enter machine.toml new.csv",
    "enter settings.toml new.toml",
    "enter tray.toml new.toml",
    "start new.toml",
    "start new.toml --panel",
    "start new.toml --settings",
)
"""Lines that ask a person something."""
TELLS = (
    "start new.toml --sections 2 --length 18 --gap 1 --bolts 2 --target 18 --units in --rows a,b --mark 1/16 "
    "--start 0 --setback 0 --name A",
    "start new.toml --panel --blank",
    "budget machine.toml",
    "sheet machine.toml -o new.pdf",
    "next machine.toml job.csv",
    "square 18-3/8 18-7/16 --length 15",
    "solve machine.toml as-found.csv",
    "compare machine.toml as-found.csv as-left.csv",
    "history machine.toml before-move.csv as-found.csv as-left.csv",
    "panel tray.toml",
    "causes machine.toml as-found.csv tray.toml",
    "settings settings.toml",
    "report machine.toml job.csv -o new.pdf",
    "phone machine.toml new.csv",
)
"""Lines that only tell, and one that serves once it has told where."""


def test_every_command_is_tried():
    """All but the demonstration, which takes seconds and then tells in the same way."""
    assert {line.split()[0] for line in ASKS + TELLS} == set(app.NAMES) - {"demo"}


@pytest.fixture
def job(samples, tmp_path, monkeypatch):
    """A folder with the samples, to work in."""
    shutil.copytree(samples, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("line", ASKS)
def test_asking_nobody(job, run, monkeypatch, line):
    """Of a closed standard input nothing can be read, which is told, and nothing is written."""
    before = sorted(job.iterdir())
    with os.fdopen(os.open(os.devnull, os.O_WRONLY), "r", encoding="utf-8") as closed:
        monkeypatch.setattr(sys, "stdin", closed)
        done = run(*line.split())
    said = "standard input: cannot be read: Bad file descriptor. Run this where you can type."
    assert (done.status, done.err) == (2, f"stringtrue: {said}\n")
    assert sorted(job.iterdir()) == before


@pytest.mark.parametrize("line", ASKS)
def test_an_end_of_input_is_a_way_to_stop(job, run, monkeypatch, line):
    """As q is, and with its status: 0, or 2 where nothing can be made of the answers; never a file without them."""
    before = sorted(job.iterdir())
    found = []
    for typed in ("", "q\n" * 9):
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        found.append(run(*line.split()))
    assert {done.status for done in found} == {2 if line == "start new.toml" else 0}
    said = " ".join((found[0].out + found[0].err).split())
    assert any(words in said for words in ("Nothing was", "no answer for")), said
    assert sorted(job.iterdir()) == before


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="has no full device")
@pytest.mark.parametrize("line", ASKS + TELLS)
def test_nothing_can_be_told(job, run, monkeypatch, line):
    """A full disk behind standard output, for every command: one message, whatever else was done."""
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    with Path("/dev/full").open("w", encoding="utf-8", buffering=1) as full:
        monkeypatch.setattr(sys, "stdout", full)
        done = run(*line.split())
        monkeypatch.setattr(sys, "stdout", sys.__stdout__)
        with contextlib.suppress(OSError):
            full.close()
    assert (done.status, done.err) == (2, "stringtrue: standard output: cannot be used: No space left on device.\n")


def test_interrupted_before_anything_is_read(job, run, monkeypatch):
    """Ctrl-C at the first question ends it there, and does not go on to the next."""

    def stop(_: str) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("builtins.input", stop)
    assert run("work", "machine.toml", "new.csv").status == app.INTERRUPTED
    assert not (job / "new.csv").exists()


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="has no device without an end")
@pytest.mark.parametrize("line", ["panel /dev/zero", "solve machine.toml /dev/zero"])
def test_what_has_no_end(job, run, line):
    done = run(*line.split())
    assert (done.status, done.out) == (2, "")
    assert done.err == "stringtrue: /dev/zero: larger than 50 MB, which no survey or layout is.\n"


@pytest.mark.parametrize(
    "line", ["enter machine.toml new.csv", "work machine.toml new.csv", "phone machine.toml new.csv"]
)
def test_answers_into_a_pipe(job, run, line):
    """Refused at once: it would wait for ever for somebody who writes into it."""
    os.mkfifo(job / "new.csv")
    done = run(*line.split())
    assert (done.status, done.out) == (2, "")
    assert done.err == "stringtrue: new.csv: is no plain file but a pipe or a device. Name a file.\n"


@pytest.mark.parametrize("line", [line for line in ASKS if "new" in line])
def test_a_folder_that_cannot_be_written_is_told_before_anything_is_asked(job, run, monkeypatch, line):
    def denied(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("filelock.FileLock.__enter__", denied)
    done = run(*line.split())
    assert (done.status, done.out) == (2, "")
    assert done.err.endswith(": cannot be written: Permission denied.\n")


def test_a_line_that_cannot_be_used_gets_one_message(job, run):
    """That the layout was taken from the folder is said only where it was used."""
    assert run("budget", "none").err.startswith("stringtrue: Got unexpected extra argument")
    assert run("next", "job.csv").err == "Layout: machine.toml\n"


def test_all_streams_closed(tmp_path):
    """No file that is opened later takes the place of a stream: what is written is what was asked for."""
    plain = shell(f"st solve machine.toml as-found.csv -o {tmp_path}/plain.txt")
    assert plain.returncode == 0
    closed = shell(f"st solve machine.toml as-found.csv -o {tmp_path}/closed.txt <&- >&- 2>&-")
    assert closed.returncode == 0
    assert (tmp_path / "closed.txt").read_bytes() == (tmp_path / "plain.txt").read_bytes()


def test_nobody_there_to_be_told():
    assert shell("st solve no.toml no.csv 2>&-").returncode == 2


def test_a_reader_that_has_read_enough():
    """``| head`` ends it without a word, and not with the status of a failed check, nor of a passed one."""
    done = shell("st solve machine.toml as-found.csv --check | true; echo ${PIPESTATUS[0]}")
    assert (done.stdout, done.stderr) == ("2\n", "")


@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="root may read everything")
def test_unreadable_folder_by_its_mode(tmp_path, run, samples):
    (tmp_path / "days").mkdir(mode=0)
    done = run("history", samples / "machine.toml", tmp_path / "days")
    assert (done.status, done.err) == (2, f"stringtrue: {tmp_path}/days: cannot be read: Permission denied.\n")


def test_unreadable_folder(tmp_path, run, samples, monkeypatch):
    def denied(_: Path) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "iterdir", denied)
    done = run("history", samples / "machine.toml", tmp_path)
    assert (done.status, done.out) == (2, "")
    assert done.err == f"stringtrue: {tmp_path}: cannot be read: Permission denied.\n"


def test_too_long_a_name(run, samples):
    name = "x" * 300
    for arguments in (("solve", name, name), ("solve", samples / "machine.toml", name)):
        done = run(*arguments)
        assert (done.status, done.err) == (2, f"stringtrue: {name}: cannot be read: File name too long.\n")
    done = run("solve", samples / "machine.toml", samples / "as-found.csv", "-o", name)
    assert (done.status, done.err) == (2, f"stringtrue: {name}: cannot be written: File name too long.\n")


def test_names_that_are_no_utf8(tmp_path):
    """A name of a file may be any bytes: it is read, written, and shown with a question mark."""
    name = f"{tmp_path}/r$'\\xff'"
    line = f"cp as-found.csv {name}.csv && st solve machine.toml {name}.csv"
    for options in ("--json", f"--plot {name}.svg --table {name}.xlsx -o {name}.txt", f"--table {name}-2.csv"):
        done = shell(f"{line} {options}", PYTHONUTF8="1")
        assert (done.returncode, done.stderr) == (0, "")
    assert shell(f"st report machine.toml {name}.csv -o {name}.pdf", PYTHONUTF8="1").returncode == 0
    made = sorted(os.fsencode(path.name) for path in tmp_path.iterdir())
    assert made == [b"r\xff-2.csv", b"r\xff.csv", b"r\xff.pdf", b"r\xff.svg", b"r\xff.txt", b"r\xff.xlsx"]
    assert b"r?.csv" in (tmp_path / os.fsdecode(b"r\xff.txt")).read_bytes()


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (MemoryError(), "out of memory. Close other programs, or give fewer readings at a time."),
        (
            ImportError("x.so: failed to map segment from shared object"),
            "a part of the program cannot be loaded: x.so: failed to map segment from shared object. "
            "Free some memory, or install it again.",
        ),
        (OSError(24, "Too many open files", "a.toml"), "a.toml: cannot be used: Too many open files."),
    ],
)
def test_what_the_system_refuses(run, samples, monkeypatch, error, said):
    def refuse(*_: object) -> None:
        raise error

    monkeypatch.setattr(layout_file, "read_layout", refuse)
    done = run("budget", samples / "machine.toml")
    assert (done.status, done.out, done.err) == (2, "", f"stringtrue: {said}\n")


def test_out_of_memory_for_real():
    """As much memory as the program needs, and not enough for what it is given: 40 MB of a survey."""
    rows = "{ echo section,point,reading; yes operator-1,entry,18 | head -2000000; }"
    done = shell(f"ulimit -v 700000; {rows} | st solve machine.toml -", OPENBLAS_NUM_THREADS="1")
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert "out of memory" in done.stderr


def test_interrupted(run, samples, monkeypatch):
    """Ctrl-C is no failed check."""

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(layout_file, "read_layout", stop)
    assert run("budget", samples / "machine.toml").status == app.INTERRUPTED


def test_home_that_cannot_be_written(tmp_path):
    """The library that draws keeps a list of fonts there, and says so where it cannot."""
    (tmp_path / "home").write_text("no folder")
    done = shell(
        f"unset MPLCONFIGDIR XDG_CACHE_HOME XDG_CONFIG_HOME; HOME={tmp_path}/home/none "
        f"st solve machine.toml as-found.csv --plot {tmp_path}/a.svg -o {tmp_path}/a.txt"
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@pytest.mark.parametrize(("environment", "codes"), [({"TERM": "xterm"}, True), ({"TERM": "dumb"}, False)])
def test_a_terminal_that_takes_no_codes(samples, environment, codes):
    """Headings are bold on a terminal, and plain on one that would show the codes as letters."""
    ours, theirs = pty.openpty()
    clean = {key: value for key, value in os.environ.items() if key != "NO_COLOR"} | {"PYTHONPATH": str(ROOT)}
    program = [sys.executable, "-m", "alignment", "solve", "machine.toml", "as-found.csv"]
    with subprocess.Popen(program, cwd=samples, env=clean | environment, stdout=theirs, stdin=theirs) as running:
        os.close(theirs)
        seen = b""
        try:
            while part := os.read(ours, 4096):
                seen += part
        except OSError:  # its end, on Linux
            pass
        assert running.wait() == 0
    os.close(ours)
    assert b"operator-2" in seen
    assert (b"\x1b" in seen) is codes
