"""
The one place that runs typst: a template, data and pictures in, the bytes of a PDF out.

Templates hold the looks and no text of any user; whatever comes from a file or a person reaches them as JSON, which
typst sets as it stands and never reads as source. Only the fonts that typst brings along are used, so that the same
inputs and the same day give the same bytes on every computer.
"""

from __future__ import annotations

import datetime
import json
import os
from collections.abc import Callable, Mapping
from importlib.resources import files
from typing import Any, Final

from alignment.choices import Paper
from alignment.errors import StringtrueError, quote
from alignment.lengths import Units

__all__ = ["paper_for", "paper_name", "today", "typeset"]

PAGES: Final = "pages.typ"
"""What sets the blocks of a page, in every document."""
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


def typeset(template: str, data: Mapping[str, Any], pictures: Mapping[str, bytes] | None = None) -> bytes:
    """
    Set a document.

    Parameters
    ----------
    template : str
        Name of one of the package's templates, without its ending.
    data : mapping
        What the template reads as ``data.json``: texts, numbers and lists. Its ``made`` is the day on the document,
        year, month and day.
    pictures : mapping of str to bytes
        SVG pictures by the names under which the data speaks of them.

    Returns
    -------
    bytes
        A tagged PDF with its fonts in it. It is PDF/A-2a and PDF/UA-1 unless a text holds characters that the fonts
        lack; those are then taken from the computer's own fonts, and stand as boxes where it has none.
    """
    import typst

    # its stubs do not know that it takes files by their names, and gives bytes
    compiled: Callable[..., bytes] = typst.compile

    room = files("alignment.show.paper")
    texts = {"main.typ": f"{template}.typ", PAGES: PAGES}
    inputs = {name: room.joinpath(file).read_bytes() for name, file in texts.items()}
    inputs |= {"data.json": json.dumps(_plain(data)).encode()} | dict(pictures or {})
    try:
        return compiled(inputs, format="pdf", ignore_system_fonts=True, pdf_standards=list(STANDARDS))
    except typst.TypstError as error:
        if not error.message.startswith("PDF/"):
            raise
        return compiled(inputs, format="pdf")


def _plain(value: Any) -> Any:
    """The data without characters that have no shape of their own, which could hide or turn round other text."""
    if isinstance(value, str):
        return "".join(c if c.isprintable() else " " for c in value)
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value
