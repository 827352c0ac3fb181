"""Choices a user makes by name. Kept apart from what uses them so that a command's help need not load numpy."""

from __future__ import annotations

import enum

__all__ = ["Aim", "At", "Line", "LineChoice", "Paper"]


class Line(enum.StrEnum):
    """The line to which deviations are taken."""

    string = "string"
    """The string is the truth."""
    fitted = "fitted"
    """The string was hung by eye: a straight line through the sections on hold, or through all, is taken off."""
    free = "free"
    """The planner chooses the line (planning only)."""


class LineChoice(enum.StrEnum):
    """A line, or all of them side by side."""

    string = "string"
    fitted = "fitted"
    free = "free"
    all = "all"


class Aim(enum.StrEnum):
    """What makes one plan better than another."""

    fewest = "fewest"
    """Fewest bolt ends loosened; among those, the best chances."""
    least = "least"
    """Least movement in all."""
    true = "true"
    """Every end that can be told to be off goes to its target."""


class At(enum.StrEnum):
    """The time of a job log at which a machine is judged."""

    now = "now"
    """After the last move of each section."""
    found = "found"
    """Before the first."""


class Paper(enum.StrEnum):
    """Sizes of paper."""

    letter = "letter"
    a4 = "a4"
