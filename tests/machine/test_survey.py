"""Survey files: every form that is read, and one test for each way to spoil a good one."""

from __future__ import annotations

import codecs
import datetime
import zipfile

import numpy as np
import openpyxl
import pytest

from alignment.errors import FileError, InputError
from alignment.files import workbooks
from alignment.machine.layout import Layout
from alignment.machine.layout_file import read_layout
from alignment.machine.survey import Survey
from alignment.machine.survey_files import read_survey
from alignment.machine.survey_text import parse_survey
from alignment.uncertainty import reading_u

IN = 25.4
GOOD = """\
# taken: 2026-10-02 07:40
# tape: T-14
section,point,reading,repeat,note
operator-1,entry,18 3/8,1,
operator-1,exit,18 7/16,1,rust
operator-1,exit,18 15/32,2,
operator-2,entry,18 3/8,1,
operator-2,4 1/2,18 3/8+,1,
operator-2,exit,18.50,1,
operator-1,entry,18 3/8,close,re-read last
"""
EXPECTED = "Expected columns section,point,reading, or section,entry,exit."


@pytest.fixture
def layout(samples) -> Layout:
    return read_layout(samples / "machine.toml")


@pytest.fixture
def metric(samples) -> Layout:
    return read_layout(samples / "machine-mm.toml")


def plain(survey: Survey) -> list[tuple[str, float, float]]:
    """Section, place and value [in]."""
    return [(r.section, round(r.place / IN, 9), round(r.value / IN, 9)) for r in survey.readings]


GOOD_ROWS = [
    ("operator-1", 0, 18.375),
    ("operator-1", 15, 18.4375),
    ("operator-1", 15, 18.46875),
    ("operator-2", 0, 18.375),
    ("operator-2", 4.5, 18.390625),
    ("operator-2", 15, 18.50),
    ("operator-1", 0, 18.375),
]


def test_long(layout):
    survey = parse_survey(GOOD, layout, "as-found.csv")
    assert plain(survey) == GOOD_ROWS
    assert survey.record == {"taken": "2026-10-02 07:40", "tape": "T-14"}
    assert [r.closing for r in survey.readings] == [False] * 6 + [True]
    assert len(survey.fitted) == 6
    assert [r.row for r in survey.readings] == [4, 5, 6, 7, 8, 9, 10]
    assert [r.note for r in survey.readings] == ["", "rust", "", "", "", "", "re-read last"]
    assert survey.readings[4].text == "18 3/8+"
    assert survey.tape == layout.tape


def test_u_of_each_reading_is_the_budgets(layout):
    """Mark, placing and tilt of the tape, at the length read."""
    survey = parse_survey(GOOD, layout)
    tape = layout.tape
    expected = reading_u([r.value for r in survey.readings], mark=tape.mark, set_u=tape.set_u, tilt=tape.tilt)
    assert [r.u for r in survey.readings] == pytest.approx(list(expected))


WIDE = """\
# taken: 2026-10-02
Section , Entry,MID,exit, 4 1/2,repeat
operator-1,18 3/8,,18 7/16,18 1/4,
operator-1,18 3/8,18 1/2,18 15/32,,2
operator-2,18 3/8,,,,close
"""


def test_wide(layout):
    """Blank cells are points not read; more rows are repeats; a header may be a length from the entry end."""
    survey = parse_survey(WIDE, layout)
    assert sorted(plain(survey)) == sorted(
        [
            ("operator-1", 0, 18.375),
            ("operator-1", 15, 18.4375),
            ("operator-1", 4.5, 18.25),
            ("operator-1", 0, 18.375),
            ("operator-1", 7.5, 18.50),
            ("operator-1", 15, 18.46875),
            ("operator-2", 0, 18.375),
        ]
    )
    assert [r.closing for r in survey.readings] == [False] * 6 + [True]


def test_own_uncertainties(layout):
    """The u column stands in place of the budget, blank cells excepted."""
    survey = parse_survey(
        "section,point,reading,u\noperator-1,entry,18,1/128\noperator-1,exit,18,\noperator-1,mid,18,0.2 mm\n", layout
    )
    budget = float(reading_u(18 * IN, mark=layout.tape.mark, set_u=layout.tape.set_u, tilt=layout.tape.tilt))
    assert [r.u for r in survey.readings] == pytest.approx([IN / 128, budget, 0.2])


def test_another_tape(layout):
    """Record lines stand in place of the layout's tape, for strong and shy too."""
    record = "# mark: 1/32\n# set: 1/256\n# tilt: 0.5 deg\n# zero: 1/128\n"
    survey = parse_survey(record + "section,point,reading\noperator-1,entry,18+\n", layout)
    tape = survey.tape
    assert [tape.mark, tape.set_u, tape.zero] == pytest.approx([IN / 32, IN / 256, IN / 128])
    assert tape.tilt == 0.5
    assert survey.readings[0].value == pytest.approx(18 * IN + IN / 128)
    assert survey.readings[0].u == pytest.approx(
        float(reading_u(18 * IN + IN / 128, mark=IN / 32, set_u=IN / 256, tilt=0.5))
    )


def test_another_unit(layout):
    """A survey in millimetres of a machine laid out in inches."""
    survey = parse_survey("# units: mm\nsection,point,reading\noperator-1,entry,467.5\noperator-1,100,467\n", layout)
    assert [(r.place, r.value) for r in survey.readings] == [(0.0, 467.5), (100.0, 467.0)]


VARIANTS = {
    "tabs": GOOD.replace(",", "\t"),
    "semicolons": GOOD.replace(",", ";"),
    "decimal commas": GOOD.replace(",", ";").replace("18.50", "18,50"),
    "windows line ends": GOOD.replace("\n", "\r\n"),
    "old mac line ends": GOOD.replace("\n", "\r"),
    "blank lines": "\n\n" + GOOD.replace("\n", "\n\n,,,,\n"),
    "no last line end": GOOD.rstrip(),
    "quoted cells": GOOD.replace("18 3/8,", '"18 3/8""",'),
    "headers shouted": GOOD.replace("section,point,reading", " SECTION ,Point, READING "),
    "blanks around cells": GOOD.replace(",", " , "),
    "columns in another order": "\n".join(
        line if line.startswith("#") else ",".join(reversed(line.split(","))) for line in GOOD.splitlines()
    ),
    "notes between": GOOD.replace("operator-2,entry", "# a note, with no more to it\noperator-2,entry"),
    "points shouted": GOOD.replace("entry", "ENTRY"),
}


@pytest.mark.parametrize("name", VARIANTS)
def test_variants(layout, name):
    assert plain(parse_survey(VARIANTS[name], layout)) == GOOD_ROWS


def test_row_numbers_are_those_of_the_file(layout):
    survey = parse_survey(VARIANTS["blank lines"], layout)
    assert survey.readings[0].row == 12


ENCODINGS = {
    "utf-8": GOOD.encode(),
    "utf-8 with mark": codecs.BOM_UTF8 + GOOD.encode(),
    "utf-16 little": codecs.BOM_UTF16_LE + GOOD.encode("utf-16-le"),
    "utf-16 big": codecs.BOM_UTF16_BE + GOOD.encode("utf-16-be"),
    "utf-16 little without mark": GOOD.encode("utf-16-le"),
    "utf-16 big without mark": GOOD.encode("utf-16-be"),
    "utf-16 with tabs, as a spreadsheet saves it": codecs.BOM_UTF16_LE
    + GOOD.replace(",", "\t").replace("\n", "\r\n").encode("utf-16-le"),
}


@pytest.mark.parametrize("name", ENCODINGS)
def test_encodings(layout, tmp_path, name):
    file = tmp_path / "as-found.csv"
    file.write_bytes(ENCODINGS[name])
    assert plain(read_survey(file, layout)) == GOOD_ROWS


def test_characters_that_people_paste(layout):
    text = "section,point,reading\noperator-1,entry,18⅜\noperator-1,exit,18\u00a03⁄8″\n"
    assert [r.value for r in parse_survey(text, layout).readings] == pytest.approx([18.375 * IN] * 2)


def test_samples_are_read(samples, layout, metric):
    for path in sorted(samples.glob("*.csv")):
        if path.name.endswith(("-left.csv", "-found.csv", "-move.csv")):
            assert len(read_survey(path, layout).fitted) in (18, 36, 54)
    assert len(read_survey(samples / "as-found-mm.csv", metric).fitted) == 18


def workbook(tmp_path, rows, name="as-found.xlsx"):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    book.save(tmp_path / name)
    return tmp_path / name


def test_workbook(layout, tmp_path):
    """Texts and numbers of the first sheet; a bare number is in the layout's units."""
    rows = [
        ["# taken: 2026-10-02"],
        ["Section", "Point", "Reading", "Repeat", None],
        ["operator-1", "entry", "18 3/8", 1],
        [],
        ["operator-1", "exit", 18.4375, 1],
        ["operator-1", 4.5, 18, "close"],
        ["operator-1", 9.0, 17.85, 2.0],
    ]
    survey = read_survey(workbook(tmp_path, rows), layout)
    assert plain(survey) == [
        ("operator-1", 0, 18.375),
        ("operator-1", 15, 18.4375),
        ("operator-1", 4.5, 18),
        ("operator-1", 9, 17.85),
    ]
    assert survey.readings[-1].row == 7
    assert survey.record == {"taken": "2026-10-02"}


def test_workbook_of_another_name(layout, tmp_path):
    """Told by what is in it, not by its name."""
    path = workbook(tmp_path, [["section", "entry", "exit"], ["operator-1", 18, 19]])
    path.rename(tmp_path / "as-found.csv")
    assert len(read_survey(tmp_path / "as-found.csv", layout).readings) == 2


def test_fraction_that_a_spreadsheet_took_for_a_date(layout, tmp_path):
    rows = [
        ["section", "point", "reading"],
        ["operator-1", "entry", datetime.date(2026, 5, 8)],
        ["operator-1", datetime.datetime(2026, 5, 8, 0, 0), "18 9/8"],  # noqa: DTZ001
        ["operator-1", "exit", datetime.time(5, 8)],
    ]
    with pytest.raises(InputError) as error:
        read_survey(workbook(tmp_path, rows), layout)
    mend = "is a date: the spreadsheet took a fraction for one. Format it as text."
    assert str(error.value) == (
        "as-found.xlsx: 4 readings cannot be used\n"
        f"  row 2, reading: '2026-05-08 00:00:00' {mend}\n"
        "  row 3, point: '2026-05-08 00:00:00' is no point. Known: entry, mid, exit, joint. Write entry, mid, exit "
        "or a length from the section's entry end.\n"
        "  row 3, reading: '18 9/8' is not a length: 9/8 is more than one. Write 19 1/8 or 18 7/8.\n"
        f"  row 4, reading: '05:08:00' {mend}"
    )


def test_true_and_false_in_a_workbook(layout, tmp_path):
    rows = [["section", "point", "reading"], ["operator-1", "entry", True]]
    with pytest.raises(InputError) as error:
        read_survey(workbook(tmp_path, rows), layout)
    assert str(error.value) == (
        "as-found.xlsx: 1 reading cannot be used\n"
        "  row 2, reading: 'True' is not a length. Write for example 18 3/8, 18-3/8, 18.375 or 467 mm."
    )


def test_damaged_workbook(layout, tmp_path):
    path = workbook(tmp_path, [["section", "entry", "exit"], ["operator-1", 18, 19]])
    path.write_bytes(path.read_bytes()[:-400])
    with pytest.raises(FileError) as error:
        read_survey(path, layout)
    assert str(error.value) == "as-found.xlsx: not a workbook that can be read (BadZipFile). Save as CSV."


def test_text_named_as_a_workbook(layout, tmp_path):
    (tmp_path / "as-found.xlsx").write_text(GOOD)
    with pytest.raises(FileError) as error:
        read_survey(tmp_path / "as-found.xlsx", layout)
    assert str(error.value) == "as-found.xlsx: not an .xlsx workbook. Save it as .xlsx, or as CSV UTF-8."


HEAD = "section,point,reading,repeat,note\n"
SPOILED = {
    "improper fraction": (
        ("18 3/8,1,\noperator-1", "18 9/8,1,\noperator-1"),
        "1 reading cannot be used\n  row 4, reading: '18 9/8' is not a length: 9/8 is more than one. "
        "Write 19 1/8 or 18 7/8.",
    ),
    "no length": (
        ("18.50", "nan"),
        "1 reading cannot be used\n  row 9, reading: 'nan' is not a length. "
        "Write for example 18 3/8, 18-3/8, 18.375 or 467 mm.",
    ),
    "negative": (
        ("18.50", "-18.50"),
        "1 reading cannot be used\n  row 9, reading: '-18.50' is not a length: it is negative, and a distance is not. "
        "Leave the minus off.",
    ),
    "5,000 digits": (
        ("18.50", "7" * 5000),
        f"1 reading cannot be used\n  row 9, reading: '{'7' * 40}...' (5000 characters) is not a length: it is "
        "too long.",
    ),
    "stranger's section": (
        ("operator-2,entry", "operater-2,entry"),
        "1 reading cannot be used\n  row 7, section: 'operater-2' is not in machine.toml. "
        "Perhaps you meant 'operator-2'.",
    ),
    "no name like it": (
        ("operator-2,entry", "xyz,entry"),
        "1 reading cannot be used\n  row 7, section: 'xyz' is not in machine.toml. Known: operator-1, operator-2, "
        "operator-3, operator-4, operator-5, operator-6, drive-1, drive-2, drive-3.",
    ),
    "blank section": (
        ("operator-2,entry", ",entry"),
        "1 reading cannot be used\n  row 7, section: is blank. Write the section's name on each row.",
    ),
    "point beyond the section": (
        ("4 1/2", "18 1/2"),
        "1 reading cannot be used\n  row 8, point: '18 1/2' is off operator-2, which ends before it. Check the point.",
    ),
    "point before the section": (
        ("4 1/2", "-1"),
        "1 reading cannot be used\n  row 8, point: '-1' is no point. Known: entry, mid, exit, joint. "
        "Write entry, mid, exit or a length from the section's entry end.",
    ),
    "misspelt point": (
        ("operator-2,entry", "operator-2,enter"),
        "1 reading cannot be used\n  row 7, point: 'enter' is no point. Perhaps you meant 'entry'. "
        "Write entry, mid, exit or a length from the section's entry end.",
    ),
    "blank point": (
        ("operator-2,entry", "operator-2,"),
        "1 reading cannot be used\n  row 7, point: is blank. "
        "Write entry, mid, exit or a length from the section's entry end.",
    ),
    "word for a count": (
        ("18.50,1", "18.50,first"),
        "1 reading cannot be used\n  row 9, repeat: 'first' is neither a count nor 'close'.",
    ),
    "cell too many": (
        ("18.50,1,", "18.50,1,,5"),
        "1 reading cannot be used\n  row 9, column 6: '5' stands beyond the last header.",
    ),
    "duplicate header": (
        ("reading,repeat,note", "reading,repeat,reading"),
        "this survey cannot be used\n  row 3, column 5: the header 'reading' stands twice.",
    ),
    "unknown header": (
        ("reading,repeat,note", "reading,repeat,notes"),
        "this survey cannot be used\n  row 3, column 5: 'notes' is not a known header. Perhaps you meant 'note'.",
    ),
    "misspelt reading": (
        ("reading,repeat,note", "readng,repeat,note"),
        "this survey cannot be used\n  row 3, column 3: 'readng' is not a known header. Perhaps you meant 'reading'.\n"
        f"  row 3: no column 'reading'. {EXPECTED}",
    ),
    "blank header": (
        ("reading,repeat,note", "reading,repeat,"),
        "this survey cannot be used\n  row 3, column 5: has no header, and cells below it.",
    ),
    "open quote": (
        ("18.50", '"18.50'),
        "this is no table\n  row 9: unexpected end of data. Look for a quote mark that is not closed.",
    ),
    "mark of nothing": (
        ("# tape: T-14", "# mark: 0"),
        "this survey cannot be used\n  row 2, # mark: '0' is less than 0.001 mm, as no mark is. "
        "Write for example 1/16 in or 1 mm.",
    ),
    "no unit": (
        ("# tape: T-14", "# units: cm"),
        "this survey cannot be used\n  row 2, # units: 'cm' is not a unit. Write in or mm.",
    ),
    "tilt too far": (
        ("# tape: T-14", "# tilt: 50"),
        "this survey cannot be used\n  row 2, # tilt: '50' is not from 0 to 30 degrees.",
    ),
}


@pytest.mark.parametrize("name", SPOILED)
def test_one_thing_spoiled(layout, name):
    (good, bad), message = SPOILED[name]
    assert good in GOOD
    with pytest.raises(InputError) as error:
        parse_survey(GOOD.replace(good, bad, 1), layout, "as-found.csv")
    assert str(error.value) == f"as-found.csv: {message}"


@pytest.mark.parametrize(
    ("u", "said"),
    [
        ("0", "'0' must be greater than zero."),
        ("-1", "'-1' is not a length: it is negative, and a distance is not. Leave the minus off."),
        ("inf", "'inf' is not a length. Write for example 18 3/8, 18-3/8, 18.375 or 467 mm."),
    ],
)
def test_bad_uncertainty(layout, u, said):
    with pytest.raises(InputError) as error:
        parse_survey(f"section,point,reading,u\noperator-1,entry,18,{u}\n", layout, "as-found.csv")
    assert str(error.value) == f"as-found.csv: 1 reading cannot be used\n  row 2, u: {said}"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", f"no readings\n  row 1: the file is empty. {EXPECTED}"),
        ("\n\n", f"no readings\n  row 1: the file is empty. {EXPECTED}"),
        ("# taken: today\n", f"no readings\n  row 1: the file is empty. {EXPECTED}"),
        (HEAD, f"no readings\n  rows: all readings are blank. {EXPECTED}"),
        (HEAD + "operator-1,entry,,,\n", f"no readings\n  rows: all readings are blank. {EXPECTED}"),
        (
            "section,repeat\noperator-1,1\n",
            f"this survey cannot be used\n  row 1: no column of readings. {EXPECTED}",
        ),
        (
            "operator-1,entry,18\n",
            "this survey cannot be used\n  row 1, column 1: 'operator-1' is not a known header. Known: section, "
            f"entry, mid, exit, joint, kind, when, repeat, note, u.\n  row 1: no column 'section'. {EXPECTED}",
        ),
        (
            "section,entry,exit,entry\noperator-1,1,2,3\n",
            "this survey cannot be used\n  row 1, column 4: the header 'entry' stands twice.",
        ),
    ],
)
def test_no_survey(layout, text, message):
    with pytest.raises(InputError) as error:
        parse_survey(text, layout, "as-found.csv")
    assert str(error.value) == f"as-found.csv: {message}"


def test_everything_wrong_at_once(layout):
    """Every problem with its row and column, in the order of the file."""
    text = (
        "section,point,reading,repeat\n"
        "operator-1,entry,18 9/8,1\n"
        "operater-2,entry,18 3/8,1\n"
        "operator-3,19,5/7,first\n"
        "operator-4,entry,18 3/8,1\n"
    )
    with pytest.raises(InputError) as error:
        parse_survey(text, layout, "as-found.csv")
    assert [str(p.where) for p in error.value.problems] == [
        "row 2, reading",
        "row 3, section",
        "row 4, repeat",
        "row 4, point",
        "row 4, reading",
    ]


def test_wide_problems_name_their_column(layout):
    with pytest.raises(InputError) as error:
        parse_survey("section,entry,exit\noperator-1,18 9/8,5/7\n", layout, "as-found.csv")
    assert [str(p.where) for p in error.value.problems] == ["row 2, entry", "row 2, exit"]


def test_wide_place_beyond_a_section(layout):
    with pytest.raises(InputError) as error:
        parse_survey("section,entry,20\noperator-1,18,18\ndrive-1,18,18\n", layout, "as-found.csv")
    assert str(error.value) == (
        "as-found.csv: 1 reading cannot be used\n"
        "  row 2, 20: '20' is off operator-1, which ends before it. Check the point."
    )


def test_a_large_survey_is_read(layout):
    """A hundred repeats of every point."""
    rng = np.random.default_rng(1)
    rows = [f"{s.name},{p},{18 + k / 64}" for s in layout.sections for p in ("entry", "exit")
            for k in rng.integers(0, 64, 100)]  # fmt: skip
    survey = parse_survey("section,point,reading\n" + "\n".join(rows) + "\n", layout)
    assert len(survey.readings) == 9 * 2 * 100


def test_a_stream_of_bytes_is_no_survey(layout, tmp_path):
    (tmp_path / "as-found.csv").write_bytes(bytes(range(256)) * 8)
    with pytest.raises(FileError) as error:
        read_survey(tmp_path / "as-found.csv", layout)
    expected = "as-found.csv: not a text file. Expected text in UTF-8, or for a survey also .xlsx."
    assert str(error.value) == expected


# --- spreadsheets and quote marks ------------------------------------------------------------------------------


def test_quote_mark_that_takes_in_rows(layout):
    """Left open it would make one cell of the rows below it, and their readings would be lost."""
    rows = ['operator-1,entry,18 3/8,"rust', "operator-1,exit,18 1/2,", 'operator-2,entry,18 3/8,x"']
    text = "\n".join(["section,point,reading,note", *rows, ""])
    with pytest.raises(InputError, match="row 2, column 4: a quote mark is open, and takes in the row 'operator-1,e"):
        parse_survey(text, layout)


def test_quote_mark_in_the_middle_of_a_note_is_no_such_thing(layout):
    text = 'section,point,reading,note\noperator-1,entry,18 3/8,"rust\nand paint"\noperator-1,exit,18 1/2,\n'
    assert [r.value for r in parse_survey(text, layout).readings] == pytest.approx([18.375 * IN, 18.50 * IN])


def book(tmp_path, *rows):
    sheet = openpyxl.Workbook()
    for row in (("section", "point", "reading"), *rows):
        sheet.active.append(row)
    sheet.save(tmp_path / "s.xlsx")
    return tmp_path / "s.xlsx"


def test_formula_without_its_value(layout, tmp_path):
    """A workbook that no spreadsheet has worked out: the number is not in it, and is not taken for blank."""
    path = book(tmp_path, ("operator-1", "entry", 18.375), ("operator-1", "exit", "=C2+0.125"))
    with pytest.raises(InputError, match="row 3, column 3: is a formula without its value"):
        read_survey(path, layout)


def test_whole_numbers_and_empty_cells_of_a_workbook(layout, tmp_path):
    """A place that the spreadsheet keeps as 15.0 is 15; rows with nothing in them are passed over."""
    path = book(tmp_path, ("operator-1", 0.0, 19.0), (None, None, None), ("operator-1", 15.0, 18.375))
    assert plain(read_survey(path, layout)) == [("operator-1", 0, 19), ("operator-1", 15, 18.375)]
    assert [r.text for r in read_survey(path, layout).readings] == ["19", "18.375"]


def test_workbook_that_unpacks_to_more_than_any_survey(layout, tmp_path, monkeypatch):
    path = book(tmp_path, ("operator-1", "entry", 18.375))
    monkeypatch.setattr(workbooks, "LARGEST_FILE", 3000)
    with pytest.raises(FileError, match="unpacked, which no survey is"):
        read_survey(path, layout)


@pytest.mark.parametrize(("size", "refused"), [(49_000_000, False), (51_000_000, True)])
def test_fifty_megabytes_unpacked_are_the_most(layout, tmp_path, size, refused):
    """A picture beside the readings counts; what is in it is never looked at."""
    path = book(tmp_path, ("operator-1", "entry", 18.375), ("operator-1", "exit", 18.375))
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED, compresslevel=1) as parts:
        parts.writestr("xl/media/picture.bmp", bytes(size))
    if refused:
        with pytest.raises(FileError, match="larger than 50 MB unpacked"):
            read_survey(path, layout)
    else:
        assert len(read_survey(path, layout).readings) == 2


def test_extra_blank_cells_behind_the_header(layout):
    """A spreadsheet that writes a comma too many loses nothing; a reading out there is no blank."""
    text = "section,point,reading\noperator-1,entry,18 3/8,\noperator-1,exit,18 3/8\n"
    assert len(parse_survey(text, layout).readings) == 2
    with pytest.raises(InputError, match="row 2, column 4: '19' stands beyond the last header"):
        parse_survey(text.replace("3/8,\n", "3/8,19\n", 1), layout)


def test_step_of_a_section_that_is_unknown(layout):
    """Told like any other row of it, and no step is taken."""
    text = "section,point,reading\noperator-1,entry,18 3/8\noparator-1,joint,1/64\n"
    with pytest.raises(InputError, match=r"row 3, section: 'oparator-1' is not in .*Perhaps you meant 'operator-1'"):
        parse_survey(text, layout)
    with pytest.raises(InputError, match="1 reading cannot be used\n  row 3, reading: 'flush' is not a length"):
        parse_survey(text.replace("oparator-1,joint,1/64", "operator-1,joint,flush"), layout)
