"""What the page at the machine says besides the words of the next act."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from alignment.show.words.phrases import counted, in_list

__all__ = [
    "BUSY",
    "LABELS",
    "NO_END",
    "NO_KIND",
    "NO_READING",
    "NO_READING_TYPED",
    "address_lines",
    "conflict",
    "drawn",
    "moved_label",
    "progress",
    "refusal",
    "row_told",
]

LABELS: Final[Mapping[str, str]] = {
    "alternate": "Moving one end shifts the other slightly: alternate until both read as given.",
    "back": "Back",
    "cautions": "Cautions",
    "drop_mine": "Drop mine",
    "go_on": "Go to the page",
    "list": "All sections",
    "loosen": "Loosen",
    "not_encrypted": "The local network is not encrypted. Whoever has the address can open this page.",
    "on": "on the line",
    "on_the_line": "Is the string on a line of the tape?",
    "part": "Part of it. One tap saves the reading.",
    "photo": "Add a photograph",
    "photo_of": "Photograph of the last reading",
    "photo_save": "Save the photograph",
    "picture": "Picture",
    "pivot": "Pivot on",
    "save": "Save",
    "save_mine": "Save mine too",
    "shy": "shy",
    "skip": "Skip",
    "stop_at": "Stop at",
    "strong": "strong",
    "swing": "Swing",
    "tighten": "Tighten.",
    "typed": "Or type it",
    "waiting_many": "# answers are not saved yet. They are kept on this phone and sent again.",
    "waiting_one": "1 answer is not saved yet. It is kept on this phone and sent again.",
    "waiting_scan": "Not saved yet: the computer does not know this phone any more. Scan its new address.",
    "wanted": "wanted",
    "ways": "Other ways",
    "whole": "Whole number",
    "why": "Why",
}
REFUSALS: Final[Mapping[int, str]] = {
    400: "This could not be used. Go back and try again.",
    403: "This page opens with the address that 'stringtrue phone' printed. Scan it again.",
    404: "There is no such page.",
    405: "There is no such page.",
    413: "That is too large. Nothing was saved.",
}
"""By status; anything else is `FAILED`."""
BUSY: Final = "Others write into the log at the same time. Nothing was saved. Try again."
NO_END: Final = "No bolt end was named. Go back to the page and tap what was moved."
NO_KIND: Final = "This is neither a reading nor a move. Go back to the page."
NO_READING: Final = "Nothing was read yet. Take a reading first, then photograph it."
NO_READING_TYPED: Final = "No reading was given. Tap a part of an inch or type the reading."
FAILED: Final = "Something went wrong on the computer that keeps the log. What is on disk is safe. Try again."


def refusal(status: int) -> str:
    """Why a request was not answered."""
    return REFUSALS.get(status, FAILED)


def moved_label(ends: Sequence[str], stops: Sequence[str]) -> str:
    """The key that says a move was made."""
    made = [f"{end} at {stop}" for end, stop in zip(ends, stops, strict=True)]
    return f"Moved and tightened: {in_list(made)}"


def progress(settled: int, of: int, log: str) -> str:
    """How far the work has come, and where it is kept."""
    return f"{settled} of {counted(of, 'section')} done, kept in {log}"


def drawn(row: str) -> str:
    """A picture for whoever does not see it."""
    return f"Row {row} from above. The list above says the same in words."


def conflict(section: str, others: list[str], mine: str) -> str:
    """Somebody else wrote something about the section since this page was drawn."""
    return f"{section} was changed meanwhile: {'; '.join(others)}. Your answer, {mine}, is not saved yet."


def row_told(row: Mapping[str, str]) -> str:
    """One row of a log."""
    reading, point = row.get("reading", ""), row.get("point", "")
    if row.get("kind") == "move":
        return f"{point} moved{f', stopped at {reading}' if reading else ''}"
    return f"{point} read {reading}"


def address_lines(address: str, looking: str, *, shared: bool) -> list[str]:
    """What is printed where the server runs."""
    where = (
        "Everybody on this local network who has the address can open it. The network is not encrypted."
        if shared
        else "It opens on this computer only. To use a phone on the same network: --share."
    )
    return [
        f"Open on the phone: {address}",
        where,
        f"To look only, without writing: {looking}",
        "Ctrl-C ends it. Every answer is on disk before the phone says so.",
    ]
