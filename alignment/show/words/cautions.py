"""What is said to a person before they are sent to the machine, in one place."""

from __future__ import annotations

from typing import Final

from alignment.show.page import Cautions

__all__ = ["FULL", "SHORT", "full", "opening", "short"]

SHORT: Final = (
    "Lock out, tag out, and prove that the machine is dead.",
    "Do not run it.",
    "Keep hands out of the shear and the rolls.",
    "The machine's manual and local codes come first.",
)
"""Above moves, and above anything that sends a person to read again."""
FULL: Final = (
    "Lock out and tag out every energy source. Release or block what is stored: springs, air, hydraulics, a raised "
    "blade. With nobody near, press start to prove that nothing moves, and set the control back to off. Only then take "
    "off a guard or loosen a bolt (OSHA 29 CFR 1910.147; ISO 14118).",
    "Keep hands out of the shear and the rolls, powered or not (guarding: 29 CFR 1910.212).",
    "Block a section up before its last bolt is out.",
    "Wear gloves to handle sheet. Take them off near rolls that can turn.",
    "Before the machine runs again: string, tape, blocks and tools out, guards back, everybody clear, lockout removed "
    "by whoever put it on.",
    "The machine's own manual and local codes come first. Electrical, hydraulic, pneumatic and guarding work is for "
    "licensed or qualified people.",
    "stringtrue computes from readings. It does not see the machine.",
)
"""Once where a job begins."""


def short() -> Cautions:
    """The cautions in three lines."""
    return Cautions(lines=SHORT)


def full() -> Cautions:
    """The cautions in full."""
    return Cautions(lines=FULL, numbered=True)


def opening(begun: bool) -> list[str]:
    """What a conversation at the machine opens with: the cautions in full where a job begins, in short later on."""
    if begun:
        return [" ".join(SHORT), ""]
    return [*(f"{number}. {caution}" for number, caution in enumerate(FULL, 1)), ""]
