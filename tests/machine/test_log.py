"""Job logs: kinds of rows, what of a log tells of which time, and every way to spoil one."""

from __future__ import annotations

import datetime
import math

import openpyxl
import pytest

from alignment.choices import At
from alignment.errors import InputError
from alignment.machine import log
from alignment.machine.entry import begin
from alignment.machine.survey_files import read_survey
from alignment.machine.survey_text import parse_survey
from alignment.train.train import fit_train
from tests.tools.machines import machine

IN = 25.4
SECTIONS = [
    {"name": f"a-{k + 1}", "row": "a", "start": str(16 * k), "length": "15", "bolts": ["2", "13"]} for k in range(3)
]
LOG = """\
# by: R. Quill
# taken: 2026-10-02 07:40
section,point,reading,kind,when,note
a-1,entry,18 3/8,,2026-10-02 07:41,
a-1,exit,18 9/16,read,2026-10-02 07:41,
a-1,joint,1/32,,,
a-1,exit,18 3/8,move,2026-10-02 07:49,stiff
a-1,exit,18 3/8+,,2026-10-02 07:52,
a-1,entry,18 3/8,,,
a-2,entry,18 3/8,,,
a-2,exit,18 7/16,,,
a-3,entry,18 1/4,,,
a-3,exit,18 1/4,,,
a-3,entry,18 3/8,move,,
a-3,exit,,move,,nobody looked
a-2,joint,0,,,
a-3,entry,18 3/8-,,,
a-3,exit,18 3/8,,08:20,
a-1,entry,18 3/8,close,2026-10-02 11:30,
"""


@pytest.fixture
def layout():
    return machine(SECTIONS, units="in", tape="mark = '1/16'", rows={"a": "target = '18 3/8'"})


def texts(survey):
    return [(r.section, r.text) for r in survey.readings]


def test_rows_of_each_kind(layout):
    read = parse_survey(LOG, layout, "job.csv")
    assert [r.row for r in read.readings if r.closing] == [19]
    assert [(m.section, m.end, m.place / IN, m.text, m.row) for m in read.moves] == [
        ("a-1", 1, 15, "18 3/8", 7),
        ("a-3", 0, 0, "18 3/8", 14),
        ("a-3", 1, 15, "", 15),
    ]
    assert [m.stop for m in read.moves] == [pytest.approx(18.375 * IN), pytest.approx(18.375 * IN), None]
    assert read.moves[0].when == "2026-10-02 07:49"
    assert (read.moves[0].note, read.readings[0].when) == ("stiff", "2026-10-02 07:41")
    # strong: a quarter of a mark over the line
    assert read.readings[2].value == pytest.approx((18.375 + 1 / 64) * IN)


def test_found_and_left(layout):
    """Before the first move of each section, and after its last; a step belongs to both its sections."""
    job = parse_survey(LOG, layout, "job.csv")
    found, left = log.parts(job)
    rest = [("a-2", "18 3/8"), ("a-2", "18 7/16")]
    assert texts(found) == [("a-1", "18 3/8"), ("a-1", "18 9/16"), *rest, ("a-3", "18 1/4"), ("a-3", "18 1/4")]
    assert texts(left) == [
        ("a-1", "18 3/8+"), ("a-1", "18 3/8"), *rest, ("a-3", "18 3/8-"), ("a-3", "18 3/8"), ("a-1", "18 3/8"),
    ]  # fmt: skip
    assert [s.upstream for s in found.steps] == ["a-1"]
    assert [s.upstream for s in left.steps] == ["a-2"]
    assert (found.source, left.source, log.now(job).source) == ("job.csv, as found", "job.csv, as left", "job.csv")
    assert (found.record["taken"], left.record["taken"]) == ("2026-10-02 07:40", "2026-10-02 11:30")
    assert found.moves == left.moves == ()
    assert log.seen(job, At.found) == found


def test_a_survey_is_the_same_at_any_time(layout):
    survey = parse_survey("section,point,reading\na-1,entry,18\na-1,exit,18\n", layout)
    assert log.parts(survey) == (survey,)
    assert log.now(survey) is survey


def test_a_fit_of_a_log_is_of_how_things_stand_now(layout):
    """Readings before a move are not averaged with those after it."""
    train = fit_train(layout, parse_survey(LOG.replace("a-2,joint,0", "# a-2,joint,0"), layout))
    assert train.skew.value[0] == pytest.approx(IN / 64)
    assert train.offset.value[2] == pytest.approx(-IN / 128)


def test_a_log_that_was_only_begun(layout):
    assert parse_survey("section,point,reading,kind\n", layout, begun=True).readings == ()
    with pytest.raises(InputError, match="all readings are blank"):
        parse_survey("section,point,reading,kind\n", layout)


def test_wide_rows_with_kinds(layout):
    text = (
        "section,entry,exit,kind,when\na-1,18 3/8,18 9/16,,\na-1,,18 3/8,move,\na-1,18 3/8,18 3/8,,\na-1,18,,close,\n"
    )
    read = parse_survey(text, layout)
    assert [(m.end, m.text) for m in read.moves] == [(1, "18 3/8")]
    assert texts(log.now(read)) == [("a-1", "18 3/8"), ("a-1", "18 3/8"), ("a-1", "18")]


def test_strong_and_shy_told_for_every_reading(layout):
    """Then a reading is one of four to the mark, and is worth that much more."""
    from alignment.uncertainty import reading_u

    read = parse_survey("# strong_shy: yes\n" + LOG, layout)
    tape = layout.tape
    assert read.tape.strong_shy
    wanted = float(reading_u(read.readings[0].value, mark=IN / 64, set_u=tape.set_u, tilt=tape.tilt))
    assert read.readings[0].u == pytest.approx(wanted)
    assert not parse_survey("# strong_shy: false\n" + LOG, layout).tape.strong_shy


def test_times_of_a_workbook(layout, tmp_path):
    book = openpyxl.Workbook()
    for row in (
        ("section", "point", "reading", "kind", "when"),
        ("a-1", "entry", "18 3/8", None, datetime.datetime(2026, 10, 2, 7, 41)),  # noqa: DTZ001
        ("a-1", "exit", "18 3/8", "Move", datetime.date(2026, 10, 2)),
    ):
        book.active.append(row)
    book.save(tmp_path / "job.xlsx")
    read = read_survey(tmp_path / "job.xlsx", layout)
    assert read.readings[0].when == "2026-10-02 07:41"
    assert read.moves[0].when.startswith("2026-10-02")


SPOILED = {
    "unknown kind": (
        (",move,2026", ",mvoe,2026"),
        "row 7, kind: 'mvoe' is no kind of row. Perhaps you meant 'move'. Blank: a reading.",
    ),
    "a move in the middle": (
        ("a-1,exit,18 3/8,move", "a-1,mid,18 3/8,move"),
        "row 7, point: 'mid' is no bolt end. Write entry or exit: the end that was loosened.",
    ),
    "a move at a joint": (
        ("a-1,exit,18 3/8,move", "a-1,joint,18 3/8,move"),
        "row 7, point: 'joint' is no bolt end. Write entry or exit: the end that was loosened.",
    ),
    "no time": (
        ("2026-10-02 07:49", "2026-10-02 27:49"),
        "row 7, when: '2026-10-02 27:49' is no date and time. Write for example 2026-10-02 07:41.",
    ),
    "no date": (
        ("2026-10-02 07:49", "yesterday"),
        "row 7, when: 'yesterday' is no date and time. Write for example 2026-10-02 07:41.",
    ),
    "a stop that is no length": (
        ("18 3/8,move", "18 3/,move"),
        "row 7, reading: '18 3/' is not a length: there is nothing below the line. "
        "Write for example 18 3/8, 18-3/8, 18.375 or 467 mm.",
    ),
    "a closing step": (
        ("a-1,joint,1/32,", "a-1,joint,1/32,close"),
        "row 6, kind: a step has no closing reading. Leave 'close' out: more steps are repeats.",
    ),
}


@pytest.mark.parametrize("name", SPOILED)
def test_one_thing_spoiled(layout, name):
    (good, bad), message = SPOILED[name]
    assert good in LOG
    with pytest.raises(InputError) as error:
        parse_survey(LOG.replace(good, bad, 1), layout, "job.csv")
    assert str(error.value) == f"job.csv: 1 reading cannot be used\n  {message}"


def test_everything_wrong_is_told_at_once_in_the_order_of_the_file(layout):
    """Record, header and rows: a wrong header does not hide a wrong row."""
    text = "# mark: thin\nsection,point,reading,knd\na-1,entry,18 9/8,\na-9,exit,18,\n# zero: none\n"
    with pytest.raises(InputError) as error:
        parse_survey(text, layout, "job.csv")
    assert [str(p.where) for p in error.value.problems] == [
        "row 1, # mark",
        "row 2, column 4",
        "row 3, reading",
        "row 4, section",
        "row 5, # zero",
    ]


def test_kind_and_repeat_that_contradict(layout):
    with pytest.raises(InputError, match=r"row 2, kind: 'move', and 'close' under repeat\. Leave one of them out\."):
        parse_survey("section,point,reading,kind,repeat\na-1,exit,18,move,close\n", layout)


def test_a_log_is_not_taken_up_as_a_survey(layout):
    with pytest.raises(InputError, match=r"row 7: there is a move in it: this is a job log\. Go on with: work\."):
        begin(layout, LOG, "job.csv")


def test_a_point_not_read_again_after_a_swing_counts_as_the_swing_left_it(layout):
    """
    Exit swung 3/16 nearer about the entry bolt, 2 in. in: the entry end, 2 beyond it and 13 from the exit, goes out.

    By rigid-body arithmetic: 2/13 of 3/16.
    """
    text = "section,point,reading,kind\na-1,entry,18 3/8,\na-1,exit,18 9/16,\na-1,exit,18 3/8,move\na-1,exit,18 3/8,\n"
    job = parse_survey(text, layout)
    entry, exit_ = log.now(job).readings
    assert (entry.value / IN, exit_.value / IN) == pytest.approx((18.375 + 3 / 16 * 2 / 13, 18.375))
    assert entry.u == pytest.approx(exit_.u * (1 + 2 * (2 / 13) ** 2) ** 0.5, rel=1e-3)
    # read again, it is as it was read; after both ends were loosened nothing is carried over
    assert [r.row for r in log.now(parse_survey(text + "a-1,entry,18 3/8,\n", layout)).readings] == [5, 6]
    both = text.replace("a-1,exit,18 3/8,move\n", "a-1,entry,18 3/8,move\na-1,exit,18 3/8,move\n")
    assert [r.row for r in log.now(parse_survey(both, layout)).readings] == [6]


def test_a_reading_from_before_a_swing_tells_where_its_point_is_now(layout):
    """
    The exit end, 15, was stopped twice before it was read again, twice; the face turned about the bolt at 2.

    It moved by what the means differ by. The entry end went 2/13 of that the other way, and knows as much less.
    """
    rows = ("a-1,entry,18 3/8", "a-1,exit,18 9/16", "a-1,exit,18 1/2,move", "a-1,exit,18 3/8,move",
            "a-1,exit,18 3/8", "a-1,exit,18 7/16")  # fmt: skip
    text = "section,point,reading,kind\n" + "".join(f"{row}\n" for row in rows)
    taken = parse_survey(text, layout)
    kept = [r for r in log.left(taken).fitted if r.place == 0]
    (entry,) = kept
    moved = (18 + 13 / 32 - (18 + 9 / 16)) * IN
    assert entry.value == pytest.approx(18.375 * IN - 2 / 13 * moved)
    first, before, *after = (r.u for r in taken.fitted)
    of_means = math.sqrt(before**2 + (after[0] ** 2 + after[1] ** 2) / 4)
    assert entry.u == pytest.approx(math.hypot(first, 2 / 13 * of_means))
