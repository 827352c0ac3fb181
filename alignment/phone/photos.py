"""Photographs that go with a reading: only images, of a reasonable size, kept beside the log under names of ours."""

from __future__ import annotations

import hashlib
import io
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from alignment.errors import FileError
from alignment.files.writing import write_whole

__all__ = ["LARGEST", "Photo", "keep"]

LARGEST: Final = 12_000_000
"""Bytes of a photograph: what a phone's camera makes."""
KINDS: Final = {"JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp"}
MOST: Final = 9999
"""Photographs beside one log."""


@dataclass(frozen=True, kw_only=True)
class Photo:
    """A photograph on disk: its name beside the log, and its SHA-256."""

    name: str
    sha256: str


def keep(data: bytes, log: Path) -> Photo:
    """
    Write a photograph beside a log.

    Parameters
    ----------
    data : bytes
        As the camera made it; kept as it is, so that its hash can be checked.
    log : path
        The job log; the photograph is named after it and numbered.

    Raises
    ------
    FileError
        It is too large, no JPEG, PNG or WebP that can be read, or cannot be written.
    """
    if len(data) > LARGEST:
        raise FileError(f"the photograph is larger than {LARGEST // 1_000_000} MB. Make it smaller.")
    suffix = KINDS.get(_kind(data), "")
    if not suffix:
        raise FileError("this is no photograph: expected a JPEG, PNG or WebP picture.")
    digest = hashlib.sha256(data).hexdigest()
    for number in range(1, MOST + 1):
        name = f"{log.stem}-photo-{number:03}{suffix}"
        there = [log.with_name(f"{log.stem}-photo-{number:03}{other}") for other in KINDS.values()]
        if any(path.exists() for path in there):
            if log.with_name(name).exists() and hashlib.sha256(log.with_name(name).read_bytes()).hexdigest() == digest:
                return Photo(name=name, sha256=digest)  # sent again
            continue
        write_whole(log.with_name(name), data)
        return Photo(name=name, sha256=digest)
    raise FileError(f"{log}: has {MOST} photographs already. Begin another log.")


def _kind(data: bytes) -> str:
    """
    Kind of picture by its content; empty where it is none.

    Nor is one of more points than the library takes for harmless (89 million), which would fill the memory.
    """
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(data), formats=list(KINDS)) as picture:
                kind = picture.format or ""
                picture.verify()
    except (
        UnidentifiedImageError,
        Image.DecompressionBombError,
        Image.DecompressionBombWarning,
        OSError,
        ValueError,
        SyntaxError,
    ):  # what a spoiled picture raises, by its kind
        return ""
    return kind
