"""Streams that are full, closed or broken, and what the system refuses: one message, status 2, never a traceback."""

from __future__ import annotations

import os
import pty
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
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "s.csv").exists()


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
