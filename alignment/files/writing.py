"""
The only module that writes to disks: whole files or none, one writer at a time, and nothing written over unasked.

While a file is written, two more stand beside it: ``.NAME.stringtrue-lock``, which keeps other writers out, and
``.NAME.stringtrue-part``, which is to take its name. Both go when it is done. The system lets go of a lock whose
program has died; what such a program leaves is swept by later writes into the same folder.
"""

from __future__ import annotations

import contextlib
import os
import stat
import time
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Final

from alignment.errors import FileError, StringtrueError, quote
from alignment.files.disk import read_if_there

__all__ = [
    "PDF",
    "PICTURES",
    "TOML",
    "ChangedError",
    "make_folder",
    "ready",
    "ready_to_renew",
    "renew_text",
    "write_whole",
]

PDF: Final = (".pdf",)
PICTURES: Final = (".svg", ".png", ".pdf")
TOML: Final = (".toml",)

LOCK: Final = ".stringtrue-lock"
PART: Final = ".stringtrue-part"
LONGEST: Final = 140
"""Bytes of a name that every file system takes; encrypting ones take no more than 143."""
PATIENCE: Final = 10.0
"""Seconds to wait for another writer, who needs a fraction of one."""
STALE: Final = 24 * 3600.0
"""Seconds after which a lock or a part is certainly left over."""


class ChangedError(FileError):
    """A file that holds something else than when it was last read. Nothing was written."""


def ready(
    *targets: tuple[Path | None, Sequence[str] | None], inputs: Iterable[Path | None] = (), force: bool = False
) -> None:
    """
    Make sure, before any work is done, that files can be written.

    Parameters
    ----------
    targets : (path, suffixes)
        A file to be written, None where it is not wanted, and the endings it may have, None where any will do.
    inputs : iterable of path
        Files that are read for it, None where there is none. These are never written over, forced or not.
    force : bool
        Whether files that are there already may be written over.

    Raises
    ------
    FileError
        An ending that is none of these, a folder that is not there, a file that is, one that is also read, one named
        twice, or one that is no plain file.
    """
    read = [path for path in inputs if path is not None]
    seen: list[Path] = []
    for path, suffixes in targets:
        if path is None:
            continue
        with _told(path):
            if any(_same(path, other) for other in seen):
                raise FileError(f"{path}: is named twice to be written. Give each file a name of its own.")
            seen.append(path)
            if suffixes is not None and path.suffix.lower() not in suffixes:
                raise FileError(f"{path}: cannot be written as '{path.suffix}'. Use {', '.join(suffixes)}.")
            if any(_same(path, other) for other in read):
                raise FileError(f"{path}: is read for this, and would be lost. Give what is written another name.")
            _check(path, force=force)


def _same(one: Path, other: Path) -> bool:
    """Whether two paths are one file, by whatever links; the other may be ``-``, standard input."""
    pasted = str(other) == "-"
    if not pasted and one.resolve() == other.resolve():
        return True
    try:
        return os.path.samestat(one.stat(), os.fstat(0) if pasted else other.stat())
    except OSError:  # one of them is not there
        return False


def _check(path: Path, *, force: bool) -> int | None:
    """Mode of a file that may be written over, None where there is none yet; an error where it may not be written."""
    folder = (path.resolve() if path.is_symlink() else path).parent
    if not folder.is_dir():
        raise FileError(f"{path}: there is no folder {quote(folder)}. Make it first.")
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        return None
    if stat.S_ISDIR(mode):
        raise FileError(f"{path}: this is a folder. Name a file in it.")
    if not stat.S_ISREG(mode):
        raise FileError(f"{path}: is no plain file but a pipe or a device. Name a file.")
    if not force:
        raise FileError(f"{path}: is there already. Give --force to write over it, or another name.")
    if not os.access(path, os.W_OK):
        raise FileError(f"{path}: is protected from being written. Allow that, or give another name.")
    return stat.S_IMODE(mode)


@contextlib.contextmanager
def _told(path: Path) -> Iterator[None]:
    """Tell what the system refuses as an error of ours."""
    try:
        yield
    except StringtrueError:
        raise
    except (OSError, ValueError, RuntimeError) as error:  # a name with a zero in it, links in a circle
        raise FileError(f"{path}: cannot be written: {getattr(error, 'strerror', None) or error}.") from None


def write_whole(path: str | Path, data: bytes | str, *, force: bool = False) -> None:
    """
    Write a file whole or not at all.

    The bytes go to a file beside the wanted one, reach the disk, and then take its name in one step. A symbolic link
    stays one: its target is written. A file that was there keeps its mode.

    Raises
    ------
    FileError
        The file is there already and ``force`` is not given, or it cannot be written.
    """
    path = Path(path)
    with _told(path):
        _check(path, force=force)
        with _alone(path):
            _replace(path, data, _check(path, force=force))


def ready_to_renew(path: Path) -> None:
    """Make sure, before a person does any work, that a file can be written anew each time; see `renew_text`."""
    ready((path, None), force=True)
    with _told(path), _alone(path):
        pass


def renew_text(path: Path, before: str | None, after: str) -> None:
    """
    Write a text file anew, unless something else has touched it since it was read.

    Looking and writing are one step: of several programs or threads that read the same text, one writes, and the
    others are told.

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
    ChangedError
        It holds something else by now. It stays as it is.
    FileError
        It cannot be read or written. It is then as it was.
    """
    with _told(path), _alone(path):
        if read_if_there(path) != before:
            raise ChangedError(
                f"{path}: was changed by another program meanwhile. Stop here and start again to take it up."
            )
        _replace(path, after, _check(path, force=True))


@contextlib.contextmanager
def _alone(path: Path) -> Iterator[None]:
    """Keep other writers of a file out, in this process and in others, until the block is left."""
    from filelock import FileLock, Timeout

    lock = _beside(path.resolve(), LOCK)
    try:
        # of its own for each call, so that threads keep each other out, too
        with FileLock(lock, timeout=PATIENCE):
            try:
                yield
            finally:
                # Whoever waits for a file that is gone makes a new one. Windows keeps it until it is let go of; there
                # the library takes it away.
                with contextlib.suppress(OSError):
                    lock.unlink()
    except Timeout:
        if not lock.exists():
            raise FileError(f"{path}: cannot be written: no file can be made in {quote(path.parent)}.") from None
        raise FileError(f"{path}: another program has been writing it for {PATIENCE:.0f} s. Try again.") from None


def _beside(file: Path, ending: str) -> Path:
    """A file of ours beside another, hidden, named after it and after us."""
    name = f".{file.name}{ending}"
    if len(os.fsencode(name)) > LONGEST:
        import hashlib

        name = f".{hashlib.sha256(os.fsencode(file.name)).hexdigest()[:32]}{ending}"
    return file.with_name(name)


def _replace(path: Path, data: bytes | str, mode: int | None) -> None:
    """Put bytes in a file's place, with the mode given, or as any new file's. Nobody else writes it meanwhile."""
    file = path.resolve()
    part = _beside(file, PART)
    # a name of a file that is no UTF-8 must not lose the rest of a page
    raw = data.encode("utf-8", errors="replace") if isinstance(data, str) else data
    _sweep(file.parent)
    part.unlink(missing_ok=True)
    # the system takes the user's mask off a new file's mode: asking for the mask would set it for all threads
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
    handle = os.open(part, flags, 0o666 if mode is None else 0o600)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(raw)
            out.flush()
            os.fsync(out.fileno())
        if mode is not None:
            part.chmod(mode)
        _take_name(part, file)
        _sync(file.parent)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def _take_name(part: Path, file: Path) -> None:
    """Give a file's name to another, waiting a moment for readers that Windows does not disturb."""
    for _ in range(10):
        try:
            part.replace(file)
        except PermissionError:
            time.sleep(0.05)
        else:
            return
    part.replace(file)


def _sweep(folder: Path) -> None:
    """Take away what writers that died have left in a folder."""
    with contextlib.suppress(OSError):
        for entry in os.scandir(folder):
            if entry.name.startswith(".") and entry.name.endswith((LOCK, PART)):
                with contextlib.suppress(OSError):
                    if time.time() - entry.stat(follow_symlinks=False).st_mtime > STALE:
                        Path(entry).unlink()


def _sync(folder: Path) -> None:
    """Bring a folder's new names to the disk, on systems where that can be asked for."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def make_folder(path: Path) -> None:
    """Make a folder, and those above it."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        raise FileError(f"{path}: cannot be made: {getattr(error, 'strerror', None) or error}.") from None
