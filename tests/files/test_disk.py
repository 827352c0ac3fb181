"""Files: read whole or refused, written whole or not at all."""

from __future__ import annotations

import io
import os
from pathlib import Path
from types import SimpleNamespace

import pytest

from alignment.errors import FileError
from alignment.files import disk
from alignment.files.disk import read_text
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_files import read_pair, read_survey
from alignment.panel.panel_file import read_panel
from alignment.settings.settings_file import read_settings


def refused(call, *arguments, **keywords) -> str:
    with pytest.raises(FileError) as error:
        call(*arguments, **keywords)
    return str(error.value)


def _cut(path: Path) -> str:
    """A path as messages quote it: cut when it is long."""
    text = str(path)
    return f"{text}'" if len(text) <= 40 else f"{text[:40]}...' ({len(text)} characters)"


def test_missing(tmp_path):
    (tmp_path / "machine.toml").write_text("")
    gone = tmp_path / "machin.toml"
    assert refused(read_text, gone) == (f"{gone}: there is no such file. Perhaps you meant 'machine.toml'.")


def test_missing_offers_only_files_of_the_kind(samples, tmp_path):
    for name in ("notes.txt", "machine.toml", "as-found.csv", "as-left.xlsx"):
        (tmp_path / name).write_bytes((samples / "machine.toml").read_bytes())
    gone = tmp_path / "no"
    assert refused(read_layout, gone) == f"{gone}: there is no such file. Known: machine.toml."
    layout = read_layout(samples / "machine.toml")
    known = "Known: as-found.csv, as-left.xlsx."
    assert refused(read_survey, gone, layout) == f"{gone}: there is no such file. {known}"


def test_missing_in_an_empty_folder(tmp_path):
    gone = tmp_path / "machine.toml"
    assert refused(read_text, gone) == f"{gone}: there is no such file."


def test_missing_with_its_folder(tmp_path):
    gone = tmp_path / "none" / "machine.toml"
    said = f"{gone}: there is no such file. There is no folder '{_cut(gone.parent)}."
    assert refused(read_text, gone) == said


KINDS = {
    "machine.toml": ("is a layout", "stringtrue solve {} SURVEY"),
    "tray.toml": ("is a panel file", "stringtrue panel {}"),
    "settings.toml": ("is a settings file", "stringtrue settings {}"),
    "as-found.csv": ("is a survey", "stringtrue solve LAYOUT {}"),
}


@pytest.mark.parametrize("name", KINDS)
@pytest.mark.parametrize("wanted", KINDS)
def test_a_file_of_another_kind(samples, name, wanted):
    """Told as what it is, with the command that takes it; one of the kind wanted is read."""
    layout = read_layout(samples / "machine.toml")
    readers = (read_layout, read_panel, read_settings, lambda path: read_survey(path, layout))
    read = dict(zip(KINDS, readers, strict=True))[wanted]
    path = samples / name
    if name == wanted:
        read(path)
        return
    what, use = KINDS[name]
    article = KINDS[wanted][0].removeprefix("is ")
    assert refused(read, path) == f"{path}: {what}, and {article} is wanted here. Use it so: {use.format(path)}"


def test_one_survey_taken_for_two(samples, tmp_path):
    layout = read_layout(samples / "machine.toml")
    path = samples / "as-left.csv"
    again = samples / ".." / samples.name / "as-left.csv"
    said = f"{again}: stands for both surveys, before and after. Name two, the earlier one first."
    assert refused(read_pair, path, again, layout) == said
    assert [s.source for s in read_pair(samples / "as-found.csv", path, layout)] == [
        "as-found.csv",
        "as-left.csv",
    ]


def test_folder(tmp_path):
    assert refused(read_text, tmp_path) == f"{tmp_path}: this is a folder. Name a file."


def test_too_large(tmp_path, monkeypatch):
    monkeypatch.setattr(disk, "LARGEST_FILE", 3_000_000)
    target = tmp_path / "big.csv"
    target.write_bytes(b" " * 3_000_001)
    assert refused(read_text, target) == f"{target}: larger than 3 MB, which no survey or layout is."


@pytest.mark.parametrize(
    "data",
    [bytes(range(256)), b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0", b"text with one \0 in it, not more than that"],
    ids=["all bytes", "picture", "one zero"],
)
def test_binary(tmp_path, data):
    (tmp_path / "a.toml").write_bytes(data)
    said = refused(read_text, tmp_path / "a.toml")
    assert said == "a.toml: not a text file. Expected text in UTF-8, or for a survey also .xlsx."


def test_another_encoding(tmp_path):
    (tmp_path / "a.csv").write_bytes("first\n# by: R. Quíll\n".encode("latin-1"))
    said = refused(read_text, tmp_path / "a.csv")
    assert said == "a.csv: row 2 holds a byte that is no UTF-8 text. Save the file as CSV UTF-8."


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
def test_not_allowed(tmp_path):
    (tmp_path / "a.csv").write_text("x")
    (tmp_path / "a.csv").chmod(0)
    assert refused(read_text, tmp_path / "a.csv").endswith("cannot be read: Permission denied.")


def test_a_name_that_no_disk_takes(tmp_path):
    """Never a traceback, whatever the name."""
    for name in ("a\0b.csv", "x" * 5000):
        assert ": cannot be read: " in refused(read_text, tmp_path / name)


def test_samples_are_beside_or_inside_the_package(samples):
    assert (samples / "machine.toml").is_file()


def test_standard_input_that_is_no_survey(samples, monkeypatch):
    def broken(_: int) -> bytes:
        raise OSError(5, "Input/output error")

    layout = read_layout(samples / "machine.toml")
    monkeypatch.setattr("sys.stdin", SimpleNamespace(buffer=SimpleNamespace(read=broken)))
    assert refused(read_survey, Path("-"), layout) == "standard input: cannot be read: Input/output error."
    monkeypatch.setattr(disk, "LARGEST_FILE", 4)
    monkeypatch.setattr("sys.stdin", SimpleNamespace(buffer=io.BytesIO(b"12345")))
    assert "larger than" in refused(read_survey, Path("-"), layout)
