"""A log's text with rows more or less: what was there stays as it is written."""

import pytest

from alignment.errors import InputError
from alignment.machine.layout_file import parse_layout
from alignment.machine.log_rows import appended, begun, rows_of, without_last
from alignment.machine.survey_text import parse_survey

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
ROW = {"section": "operator-1", "point": "exit", "reading": "18 3/8+", "when": "2026-10-02 07:41"}


def test_a_new_log():
    text = begun("job.csv", {"by": "R.  Quill", "tape": ""})
    assert text == "# by: R. Quill\nsection,point,reading,kind,when,note\n"
    assert begun("job.TSV", {}) == "section\tpoint\treading\tkind\twhen\tnote\n"
    assert rows_of(text, "job.csv") == []
    assert without_last(text, "job.csv") == text


def test_rows_go_to_the_end():
    text = appended(begun("job.csv", {}), [ROW, {**ROW, "kind": "move", "note": 'a, "b"'}], LAYOUT, "job.csv")
    assert text.splitlines()[1:] == [
        "operator-1,exit,18 3/8+,,2026-10-02 07:41,",
        'operator-1,exit,18 3/8+,move,2026-10-02 07:41,"a, ""b"""',
    ]
    assert rows_of(text, "job.csv")[-1] == {**ROW, "kind": "move", "note": 'a, "b"'}
    assert without_last(text, "job.csv").splitlines() == text.splitlines()[:-1]
    assert len(parse_survey(text, LAYOUT, "job.csv").moves) == 1


def test_what_is_there_stays():
    old = "# by: R. Quill\r\nSection;Point;Reading\r\n\r\n# a note\r\noperator-1;entry;18 3/8"
    text = appended(old, [ROW], LAYOUT, "job.csv")
    assert text == (
        "# by: R. Quill\r\nSection;Point;Reading;when\r\n\r\n# a note\r\noperator-1;entry;18 3/8\r\n"
        "operator-1;exit;18 3/8+;2026-10-02 07:41\r\n"
    )


def test_a_header_of_notes_alone_gets_one():
    assert (
        appended("# by: R. Quill\n", [ROW], LAYOUT, "job.csv").splitlines()[1] == "section,point,reading,kind,when,note"
    )


def test_wide_surveys_are_refused():
    with pytest.raises(InputError) as told:
        appended("section,entry,exit\noperator-1,18 3/8,18 3/8\n", [ROW], LAYOUT, "wide.csv")
    assert str(told.value) == (
        "wide.csv: this is no job log\n"
        "  row 1: this one does not have a reading on each row (section,point,reading,kind). Give the log a new file."
    )


def test_what_could_not_be_read_back_is_refused():
    with pytest.raises(InputError, match="is not a length"):
        appended(begun("job.csv", {}), [{**ROW, "reading": "18 9/8"}], LAYOUT, "job.csv")


PHOTO = {"section": "operator-1", "point": "exit", "kind": "photo", "photo": "job-photo-001.jpg", "sha256": "0a" * 32}


def test_a_photograph_is_a_row_of_its_own():
    text = appended(appended(begun("job.csv", {}), [ROW], LAYOUT, "job.csv"), [PHOTO], LAYOUT, "job.csv")
    log = parse_survey(text, LAYOUT, "job.csv")
    assert len(log.readings) == 1
    (photo,) = log.photos
    assert (photo.section, photo.point, photo.name, photo.sha256) == (
        "operator-1", "exit", "job-photo-001.jpg", "0a" * 32,
    )  # fmt: skip


@pytest.mark.parametrize("name", ["", "../job.csv", "a/b.jpg", "a\\b.jpg", ".hidden.jpg"])
def test_a_photograph_lies_beside_the_log(name):
    with pytest.raises(InputError, match="is no name of a picture beside this file"):
        appended(begun("job.csv", {}), [{**PHOTO, "photo": name}], LAYOUT, "job.csv")


def test_a_photograph_has_its_hash():
    with pytest.raises(InputError, match="'0A' is no SHA-256: 64 digits from 0 to f"):
        appended(begun("job.csv", {}), [{**PHOTO, "sha256": "0A"}], LAYOUT, "job.csv")
