"""Flags as plain numbers and texts."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from alignment.machine.layout import Layout
from alignment.show.words.flags import flag_words
from alignment.train.flags.flag import Flag

__all__ = ["flags_json"]


def flags_json(flags: Iterable[Flag], layout: Layout) -> list[dict[str, Any]]:
    """Each flag with its place, message, likely slip by kind and size, and lengths in the layout's units."""
    of = layout.units.of
    return [
        {
            "flag": str(f.flag),
            "section": f.section or None,
            "point": f.point or None,
            "string": f.string or None,
            "message": flag_words(f, layout),
            "likely_slip": None if f.hint is None else {"kind": str(f.hint.kind), "size": of(f.hint.size)},
            **{name: of(length) for name, length in f.numbers.items()},
        }
        for f in flags
    ]
