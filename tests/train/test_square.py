"""
One section from two readings, against what is worked out here by hand.

Uncertainty of a reading: mark/sqrt(12) (JCGM 100:2008, 4.3.7), placing and tilt added in squares (5.1.2); of the
difference of two, sqrt(2) times that; probability of conformity from the normal distribution of the standard library
(JCGM 106:2012, 7.2). Moves by similar triangles about the bolt end that stays snug.
"""

from __future__ import annotations

import json
import math
from statistics import NormalDist

import pytest

from alignment.errors import InputError
from alignment.lengths import Units
from alignment.show.words.square import square_text
from alignment.train.square import Question, square


def ask(a: str, b: str, length: str, **more: object) -> Question:
    return Question(entry=a, exit=b, length=length, **more)  # type: ignore[arg-type]


def reading_u(r: float, mark: float) -> float:
    """Standard uncertainty of a reading with the defaults: placing a quarter mark, tilt within 2 degrees."""
    return math.sqrt(mark**2 / 12 + (mark / 4) ** 2 + (r * math.radians(2) ** 2) ** 2 / 45)


def test_skew_its_uncertainty_and_the_probability_of_being_square():
    (section,) = square(ask("18-3/8", "18-7/16", "18", bolts="2,16")).state.sections
    u = math.hypot(reading_u(18.375, 1 / 16), reading_u(18.4375, 1 / 16))
    skew = section.skew
    assert skew.value / 25.4 == pytest.approx(1 / 16)
    assert skew.u / 25.4 == pytest.approx(u, rel=1e-9)
    normal = NormalDist(1 / 16, u)
    assert skew.p_in == pytest.approx(normal.cdf(1 / 32) - normal.cdf(-1 / 32), rel=1e-9)
    assert str(skew.verdict) == "out?"


@pytest.mark.parametrize(
    ("b", "verdict"),
    # tolerance 1/16, mark 1/64: U = 2 sqrt(2) u is about 0.027 in
    [("18 3/8", "ok"), ("18 13/32", "ok"), ("18 7/16", "ok?"), ("18 29/64", "out?"), ("18 1/2", "out")],
)
def test_verdicts_by_guard_band(b, verdict):
    found = square(ask("18 3/8", b, "18", tolerance="1/16", mark="1/64"))
    assert str(found.state.sections[0].skew.verdict) == verdict


@pytest.mark.parametrize(("b", "direction"), [("18 9/16", "toward"), ("18 3/16", "away")])
def test_the_move_brings_it_square_to_the_nearest_notch_by_swinging_one_end(b, direction):
    found = square(ask("18 3/8", b, "18", bolts="2,16"))
    (step,) = found.plan.steps
    move = step.move / 25.4
    skew = {"toward": 3 / 16, "away": -3 / 16}[direction]
    # a move of one bolt end turns the face by move over the distance of the bolts
    turn = move / 14 * (1 if step.loosen == "exit" else -1)
    assert abs(skew - turn * 18) <= 1 / 64 / 14 * 18 / 2 + 1e-9
    assert move * 64 == pytest.approx(round(move * 64))
    # the face turns about the bolt that stays snug: 2 in from the entry end, or 16
    pivot = 2 if step.snug == "entry" else 16
    after = {"entry": 18.375 + turn * pivot, "exit": 18.375 + skew - turn * (18 - pivot)}
    for watch in (step.watch, step.other):
        assert watch.after / 25.4 == pytest.approx(after[watch.point])
    assert step.direction == (direction if step.loosen == "exit" else {"toward": "away", "away": "toward"}[direction])


def test_the_same_section_in_both_units():
    inch = square(ask("18.25", "18.50", "18", mark="1/32", tolerance="1/16")).state.sections[0].skew
    told = {"mark": "0.79375", "tolerance": "1.5875", "units": Units.mm}
    mm = square(ask("463.55", "469.9", "457.2", **told)).state.sections[0].skew
    assert (mm.value, mm.u, mm.p_in) == pytest.approx((inch.value, inch.u, inch.p_in))


def test_a_metric_unit_on_any_length_makes_the_bare_ones_millimetres():
    found = square(ask("467", "470.5 mm", "457"))
    assert found.layout.units is Units.mm
    assert found.state.sections[0].skew.value == pytest.approx(3.5)


def test_a_square_section_is_left_alone(run):
    done = run("square", "18 3/8", "18 3/8", "--length", "18")
    assert done.status == 0
    assert done.out.startswith("OK?: exit is as far off as entry, over 18 in.\n")
    assert "Nothing to move, as far as this tape can tell.\n" in done.out
    assert "loosen" not in done.out


def test_the_answer_is_one_screen_with_what_to_do_and_the_cautions(run):
    done = run("square", "18-3/8", "18-9/16", "--length", "18", "--bolts", "2,16")
    lines = done.out.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80
    assert lines[0] == "OUT: exit is 3/16 (0.188) in farther from the string than entry, over 18 in."
    assert "Lock out" in done.out
    assert done.out.isascii()


def test_a_misread_inch_is_read_again_before_anything_else():
    text = square_text(square(ask("18 3/8", "19 7/16", "18")))
    assert text.index("READ BOTH ENDS AGAIN FIRST") < text.index("BEFORE A BOLT") < text.index("MOVE")
    assert "Exit reads 1 1/16 in more than entry (18 3/8). Perhaps a whole inch too much?" in text


def test_json(run):
    done = run("square", "467", "470.5", "--length", "457", "--units", "mm", "--json")
    told = json.loads(done.out)
    assert told["units"] == "mm"
    assert told["skew"]["value"] == pytest.approx(3.5)
    assert told["skew"]["angle"] == pytest.approx(math.degrees(math.atan(3.5 / 457)))
    assert told["moves"]["steps"][0]["move"] == pytest.approx(3.5)
    assert told["verdict"] == "out"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("467", "470", "--length", "457"), "A: '467' would be 11.9 m. Give --units mm for millimetres."),
        (("18 9/8", "18", "--length", "18"), "A: '18 9/8' is not a length: 9/8 is more than one."),
        (("18", "x", "--length", "18"), "B: 'x' is not a length."),
        (("18", "18", "--length", "0"), "--length: '0' is not more than nothing."),
        (("18", "18", "--length", "18", "--bolts", "16,2"), "--bolts: '16,2' is not two places on the section"),
        (("18", "18", "--length", "18", "--bolts", "2,19"), "--bolts: '2,19' is not two places on the section"),
        (("18", "18", "--length", "18", "--bolts", "9"), "--bolts: '9' is not two places on the section"),
        (("18", "18", "--length", "18", "--mark", "thin"), "--mark: 'thin' is not a length."),
        (("18", "18", "--length", "18", "--tolerance", "0"), "--tolerance: '0' is not more than nothing."),
    ],
)
def test_what_cannot_be_used_is_told(run, arguments, said):
    done = run("square", *arguments)
    assert (done.status, done.out) == (2, "")
    assert said in done.err


def test_everything_that_cannot_be_used_is_told_at_once():
    with pytest.raises(InputError) as error:
        square(ask("x", "y", "z", bolts="a,b"))
    assert [p.where for p in error.value.problems] == ["--length", "A", "B", "--bolts", "--bolts"]
