"""A flag: one thing about the readings that a person should look at before a bolt is touched."""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass, field

from alignment.machine.slips import LikelySlip
from alignment.machine.survey import Reading

__all__ = ["Basis", "Flag", "FlagKind"]


class FlagKind(enum.StrEnum):
    """What kind of thing, most harmful first."""

    line_moved = "line-moved"
    """The closing reading of a string's first point differs from its opening one."""
    stray = "stray"
    """A reading that others of its section, or a step that the tape beside it, contradicts."""
    off_target = "off-target"
    """Too far from the wanted reading to be a section out of place before it was read again."""
    unlikely = "unlikely"
    """Far from what the neighbours suggest."""
    line_skewed = "line-skewed"
    """All sections of a string slope alike."""
    spread = "spread"
    """Repeats of one point differ."""
    scatter = "scatter"
    """Readings of a section do not lie on one straight face."""
    lone = "lone"
    """A point read once that nothing checks."""

    @property
    def of_string(self) -> bool:
        """Whether it doubts a string and not a reading."""
        return self in (FlagKind.line_moved, FlagKind.line_skewed)


class Basis(enum.StrEnum):
    """What a reading is set against."""

    neighbours = "neighbours"
    """The other sections of its string."""
    target = "target"
    """The wanted reading."""
    others = "others"
    """The other readings of its row, where nothing says what is wanted."""


@dataclass(frozen=True, kw_only=True)
class Flag:
    """
    One thing to look at.

    Attributes
    ----------
    flag : FlagKind
    section, point, string : str
        Where; empty where it does not apply.
    beside : str
        For a step, the section downstream of its joint.
    numbers : mapping
        Lengths behind it. [mm]
    reading : Reading or None
        The reading that is doubted.
    read : tuple of str
        What was read, as it was written.
    others : tuple of (point, text)
        Readings that may be the wrong ones instead.
    decided : bool
        For a stray, whether it could be told from those.
    hint : LikelySlip or None
        The slip that fits, where one does.
    basis : Basis or None
        What the reading was set against.
    number : float
        A plain number: how many readings, by how much u was grown, or which share.
    """

    flag: FlagKind
    section: str = ""
    point: str = ""
    string: str = ""
    beside: str = ""
    numbers: Mapping[str, float] = field(default_factory=dict)
    reading: Reading | None = None
    read: tuple[str, ...] = ()
    others: tuple[tuple[str, str], ...] = ()
    decided: bool = True
    hint: LikelySlip | None = None
    basis: Basis | None = None
    number: float = 0.0

    @property
    def harmful(self) -> bool:
        """Whether it may change the moves; a point that nothing checks is a doubt and no more."""
        return self.flag is not FlagKind.lone
