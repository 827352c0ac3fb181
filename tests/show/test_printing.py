"""The sheet and the report: PDFs that are whole, the same twice, and say what they must."""

from __future__ import annotations

import shutil
import subprocess

import pytest


@pytest.fixture
def paper(samples, run, tmp_path, monkeypatch):
    """Print one of them, by its arguments, on a stated day; the bytes and what was said."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1790000000")

    def go(command: str, name: str, *arguments: str) -> bytes:
        outcome = run(
            command, *[samples / a if (samples / a).exists() else a for a in arguments], "-o", tmp_path / name
        )
        assert (outcome.status, outcome.err) == (0, "")
        return (tmp_path / name).read_bytes()

    return go


SHEET = ("machine.toml",)
REPORT = (
    "machine.toml",
    "as-found.csv",
    "--after",
    "as-left.csv",
    "--panel",
    "tray.toml",
    "--settings",
    "settings.toml",
)


@pytest.mark.parametrize(("command", "arguments"), [("sheet", SHEET), ("report", REPORT), ("report", REPORT[:2])])
def test_same_bytes_twice(paper, command, arguments):
    first = paper(command, "a.pdf", *arguments)
    assert first.startswith(b"%PDF-")
    assert first == paper(command, "b.pdf", *arguments)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext of poppler is not here")
@pytest.mark.parametrize("suffix", ["", "-mm"])
def test_report_says_what_it_must(paper, tmp_path, suffix):
    """Readings as written, cautions, what the string does not see, hashes, signatures; never 'certified'."""
    names = [a.replace(".", f"{suffix}.") if "." in a else a for a in REPORT]
    paper("report", "r.pdf", *names)
    program = shutil.which("pdftotext")
    assert program is not None
    told = subprocess.run([program, "-layout", tmp_path / "r.pdf", "-"], capture_output=True, text=True, check=True)
    text = told.stdout
    flat = " ".join(text.split())
    for part in ("Lock out and tag out", "SHA-256", "page 1 of", "operator-2", "signature", "JCGM 106", "camber"):
        assert part in flat, part
    assert "certified" not in flat.lower()


@pytest.mark.parametrize(("command", "arguments"), [("sheet", SHEET), ("report", REPORT)])
def test_bad_input_and_files_that_are_there_leave_all_as_it_was(samples, run, tmp_path, command, arguments):
    own = [str(samples / a) if (samples / a).exists() else a for a in arguments]
    kept = tmp_path / "kept.pdf"
    kept.write_bytes(b"old")
    for given, out in ((own, kept), (["nowhere.toml", *own[1:]], tmp_path / "x.pdf"), (own, tmp_path / "x.doc")):
        outcome = run(command, *given, "-o", out)
        assert (outcome.status, outcome.out) == (2, "")
    assert kept.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["kept.pdf"]
