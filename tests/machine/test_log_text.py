"""Rows added to the text of a job log, and taken off again."""

from __future__ import annotations

import pytest

from alignment.errors import InputError
from alignment.machine.log_text import added, begun, without_last

ROW = {"section": "a-1", "point": "exit", "reading": "18 3/8", "when": "2026-10-02 07:41"}


def test_a_log_is_begun_with_its_record():
    text = begun({"by": "R.  Quill", "tape": ""})
    assert text == "# by: R. Quill\nsection,point,reading,kind,when,note\n"
    assert added(text, [ROW], "job.csv") == text + "a-1,exit,18 3/8,,2026-10-02 07:41,\n"


def test_columns_of_another_order_are_kept_and_those_that_lack_are_added():
    text = "# x\nReading;Section;Point\n18,5;a-1;entry\n"
    assert added(text, [ROW], "job.csv") == (
        "# x\nReading;Section;Point;kind;when;note\n18,5;a-1;entry\n18 3/8;a-1;exit;;2026-10-02 07:41;\n"
    )


def test_a_last_line_without_an_end():
    assert added("section,point,reading,kind,when,note\na-1,entry,18", [ROW], "j").count("\n") == 3


def test_the_last_row_is_taken_off_and_notes_stay():
    text = begun({}) + "a-1,entry,18,,,\na-1,exit,18,,,\n# a note\n\n"
    assert without_last(text, "j") == begun({}) + "a-1,entry,18,,,\n# a note\n\n"
    assert without_last(begun({}), "j") == begun({})


def test_both_bolt_ends_loosened_at_once_are_taken_off_together():
    moves = "a-1,entry,18,move,07:41,\na-1,exit,18,move,07:41,\n"
    assert without_last(begun({}) + moves, "j") == begun({})
    # the same end twice is two moves
    again = "a-1,exit,18,move,07:41,\na-1,exit,18,move,07:41,\n"
    assert without_last(begun({}) + again, "j") == begun({}) + again.splitlines(keepends=True)[0]


@pytest.mark.parametrize("text", ["section,entry,exit\na-1,18,18\n", ""])
def test_a_file_without_a_reading_on_each_row_is_refused(text):
    with pytest.raises(InputError, match="rows cannot be added to this file"):
        added(text, [ROW], "job.csv")
