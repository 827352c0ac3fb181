"""Writing: whole or not at all, by one writer at a time, never over what is read."""

from __future__ import annotations

import os
import signal
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from alignment.errors import FileError, quote
from alignment.files import writing

ROOT = Path(__file__).parent.parent.parent
POSIX = pytest.mark.skipif(os.name == "nt", reason="modes and pipes of POSIX systems")


def refused(call, *arguments, **keywords) -> str:
    with pytest.raises(FileError) as error:
        call(*arguments, **keywords)
    return str(error.value)


def inside(folder: Path) -> list[str]:
    return sorted(p.name for p in folder.iterdir())


def test_write(tmp_path):
    writing.write_whole(tmp_path / "a.txt", "18⅜\n")
    assert (tmp_path / "a.txt").read_bytes() == "18⅜\n".encode()
    writing.write_whole(tmp_path / "b.bin", b"\x00\x01")
    assert (tmp_path / "b.bin").read_bytes() == b"\x00\x01"
    assert inside(tmp_path) == ["a.txt", "b.bin"]


def test_a_file_may_be_read_by_others(tmp_path):
    """As any program's file: what the user's mask leaves, not the private mode of a temporary file."""
    writing.write_whole(tmp_path / "a.txt", "new")
    (tmp_path / "plain.txt").write_text("plain")
    assert (tmp_path / "a.txt").stat().st_mode == (tmp_path / "plain.txt").stat().st_mode


def test_nothing_is_written_over_unasked(tmp_path):
    target = tmp_path / "a.txt"
    target.write_text("old")
    said = refused(writing.write_whole, target, "new")
    assert said == f"{target}: is there already. Give --force to write over it, or another name."
    assert target.read_text() == "old"
    writing.write_whole(target, "new", force=True)
    assert target.read_text() == "new"


@pytest.mark.parametrize("fails", ["fsync", "replace", "open"])
def test_old_file_stays_when_writing_fails(tmp_path, monkeypatch, fails):
    """A full disk at whatever moment: the old file is whole, and nothing is left beside it."""
    target = tmp_path / "a.txt"
    target.write_text("old")

    def full(*_arguments, **_keywords):
        raise OSError(28, "No space left on device")

    opened = os.open

    def part(name, *rest):
        return full() if str(name).endswith(writing.PART) else opened(name, *rest)

    what = {"fsync": (os, "fsync", full), "replace": (Path, "replace", full), "open": (os, "open", part)}[fails]
    monkeypatch.setattr(*what)
    said = refused(writing.write_whole, target, "new", force=True)
    monkeypatch.undo()
    assert said == f"{target}: cannot be written: No space left on device."
    assert target.read_text() == "old"
    assert inside(tmp_path) == ["a.txt"]


def test_stopped_while_writing(tmp_path, monkeypatch):
    """The user's Ctrl-C leaves the old file whole and nothing beside it."""
    target = tmp_path / "a.txt"
    target.write_text("old")

    def stop(*_arguments):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        writing.write_whole(target, "new", force=True)
    assert target.read_text() == "old"
    assert inside(tmp_path) == ["a.txt"]


def test_ready(tmp_path):
    writing.ready((None, None), (tmp_path / "a.svg", writing.PICTURES), (tmp_path / "b", None))
    a = tmp_path / "a.jpg"
    assert refused(writing.ready, (a, writing.PICTURES)) == f"{a}: cannot be written as '.jpg'. Use .svg, .png, .pdf."
    a = tmp_path / "none" / "a.svg"
    assert refused(writing.ready, (a, None)) == f"{a}: there is no folder {quote(tmp_path / 'none')}. Make it first."
    assert refused(writing.ready, (tmp_path, None)) == f"{tmp_path}: this is a folder. Name a file in it."
    a = tmp_path / "a.svg"
    twice = f"{a}: is named twice to be written. Give each file a name of its own."
    assert refused(writing.ready, (a, None), (a, None)) == twice
    assert refused(writing.ready, (a, None), (tmp_path / "." / ".." / tmp_path.name / "a.svg", None)).endswith(
        "is named twice to be written. Give each file a name of its own."
    )


def test_changed_by_another_program_meanwhile(tmp_path):
    """What someone else wrote since it was read is not written over."""
    target = tmp_path / "s.csv"
    target.write_text("theirs")
    said = refused(writing.renew_text, target, "mine", "mine and more")
    assert said == f"{target}: was changed by another program meanwhile. Stop here and start again to take it up."
    assert target.read_text() == "theirs"
    writing.renew_text(target, "theirs", "theirs and more")
    assert target.read_text() == "theirs and more"
    assert "meanwhile" in refused(writing.renew_text, tmp_path / "gone.csv", "was here", "x")


def test_folder_that_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("in the way")
    assert refused(writing.make_folder, tmp_path / "file" / "below").endswith("cannot be made: Not a directory.")


# What is read is never written.


def test_what_is_read_is_not_written_over(tmp_path, monkeypatch):
    """Forced or not, by whatever name: relative, through a link of either kind, in other letters of a path."""
    read = tmp_path / "as-found.csv"
    read.write_text("readings")
    (tmp_path / "soft.csv").symlink_to(read)
    os.link(read, tmp_path / "hard.csv")
    monkeypatch.chdir(tmp_path)
    names = ("as-found.csv", str(read), f"../{tmp_path.name}/as-found.csv", "soft.csv", "hard.csv")
    for force in (False, True):
        for target in names:
            said = refused(writing.ready, (Path(target), None), inputs=(None, read), force=force)
            assert said == f"{target}: is read for this, and would be lost. Give what is written another name."
    for source in names:
        assert "is read for this" in refused(writing.ready, (read, None), inputs=[Path(source)], force=True)
    writing.ready((tmp_path / "other.csv", None), inputs=[read, Path("-")], force=True)
    assert read.read_text() == "readings"


def test_input_that_is_not_there_yet(tmp_path):
    """A name may be wrong: what is to be written is compared by its path all the same."""
    path = tmp_path / "typo.csv"
    assert "is read for this" in refused(writing.ready, (path, None), inputs=[path])


# Links, modes, and what is no plain file.


def test_through_a_symbolic_link(tmp_path):
    """The link stays a link; its target, in another folder, is written, and locked there."""
    (tmp_path / "far").mkdir()
    target, link = tmp_path / "far" / "s.csv", tmp_path / "s.csv"
    target.write_text("old")
    link.symlink_to(Path("far") / "s.csv")
    writing.write_whole(link, "new", force=True)
    assert link.is_symlink()
    assert target.read_text() == "new"
    writing.renew_text(link, "new", "newer")
    assert link.is_symlink()
    assert target.read_text() == "newer"
    assert inside(tmp_path) == ["far", "s.csv"]
    assert inside(tmp_path / "far") == ["s.csv"]


def test_through_a_link_to_a_file_not_there_yet(tmp_path):
    (tmp_path / "a.txt").symlink_to("b.txt")
    writing.write_whole(tmp_path / "a.txt", "new")
    assert (tmp_path / "a.txt").is_symlink()
    assert (tmp_path / "b.txt").read_text() == "new"


def test_links_in_a_circle(tmp_path):
    (tmp_path / "a.txt").symlink_to("b.txt")
    (tmp_path / "b.txt").symlink_to("a.txt")
    for call in (writing.write_whole, lambda path, _: writing.ready((path, None))):
        assert f"{tmp_path / 'a.txt'}: cannot be written: " in refused(call, tmp_path / "a.txt", "x")
    assert inside(tmp_path) == ["a.txt", "b.txt"]


@POSIX
@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664, 0o755])
def test_mode_is_kept(tmp_path, mode):
    target = tmp_path / "s.csv"
    target.write_text("old")
    target.chmod(mode)
    writing.write_whole(target, "new", force=True)
    assert stat.S_IMODE(target.stat().st_mode) == mode
    writing.renew_text(target, "new", "newer")
    assert stat.S_IMODE(target.stat().st_mode) == mode


@POSIX
def test_no_plain_file(tmp_path, monkeypatch):
    """A pipe, a socket or a device is never put a file in the place of, not even by root."""
    import socket

    os.mkfifo(tmp_path / "pipe")
    with socket.socket(socket.AF_UNIX) as server:
        monkeypatch.chdir(tmp_path)
        server.bind("socket")
        for path in (tmp_path / "pipe", tmp_path / "socket", Path("/dev/null")):
            said = f"{path}: is no plain file but a pipe or a device. Name a file."
            before = path.stat().st_mode
            assert refused(writing.ready, (path, None), force=True) == said
            assert refused(writing.write_whole, path, "x", force=True) == said
            assert path.stat().st_mode == before
    assert inside(tmp_path) == ["pipe", "socket"]


def test_protected_from_being_written(tmp_path, monkeypatch):
    """A file that its owner protected stays, although its folder would let it be replaced."""
    target = tmp_path / "a.txt"
    target.write_text("old")
    monkeypatch.setattr(os, "access", lambda *_: False)  # root may write everything
    said = f"{target}: is protected from being written. Allow that, or give another name."
    assert refused(writing.write_whole, target, "new", force=True) == said
    assert target.read_text() == "old"


@pytest.mark.parametrize("name", ["x" * 5000, "é" * 200, "a\0b"])
def test_a_name_that_no_disk_takes(tmp_path, name):
    for call in (lambda p: writing.ready((p, None)), lambda p: writing.write_whole(p, "x"), writing.ready_to_renew):
        assert ": cannot be written: " in refused(call, tmp_path / name)
    assert inside(tmp_path) == []


def test_the_longest_names_that_a_disk_takes(tmp_path):
    """The lock and the part, which are named after it, must not be longer than it may be."""
    for name in ("x" * 251 + ".csv", "é" * 125 + ".csv"):
        writing.write_whole(tmp_path / name, "readings")
        writing.renew_text(tmp_path / name, "readings", "more")
        assert (tmp_path / name).read_text() == "more"
        assert inside(tmp_path) == [name]
        (tmp_path / name).unlink()


# Several writers, and those that died.


def append(path: Path, row: str) -> int:
    """Add a row as somebody does who reads first; how often another was faster."""
    late = 0
    while True:
        before = path.read_text(encoding="utf-8")
        try:
            writing.renew_text(path, before, before + row)
        except writing.ChangedError:
            late += 1
        else:
            return late


def test_threads_that_answer_in_the_same_instant(tmp_path):
    """Eight threads read the same text and meet before they write: one is let through, seven are told."""
    path = tmp_path / "log.csv"
    path.write_text("section,point,reading\n")
    meet, saved, late = threading.Barrier(8), [], []

    def answer(number: int) -> None:
        before = path.read_text()
        meet.wait()
        try:
            writing.renew_text(path, before, f"{before}operator-{number},entry,18 3/8\n")
            saved.append(number)
        except writing.ChangedError:
            late.append(number)

    threads = [threading.Thread(target=answer, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(saved) == 1
    assert len(late) == 7
    assert path.read_text() == f"section,point,reading\noperator-{saved[0]},entry,18 3/8\n"
    assert inside(tmp_path) == ["log.csv"]


def test_programs_that_write_one_file(tmp_path):
    """Every row that somebody was told is saved stands in the file, whole, once; the programs begin together."""
    path = tmp_path / "job" / "log.csv"
    path.parent.mkdir()
    path.write_text("section,point,reading\n")
    ask = (
        "import sys; from pathlib import Path; from tests.files.test_writing import append\n"
        "print('ready', flush=True); sys.stdin.readline()\n"
        "print(sum(append(Path(sys.argv[1]), f'{sys.argv[2]}-{k},entry,18 3/8\\n') for k in range(25)))"
    )
    piped = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    programs = [subprocess.Popen([sys.executable, "-c", ask, path, name], cwd=ROOT, **piped) for name in "abc"]
    assert [program.stdout.readline().strip() for program in programs] == [b"ready"] * 3
    for program in programs:
        program.stdin.write(b"\n")
        program.stdin.flush()
    late = [int(program.communicate(timeout=60)[0]) for program in programs]
    rows = path.read_text().splitlines()[1:]
    assert sorted(rows) == sorted(f"{name}-{k},entry,18 3/8" for name in "abc" for k in range(25))
    assert inside(path.parent) == ["log.csv"]
    if not sum(late):
        pytest.skip("the programs never met, so that this showed no more than that they write")


DIES = """
import os, signal, sys
from pathlib import Path
from alignment.files import writing

def die(*_):
    os.kill(os.getpid(), getattr(signal, "SIGKILL", signal.SIGTERM))

os.fsync = die
writing.write_whole(Path(sys.argv[1]), "half", force=True)
"""


def killed_while_writing(path: Path) -> None:
    done = subprocess.run([sys.executable, "-c", DIES, path], cwd=ROOT, check=False, timeout=60)
    assert done.returncode in (-signal.SIGTERM, -9, signal.SIGTERM)


def test_a_writer_that_is_killed(tmp_path):
    """Its lock is free at once, what it left tells what it is, and the next to write the file takes it away."""
    path = tmp_path / "log.csv"
    path.write_text("old")
    killed_while_writing(path)
    assert path.read_text() == "old"
    assert inside(tmp_path) == [".log.csv.stringtrue-lock", ".log.csv.stringtrue-part", "log.csv"]
    begin = time.monotonic()
    writing.renew_text(path, "old", "new")
    assert time.monotonic() - begin < 5
    assert path.read_text() == "new"
    assert inside(tmp_path) == ["log.csv"]


def test_leftovers_are_swept_from_the_folder(tmp_path):
    """Those of other files, once they are a day old; nothing else, whatever its age."""
    day = time.time() - 25 * 3600
    (tmp_path / "lost.csv").write_text("old")
    killed_while_writing(tmp_path / "lost.csv")
    writing.write_whole(tmp_path / "a.txt", "new")
    left = [".lost.csv.stringtrue-lock", ".lost.csv.stringtrue-part"]
    assert inside(tmp_path) == [*left, "a.txt", "lost.csv"]
    for other in (".hidden", "mine.stringtrue-part"):
        (tmp_path / other).write_text("not ours")
    for file in tmp_path.iterdir():
        os.utime(file, (day, day))
    writing.write_whole(tmp_path / "b.txt", "new")
    assert inside(tmp_path) == [".hidden", "a.txt", "b.txt", "lost.csv", "mine.stringtrue-part"]


def test_a_writer_that_does_not_end(tmp_path, monkeypatch):
    monkeypatch.setattr(writing, "PATIENCE", 0.2)
    path = tmp_path / "log.csv"
    with writing._alone(path):
        said = refused(writing.renew_text, path, None, "x")
    assert said == f"{path}: another program has been writing it for 0 s. Try again."
    assert inside(tmp_path) == []


def test_a_folder_in_which_no_file_can_be_made(tmp_path, monkeypatch):
    """As /proc is: the lock never comes to be, and nobody else is to blame."""
    from filelock import FileLock, Timeout

    def never(lock: FileLock) -> None:
        raise Timeout(lock.lock_file)

    monkeypatch.setattr(FileLock, "__enter__", never)
    path = tmp_path / "log.csv"
    assert refused(writing.renew_text, path, None, "x") == (
        f"{path}: cannot be written: no file can be made in {quote(tmp_path)}."
    )


def test_a_reader_that_keeps_the_file_open_for_a_moment(tmp_path, monkeypatch):
    """Windows refuses to replace a file that is being read: the write waits, and succeeds."""
    path, replace, tries = tmp_path / "log.csv", Path.replace, []

    def busy(part: Path, file: Path) -> Path:
        tries.append(part)
        if len(tries) < 4:
            raise PermissionError(13, "The process cannot access the file")
        return replace(part, file)

    monkeypatch.setattr(Path, "replace", busy)
    writing.write_whole(path, "new")
    assert path.read_text() == "new"
    assert len(tries) == 4


def test_an_interrupt_once_the_file_has_its_name(tmp_path, monkeypatch):
    """Ctrl-C is what is told, and the file is whole."""

    def interrupted(_folder):
        raise KeyboardInterrupt

    monkeypatch.setattr(writing, "_sync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        writing.write_whole(tmp_path / "a.csv", "18 3/8\n")
    assert [path.name for path in tmp_path.iterdir()] == ["a.csv"]
    assert (tmp_path / "a.csv").read_text(encoding="utf-8") == "18 3/8\n"
