"""The conversation at the machine, answer by answer, without a terminal."""

from __future__ import annotations

import pytest

from alignment.lengths import Units
from alignment.machine.log_text import begun
from alignment.machine.survey_text import parse_survey
from alignment.show.words.phrases import on_tape
from alignment.show.words.working import take_up
from alignment.train.work.next_act import Act
from tests.tools.machines import machine

IN = 25.4
SECTIONS = [{"name": "a-1", "row": "a", "start": "0", "length": "15", "bolts": ["2", "13"]}]
WIDE = "square = '1/16'\noffset = '1/16'\nstep = '1/16'"
RECORD = {"by": "R. Quill", "strong_shy": "true"}


@pytest.fixture
def work():
    layout = machine(SECTIONS, units="in", tape="mark = '1/16'", tolerance=WIDE, rows={"a": "target = '18 3/8'"})
    return take_up(layout, begun(RECORD), "job.csv")


@pytest.fixture
def metric():
    section = {"name": "a-1", "row": "a", "start": "0", "length": "380", "bolts": ["50", "330"]}
    layout = machine([section], tape="mark = '1'", rows={"a": "target = '467'"})
    return take_up(layout, begun(RECORD), "job.csv")


def typed(step, *answers):
    for answer in answers:
        step = step.answer(answer, "2026-10-02 07:41")
    return step


def rows(step):
    return [line.split(",")[:4] for line in step.text.splitlines() if line.startswith("a-1")]


def test_a_fraction_alone_takes_the_inch_of_the_wanted_reading(work):
    step = typed(work, "3/8", "7/16-")
    assert rows(step)[:2] == [["a-1", "entry", "18 3/8", ""], ["a-1", "exit", "18 7/16-", ""]]
    assert step.text.splitlines()[-1].split(",")[4] == "2026-10-02 07:41"


def test_a_fraction_whose_inch_is_not_plain_is_asked_for_in_full(work):
    step = typed(work, "7/8")
    assert (rows(step), step.says) == ([], ("Which whole number goes with it is not plain. Type it in full.",))


def test_the_last_digits_of_millimetres(metric):
    assert rows(typed(metric, "67", "67.5")) == [["a-1", "entry", "467", ""], ["a-1", "exit", "467.5", ""]]
    assert rows(typed(metric, "467")) == [["a-1", "entry", "467", ""]]


def test_a_doubted_reading_is_read_again_or_kept(work):
    doubted = typed(work, "19 3/8")
    assert (rows(doubted), doubted.prompt) == ([], "Read it again (k keeps it): ")
    assert rows(typed(doubted, "3/8")) == [["a-1", "entry", "18 3/8", ""]]
    assert rows(typed(doubted, "k")) == [["a-1", "entry", "19 3/8", ""]]
    # read alike twice, both count
    assert rows(typed(doubted, "19 3/8")) == [["a-1", "entry", "19 3/8", ""]] * 2
    assert typed(doubted, "b").says == ("Dropped.",)


def moved(work):
    step = typed(work, "3/8", "5/8")
    while step.told.act is Act.read:
        step = step.answer({"entry": "3/8", "exit": "5/8"}[step.prompt.split()[1].rstrip(":")], "07:45")
    assert step.told.act is Act.move
    return step


def test_enter_says_that_the_move_is_made_as_told(work):
    step = moved(work)
    assert any("Lock out" in said for said in step.says)
    after = typed(step, "")
    assert [row[3] for row in rows(after)][-1] == "move"
    log = parse_survey(after.text, after.layout)
    assert [m.stop for m in log.moves] == pytest.approx([stop.reading for stop in step.told.stops])
    assert after.told.act is Act.read
    assert rows(typed(after, "b")) == rows(step)


def test_another_stop_is_typed(work):
    step = moved(work)
    stops = ", ".join(["18 7/16"] * len(step.told.stops))
    log = parse_survey(typed(step, stops).text, step.layout)
    assert {m.text for m in log.moves} == {"18 7/16"}
    wrong = typed(step, "18 3/8, 18 3/8, 18 3/8")
    assert (wrong.text, wrong.says[0][:28]) == (step.text, "Type one reading for each en")


def test_what_is_no_length_changes_nothing(work):
    for wrong in ("18 9/8", "x", ""):
        assert typed(work, wrong).text == work.text


def test_no_answer_is_longer_than_three_lines_but_for_cautions(work):
    step = moved(work)
    assert len([said for said in step.says if "Lock out" not in said]) <= 4  # what was saved, then the act
    assert len(typed(step, "").says) <= 3


def test_a_section_that_is_finished_is_told_so(work):
    step = typed(work, "3/8")
    assert not any("a-1: OK, " in said for said in step.says)
    assert typed(step, "3/8").says[0].startswith("a-1: OK, ")


def test_the_end_of_the_job(work):
    step = typed(work, "3/8", "3/8", "3/8")
    assert step.over
    assert step.says[-1] == "Done. 1 section OK."
    assert rows(step)[-1] == ["a-1", "entry", "18 3/8", "close"]
    assert take_up(step.layout, step.text, "job.csv").over


@pytest.mark.parametrize(
    ("inches", "words"),
    [(18.375, "18 3/8"), (18.375 + 1 / 64, "18 3/8+"), (18.375 - 1 / 64, "18 3/8-"), (18, "18"),
     (18.375 + 1 / 32, "halfway between 18 3/8 and 18 7/16")],
)  # fmt: skip
def test_a_reading_in_parts_of_the_tapes_own_mark(inches, words):
    assert on_tape(inches * IN, IN / 16, Units.inch) == words


@pytest.mark.parametrize(("mm", "words"), [(467, "467"), (467.25, "467+"), (466.5, "halfway between 466 and 467")])
def test_a_reading_in_millimetre_marks(mm, words):
    assert on_tape(mm, 1.0, Units.mm) == words


def test_a_section_put_off_comes_after_the_others():
    two = [*SECTIONS, {**SECTIONS[0], "name": "a-2", "start": "16"}]
    layout = machine(two, units="in", tape="mark = '1/16'", tolerance=WIDE, rows={"a": "target = '18 3/8'"})
    step = typed(take_up(layout, begun(RECORD), "job.csv"), "s")
    assert step.prompt == "a-2 entry: "
    assert step.says[0] == "a-1 put off: it comes after the others."
    back = typed(step, "3/8", "3/8")
    assert back.prompt == "a-1 entry: "
    last = typed(back, "s")
    assert (last.prompt, last.says[0]) == ("a-1 entry: ", "a-1 is all that is left. q quits.")
