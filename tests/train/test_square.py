"""
One section from two readings, against what is worked out here by hand.

Uncertainty of a reading: mark/sqrt(12) (JCGM 100:2008, 4.3.7), placing and tilt added in squares (5.1.2); of the
difference of two, sqrt(2) times that; probability of conformity from the normal distribution of the standard library
(JCGM 106:2012, 7.2). Moves by similar triangles about the bolt end that stays tight.
"""

from __future__ import annotations

import json
import math
from statistics import NormalDist

import pytest

from alignment.errors import InputError
from alignment.lengths import Units
from alignment.show import terminal
from alignment.show.words.square import square_page
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


@pytest.mark.parametrize(("b", "way"), [("18 9/16", "toward"), ("18 3/16", "away")])
def test_without_a_target_one_end_is_swung_until_it_is_square(b, way):
    """The face turns about the bolt that stays tight, 2 in from the entry end or 16; the stop is at the moving end."""
    found = square(ask("18 3/8", b, "18", bolts="2,16"))
    (step,) = found.plan.steps
    reads = {"entry": 18.375, "exit": float(b.split()[0]) + eval_fraction(b.split()[1])}
    pivot, at = (2, 18) if step.pivot == "entry" else (16, 0)
    held = reads["entry"] + (reads["exit"] - reads["entry"]) * pivot / 18
    stop = step.watch.stop / 25.4
    turn = (stop - held) / (at - pivot)
    assert abs(turn * 18) < 1 / 32
    assert step.other.after / 25.4 == pytest.approx(held + turn * (18 - at - pivot))
    assert stop * 32 == pytest.approx(round(stop * 32))
    assert step.direction == (way if step.loosen == "exit" else {"toward": "away", "away": "toward"}[way])


def eval_fraction(text: str) -> float:
    over, under = text.split("/")
    return int(over) / int(under)


@pytest.mark.parametrize(("a", "b", "loosen"), [("18 3/8", "18 9/16", "exit"), ("18 3/16", "18 3/8", "entry")])
def test_with_a_target_the_end_that_is_off_is_moved_to_it(a, b, loosen):
    found = square(ask(a, b, "18", bolts="2,16", target="18 3/8"))
    (step,) = found.plan.steps
    assert step.loosen == loosen
    # to the wanted mark, or half a mark to where the pivot leaves it squarer
    assert abs(step.watch.stop / 25.4 - 18.375) <= 1 / 32 + 1e-9


def test_with_a_target_both_ends_off_are_both_moved():
    found = square(ask("18 9/16", "18 9/16", "18", target="18 3/8"))
    assert str(found.verdict) == "out"
    assert [step.watch.stop / 25.4 for step in found.plan.steps] == pytest.approx([18.375, 18.375])
    assert found.state.sections[0].skew.verdict.inside


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
    assert 'OK?: exit is as far from the string as entry, over 18".\n' in done.out
    assert "Nothing to move, as far as this tape can tell." in done.out
    assert "loosen" not in done.out
    assert "Only square is judged, not where the section is." in done.out


def test_the_answer_is_one_screen_with_what_to_do_and_the_cautions(run):
    done = run("square", "18-3/8", "18-9/16", "--length", "18", "--bolts", "2,16", "--target", "18-3/8")
    lines = done.out.splitlines()
    assert len(lines) <= 13
    assert max(map(len, lines)) <= 80
    assert lines[0] == "Entry 18 3/8, exit 18 9/16, wanted 18 3/8"
    assert lines[1] == 'OUT: exit is 3/16" farther from the string than entry, over 18".'
    assert "First: loosen exit, pivot on entry." in "\n".join(lines[:8])
    assert "Lock out" in done.out
    assert done.out.isascii()


def test_what_goes_with_a_move_stands_once_and_whole_below_it():
    """The act first and last; what to do if the other end is off, and tighten, once each."""
    text = " ".join(terminal.render(square_page(square(ask("18 3/8", "18 9/16", "18", bolts="2,16")))).split())
    assert text.count("First: loosen ") == 2
    assert text.count("Without --target only square is judged.") == 1
    assert text.count("Chance of OK then: ") == 1
    only = "Only square is judged, not where the section is."
    assert only not in text
    targeted = square(ask("18 3/8", "18 3/8", "18", target="18 3/8"))
    assert not targeted.plan.steps
    assert only not in terminal.render(square_page(targeted))
    assert only in " ".join(terminal.render(square_page(square(ask("18 3/8", "18 3/8", "18")))).split())


def test_a_misread_inch_is_read_again_and_not_moved():
    text = terminal.render(square_page(square(ask("18 3/8", "19 7/16", "18"))))
    assert "First: read both ends again." in text
    assert "Perhaps a whole inch too much?" in " ".join(text.split())
    assert "loosen" not in text
    assert text.splitlines()[-1] == "First: read both ends again."


def test_json(run):
    done = run("square", "467", "470.5", "--length", "457", "--units", "mm", "--json")
    told = json.loads(done.out)
    assert told["units"] == "mm"
    assert told["skew"]["value"] == pytest.approx(3.5)
    assert told["skew"]["angle"] == pytest.approx(math.degrees(math.atan(3.5 / 457)))
    assert told["moves"]["steps"][0]["watch"]["words"] == "467"
    assert told["verdict"] == "out"
    # nothing was wanted of the distance, so nothing is said of it
    assert (told["offset"], told["ends"], told["after"]["offset"]) == (None, None, None)
    wanted = json.loads(
        run("square", "467", "470.5", "--length", "457", "--target", "467", "--units", "mm", "--json").out
    )
    assert wanted["offset"]["value"] == pytest.approx(1.75)
    assert len(wanted["ends"]) == 2


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
