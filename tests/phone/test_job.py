"""What a page asks for and makes of an answer: which way, to which reading, whose answer it was, how far the job is."""

from __future__ import annotations

import pytest

from alignment.machine.layout_file import parse_layout
from alignment.phone.job import Job
from tests.phone.conftest import LAYOUT
from tests.phone.test_server import READ

HEAD = "section,point,reading,kind\n"


@pytest.mark.parametrize("exit_", ["18 1/2", "18 1/4"])
@pytest.mark.parametrize(
    ("row", "near", "far", "words"),
    [
        ("", "left", "right", ("toward the string", "away from the string")),
        ("string_side = 'left'", "left", "right", ("toward the string", "away from the string")),
        ("string_side = 'right'", "right", "left", ("toward the string", "away from the string")),
        ("plane = 'height'\nstring_side = 'above'", "up", "down", ("up", "down")),
        ("plane = 'height'\nstring_side = 'below'", "down", "up", ("down", "up")),
    ],
)
def test_which_way_a_bolt_end_goes(log, row, near, far, words, exit_):
    """The tape reads too much: the face is too far from the string. The strip runs down the page."""
    layout = parse_layout(LAYOUT.replace("[row.operator]\n", f"[row.operator]\n{row}\n"), "machine.toml")
    log.write_text(HEAD + 2 * f"operator-1,entry,18 3/8,\noperator-1,exit,{exit_},\n")
    job = Job(layout, log)
    move = job.move(job.look()[0])
    assert move is not None
    (stop,) = move.stops
    too_far = exit_ == "18 1/2"
    assert (move.section, move.pivot, stop.end, stop.reading) == ("operator-1", "entry", "exit", "18 3/8")
    assert (stop.arrow, stop.way) == (near if too_far else far, words[0 if too_far else 1])


def test_the_wanted_reading_of_each_end_under_a_string_that_sags(log):
    """Above the faces it is nearer by its sag, q x (S - x) / (2 T): 0.03 N/m over 3 m at 1 N is 33.75 mm in mid."""
    row = "plane = 'height'\nstring_side = 'above'\n"
    text = LAYOUT.replace("[row.operator]\n", f"[row.operator]\n{row}").replace('"18 3/8"', '"467 mm"')
    text += "[string.operator]\nweight = '3.059 g/m'\ntension = '1 N'\nanchors = ['0 mm', '3000 mm']\n"
    job = Job(parse_layout(text, "machine.toml"), log)
    entry, exit_ = job.asks(job.look()[0])
    assert (entry.point, exit_.point) == ("entry", "exit")
    # 15 in is 381 mm: the sag there is 0.03 * 381 * 2619 / 2 / 1000 = 14.97 mm
    assert (entry.wanted, exit_.wanted) == ("18 3/8", "17 13/16")
    assert [next(key.label for key in exit_.parts if key.usual), next(k.label for k in exit_.bases if k.usual)] == [
        "13/16",
        "17",
    ]


def test_what_one_page_sends_is_no_conflict_with_itself(visit, log):
    """Two answers of a page that was drawn before both, for one point; the same from another page is a conflict."""
    seen = {"version": "0-x"}
    visit().post(data=READ | seen | {"id": "a", "page": "one"})
    own = visit().post(data=READ | seen | {"id": "b", "page": "one", "part": "1/2"})
    assert own.json()["saved"] == "saved"
    other = visit().post(data=READ | seen | {"id": "c", "page": "two"})
    assert (other.status_code, other.json()["saved"]) == (409, "conflict")


def test_a_section_that_is_only_put_off_is_not_called_finished(visit):
    visit().post(data=READ)
    page = visit().get("/?skip=operator-1").text
    assert 'data-section="operator-2"' in page
    assert 'class="accepted"' not in page


def test_how_far_the_job_is(visit):
    assert "0 of 2" in visit().get().text
    for k in range(8):
        visit().post(data=READ | {"point": ("entry", "exit")[k % 2], "id": f"r{k}"})
    assert "1 of 2" in visit().get().text
