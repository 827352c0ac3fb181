"""Three answers for a section: leave it, read it again, move it. Readings are cheap, bolts are dear."""

from __future__ import annotations

import enum
from collections.abc import Iterable
from typing import Final, NamedTuple

__all__ = ["DONE", "EVEN", "MOST_READINGS", "UNLIKELY", "Answer", "ReadAgain", "Why", "answer", "unread"]

DONE: Final = 0.9
"""From this chance on a section is left alone."""
UNLIKELY: Final = 0.3
"""At this chance or less another reading is not asked for before a move."""
MOST_READINGS: Final = 3
"""Readings of each end after which another one is not asked for."""
EVEN: Final = 0.5
"""Below it a section is more likely out than in."""


class Answer(enum.StrEnum):
    """What is to be done with a section."""

    leave = "leave"
    read_again = "read_again"
    move = "move"
    stuck = "stuck"
    """Neither a reading nor a move would help with this tape, or within these slots."""


class Why(enum.StrEnum):
    """Why a section is to be read again."""

    flagged = "flagged"
    """A reading of it, or of its neighbour at a joint, is doubted."""
    far = "far"
    """It would have to move farther than its slots allow, or than is plausible."""
    near_limit = "near_limit"
    """One mark more or less would turn the decision."""
    step = "step"
    """The step at its joint is near its limit, by one mark."""


class ReadAgain(NamedTuple):
    """A section to read again before it is moved or left."""

    section: str
    points: tuple[str, ...]
    why: Why
    beside: str = ""
    """For a step, the section downstream of the joint, whose entry is to be read as well."""


def unread(again: Iterable[ReadAgain]) -> set[str]:
    """Sections that these ask to read, those beside a doubted step included."""
    return {name for one in again for name in (one.section, one.beside) if name}


def answer(now: float, turned: float, gain: float, readings: int) -> Answer:
    """
    Choose for one section.

    Parameters
    ----------
    now : float
        Chance that it is within all of its tolerances.
    turned : float
        The same if one more reading of the worse end comes out a mark farther off.
    gain : float
        Chance after the best move, less what its bolt ends are worth, less `now`.
    readings : int
        Readings of each end so far.

    Returns
    -------
    Answer
    """
    # where no move would better it, a reading has nothing to decide
    if now >= DONE or (now >= EVEN and (turned >= EVEN or gain <= 0)):
        return Answer.leave
    if now > UNLIKELY and readings < MOST_READINGS:
        return Answer.read_again
    return Answer.move if gain > 0 else Answer.stuck
