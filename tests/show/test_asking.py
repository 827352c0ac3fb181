"""What is asked of settings and of a panel follows from what the file holds already."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import pytest
import tomlkit

from alignment.lengths import Units
from alignment.settings.settings_file import parse_settings
from alignment.show.words import ask_panel, ask_settings, cautions, starting
from alignment.show.words.filling import Filling, Question, fill, put, question

Ask = Callable[[Mapping[str, Any]], Sequence[Question]]
MACHINE = """\
[machine]
units = "in"
name = "Liner line"
[instrument.rule]
mark = "1/64"
"""
GUIDES = """\
[[setting]]
name = "entry guides"
kind = "guide"
clearance = "1/16"
tolerance = "1/32"
"""
LEVEL = """\
[[setting]]
name = "bed"
kind = "level"
over = "48"
tolerance = "1/32"
"""
PANEL = """\
[panel]
units = "in"
name = "Liner tray"
width = "19 1/4"
length = "120"
edges = ["operator", "drive"]
"""


def asked(ask: Ask, text: str) -> dict[str, Question]:
    return {q.name: q for q in ask(tomlkit.parse(text))}


def test_one_thing_that_is_set_is_needed_and_no_more():
    assert asked(ask_settings.wanted, MACHINE)["setting.0.name"].needed
    more = asked(ask_settings.wanted, MACHINE + GUIDES)
    assert more["setting.0.name"].needed
    assert not more["setting.1.name"].needed


def test_a_level_cannot_be_judged_without_its_length():
    assert asked(ask_settings.wanted, MACHINE + LEVEL)["setting.0.over"].needed
    assert asked(ask_settings.wanted, MACHINE + LEVEL)["setting.0.wanted"].default == "0"


def test_what_it_is_measured_with_is_asked_where_there_is_a_choice():
    """Of two things to measure with; of one there is none, and three are not needed for it."""
    assert "setting.0.with" not in asked(ask_settings.wanted, MACHINE + GUIDES)
    two = MACHINE + '[instrument.caliper]\nmark = "0.001"\n'
    assert asked(ask_settings.wanted, two + GUIDES)["setting.0.with"].default == "rule"
    assert "strip.with" in asked(ask_settings.wanted, two + '[strip]\nwidth = "23 1/4"\n')


def test_the_strip_is_measured_where_there_is_one():
    strip = '[strip]\nwidth = "23 1/4"\n'
    assert "strip.measured" not in asked(ask_settings.measured, MACHINE + GUIDES)
    assert "nominal 23 1/4" in asked(ask_settings.measured, MACHINE + strip + GUIDES)["strip.measured"].words


def test_readings_with_commas_are_kept_as_several():
    doc = tomlkit.parse(MACHINE + GUIDES)
    asked(ask_settings.measured, MACHINE + GUIDES)["setting.0.measured"].keep(doc, "23 3/8, 23 25/64")
    assert doc["setting"][0]["measured"] == ["23 3/8", "23 25/64"]


@pytest.mark.parametrize(("units", "tape", "rule"), [("in", "1/16", "1/64"), ("mm", "1", "0.5")])
def test_marks_are_offered_in_the_units_of_the_panel(units, tape, rule):
    profile = asked(ask_panel.profile, f'[panel]\nunits = "{units}"\n')
    assert (profile["tape.mark"].default, profile["rule.mark"].default) == (tape, rule)
    assert ("deg/ft" in profile["limits.twist"].words) is (units == "in")


WAVE = '[[wave]]\nwhere = "pan"\n'


def test_waves_are_taken_away_alone():
    doc = tomlkit.parse(PANEL + WAVE + WAVE.replace("pan", "drive"))
    asked(lambda _: ask_panel.measured(doc), "")["wave.0.where"].drop(doc)
    assert [run["where"] for run in doc["wave"]] == ["drive"]
    none = tomlkit.parse(PANEL + 'waves = "none"\n')
    asked(lambda _: ask_panel.measured(none), "")["wave.0.where"].drop(none)
    assert "waves" not in none["panel"]


def test_waves_need_height_and_pitch():
    runs = asked(ask_panel.measured, PANEL + WAVE)
    assert runs["wave.0.height"].needed
    assert runs["wave.0.pitch"].needed
    assert not runs["wave.1.where"].needed


def test_a_job_begins_with_all_cautions_numbered_and_goes_on_with_the_short_ones():
    begins, goes_on = cautions.opening(False), cautions.opening(True)
    assert [line.split()[0] for line in begins if line] == [f"{k}." for k in range(1, len(cautions.FULL) + 1)]
    assert [line for line in goes_on if line] == [" ".join(cautions.SHORT)]
    assert cautions.full().numbered
    assert not cautions.short().numbered


def conversation(text: str | None = None) -> Filling:
    return fill(
        text, "settings.toml", begun=ask_settings.first_settings(Units.inch), ask=ask_settings.wanted,
        read=parse_settings,
    )  # fmt: skip


def test_a_new_file_is_begun_and_one_that_is_there_gone_on_with():
    """The keys are told both times; which file is gone on with, only where there is one."""
    begun = conversation()
    assert len(begun.says) == 1
    assert begun.prompt == "Name of the machine [My machine]: "
    named = begun.answer("Liner line")
    assert named.at == "instrument.0"
    again = conversation(named.text)
    assert again.says == ("Going on with settings.toml.", *begun.says)
    assert (again.at, again.text) == (named.at, named.text)
    # behind the last thing answered, not the first that is open
    assert conversation(MACHINE + '[strip]\nwidth = "23 1/4"\n' + GUIDES).at == "setting.1.name"


def test_each_answer_leads_to_the_next_question_and_back_to_the_one_before():
    step = conversation().answer("")
    assert tomlkit.parse(step.text)["machine"]["name"] == "My machine"
    step = step.answer("rule")
    assert step.at == "instrument.rule.mark"
    assert step.answer("b").at == "instrument.0"
    assert step.answer("b").answer("b").answer("b").answer("b").says == ("This is the first question.",)
    assert step.answer("-").says == step.answer("").says == ("This one is needed.",)
    assert step.answer("1/64").at == "instrument.rule.zero"
    assert step.answer("1/64").answer("").at == "instrument.1"


def test_after_another_program_wrote_the_same_question_is_asked():
    step = conversation().answer("").answer("rule")
    assert step.rebased(step.text, "changed").at == "instrument.rule.mark"
    # it is asked no more: the last there is
    assert step.rebased(None, "changed").at == "setting.0.name"


def test_values_are_put_into_tables_and_lists_that_are_made_for_them():
    doc = tomlkit.parse("")
    put(doc, ("wave", 1, "height"), "1/8")
    put(doc, ("offsets", 0, "readings", 0), "1/4")
    put(doc, ("offsets", 0, "readings", 0), "3/8")
    put(doc, ("offsets", 0, "readings", 1), "1/2")
    put(doc, ("panel", "name"), "Liner tray")
    assert doc.unwrap() == {
        "wave": [{}, {"height": "1/8"}],
        "offsets": [{"readings": ["3/8", "1/2"]}],
        "panel": {"name": "Liner tray"},
    }
    named = question(doc, ("wave", 1, "height"), "Height")
    assert named.stands == "1/8"
    named.drop(doc)
    question(doc, ("none", "of", "it"), "").drop(doc)
    assert doc.unwrap()["wave"] == [{}, {}]


# ---- a first layout


def test_going_back_asks_the_last_question_again():
    """The first has none before it; an option that was looked at on the way is looked at anew, and not asked."""
    step = starting.begin({"name": "Liner line"})
    assert step.at == "units"
    assert step.answer("b").says == ("This is the first question.",)
    after = step.answer("mm")
    assert (after.at, after.told["name"]) == ("rows", "Liner line")
    back = after.answer("b")
    assert (back.at, dict(back.told), back.asked) == ("units", {}, ())
    two = after.answer("operator").answer("back")
    assert (two.at, two.asked) == ("rows", ("units",))
    assert two.answer("operator").told == after.answer("operator").told
