"""
The one place that runs typst: a template and data in, the bytes of a PDF out.

Templates hold the looks and no text of any user; whatever comes from a file or a person reaches them as JSON, which
typst sets as it stands and never reads as source. Only the fonts that typst brings along are used where these have all
the letters, so that the same inputs and the same day give the same bytes on every computer.
"""

from __future__ import annotations

import datetime
import json
import os
import re
from collections.abc import Callable, Iterable, Mapping
from importlib.resources import files
from typing import Any, Final

from alignment.choices import Paper
from alignment.errors import StringtrueError, quote
from alignment.lengths import Units
from alignment.show.letters import lacking, latin, left_to_right

__all__ = ["paper_for", "paper_name", "today", "typeset"]

PIECES: Final = ("pages.typ", "drawings.typ")
"""What templates share: what sets the blocks of a page, and what draws."""
LONG: Final = 24
"""A word of so many letters may be parted."""
WORD: Final = re.compile(rf"\S{{{LONG},}}")
HASH: Final = re.compile("[0-9a-f]{64}")
PART: Final = "\u200b"
STANDARDS: Final = ("a-2a", "ua-1")
"""PDF/A-2a, to be kept, and PDF/UA-1, to be read aloud: typst refuses what does not come up to them."""


def paper_for(units: Units) -> Paper:
    """Paper that usually lies where these units are used."""
    return Paper.letter if units is Units.inch else Paper.a4


def paper_name(paper: Paper) -> str:
    """What the typesetter calls a size of paper."""
    return "us-letter" if paper is Paper.letter else paper.value


def today() -> datetime.date:
    """
    Day to print on a document: that of ``SOURCE_DATE_EPOCH`` [1]_ where it is set, else today.

    Raises
    ------
    StringtrueError
        ``SOURCE_DATE_EPOCH`` is set to something that is no number of seconds.

    References
    ----------
    .. [1] Reproducible Builds, SOURCE_DATE_EPOCH specification 1.1: seconds since 1970, UTC.
    """
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    if not epoch:
        return datetime.datetime.now().astimezone().date()
    try:
        return datetime.datetime.fromtimestamp(int(epoch), datetime.UTC).date()
    except (ValueError, OverflowError, OSError):
        raise StringtrueError(
            f"SOURCE_DATE_EPOCH: {quote(epoch)} is no date. Expected whole seconds since 1970, or unset it."
        ) from None


def typeset(template: str, data: Mapping[str, Any]) -> bytes:
    """
    Set a document.

    Parameters
    ----------
    template : str
        Name of one of the package's templates, without its ending.
    data : mapping
        What the template reads as ``data.json``: texts, numbers and lists. Its ``made`` is the day on the document,
        year, month and day.

    Returns
    -------
    bytes
        A tagged PDF/A-2a and PDF/UA-1 with its fonts in it. Letters that the fonts lack which typst brings along are
        taken from the computer's own, and written in Latin letters where it has none either.
    """
    room = files("alignment.show.paper")
    texts = {"main.typ": f"{template}.typ"} | {piece: piece for piece in PIECES}
    inputs = {name: room.joinpath(file).read_bytes() for name, file in texts.items()}

    def compiled(data: Any, **how: Any) -> bytes:
        return _compiled(inputs | {"data.json": json.dumps(_each(_parted, data)).encode()}, **how)

    plain = _each(_plain, data)
    try:
        return compiled(plain, ignore_system_fonts=True)
    except _Unshown:
        missing = lacking(_characters(plain), _shows)
        return compiled(_each(lambda text: latin(text, missing), plain))


class _Unshown(Exception):  # noqa: N818  never leaves this module
    """A text holds letters that no font has."""


def _compiled(inputs: Mapping[str, bytes], **how: Any) -> bytes:
    """Run typst on files by their names."""
    import typst

    # its stubs do not know that it takes files by their names, and gives bytes
    compiled: Callable[..., bytes] = typst.compile
    try:
        return compiled(dict(inputs), format="pdf", pdf_standards=list(STANDARDS), **how)
    except typst.TypstError as error:
        if not error.message.startswith("PDF/"):
            raise
        raise _Unshown from error


def _shows(text: str) -> bool:
    """Whether typst can set a text in the fonts of this computer."""
    source = b'#set document(title: "t")\n#set text(font: "Libertinus Serif")\n#json("data.json")'
    try:
        _compiled({"main.typ": source, "data.json": json.dumps(text).encode()})
    except _Unshown:
        return False
    return True


def _characters(value: Any) -> set[str]:
    """Characters of all texts in data that a plain font may lack."""
    if isinstance(value, str):
        return {c for c in value if not c.isascii() and not c.isspace()}
    if isinstance(value, Mapping):
        value = value.values()
    return set().union(*map(_characters, value)) if isinstance(value, Iterable) else set()


def _each(change: Callable[[str], str], value: Any) -> Any:
    """The data with each of its texts changed."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, Mapping):
        return {key: _each(change, item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_each(change, item) for item in value]
    return value


def _plain(text: str) -> str:
    """A text without characters that have no shape of their own, which could hide or turn round other text."""
    return left_to_right("".join(c if c.isprintable() else " " for c in text))


def _parted(text: str) -> str:
    """A text whose long words may be parted after hyphens and low lines, else anywhere; a hash is never parted."""
    if len(text) < LONG or HASH.fullmatch(text):
        return text

    def parts(word: re.Match[str]) -> str:
        pieces = re.split(r"(?<=[-_])", word[0])
        return PART.join(piece if len(piece) < LONG else PART.join(re.findall(".{1,10}", piece)) for piece in pieces)

    return WORD.sub(parts, text)
