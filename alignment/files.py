"""
Reading files: whole, before anything is made of them.

A reader raises `FileError` for a file that cannot be read or is of another kind, and `InputError` for what stands in
it and cannot be used.
"""

from __future__ import annotations

import codecs
import hashlib
import re
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Final

from alignment.errors import FileError, StringtrueError, nearest, quote
from alignment.layout import Layout
from alignment.layout_file import parse_layout
from alignment.panel_file import parse_panel
from alignment.panel_readings import Panel
from alignment.settings_file import Settings, parse_settings
from alignment.survey import Survey, parse_rows, parse_survey
from alignment.workbooks import LARGEST_FILE, first_sheet

__all__ = [
    "fingerprint",
    "read_begun",
    "read_layout",
    "read_pair",
    "read_panel",
    "read_settings",
    "read_survey",
    "read_surveys",
    "read_text",
    "sample_folder",
    "survey_paths",
]

SURVEYS: Final = (".csv", ".tsv", ".xlsx")
MOST_TOLD: Final = 20
"""Files whose mistakes are told at once."""
_BOMS: Final = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_KINDS: Final = {
    "layout": (r"^[ \t]*\[\[[ \t]*section[ \t]*\]\]", "solve {} SURVEY"),
    "panel file": (r"^[ \t]*\[[ \t]*panel[ \t]*\]", "panel {}"),
    "settings file": (r"^[ \t]*\[\[[ \t]*setting[ \t]*\]\]", "settings {}"),
    "survey": (r"^[ \t\"]*section[ \t\"]*[,;\t]", "solve LAYOUT {}"),
}
"""What tells each kind of file from the others, and the command that takes it."""


def read_layout(path: str | Path) -> Layout:
    """Read the layout of a machine."""
    return parse_layout(_toml(Path(path), "layout"), Path(path).name)


def read_settings(path: str | Path) -> Settings:
    """Read guide, die and gap settings."""
    return parse_settings(_toml(Path(path), "settings file"), Path(path).name)


def read_panel(path: str | Path) -> Panel:
    """Read what was measured on a test panel."""
    return parse_panel(_toml(Path(path), "panel file"), Path(path).name)


def read_survey(path: str | Path, layout: Layout) -> Survey:
    """
    Read a survey: .csv or .tsv text in UTF-8 or UTF-16, or the first sheet of an .xlsx workbook.

    A path of ``-`` is standard input: rows pasted from a spreadsheet, or typed.
    """
    pasted = str(path) == "-"
    file = Path("standard input" if pasted else path)
    data = _read_input() if pasted else _read(file, SURVEYS)
    if data.startswith(b"PK\x03\x04"):
        return parse_rows(first_sheet(data, file.name), layout, file.name)
    if file.suffix.lower() in (".xlsx", ".xls", ".ods"):
        raise FileError(f"{file.name}: not an .xlsx workbook. Save it as .xlsx, or as CSV UTF-8.")
    return parse_survey(_of_kind("survey", _decode(data, file), file), layout, file.name)


def read_pair(before: Path, after: Path, layout: Layout) -> tuple[Survey, Survey]:
    """Read two surveys of one machine; one file taken for both is an error."""
    if before.resolve() == after.resolve():
        raise FileError(f"{after}: stands for both surveys, before and after. Name two, the earlier one first.")
    return read_survey(before, layout), read_survey(after, layout)


def read_begun(path: Path) -> str | None:
    """Text of a .csv or .tsv survey to which readings are to be added; None where it is not there yet."""
    if path.suffix.lower() not in (".csv", ".tsv"):
        raise FileError(f"{path}: readings are kept as text. Give a name that ends in .csv or .tsv.")
    return read_text(path) if path.exists() else None


def read_surveys(paths: Iterable[Path], layout: Layout) -> Iterator[Survey]:
    """
    Read surveys one after the other.

    Raises
    ------
    FileError
        After the last, with what is wrong in each of those that cannot be used.
    """
    wrong = []
    for path in paths:
        try:
            yield read_survey(path, layout)
        except StringtrueError as error:
            wrong.append(str(error))
    if wrong:
        more = [f"and {len(wrong) - MOST_TOLD} more of the kind"] * (len(wrong) > MOST_TOLD)
        raise FileError("\n".join([f"{len(wrong)} of the surveys cannot be used", *wrong[:MOST_TOLD], *more]))


def survey_paths(paths: Iterable[Path]) -> list[Path]:
    """
    Survey files that are named, or lie in folders that are named, each once.

    Raises
    ------
    FileError
        A folder in which there is none.
    """
    found: dict[Path, None] = {}
    for path in paths:
        if not path.is_dir():
            found[path] = None
            continue
        inside = sorted(p for p in path.iterdir() if p.suffix.lower() in SURVEYS and not p.name.startswith((".", "~")))
        if not inside:
            raise FileError(f"{path}: there is no survey in this folder. Expected {', '.join(SURVEYS)} files.")
        found.update(dict.fromkeys(inside))
    return list(found)


def read_text(path: str | Path) -> str:
    """Text of a file, UTF-8 or, by its mark, UTF-16."""
    file = Path(path)
    return _decode(_read(file, (file.suffix.lower(),)), file)


def _toml(file: Path, wanted: str) -> str:
    """Text of a file that is wanted to be of a kind."""
    return _of_kind(wanted, _decode(_read(file, (".toml",)), file), file)


def _of_kind(wanted: str, text: str, file: Path) -> str:
    """The same text; an error where it is plainly that of another kind of file."""
    kinds = [kind for kind, (mark, _) in _KINDS.items() if re.search(mark, text, re.MULTILINE | re.IGNORECASE)]
    if kinds and wanted not in kinds:
        use = _KINDS[kinds[0]][1].format(file)
        raise FileError(f"{file}: is a {kinds[0]}, and a {wanted} is wanted here. Use it so: stringtrue {use}")
    return text


def _read(file: Path, kinds: Sequence[str]) -> bytes:
    """Bytes of a file; where there is none of the name, those of the kinds wanted are offered."""
    try:
        if file.is_dir():
            raise FileError(f"{file}: this is a folder. Name a file.")
        if file.stat().st_size > LARGEST_FILE:
            raise FileError(f"{file}: larger than {LARGEST_FILE // 1_000_000} MB, which no survey or layout is.")
        return file.read_bytes()
    except FileNotFoundError:
        there = file.parent.is_dir()
        others = sorted(p.name for p in file.parent.glob("*") if p.suffix.lower() in kinds) if there else []
        guess = nearest(file.name, others) if there else f" There is no folder {quote(file.parent)}."
        raise FileError(f"{file}: there is no such file.{guess}") from None
    except FileError:
        raise
    except (OSError, ValueError) as error:
        raise FileError(f"{file}: cannot be read: {getattr(error, 'strerror', None) or error}.") from None


def fingerprint(path: str | Path) -> str:
    """SHA-256 of a file in hexadecimal digits; an error for standard input, which nobody can look up again."""
    if str(path) == "-":
        raise FileError("standard input: a record names its files. Save what you would paste, and name that file.")
    return hashlib.sha256(_read(Path(path), (Path(path).suffix.lower(),))).hexdigest()


def _read_input() -> bytes:
    """Bytes of standard input up to its end."""
    try:
        data = sys.stdin.buffer.read(LARGEST_FILE + 1)
    except OSError as error:
        raise FileError(f"standard input: cannot be read: {error.strerror}.") from None
    if len(data) > LARGEST_FILE:
        raise FileError(f"standard input: larger than {LARGEST_FILE // 1_000_000} MB, which no survey is.")
    return data


def _decode(data: bytes, file: Path) -> str:
    encoding = next((name for mark, name in _BOMS if data.startswith(mark)), "utf-8")
    if encoding == "utf-8" and b"\0" in data:
        # UTF-16 without its mark has a zero beside each plain letter
        half = data[: len(data) // 2 * 2]
        zeros = half[1::2].count(0), half[::2].count(0)
        if max(zeros) < len(half) // 4:
            raise FileError(f"{file.name}: not a text file. Expected text in UTF-8, or for a survey also .xlsx.")
        encoding = "utf-16-le" if zeros[0] > zeros[1] else "utf-16-be"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        row = data[: error.start].count(b"\n") + 1
        raise FileError(
            f"{file.name}: row {row} holds a byte that is no {encoding.upper()} text. Save the file as CSV UTF-8."
        ) from None
    if "\0" in text:
        raise FileError(f"{file.name}: not a text file. Expected text in UTF-8, or for a survey also .xlsx.")
    return text


def sample_folder() -> Path:
    """Folder of the samples: inside an installed package, or beside it in a checkout."""
    here = Path(__file__).parent
    return next(folder for folder in (here / "sample_readings", here.parent / "sample_readings") if folder.is_dir())
