"""
What may be known of a machine and its panel, whether it holds, and the numbers that say so.

Only proof makes a fact hold or not; see `facts`, which gathers them.
"""

from __future__ import annotations

import enum
from dataclasses import dataclass

from alignment.causes.strip_path import Closing
from alignment.panel.corners import Known
from alignment.panel.found import Bent, Curve, EndCut, Square, TwistFound, WaveFound
from alignment.panel.parts import Part, Side, Spot
from alignment.panel.widths import Steadiness
from alignment.train.flags.leaning import Lean
from alignment.train.state import JointState, SectionState

__all__ = ["Evidence", "Fact", "FactName", "Holds", "Sections", "Share", "Steered", "Toed", "Why"]


class FactName(enum.StrEnum):
    """What may be known of a machine and its panel; the table of causes says what each means."""

    sections_out = "sections-out"
    string_leans = "string-leans"
    points_with_sweep = "points-with-sweep"
    toed_in = "toed-in"
    camber = "camber"
    camber_added = "camber-added"
    strip_camber = "strip-camber"
    camber_stays = "camber-stays"
    camber_turns = "camber-turns"
    bow = "bow"
    middle_to_legs = "middle-to-legs"
    middle_to_pan = "middle-to-pan"
    bow_stays = "bow-stays"
    bow_turns = "bow-turns"
    twist = "twist"
    waves_in_pan = "waves-in-pan"
    waves_at_edge = "waves-at-edge"
    waves_at_longer_edge = "waves-at-longer-edge"
    waves_repeat = "waves-repeat"
    square_out = "square-out"
    ends_alike = "ends-alike"
    both_ends_open = "both-ends-open"
    lead_closes_tail_opens = "lead-closes-tail-opens"
    legs_differ = "legs-differ"
    legs_change = "legs-change"
    girth_changes = "girth-changes"


class Holds(enum.StrEnum):
    """Whether a fact holds."""

    yes = "yes"
    no = "no"
    unknown = "unknown"

    @classmethod
    def of(cls, known: bool | None) -> Holds:
        """Yes, no, or unknown for None."""
        return cls.unknown if known is None else cls.yes if known else cls.no


class Why(enum.StrEnum):
    """Why a fact is unknown."""

    doubtful = "doubtful"
    """The readings cannot prove it: read again more finely."""
    unread = "unread"
    """Part of what it takes was not measured."""
    no_limit = "no limit"
    """Nothing is seen, and no limit says how much would matter."""
    no_power = "no power"
    """The test could not have seen it."""


@dataclass(frozen=True, kw_only=True)
class Sections:
    """Sections and joints by what was proved of them."""

    out: tuple[SectionState, ...]
    doubtful: tuple[SectionState, ...]
    unread: tuple[SectionState, ...]
    sections: int
    joints_out: tuple[JointState, ...]
    joints_doubtful: tuple[JointState, ...]
    joints: int


@dataclass(frozen=True, kw_only=True)
class Steered:
    """Where the sections point on the average, to the right positive, and the side to which the panel sweeps."""

    slope: Known
    swept: Side

    @property
    def side(self) -> Side:
        """Where they point."""
        return Side.right if self.slope.value > 0 else Side.left


@dataclass(frozen=True, kw_only=True)
class Toed:
    """Facing sections that both lean inward for sure, and how many pairs there are."""

    pairs: tuple[Closing, ...]
    facing: int


@dataclass(frozen=True, kw_only=True)
class Share:
    """A part of a curvature beside the whole of it; `turned` is the second panel's own, brought to one way up."""

    of: Part
    part: Bent
    whole: Curve
    turned: Bent | None = None


Evidence = (
    Sections
    | tuple[Lean, ...]
    | Steered
    | Toed
    | Share
    | Curve
    | TwistFound
    | tuple[WaveFound, ...]
    | tuple[EndCut, ...]
    | Square
    | dict[Spot, Known]
    | Steadiness
)
"""Numbers that a fact comes from."""


@dataclass(frozen=True, kw_only=True)
class Fact:
    """One thing that holds, does not, or is unknown, with the numbers that say so."""

    name: FactName
    holds: Holds
    numbers: Evidence
    why: Why | None = None
    """Where it is unknown."""
