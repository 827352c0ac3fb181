"""
One readings file: a survey, or a job log that goes on through the moves, with its date, hands and tape.

Lengths are in millimetres, with the text as it was written beside them. Rows keep their order: things happened in it.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from alignment.instruments import Tape

__all__ = ["JOINT", "BoltMove", "Kind", "Photo", "Reading", "StepReading", "Survey"]

JOINT: Final = "joint"
"""Stands for a point where a step is read at a section's joint with the next one downstream."""


class Kind(enum.StrEnum):
    """What a row of a readings file records."""

    read = "read"
    close = "close"
    """The first point of a string read again, last, to see whether the string stood still."""
    move = "move"
    """A bolt end was loosened, and the tape read this when it was stopped."""
    photo = "photo"
    """A photograph was taken of what was read last; it lies beside the file."""


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One tape reading."""

    section: str
    place: float
    """Where on the section, from its entry end. [mm]"""
    value: float
    """Distance from face to string. [mm]"""
    u: float
    """Its own independent standard uncertainty. [mm]"""
    text: str
    """As it was written."""
    row: int
    """Row of the file."""
    closing: bool = False
    """Read again last, to see whether the line stood still; checked, not fitted."""
    when: str = ""
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class StepReading:
    """A step at a joint, measured on the faces themselves with straightedge and feeler. [mm]"""

    upstream: str
    downstream: str
    value: float
    """How much farther from the string the downstream face is."""
    u: float
    text: str
    row: int


@dataclass(frozen=True, kw_only=True)
class BoltMove:
    """A bolt end that was loosened, swung and tightened."""

    section: str
    end: int
    """0 for the entry bolt end, 1 for the exit one."""
    place: float
    """Where the tape was watched, from the section's entry end: the point of that name. [mm]"""
    pivot: float
    """Place of the other bolt end. [mm]"""
    stop: float | None
    """What the tape read when it was stopped; None where nobody looked. [mm]"""
    u: float
    """Standard uncertainty of that reading. [mm]"""
    text: str
    row: int
    when: str = ""
    note: str = ""


@dataclass(frozen=True, kw_only=True)
class Photo:
    """A photograph that lies beside a job log."""

    section: str
    point: str
    name: str
    """Of its file, in the log's folder."""
    sha256: str
    row: int
    when: str = ""


@dataclass(frozen=True, kw_only=True)
class Survey:
    """Readings of one machine in the order of the file, and the moves between them where it is a job log."""

    source: str
    readings: tuple[Reading, ...]
    tape: Tape
    """The tape of this survey: the layout's, with what the record says in its place."""
    steps: tuple[StepReading, ...] = ()
    moves: tuple[BoltMove, ...] = ()
    photos: tuple[Photo, ...] = ()
    record: Mapping[str, str]
    """Lines ``# key: value`` of the file, keys in lower case."""

    @cached_property
    def fitted(self) -> tuple[Reading, ...]:
        """Readings that enter the fit: all but the closing ones."""
        return tuple(reading for reading in self.readings if not reading.closing)
