"""Rows of text files: quote marks that people write in notes are no mistakes of the table."""

from __future__ import annotations

import pytest

from alignment.errors import InputError
from alignment.files.rows import split_rows

HEADER = "section,point,reading,note"


def rows(text: str) -> list[list[str]]:
    return [list(row) for _, row in split_rows(text)[1]]


@pytest.mark.parametrize("note", ['("x","y")', 'seen,"twice" by two', 'a,"b","c"d', '1/2" off,"so" he says'])
def test_note_of_a_row(note):
    """Its text, whole, whatever quote marks and commas it holds."""
    row = ["operator-1", "entry", "18 3/8"]
    read = rows(f"{HEADER}\n{','.join(row)},{note}\noperator-1,exit,18 3/8,\n")
    assert read[1] == [*row, note]
    assert read[2] == ["operator-1", "exit", "18 3/8", ""]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_line_of_notes(end):
    """It stands as it is; one that is a table's own is read as one, as before."""
    text = end.join(['# laid out ("x","y")', "# by: Quill, Jr", '"# place: a, b"', HEADER, 'a,b,c,("x";"y")', ""])
    assert rows(text) == [
        ['# laid out ("x","y")'],
        ["# by: Quill", " Jr"],
        ["# place: a, b"],
        HEADER.split(","),
        ["a", "b", "c", '("x";"y")'],
    ]


def test_semicolons():
    read = rows('section;point;reading;note\noperator-1;entry;467,5;("x";"y")\n')
    assert read[1] == ["operator-1", "entry", "467,5", '("x";"y")']


def test_quoted_cells_are_a_table_s_own():
    """Of several lines, with marks doubled: read as any spreadsheet writes them."""
    read = rows(f'{HEADER}\n"a ""b""",entry,18,"two\nlines, ""so"""\nc,exit,18,\n')
    assert read[1] == ['a "b"', "entry", "18", 'two\nlines, "so"']
    assert read[2] == ["c", "exit", "18", ""]


@pytest.mark.parametrize("text", ['a,"b,18,\n', 'a,b,18,"open\n', '"a"x,b,18,n\n'])
def test_a_mark_left_open_is_still_told(text):
    with pytest.raises(InputError, match="Look for a quote mark that is not closed"):
        rows(f"{HEADER}\n{text}")


def test_a_lone_quote_mark_before_the_header():
    """A mark that is open on a line of its own is left to the reader, which says where it stands."""
    with pytest.raises(InputError, match="Look for a quote mark that is not closed"):
        list(split_rows('# taken: today\n"\nsection,point,reading\n', "survey.csv")[1])
