"""
Reading files: whole, before anything is made of them.

A reader raises `FileError` for a file that cannot be read or is of another kind, and `InputError` for what stands in
it and cannot be used.
"""

from __future__ import annotations

import codecs
import re
import stat
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from alignment.errors import FileError, nearest, quote
from alignment.files.workbooks import LARGEST_FILE

__all__ = [
    "decode",
    "fingerprint",
    "kind_of",
    "of_kind",
    "read_begun",
    "read_bytes",
    "read_if_there",
    "read_input",
    "read_text",
    "read_toml",
    "sample_folder",
]

_BOMS: Final = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_KINDS: Final = {
    "layout": (r"^[ \t]*\[\[[ \t]*section[ \t]*\]\]", "solve {} SURVEY"),
    "panel file": (r"^[ \t]*\[[ \t]*panel[ \t]*\]", "panel {}"),
    "settings file": (r"^[ \t]*\[\[?[ \t]*(setting[ \t]*\]\]|instrument\.)", "settings {}"),
    "survey": (r"^[ \t\"]*section[ \t\"]*[,;\t]", "solve LAYOUT {}"),
}
"""What tells each kind of file from the others, and the command that takes it."""


def read_text(path: str | Path) -> str:
    """Text of a file, UTF-8 or, by its mark, UTF-16."""
    file = Path(path)
    return decode(read_bytes(file, (file.suffix.lower(),)), file)


def read_begun(path: Path) -> str | None:
    """Text of a .csv or .tsv survey to which readings are to be added; None where it is not there yet."""
    if path.suffix.lower() not in (".csv", ".tsv"):
        raise FileError(f"{path}: readings are kept as text. Give a name that ends in .csv or .tsv.")
    return read_if_there(path)


def read_if_there(path: Path) -> str | None:
    """Text of a file; None where it is not there yet."""
    return read_text(path) if path.exists() else None


def read_toml(path: str | Path, wanted: str) -> str:
    """Text of a file that is wanted to be of a kind."""
    file = Path(path)
    return of_kind(wanted, decode(read_bytes(file, (".toml",)), file), file)


def kind_of(text: str) -> str:
    """What kind of file a text is: ``layout``, ``panel file``, ``settings file`` or ``survey``; empty: none of them."""
    return next((kind for kind, (mark, _) in _KINDS.items() if re.search(mark, text, re.MULTILINE | re.IGNORECASE)), "")


def of_kind(wanted: str, text: str, file: Path) -> str:
    """The same text; an error where it is plainly that of another kind of file."""
    kinds = [kind for kind, (mark, _) in _KINDS.items() if re.search(mark, text, re.MULTILINE | re.IGNORECASE)]
    if kinds and wanted not in kinds:
        use = _KINDS[kinds[0]][1].format(file)
        raise FileError(f"{file}: is a {kinds[0]}, and a {wanted} is wanted here. Use it so: stringtrue {use}")
    return text


def read_bytes(file: Path, kinds: Sequence[str]) -> bytes:
    """Bytes of a file; where there is none of the name, those of the kinds wanted are offered."""
    try:
        if file.is_dir():
            raise FileError(f"{file}: this is a folder. Name a file.")
        about = file.stat()
        with file.open("rb") as source:
            # a pipe or a device tells no size, and may have no end
            plain = stat.S_ISREG(about.st_mode) and about.st_size <= LARGEST_FILE
            data = source.read(-1 if plain else LARGEST_FILE + 1)
        if len(data) > LARGEST_FILE:
            raise FileError(f"{file}: larger than {LARGEST_FILE // 1_000_000} MB, which no survey or layout is.")
        return data
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
    import hashlib

    return hashlib.sha256(read_bytes(Path(path), (Path(path).suffix.lower(),))).hexdigest()


def read_input() -> bytes:
    """Bytes of standard input up to its end."""
    try:
        data = sys.stdin.buffer.read(LARGEST_FILE + 1)
    except OSError as error:
        raise FileError(f"standard input: cannot be read: {error.strerror}.") from None
    if len(data) > LARGEST_FILE:
        raise FileError(f"standard input: larger than {LARGEST_FILE // 1_000_000} MB, which no survey is.")
    return data


def decode(data: bytes, file: Path) -> str:
    """Text of a file's bytes: UTF-8, or UTF-16 told by its mark or its zeros."""
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
    """
    Folder of the samples: inside an installed package, or beside it in a checkout.

    Raises
    ------
    FileError
        They were left out of the installation.

    Examples
    --------
    >>> import alignment
    >>> (alignment.sample_folder() / "machine.toml").exists()
    True
    """
    here = Path(__file__).parent.parent
    for folder in (here / "sample_readings", here.parent / "sample_readings"):
        if folder.is_dir():
            return folder
    raise FileError(f"{here}: the samples are not there. Install stringtrue again.")
