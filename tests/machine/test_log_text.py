"""Rows added to the text of a job log, and taken off again."""

from __future__ import annotations

import pytest

from alignment.errors import InputError
from alignment.machine.layout_file import parse_layout
from alignment.machine.log_text import added, begun, rows_of, without_last
from alignment.machine.survey_text import parse_survey

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


def test_rows_by_column():
    text = added(begun({"by": "x"}), [ROW], "job.csv")
    assert rows_of(text, "job.csv") == [{**ROW, "kind": "", "note": ""}]
    assert rows_of(begun({}), "job.csv") == []


def test_lines_end_as_they_do_in_the_file():
    text = "section,point,reading,kind,when,note\r\na-1,entry,18,,,\r\n"
    assert added(text, [ROW], "job.csv") == text + "a-1,exit,18 3/8,,2026-10-02 07:41,\r\n"


LAYOUT = parse_layout(
    """
    [machine]
    name = "Tray line"
    units = "in"
    [row.operator]
    target = "18 3/8"
    [[section]]
    name = "operator-1"
    row = "operator"
    start = "0"
    length = "15"
    """,
    "machine.toml",
)
EXIT = {**ROW, "section": "operator-1"}
PHOTO = {"section": "operator-1", "point": "exit", "kind": "photo", "photo": "job-photo-001.jpg", "sha256": "0a" * 32}


def test_a_photograph_is_a_row_of_its_own():
    text = added(added(begun({}), [EXIT], "job.csv"), [PHOTO], "job.csv")
    log = parse_survey(text, LAYOUT, "job.csv")
    assert len(log.readings) == 1
    (photo,) = log.photos
    assert (photo.section, photo.point, photo.name, photo.sha256) == (
        "operator-1", "exit", "job-photo-001.jpg", "0a" * 32,
    )  # fmt: skip


@pytest.mark.parametrize("name", ["", "../job.csv", "a/b.jpg", "a\\b.jpg", ".hidden.jpg"])
def test_a_photograph_lies_beside_the_log(name):
    with pytest.raises(InputError, match="is no name of a picture beside this file"):
        parse_survey(added(begun({}), [{**PHOTO, "photo": name}], "job.csv"), LAYOUT, "job.csv")


def test_a_photograph_has_its_hash():
    with pytest.raises(InputError, match="'0A' is no SHA-256: 64 digits from 0 to f"):
        parse_survey(added(begun({}), [{**PHOTO, "sha256": "0A"}], "job.csv"), LAYOUT, "job.csv")
