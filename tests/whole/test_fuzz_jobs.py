"""Some hundred of the inputs that fuzz_jobs.py makes up, of a seed that its long runs do not take; what they found."""

from __future__ import annotations

import pytest

from alignment.errors import InputError
from alignment.files.rows import swallowed
from alignment.machine.log_text import added, without_last
from alignment.machine.survey_text import parse_survey
from tests.tools.fuzz_jobs import ROW, check_log, run
from tests.tools.reader_oracles import small_layout

HEAD = "section,point,reading,kind,when,note\n"


@pytest.mark.parametrize(("target", "count"), [("log", 400), ("next", 250), ("phone", 250)])
def test_spoiled_jobs_come_to_something_sane_or_are_refused(target, count):
    found = run(target, count, seed=20)
    # of both kinds, or the inputs have gone stale
    taken = found.get("read", found.get("taken", 0))
    assert count / 20 < taken < count * 19 / 20


@pytest.mark.parametrize("note", ['("x","y")', '"', 'a "b" c'])
def test_columns_are_added_behind_a_note_with_bare_quote_marks(note):
    """The last column may hold them; once others stand behind it, it is written so that it is read as it stands."""
    layout = small_layout()
    text = f"section,point,reading,u,note\nop-1,entry,18 3/8,,{note}\nop-1,exit,18 3/8,,\n"
    if note == '"':
        with pytest.raises(InputError, match="quote mark"):
            added(text, [ROW], "job.csv")
        return
    before, after = (parse_survey(t, layout) for t in (text, added(text, [ROW], "job.csv")))
    assert [r.note for r in before.readings] == [note, ""]
    assert [(r.place, r.value, r.note) for r in after.readings[:2]] == [
        (r.place, r.value, r.note) for r in before.readings
    ]
    assert len(after.readings) == 3


@pytest.mark.parametrize("note", ['"two\nlines"', "form\x0cfeed", "next\x85line", "separator\u2028here"])
def test_the_last_row_is_taken_off_whole(note):
    """A row ends where the reader of tables ends it: not at every letter that Unicode calls the end of a line."""
    text = f"{HEAD}op-1,entry,18 3/8,,,\nop-1,exit,18 3/8,,,{note}\n"
    assert without_last(text, "job.csv") == f"{HEAD}op-1,entry,18 3/8,,,\n"
    assert check_log(text, small_layout()) is not None


def test_a_header_with_blanks_behind_it():
    """New columns stand in place of the blank ones, and the new row under them."""
    text = "section,point,reading, ,\nop-1,entry,18 3/8,,\n"
    after = added(text, [ROW | {"kind": "close"}], "job.csv")
    assert after.splitlines()[0] == "section,point,reading,kind,when,note"
    assert [r.closing for r in parse_survey(after, small_layout()).readings] == [False, True]


def test_only_bolt_ends_that_were_loosened_together_are_taken_off_together():
    """One act is of one section at one time; two acts that follow one another are two."""
    first, second = "op-1,exit,18 3/8,move,07:50,\n", "op-1,entry,18 3/8,move,07:52,\n"
    assert without_last(HEAD + first + second, "job.csv") == HEAD + first
    other = "op-2,entry,18 3/8,move,07:50,\n"
    assert without_last(HEAD + first + other, "job.csv") == HEAD + first
    assert without_last(HEAD + first + second.replace("07:52", "07:50"), "job.csv") == HEAD


@pytest.mark.parametrize("head", ["section,point,kind", "section,point,reading,colour", "section,entry,exit"])
def test_rows_are_added_to_a_log_alone(head):
    """A column for the reading of each row, and no other than a log's."""
    with pytest.raises(InputError, match="Give the job a log of its own"):
        added(f"{head}\nop-1,entry,18\n", [ROW], "job.csv")


def test_a_row_of_two_columns_in_a_quoted_cell_is_one_that_would_be_lost():
    (problem,) = swallowed(3, ["op-1", "18\nop-2,18"], {"op-2"})
    assert "takes in the row 'op-2,18'" in problem.what
    assert swallowed(3, ["op-1", "18", "as\nop-2"], {"op-2"}) == []
