"""What is said to a person before they are sent to the machine, in one place."""

from __future__ import annotations

from typing import Final

__all__ = ["CAUTIONS", "FIRST", "LIMITS"]

CAUTIONS: Final = (
    "Lock out and tag out every energy source, and try to start the machine, before a guard comes off or a bolt "
    "is loosened (OSHA 29 CFR 1910.147; ISO 14118).",
    "Never reach through or past a shear, or between rolls (OSHA 29 CFR 1910.212).",
    "Support a section before its last bolt is out.",
    "Gloves for sheet edges; none near turning rolls.",
    "The machine's own manual and local codes come first. Electrical, hydraulic and guarding work belongs to "
    "qualified people.",
)
FIRST: Final = "Lock out and tag out first, and try to start the machine."
"""The first caution in one line, to head a list of moves; the whole of it stands elsewhere on the same sheet."""
LIMITS: Final = "stringtrue computes from readings: it does not see the machine."
