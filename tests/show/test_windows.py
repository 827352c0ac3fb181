"""Parts of a long machine that are drawn below one another, and names that are shortened there."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alignment.show.letters import shortened
from alignment.show.pictures import labels
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
        ("operator-12a", ("operator-12a", "operator-13b"), 10, "opera…-12a"),
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


def test_a_window_has_margins_that_are_no_machine():
    """Of a machine that begins at 1000: 2 % of its length at either end."""
    parts = row_of([500, 500])
    layout = machine([part | {"start": part["start"] + 1000} for part in parts])
    window = whole(layout)
    assert (window.low, window.high) == pytest.approx((1000 - 20.4, 2020 + 20.4))
    assert window.clipped(0, 5000) == pytest.approx((1000, 2020))
    assert window.clipped(1100, 1200) == (1100, 1200)
    assert window.clipped(2030, 2100) is None


@pytest.mark.parametrize(("beside", "begins"), [(1, 1.06), (0, 1 - 0.5 * 0.4), (-1, 1 - 0.06 - 0.4)])
def test_a_number_stands_beside_its_line(beside, begins, monkeypatch):
    monkeypatch.setattr(labels, "width_of", lambda *_, **__: 0.4 * 72 / 9)
    number = labels.Number(at=1.0, beside=beside, said="18 3/8", bold=False)
    assert number.span(9) == pytest.approx((begins - 0.025, begins + 0.4 + 0.025))


def test_a_name_is_whole_where_there_is_room():
    """And cut where at its whole length it would be smaller than can be read."""
    name = "forming pass no. 4 north side of the line"
    long, short = machine([{"name": name, "row": "r", "start": 0, "length": 900}]).sections[0], 60.0
    lines, size = labels.fitted(long, 0.01, name, (name,))
    assert " ".join(lines).split() == name.split()
    assert labels.SMALLEST <= size <= 10.5
    narrow = machine([{"name": name, "row": "r", "start": 0, "length": short}]).sections[0]
    lines, _ = labels.fitted(narrow, 0.01, name, (name,))
    assert len("".join(lines)) < 15
