"""Parts of a long machine that are drawn below one another, and names that are shortened there."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alignment.show.letters import shortened
from alignment.show.pictures.windows import whole, windows
from tests.tools.machines import machine


def row_of(lengths, row: str = "r", gap: float = 20):
    parts, at = [], 0.0
    for k, length in enumerate(lengths):
        parts.append({"name": f"{row}{k}", "row": row, "start": at, "length": length})
        at += length + gap
    return parts


@given(
    st.lists(st.integers(100, 900), min_size=1, max_size=30),
    st.lists(st.integers(100, 900), min_size=1, max_size=30),
    st.integers(1, 6),
)
def test_each_section_is_whole_in_a_part(one, other, most):
    """Whatever the lengths: as many parts as there may be at most, all alike, in their order."""
    layout = machine([*row_of(one), *row_of(other, "q")])
    parts = windows(layout, lambda _: False, most)
    assert 1 <= len(parts) <= most
    assert all(any(part.holds(section) for part in parts) for section in layout.sections)
    assert {round(part.span, 3) for part in parts} == {round(parts[0].span, 3)}
    assert [part.low for part in parts] == sorted(part.low for part in parts)


def test_as_few_parts_as_are_legible():
    layout = machine(row_of([480] * 12))
    asked = []

    def legible(span: float) -> bool:
        asked.append(span)
        return span < 2200

    parts = windows(layout, legible, 9)
    assert len(parts) == 3  # four sections and the gaps between them, with a margin: 2,060
    assert asked == sorted(asked, reverse=True)
    assert windows(layout, lambda _: True, 9) == [whole(layout)]


@pytest.mark.parametrize(
    ("name", "family", "letters", "short"),
    [
        ("operator-2", ("operator-1", "operator-2"), 10, "operator-2"),
        ("operator-2", ("operator-1", "operator-2"), 8, "opera…-2"),
        ("operator-12", ("operator-11", "operator-12", "operator-2"), 9, "opera…-12"),
        ("forming pass no. 4, north side", ("forming pass no. 4, north side", "forming pass no. 5, north side"), 18,
         "forming…no. 4…"),
        ("entry table", ("entry table", "shear"), 7, "ent…ble"),
        ("only one of its row", ("only one of its row",), 9, "only… row"),
    ],
)  # fmt: skip
def test_a_shortened_name_is_told_from_the_others(name, family, letters, short):
    assert shortened(name, family, letters) == short


@given(st.integers(1, 40), st.integers(7, 30), st.sampled_from(["operator-", "forming pass no. ", "成形段 ", ""]))
def test_short_names_of_a_row_differ(count, letters, prefix):
    family = tuple(f"{prefix}{k}" for k in range(1, count + 1))
    short = [shortened(name, family, letters) for name in family]
    assert len(set(short)) == count
    assert all(len(name) <= letters for name in short)
