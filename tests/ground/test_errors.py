"""What is told of everything that is wrong in a file."""

from __future__ import annotations

import pytest

from alignment.errors import InputError, Problem


def told(*problems: Problem) -> list[str]:
    return str(InputError("a.csv", "these cannot be used", problems)).splitlines()


def test_a_problem_is_wrong_and_not_lacking_unless_it_says_so():
    assert not Problem("mark", "is no length.").lacking


@pytest.mark.parametrize(("long", "end"), [(394, ""), (395, "..."), (5000, "...")])
def test_a_long_problem_is_cut_at_400_characters(long, end):
    (_, line) = told(Problem("mark", "x" * long))
    assert line == f"  mark: {'x' * 394}{end}"


def test_twenty_problems_are_told_and_the_rest_are_counted():
    lines = told(*(Problem(f"key {k}", f"is wrong in way {k}.") for k in range(25)))
    assert len(lines) == 1 + 20 + 1
    assert lines[0] == "a.csv: these cannot be used"
    assert lines[-1] == "  and 5 more of the kind"
