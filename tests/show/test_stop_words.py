"""Readings and stops in words: on a mark, strong or shy of it, or halfway between two."""

from __future__ import annotations

import pytest

from alignment.lengths import Units
from alignment.show.words.stops import mark_words, reading_words, stop_words

IN = 25.4


@pytest.mark.parametrize(("inches", "said"), [
    (18 + 3 / 8, "18 3/8"), (18 + 13 / 32, "halfway between 18 3/8 and 18 7/16"), (19, "19"),
    (18 + 31 / 32, "halfway between 18 15/16 and 19"),
])  # fmt: skip
def test_a_stop_is_on_a_mark_or_halfway(inches, said):
    assert stop_words(inches * IN, IN / 16, Units.inch) == said


@pytest.mark.parametrize(("mm", "mark", "said"), [
    (467, 1, "467"), (467.5, 1, "halfway between 467 and 468"), (467.5, 0.5, "467.5"),
    (467.25, 0.5, "halfway between 467.0 and 467.5"),
])  # fmt: skip
def test_a_stop_in_millimetres(mm, mark, said):
    assert stop_words(mm, mark, Units.mm) == said


@pytest.mark.parametrize(("sixteenths", "said"), [
    (294, "18 3/8"), (294.25, "18 3/8+"), (294.75, "18 7/16-"), (294.5, "18 3/8 to 7/16"), (303.5, "18 15/16 to 19"),
    (303.75, "19-"),
])  # fmt: skip
def test_a_reading_in_parts_of_a_mark(sixteenths, said):
    assert reading_words(sixteenths * IN / 16, IN / 16, Units.inch) == said


@pytest.mark.parametrize(("mm", "mark", "said"), [(467, 1, "467"), (467.25, 1, "467.3"), (467, 0.5, "467.0")])
def test_a_reading_in_tenths(mm, mark, said):
    assert reading_words(mm + 1e-6, mark, Units.mm) == said


def test_the_nearest_mark():
    assert mark_words(18.4 * IN, IN / 16, Units.inch) == "18 3/8"
    assert mark_words(467.4, 1, Units.mm) == "467"
