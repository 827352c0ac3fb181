"""Flags are right as often as they should be: the rates of ``python -m tests.tools.rates``, on fewer surveys."""

from __future__ import annotations

import pytest

from tests.tools import rates

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
    rates.main()
    said = capsys.readouterr().out
    for what in ("flagged at its point", "clean surveys", "whole inch", "10 mm", "ends swapped", "leaning string"):
        assert what in said
