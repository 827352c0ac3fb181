"""The only module that writes to disks: whole files or none, and nothing written over unasked."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from alignment.errors import FileError, quote
from alignment.files.disk import read_begun

__all__ = ["PDF", "PICTURES", "TOML", "make_folder", "ready", "ready_to_renew", "renew_text", "write_whole"]

PDF: Final = (".pdf",)
PICTURES: Final = (".svg", ".png", ".pdf")
TOML: Final = (".toml",)


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
    handle, part = _beside(file)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(raw)
            out.flush()
            os.fsync(out.fileno())
        umask = os.umask(0)
        os.umask(umask)
        part.chmod(0o666 & ~umask)
        part.replace(file)
        _sync(file.parent)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise FileError(f"{file}: cannot be written: {error.strerror}.") from None
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def _beside(file: Path) -> tuple[int, Path]:
    """A new file beside another, open to be written."""
    try:
        handle, part = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}.")
    except OSError as error:
        raise FileError(f"{file}: cannot be written: {error.strerror}.") from None
    return handle, Path(part)


def _sync(folder: Path) -> None:
    """Bring a folder's new names to the disk, on systems where that can be asked for."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def ready_to_renew(path: Path) -> None:
    """Make sure, before a person does any work, that a file can be written anew each time; see `renew_text`."""
    ready((path, None), force=True)
    handle, part = _beside(path)
    os.close(handle)
    part.unlink()


def renew_text(path: Path, before: str | None, after: str) -> None:
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
    if read_begun(path) != before:
        raise FileError(f"{path}: was changed by another program meanwhile. Stop here and start again to take it up.")
    write_whole(path, after, force=True)


def make_folder(path: Path) -> None:
    """Make a folder, and those above it."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError(f"{path}: cannot be made: {error.strerror}.") from None
