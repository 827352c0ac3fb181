"""Readings taken one by one: which are asked for where a file holds some already."""

from __future__ import annotations

import pytest

from alignment.machine.entry import begin
from tests.tools.machines import machine

HEAD = "section,point,reading,repeat\n"


def asked(text: str | None, repeats: int = 2) -> list[tuple[str, float, int]]:
    """What one section of 450 is asked for, in turn, from a file on."""
    layout = machine([{"name": "a", "row": "a", "start": "0", "length": "450"}], rows={"a": "target = '467'"})
    entry, found = begin(layout, text, "survey.csv", repeats=repeats), []
    while entry.at < len(entry.asks):
        ask = entry.asks[entry.at]
        found.append((ask.section, ask.place, ask.repeat))
        entry = entry.accept(entry.read("467", ""))
    return found


EVERY = [("a", 0.0, 1), ("a", 450.0, 1), ("a", 0.0, 2), ("a", 450.0, 2), ("a", 0.0, 0)]


@pytest.mark.parametrize(
    ("rows", "held"),
    [
        ([], []),
        (["a,entry,467,"], [("a", 0.0, 1)]),
        (["a,entry,467,1"], [("a", 0.0, 1)]),
        (["a,entry,467,2"], [("a", 0.0, 2)]),
        (["a,exit,467,2", "a,exit,467,1"], [("a", 450.0, 1), ("a", 450.0, 2)]),
        (["a,entry,467,", "a,entry,467,"], [("a", 0.0, 1), ("a", 0.0, 2)]),
    ],
)
def test_what_a_file_holds_is_not_asked_for_again(rows, held):
    """Every point twice, then the first one again; a reading is the repeat that its row says, else the next."""
    text = HEAD + "".join(f"{row}\n" for row in rows) if rows else None
    assert asked(text) == [ask for ask in EVERY if ask not in held]
