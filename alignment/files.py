"""
The only module that reads or writes disks.

Files are read whole before anything is made of them, and written whole or not at all.
"""

from __future__ import annotations

import codecs
import contextlib
import hashlib
import os
import sys
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from itertools import zip_longest
from pathlib import Path
from typing import Final

from alignment.errors import FileError, InputError, Problem, StringtrueError, nearest, quote
from alignment.layout import Layout
from alignment.layout_file import parse_layout
from alignment.panel_file import parse_panel
from alignment.panel_readings import Panel
from alignment.rows import Row
from alignment.settings_file import Settings, parse_settings
from alignment.survey import Survey, parse_rows, parse_survey

__all__ = [
    "PICTURES",
    "fingerprint",
    "make_folder",
    "read_begun",
    "read_layout",
    "read_panel",
    "read_settings",
    "read_survey",
    "read_surveys",
    "read_text",
    "ready",
    "renew_text",
    "sample_folder",
    "survey_paths",
    "write_whole",
]

PICTURES: Final = (".svg", ".png", ".pdf")
SURVEYS: Final = (".csv", ".tsv", ".xlsx")
MOST_TOLD: Final = 20
"""Files whose mistakes are told at once."""
LARGEST_FILE: Final = 50_000_000
"""Bytes; a survey is a few thousand."""
_BOMS: Final = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def read_layout(path: str | Path) -> Layout:
    """
    Read the layout of a machine.

    Raises
    ------
    FileError
        The file cannot be read, or is no text.
    InputError
        What stands in it cannot be used.
    """
    return parse_layout(read_text(path), Path(path).name)


def read_settings(path: str | Path) -> Settings:
    """
    Read guide, die and gap settings.

    Raises
    ------
    FileError
        The file cannot be read, or is no text.
    InputError
        What stands in it cannot be used.
    """
    return parse_settings(read_text(path), Path(path).name)


def read_panel(path: str | Path) -> Panel:
    """
    Read what was measured on a test panel.

    Raises
    ------
    FileError
        The file cannot be read, or is no text.
    InputError
        What stands in it cannot be used.
    """
    return parse_panel(read_text(path), Path(path).name)


def read_survey(path: str | Path, layout: Layout) -> Survey:
    """
    Read a survey: .csv or .tsv text in UTF-8 or UTF-16, or the first sheet of an .xlsx workbook.

    A path of ``-`` is standard input: rows pasted from a spreadsheet, or typed.

    Raises
    ------
    FileError
        The file cannot be read, or is neither.
    InputError
        What stands in it cannot be used.
    """
    pasted = str(path) == "-"
    file = Path("standard input" if pasted else path)
    data = _read_input() if pasted else _read(file)
    if data.startswith(b"PK\x03\x04"):
        return parse_rows(_sheet(data, file), layout, file.name)
    if file.suffix.lower() in (".xlsx", ".xls", ".ods"):
        raise FileError(f"{file.name}: not an .xlsx workbook. Save it as .xlsx, or as CSV UTF-8.")
    return parse_survey(_decode(data, file), layout, file.name)


def read_begun(path: str | Path) -> str | None:
    """
    Text of a survey to which readings are to be added; None where it is not there yet.

    Raises
    ------
    FileError
        Not a .csv or .tsv file, a folder that is not there, or a file that cannot be read.
    """
    file = Path(path)
    if file.suffix.lower() not in (".csv", ".tsv"):
        raise FileError(f"{file}: readings are kept as text. Give a name that ends in .csv or .tsv.")
    if file.exists():
        return read_text(file)
    ready((file, None))
    return None


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
    return _decode(_read(file), file)


def _read(file: Path) -> bytes:
    try:
        if file.is_dir():
            raise FileError(f"{file}: this is a folder. Name a file.")
        if file.stat().st_size > LARGEST_FILE:
            raise FileError(f"{file}: larger than {LARGEST_FILE // 1_000_000} MB, which no survey or layout is.")
        return file.read_bytes()
    except FileNotFoundError:
        there = file.parent.is_dir()
        others = [p.name for p in file.parent.glob("*")] if there else []
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
    return hashlib.sha256(_read(Path(path))).hexdigest()


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


def _sheet(data: bytes, file: Path) -> list[Row]:
    """Cells of the first sheet of a workbook."""
    import io
    import warnings
    import zipfile

    from openpyxl import load_workbook

    def cells(*, values: bool) -> list[Row]:
        sheet = load_workbook(io.BytesIO(data), read_only=True, data_only=values).worksheets[0]
        # the size that is written in it may be that of a whole empty sheet
        sheet.reset_dimensions()
        # a formula whose value is an empty text keeps the type of it
        rows = ([("" if c.data_type == "str" else c.value) for c in row] for row in sheet.iter_rows())
        return [(number, row) for number, row in enumerate(rows, 1) if any(cell is not None for cell in row)]

    try:
        unpacked = sum(part.file_size for part in zipfile.ZipFile(io.BytesIO(data)).infolist())
        if unpacked > LARGEST_FILE:
            raise FileError(f"{file.name}: larger than {LARGEST_FILE // 1_000_000} MB unpacked, which no survey is.")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found, written = cells(values=True), cells(values=False)
    except FileError:
        raise
    except Exception as error:  # a damaged workbook fails in the reader in many ways
        raise FileError(
            f"{file.name}: not a workbook that can be read ({type(error).__name__}). Save as CSV."
        ) from None
    known = dict(found)
    what = "is a formula without its value. Open the workbook in a spreadsheet and save it, or write the number."
    problems = [
        Problem(f"row {number}, column {at}", what)
        for number, row in written
        for at, (cell, value) in enumerate(zip_longest(row, known.get(number, ())), 1)
        if cell is not None and value is None
    ]
    if problems:
        raise InputError(file.name, "this survey cannot be used", problems)
    return found


def ready(*targets: tuple[Path | None, Sequence[str] | None], force: bool = False) -> None:
    """
    Make sure, before any work is done, that files can be written.

    Parameters
    ----------
    targets : (path, suffixes)
        A file to be written, None where it is not wanted, and the endings it may have, None where any will do.
    force : bool
        Whether files that are there already may be written over.

    Raises
    ------
    FileError
        An ending that is none of these, a folder that is not there, a file that is, or one named twice.
    """
    seen: list[Path] = []
    for path, suffixes in targets:
        if path is None:
            continue
        if path in seen:
            raise FileError(f"{path}: is named twice to be written. Give each file a name of its own.")
        seen.append(path)
        if suffixes is not None and path.suffix.lower() not in suffixes:
            raise FileError(f"{path}: cannot be written as '{path.suffix}'. Use {', '.join(suffixes)}.")
        if not path.parent.is_dir():
            raise FileError(f"{path}: there is no folder {quote(path.parent)}. Make it first.")
        if path.is_dir():
            raise FileError(f"{path}: this is a folder. Name a file in it.")
        if path.exists() and not force:
            raise FileError(f"{path}: is there already. Give --force to write over it, or another name.")


def write_whole(path: str | Path, data: bytes | str, *, force: bool = False) -> None:
    """
    Write a file whole or not at all.

    The bytes go to a file beside the wanted one, reach the disk, and then take its name in one step.

    Raises
    ------
    FileError
        The file is there already and ``force`` is not given, or it cannot be written.
    """
    file = Path(path)
    ready((file, None), force=force)
    raw = data.encode("utf-8") if isinstance(data, str) else data
    try:
        handle, part = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}.")
    except OSError as error:
        raise FileError(f"{file}: cannot be written: {error.strerror}.") from None
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(raw)
            out.flush()
            os.fsync(out.fileno())
        umask = os.umask(0)
        os.umask(umask)
        Path(part).chmod(0o666 & ~umask)
        Path(part).replace(file)
        _sync(file.parent)
    except OSError as error:
        Path(part).unlink(missing_ok=True)
        raise FileError(f"{file}: cannot be written: {error.strerror}.") from None
    except BaseException:
        Path(part).unlink(missing_ok=True)
        raise


def _sync(folder: Path) -> None:
    """Bring a folder's new names to the disk, on systems where that can be asked for."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def renew_text(path: str | Path, before: str | None, after: str) -> None:
    """
    Write a text file anew, unless something else has touched it since it was read.

    Parameters
    ----------
    path : path
        The file.
    before : str or None
        What it held when it was last read or written; None where it was not there.
    after : str
        What it is to hold.

    Raises
    ------
    FileError
        It holds something else by now, or cannot be written. It is then as it was.
    """
    file = Path(path)
    if (read_text(file) if file.exists() else None) != before:
        raise FileError(f"{file}: was changed by another program meanwhile. Stop here and start again to take it up.")
    write_whole(file, after, force=True)


def sample_folder() -> Path:
    """Folder of the samples: inside an installed package, or beside it in a checkout."""
    here = Path(__file__).parent
    return next(folder for folder in (here / "sample_readings", here.parent / "sample_readings") if folder.is_dir())


def make_folder(path: Path) -> None:
    """Make a folder, and those above it."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError(f"{path}: cannot be made: {error.strerror}.") from None
