"""
The only module that reads or writes disks.

Files are read whole before anything is made of them, and written whole or not at all.
"""

from __future__ import annotations

import codecs
import os
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from alignment.errors import FileError, nearest, quote
from alignment.layout import Layout, parse_layout
from alignment.survey import Row, Survey, parse_rows, parse_survey

__all__ = [
    "PICTURES",
    "make_folder",
    "read_layout",
    "read_survey",
    "read_text",
    "ready",
    "sample_folder",
    "write_whole",
]

PICTURES: Final = (".svg", ".png", ".pdf")
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


def read_survey(path: str | Path, layout: Layout) -> Survey:
    """
    Read a survey: .csv or .tsv text in UTF-8 or UTF-16, or the first sheet of an .xlsx workbook.

    Raises
    ------
    FileError
        The file cannot be read, or is neither.
    InputError
        What stands in it cannot be used.
    """
    file = Path(path)
    data = _read(file)
    if data.startswith(b"PK\x03\x04"):
        return parse_rows(_sheet(data, file), layout, file.name)
    if file.suffix.lower() in (".xlsx", ".xls", ".ods"):
        raise FileError(f"{file.name}: not an .xlsx workbook. Save it as .xlsx, or as CSV UTF-8.")
    return parse_survey(_decode(data, file), layout, file.name)


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
        others = [p.name for p in file.parent.glob("*")] if file.parent.is_dir() else []
        guess = nearest(file.name, others) if others else f" There is no folder {quote(file.parent)}."
        raise FileError(f"{file}: there is no such file.{guess}") from None
    except (OSError, ValueError) as error:
        raise FileError(f"{file}: cannot be read: {getattr(error, 'strerror', None) or error}.") from None


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

    from openpyxl import load_workbook

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            sheet = book.worksheets[0]
            return [(number, row) for number, row in enumerate(sheet.iter_rows(values_only=True), 1)]
    except Exception as error:  # a damaged workbook fails in the reader in many ways
        raise FileError(
            f"{file.name}: not a workbook that can be read ({type(error).__name__}). Save as CSV."
        ) from None


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
        An ending that is none of these, a folder that is not there, or a file that is.
    """
    for path, suffixes in targets:
        if path is None:
            continue
        if suffixes is not None and path.suffix.lower() not in suffixes:
            raise FileError(f"{path}: cannot draw '{path.suffix}' files. Use {', '.join(suffixes)}.")
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
    except OSError as error:
        Path(part).unlink(missing_ok=True)
        raise FileError(f"{file}: cannot be written: {error.strerror}.") from None


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
