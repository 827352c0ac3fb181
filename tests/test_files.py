"""Files: read whole or refused, written whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from alignment import files
from alignment.errors import FileError


def refused(call, *arguments, **keywords) -> str:
    with pytest.raises(FileError) as error:
        call(*arguments, **keywords)
    return str(error.value)


def test_write(tmp_path):
    files.write_whole(tmp_path / "a.txt", "27⅝\n")
    assert (tmp_path / "a.txt").read_bytes() == "27⅝\n".encode()
    files.write_whole(tmp_path / "b.bin", b"\x00\x01")
    assert (tmp_path / "b.bin").read_bytes() == b"\x00\x01"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.txt", "b.bin"]


def test_a_file_may_be_read_by_others(tmp_path):
    """As any program's file: what the user's mask leaves, not the private mode of a temporary file."""
    files.write_whole(tmp_path / "a.txt", "new")
    (tmp_path / "plain.txt").write_text("plain")
    assert (tmp_path / "a.txt").stat().st_mode == (tmp_path / "plain.txt").stat().st_mode


def test_nothing_is_written_over_unasked(tmp_path):
    target = tmp_path / "a.txt"
    target.write_text("old")
    said = refused(files.write_whole, target, "new")
    assert said == f"{target}: is there already. Give --force to write over it, or another name."
    assert target.read_text() == "old"
    files.write_whole(target, "new", force=True)
    assert target.read_text() == "new"


@pytest.mark.parametrize("fails", ["fsync", "replace", "mkstemp"])
def test_old_file_stays_when_writing_fails(tmp_path, monkeypatch, fails):
    """A full disk at whatever moment: the old file is whole, and nothing is left beside it."""
    target = tmp_path / "a.txt"
    target.write_text("old")

    def full(*_arguments, **_keywords):
        raise OSError(28, "No space left on device")

    where = {"fsync": (os, "fsync"), "replace": (Path, "replace"), "mkstemp": (files.tempfile, "mkstemp")}[fails]
    monkeypatch.setattr(*where, full)
    said = refused(files.write_whole, target, "new", force=True)
    monkeypatch.undo()
    assert said == f"{target}: cannot be written: No space left on device."
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_stopped_while_writing(tmp_path, monkeypatch):
    """The user's Ctrl-C leaves the old file whole and nothing beside it."""
    target = tmp_path / "a.txt"
    target.write_text("old")

    def stop(*_arguments):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        files.write_whole(target, "new", force=True)
    assert target.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_ready(tmp_path):
    files.ready((None, None), (tmp_path / "a.svg", files.PICTURES), (tmp_path / "b", None))
    a = tmp_path / "a.jpg"
    assert refused(files.ready, (a, files.PICTURES)) == f"{a}: cannot be written as '.jpg'. Use .svg, .png, .pdf."
    a = tmp_path / "none" / "a.svg"
    assert refused(files.ready, (a, None)) == f"{a}: there is no folder '{_cut(tmp_path / 'none')}. Make it first."
    assert refused(files.ready, (tmp_path, None)) == f"{tmp_path}: this is a folder. Name a file in it."
    a = tmp_path / "a.svg"
    twice = f"{a}: is named twice to be written. Give each file a name of its own."
    assert refused(files.ready, (a, None), (a, None)) == twice


def _cut(path: Path) -> str:
    """A path as messages quote it: cut when it is long."""
    text = str(path)
    return f"{text}'" if len(text) <= 40 else f"{text[:40]}...' ({len(text)} characters)"


def test_missing(tmp_path):
    (tmp_path / "machine.toml").write_text("")
    gone = tmp_path / "machin.toml"
    assert refused(files.read_text, gone) == (f"{gone}: there is no such file. Perhaps you meant 'machine.toml'.")


def test_missing_in_an_empty_folder(tmp_path):
    gone = tmp_path / "machine.toml"
    assert refused(files.read_text, gone) == f"{gone}: there is no such file."


def test_missing_with_its_folder(tmp_path):
    gone = tmp_path / "none" / "machine.toml"
    said = f"{gone}: there is no such file. There is no folder '{_cut(gone.parent)}."
    assert refused(files.read_text, gone) == said


def test_folder(tmp_path):
    assert refused(files.read_text, tmp_path) == f"{tmp_path}: this is a folder. Name a file."


def test_too_large(tmp_path, monkeypatch):
    monkeypatch.setattr(files, "LARGEST_FILE", 3_000_000)
    target = tmp_path / "big.csv"
    target.write_bytes(b" " * 3_000_001)
    assert refused(files.read_text, target) == f"{target}: larger than 3 MB, which no survey or layout is."


@pytest.mark.parametrize(
    "data",
    [bytes(range(256)), b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0", b"text with one \0 in it, not more than that"],
    ids=["all bytes", "picture", "one zero"],
)
def test_binary(tmp_path, data):
    (tmp_path / "a.toml").write_bytes(data)
    said = refused(files.read_text, tmp_path / "a.toml")
    assert said == "a.toml: not a text file. Expected text in UTF-8, or for a survey also .xlsx."


def test_another_encoding(tmp_path):
    (tmp_path / "a.csv").write_bytes("first\n# by: R. Quíll\n".encode("latin-1"))
    said = refused(files.read_text, tmp_path / "a.csv")
    assert said == "a.csv: row 2 holds a byte that is no UTF-8 text. Save the file as CSV UTF-8."


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
def test_not_allowed(tmp_path):
    (tmp_path / "a.csv").write_text("x")
    (tmp_path / "a.csv").chmod(0)
    assert refused(files.read_text, tmp_path / "a.csv").endswith("cannot be read: Permission denied.")


def test_a_name_that_no_disk_takes(tmp_path):
    """Never a traceback, whatever the name."""
    for name in ("a\0b.csv", "x" * 5000):
        assert ": cannot be read: " in refused(files.read_text, tmp_path / name)


def test_samples_are_beside_or_inside_the_package(samples):
    assert (samples / "machine.toml").is_file()
