"""Flags are right as often as they should be: the rates of ``python -m tests.tools.rates``, on fewer surveys."""

from __future__ import annotations

import pytest

from tests.tools import flag_rates, rates

COUNT = 300


@pytest.fixture(scope="module")
def strays() -> tuple[float, float]:
    return rates.stray_rates(COUNT)


@pytest.fixture(scope="module")
def leans() -> dict[str, float]:
    return rates.lean_rates(COUNT)


def test_slips_of_five_times_the_detectable_are_found(strays):
    assert strays[0] >= 0.95


def test_clean_surveys_seldom_have_a_stray(strays):
    assert strays[1] <= 0.07


def test_hints_are_right():
    """Where a hint is given it is right in nine of ten, and of each kind of slip some are given one."""
    for name, (_, given, right) in rates.hint_rates(60).items():
        assert given >= 10, name
        assert right >= 0.9 * given, name


def test_leaning_string_is_found(leans):
    assert leans["found"] >= 0.95


def test_slope_of_a_leaning_string_is_within_its_u(leans):
    """U holds 95 %; four standard errors of 300."""
    assert leans["slope within U"] >= 0.95 - 4 * (0.95 * 0.05 / COUNT) ** 0.5


def test_straight_string_is_seldom_accused(leans):
    """One in a hundred; four standard errors of 300."""
    assert leans["accused"] <= 0.01 + 4 * (0.01 * 0.99 / COUNT) ** 0.5


def test_command_prints_every_rate(monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["rates", "8"])
    monkeypatch.setattr(rates, "monte_carlo", lambda _count: {"skew": (0.9, 0.9)})
    monkeypatch.setattr(flag_rates, "kinds", lambda *_: [flag_rates.Kind(sections=2)])
    monkeypatch.setattr(flag_rates, "covered_kinds", lambda *_: [flag_rates.Kind(sections=2)])
    rates.main()
    said = capsys.readouterr().out
    for what in (
        "flagged at its point",
        "clean surveys",
        "whole inch",
        "10 mm",
        "ends swapped",
        "leaning string",
        "FLAGS",
        "U, %",
    ):
        assert what in said


@pytest.mark.parametrize("sections", [1, 2, 5])
def test_slips_on_a_true_machine_are_found(sections):
    """Half an inch and more, and whole inches left out: all of forty; nothing is doubted of clean surveys."""
    found = flag_rates.rates(flag_rates.Kind(sections=sections), 40)
    assert {found[name] for name in ("half", "inch", "foot", "left out")} == {100.0}
    assert "false unlikely" not in found
    assert "false off-target" not in found


@pytest.mark.parametrize("sections", [3, 8])
def test_a_machine_that_is_badly_out_has_few_unlikely_readings(sections):
    """5 % at the most; four standard errors of 150. An inch is found all the same."""
    found = flag_rates.rates(flag_rates.Kind(sections=sections, out="out 1/8"), 150)
    assert found.get("false unlikely", 0.0) <= 5 + 4 * (5 * 95 / 150) ** 0.5
    assert found["inch"] >= 98


def test_a_string_seldom_moves_by_chance():
    """1 % at the most, with repeats and two strings; four standard errors of 150."""
    found = flag_rates.rates(flag_rates.Kind(sections=2, strings=2, repeats=3), 150)
    assert found.get("false line-moved", 0.0) <= 1 + 4 * (1 * 99 / 150) ** 0.5


@pytest.mark.parametrize(
    "kind",
    [
        flag_rates.Kind(sections=2, repeats=5, hand="1/128 in"),
        flag_rates.Kind(sections=2, repeats=5, reading=72.0),
    ],
    ids=["coarse marks and a steady hand", "a long way out"],
)
def test_u_covers(kind):
    """95.4 % of normal values; four standard errors of 300 surveys, their two sections as one."""
    for share in flag_rates.cover(kind, 300).values():
        assert share >= 95.4 - 4 * (95.4 * 4.6 / 300) ** 0.5
