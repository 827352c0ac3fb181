"""What is flagged before a bolt is touched: the right thing, once, and nothing on a clean survey."""

from __future__ import annotations

import json
from fractions import Fraction

import numpy as np
import pytest
from scipy import stats

from alignment.lengths import Units
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_files import read_survey
from alignment.show import door
from alignment.show.json.solution import as_json
from alignment.train.flags.find import find_flags
from alignment.train.flags.neighbours import Neighbours
from alignment.train.solve import solve
from alignment.train.train import fit_train
from alignment.uncertainty import repeats_apart, rounding_kept
from tests.tools.machines import machine, readings, said
from tests.tools.sample_truth import SLIPS

ROW = {"a": "target = '600'"}
CLOSE = {"header": "section,point,reading,repeat"}
U = float(np.hypot(1 / np.sqrt(12), 0.4))


def sections(count: int = 5, row: str = "a", **keys: object) -> list[dict[str, object]]:
    return [
        {"name": f"{row}-{k + 1}", "row": row, "start": str(500 * k), "length": "450", **keys} for k in range(count)
    ]


def rows(ends: list[tuple[object, object]], row: str = "a") -> list[tuple[str, str, object]]:
    """Each section read once at either end."""
    return [
        (f"{row}-{k}", point, value)
        for k, pair in enumerate(ends, 1)
        for point, value in zip(("entry", "exit"), pair, strict=True)
    ]


def flags(layout, read, **how: str):
    """Flags other than ``lone``, after the whole answer has been put in words and in JSON."""
    solution = solve(layout, readings(layout, read, **how))
    json.dumps(as_json(solution), allow_nan=False)
    assert max(map(len, door.text(solution, full=True).splitlines())) <= 80
    return [flag for flag in solution.flags if flag.flag != "lone"]


CLEAN = [(600, 600)] * 5


# the samples, through the program


@pytest.mark.parametrize("name", SLIPS)
def test_sample_slip_leads_to_its_flag(run, samples, name):
    """One flag for the one slip, the right one at the right place, and before all others."""
    outcome = run("solve", samples / "machine.toml", samples / name, "--json")
    assert outcome.status == 0, outcome.err
    found = json.loads(outcome.out)["flags"]
    first, *more = [f for f in found if f["flag"] != "lone"]
    kind, where = SLIPS[name]
    assert first["flag"] == kind
    assert where in (first["section"], first["string"])
    assert found[0] == first
    # ends show as swapped where neighbours slant: that sample's string was made to lean by an inch besides
    assert [f["flag"] for f in more] == ["line-skewed"] * (name == "swapped-ends.csv")


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("inch-slip.csv", "Perhaps a whole inch too much."),
        ("half-inch-slip.csv", "Perhaps a half inch too much."),
        ("swapped-ends.csv", "Perhaps the ends were swapped."),
        ("string-moved.csv", "Read it once more"),
        ("leaning-string.csv", "look at the string before moving any section"),
    ],
)
def test_sample_slip_is_told_before_the_moves(run, samples, name, words):
    outcome = run("solve", samples / "machine.toml", samples / name)
    text = " ".join(outcome.out.split())
    assert words in text
    first = "CHECK THE STRING FIRST" if "string" in name else "READ AGAIN FIRST"
    assert text.index(first) < text.index(words) < text.index("HOW IT IS")
    if "MOVES," in text:
        assert text.index(words) < text.index("MOVES,")


@pytest.mark.parametrize("name", ["inch-slip.csv", "half-inch-slip.csv"])
def test_hint_goes_by_the_tape_not_by_the_units_printed(run, samples, name):
    """An inch tape slips by inches, whatever the answer is printed in; and what is printed says its unit."""
    told = {}
    for units in Units:
        outcome = run("solve", samples / "machine.toml", samples / name, "--json", "--units", units)
        assert outcome.status == 0, outcome.err
        told[units] = next(f["message"] for f in json.loads(outcome.out)["flags"] if f["flag"] != "lone")
    assert "inch too much" in told[Units.inch]
    assert "inch too much" in told[Units.mm]
    assert " mm." in told[Units.mm]


@pytest.mark.parametrize("name", ["before-move", "as-found", "as-left", "before-move-mm", "as-found-mm", "as-left-mm"])
def test_samples_without_a_slip_have_no_flag(samples, name):
    layout = read_layout(samples / f"machine{'-mm' * name.endswith('-mm')}.toml")
    found = find_flags(fit_train(layout, read_survey(samples / f"{name}.csv", layout)))
    # chi-square is tested at 95 % section by section, so one clean section in twenty is flagged as scattered
    assert {flag.flag for flag in found} <= {"lone", "scatter"}


# readings that nothing in their section checks


@pytest.mark.parametrize("section", range(5))
@pytest.mark.parametrize(("end", "point"), [(0, "entry"), (1, "exit")])
@pytest.mark.parametrize("target", ["target = '600'", ""])
def test_slip_against_the_neighbours(section, end, point, target):
    """100 mm too much at any end of any section; also where deviations are taken from the very section misread."""
    pair = [600, 600]
    pair[end] += 100
    read = rows([tuple(pair) if k == section else (600, 600) for k in range(5)])
    (flag,) = flags(machine(sections(), rows={"a": target}), read)
    assert (flag.flag, flag.section, flag.point) == ("unlikely", f"a-{section + 1}", point)
    assert "about 600.0 mm. Perhaps 100 mm too much." in said(flag)
    assert "read it again before moving anything" in said(flag)


def test_point_read_once_beside_one_read_twice():
    """The repeat checks its own point only: the other end is still judged by the neighbours."""
    read = [*rows([(600, 600)] * 2), ("a-3", "entry", 600), *rows([(600, 600)] * 5)[4:]]
    read[6] = ("a-3", "exit", 700)
    assert read[4:7] == [("a-3", "entry", 600), ("a-3", "entry", 600), ("a-3", "exit", 700)]
    (flag,) = flags(machine(sections(), rows=ROW), read)
    assert (flag.flag, flag.section, flag.point) == ("unlikely", "a-3", "exit")


def test_ordinary_misalignment_is_not_unlikely():
    """Sections out by a few millimetres are what the job is about."""
    assert (
        flags(machine(sections(), rows=ROW), rows([(600, 603), (598, 600), (602, 602), (600, 597), (601, 600)])) == []
    )


def test_hold_and_setbacks():
    """A held section misread, each section with a setback of its own."""
    layout = machine([{**s, "setback": str(10 * k), "hold": k == 1} for k, s in enumerate(sections())])
    read = rows([(600 + 10 * k, 600 + 10 * k) for k in range(5)])
    assert flags(layout, read) == []
    read[3] = ("a-2", "exit", 660)
    (flag,) = flags(layout, read)
    assert (flag.section, flag.point) == ("a-2", "exit")
    assert "about 610.0 mm" in said(flag)


def test_swapped_ends_of_two_slanting_neighbours():
    """Readings that grow along the row, one section's the other way round."""
    read = rows([(600, 605), (605, 610), (615, 610), (615, 620), (620, 625)])
    found = [f for f in flags(machine(sections(), rows=ROW), read) if f.flag == "unlikely"]
    (flag,) = found
    assert flag.section == "a-3"
    assert "read 615 and 610; the other way round" in said(flag)


@pytest.mark.parametrize("slip", [None, "b-2"])
def test_two_rows_on_one_string(slip):
    """Rows on both sides are read at the same places along the machine; no division by their distance."""
    both = {side[0]: f"target = '600'\nstring = 's'\nstring_side = '{side}'" for side in ("left", "right")}
    layout = machine([*sections(4, "l"), *sections(4, "r")], rows=both)
    ends = [(600, 600)] * 4
    right = [(600, 600), (600, 700), (600, 600), (600, 600)] if slip else ends
    found = flags(layout, [*rows(ends, "l"), *rows(right, "r")])
    assert [(f.flag, f.section, f.point) for f in found] == ([("unlikely", "r-2", "exit")] if slip else [])


def test_two_sections_on_both_sides_read_at_one_place():
    """No two places to draw a line through, and nothing to say."""
    both = {side[0]: f"target = '600'\nstring = 's'\nstring_side = '{side}'" for side in ("left", "right")}
    layout = machine([*sections(2, "l"), *sections(1, "r")], rows=both)
    read = [*rows([(600, 600)], "l"), ("l-2", "entry", 600), ("r-1", "entry", 600)]
    assert flags(layout, read) == []


def test_row_whose_target_nobody_knows():
    """A row without a target and without one measured section has no deviations: nothing is unlikely of it."""
    layout = machine([*sections(4), *sections(3, "b")], rows={"a": "target = '600'\nstring = 's'", "b": "string = 's'"})
    read = [*rows([(600, 600)] * 4), ("b-1", "entry", 500), ("b-2", "entry", 500), ("b-3", "exit", 501)]
    assert flags(layout, read) == []


# one or two sections on a string: the wanted reading and the section's own other end speak


@pytest.mark.parametrize("count", [1, 2])
@pytest.mark.parametrize(
    ("value", "hint"),
    [(700, " Perhaps 100 mm too much."), (610, ""), (590, " Perhaps 10 mm too little.")],
)
def test_slip_against_the_target(count, value, hint):
    """No neighbours to speak of: one flag, no hint where 610 may as well be 601."""
    read = rows([(600, 600)] * (count - 1) + [(600, value)])
    (flag,) = flags(machine(sections(count), rows=ROW), read)
    assert (flag.flag, flag.section, flag.point) == ("off-target", f"a-{count}", "exit")
    way = "more" if value > 600 else "less"
    assert said(flag) == (
        f"a-{count}, exit: read {value}, {abs(value - 600)}.0 mm {way} than is wanted there.{hint} Read it again. If "
        "it reads the same, the section really is there."
    )


def test_a_slanting_face_that_three_points_bear_out_is_no_slip():
    """20 mm over 450, on one line: its exit is farther off than a slot allows, but all three would have to be."""
    layout = machine(sections(1, points=["0", "225", "450"]), rows=ROW)
    assert flags(layout, [("a-1", "0", 600), ("a-1", "225", 610), ("a-1", "450", 620)]) == []
    (flag,) = flags(layout, [("a-1", "0", 625), ("a-1", "225", 625), ("a-1", "450", 625)])
    assert (flag.flag, flag.section, flag.read) == ("off-target", "a-1", ("625",))


@pytest.mark.parametrize("again", [610, 611])
def test_doubted_reading_read_again_alike_is_taken(again):
    """Twice 10 mm off is where the section stands; what the slots can do about it is for the moves."""
    read = [*rows([(600, 610)]), ("a-1", "exit", again)]
    assert flags(machine(sections(1), rows=ROW), read) == []


def test_both_ends_off_alike_are_one_flag():
    (flag,) = flags(machine(sections(1), rows=ROW), rows([(612.5, 613)]))
    assert (flag.flag, flag.section, flag.point) == ("off-target", "a-1", "exit")


@pytest.mark.parametrize("count", [2, 5])
def test_a_string_that_hangs_elsewhere_is_one_flag(count):
    """All sections an inch and a half farther than wanted: nobody moves every section by that."""
    (flag,) = flags(machine(sections(count), rows=ROW), rows([(638, 638)] * count))
    assert (flag.flag, flag.section, flag.string) == ("off-target", "", "a")
    assert said(flag) == (
        f"All {count} sections on string a read 38.0 mm too far from it alike: the string hangs elsewhere than the "
        "wanted readings say, or the tape does not start at its zero. Measure where the string hangs before moving "
        "any section."
    )


@pytest.mark.parametrize("count", [1, 2, 5])
def test_whole_inches_left_out(count):
    """'3/8' for '18 3/8'."""
    parts = [{**s, "start": s["start"] + " mm", "length": "450 mm"} for s in sections(count)]
    layout = machine(parts, rows={"a": "target = '18 3/8'"}, units="in", tape="mark = '1/16'")
    (flag,) = flags(layout, rows([("18 3/8", "18 3/8")] * (count - 1) + [("18 3/8", "3/8")]))
    assert (flag.section, flag.point) == (f"a-{count}", "exit")
    assert "Perhaps the whole inches were left out." in said(flag, layout)
    assert flag.hint.size == pytest.approx(-18 * 25.4)


def test_no_target_and_one_section():
    """Its own two ends are all there is: one of them is a hundred off, and nothing says which."""
    (flag,) = flags(machine(sections(1), rows={"a": ""}), rows([(600, 700)]))
    assert (flag.flag, flag.section) == ("off-target", "a-1")


def test_sections_that_are_not_measured():
    """Some not read at all, one read at one point only and there 100 mm off."""
    read = [*rows([(600, 600)] * 2), ("a-3", "entry", 700), ("a-5", "exit", 600)]
    (flag,) = flags(machine(sections(), rows=ROW), read)
    assert (flag.flag, flag.section, flag.point) == ("unlikely", "a-3", "entry")


# closing readings


def closed(ends: list[tuple[object, object]], closing: tuple[str, str, object]) -> list[tuple[object, ...]]:
    return [*((*row, "") for row in rows(ends)), (*closing, "close")]


OWN = float(np.sqrt(U**2 - rounding_kept(0.4, 1.0) ** 2))
"""What a reading does not share with another of the same point."""


@pytest.mark.parametrize("by", [2, -4, 10])
def test_line_moved(by):
    """The 99 % point of the difference of two readings is 2.58 sqrt(2) u = 1.8 mm."""
    layout = machine(sections(), rows=ROW)
    (flag,) = flags(layout, closed(CLEAN, ("a-1", "entry", 600 + by)), **CLOSE)
    assert (flag.flag, flag.section, flag.point, flag.string) == ("line-moved", "a-1", "entry", "a")
    assert flag.numbers["change"] == pytest.approx(by)
    first = stats.norm.ppf(0.995) * np.sqrt(2) * U
    assert flag.numbers["allowed"] == pytest.approx(first)
    assert f"{abs(by):.1f} mm apart" in said(flag)


def test_line_within_u():
    assert flags(machine(sections(), rows=ROW), closed(CLEAN, ("a-1", "entry", 601.7)), **CLOSE) == []


@pytest.mark.parametrize(("by", "found"), [(1.0, 0), (1.01, 1)])
def test_one_mark_is_no_moved_string(by, found):
    """However steady the hand: a reading on the other side of the middle between two marks is one mark off."""
    layout = machine(sections(), rows=ROW, tape="mark = '1'\nset = '0.01'\ntilt = 0\nzero = '0.4'")
    again = [(*row, "") for row in rows(CLEAN)] * 2
    close = [("a-1", "entry", 600 + by, "close")] * 4
    assert len(flags(layout, [*again, *close], **CLOSE)) == found


def test_point_for_several_strings():
    """One in a hundred surveys, over all its closing readings: with two strings each has half of that."""
    both = {"a": "target = '600'", "b": "target = '600'"}
    layout = machine([*sections(3), *sections(3, "b")], rows=both)
    read = [(*row, "") for row in [*rows(CLEAN[:3]), *rows(CLEAN[:3], "b")]]
    close = [("a-1", "entry", 604, "close"), ("b-1", "entry", 600, "close")]
    (flag,) = flags(layout, [*read, *close], **CLOSE)
    assert flag.numbers["allowed"] == pytest.approx(stats.norm.ppf(1 - 0.01 / 4) * np.sqrt(2) * U)


def test_repeated_opening_readings_are_averaged():
    """600 and 601 at first, 602.4 at the end: 1.9 mm from their mean, 1.6 mm to expect."""
    read = closed(CLEAN, ("a-1", "entry", 602.4))
    read.insert(1, ("a-1", "entry", 601, "2"))
    (flag,) = flags(machine(sections(), rows=ROW), read, **CLOSE)
    assert flag.numbers["change"] == pytest.approx(1.9)
    assert flag.numbers["allowed"] == pytest.approx(stats.norm.ppf(0.995) * np.hypot(OWN / np.sqrt(2), U), rel=1e-6)


def test_hint_for_a_misread_closing_reading():
    (flag,) = flags(machine(sections(), rows=ROW), closed(CLEAN, ("a-1", "entry", 650)), **CLOSE)
    assert "Perhaps 50 mm too much. Read it once more" in said(flag)


@pytest.mark.parametrize("points", [("0", "450"), ("0", "225", "450")])
def test_misread_opening_reading_is_one_flag(points):
    """The closing reading bears out that the first one was misread: the string is not to blame."""
    layout = machine(sections(points=list(points)), rows=ROW)
    read = closed([(700, 600), *CLEAN[1:]], ("a-1", "entry", 600))
    if len(points) == 3:
        read[:-1] += [(f"a-{k}", "mid", 600, "") for k in range(1, 6)]
        read.sort(key=lambda row: row[3])
    (flag,) = flags(layout, read, **CLOSE)
    assert flag.flag == ("unlikely" if len(points) == 2 else "stray")
    assert (flag.section, flag.point) == ("a-1", "entry")


def test_string_that_moved_after_the_first_section_is_not_hushed_up():
    """Both ends of the first section are off by what the closing reading differs by: that is the string."""
    found = flags(machine(sections(), rows=ROW), closed([(612, 612), *CLEAN[1:]], ("a-1", "entry", 600)), **CLOSE)
    assert found[0].flag == "line-moved"


def test_swapped_ends_of_the_first_section_with_a_closing_reading():
    layout = machine([*sections(), *sections(5, "b")], rows={"a": "target = '600'\nstring = 's'", "b": "string = 's'"})
    read = [*rows([(600, 605), (614, 606), (615, 620), (620, 625), (625, 630)])]
    closing = [*((*row, "") for row in read), ("a-2", "entry", 606, "close")]
    found = [f for f in flags(layout, closing, **CLOSE) if f.flag != "line-skewed"]
    assert [(f.flag, f.section) for f in found] == [("unlikely", "a-2")]


def test_closing_reading_of_a_point_not_read_at_first():
    """Nothing to compare it with, and nothing made of it."""
    assert flags(machine(sections(), rows=ROW), closed(CLEAN[:3], ("a-5", "exit", 700)), **CLOSE) == []


# repeats


@pytest.mark.parametrize(("apart", "found"), [(1, []), (2, ["spread"])])
def test_spread_of_repeats(apart, found):
    """
    Three readings of one point, the only one read thrice, by a hand of 0.4 mm and marks of 1 mm.

    One mark apart is met in most of such points, two in 4.3 % (400,000 simulated, rounding included).
    """
    section = [{**sections(1)[0]}]
    read = [("a-1", "entry", 600 + d) for d in (0, apart, 0)]
    # the other end, read in a section without redundancy left for a stray or scatter to show
    layout = machine([*section, *sections(2, "b")], rows={"a": "target = '600'", "b": "target = '600'"})
    read += rows([(600, 600)] * 2, "b")
    assert [f.flag for f in flags(layout, read)] == found


@pytest.mark.parametrize("mark", ["1/16", "1/64"])
def test_spread_that_is_allowed_by_a_tape_in_inches(mark):
    """The same marks, hand, tilt and distance, told in millimetres: the same spread is allowed."""
    own = {"units": "in", "tape": f"mark = '{mark}'\nset = '1/64'\ntilt = 3\nzero = 0"}
    layout = machine(
        [*sections(1), *sections(2, "b")], rows={"a": "target = '18 3/8'", "b": "target = '18 3/8'"}, **own
    )
    read = [("a-1", "entry", v) for v in ("18 3/8", "18 5/8", "18 3/8")] + rows([("18 3/8", "18 3/8")] * 2, "b")
    (flag,) = flags(layout, read)
    size = 25.4 * float(Fraction(mark))
    middle = round((18 + 11 / 24) * 25.4 / size) * size
    expected = repeats_apart(middle, 3, 0.95, mark=size, set_u=25.4 / 64, tilt=3)
    assert flag.numbers == pytest.approx({"spread": 25.4 / 4, "allowed": expected})


def test_spread_names_what_was_read():
    layout = machine([*sections(1), *sections(2, "b")], rows={"a": "target = '600'", "b": "target = '600'"})
    read = [("a-1", "entry", v) for v in (600, 604, 601)] + rows([(600, 600)] * 2, "b")
    (flag,) = flags(layout, read)
    assert "a-1, entry: read 600, 604, 601: 4.00 mm apart" in said(flag)


def test_scatter_without_a_single_culprit():
    """Chi-square beyond its 95 % point with no residual beyond the test of a stray: scatter, and U grown."""
    points = ["0", "90", "180", "270", "360", "450"]
    values = [600, 601.2, 599, 601, 598.8, 600]
    layout = machine(sections(1, points=points), rows=ROW)
    read = [("a-1", p, v) for p, v in zip(points, values, strict=True)]
    (flag,) = flags(layout, read)
    assert flag.flag == "scatter"
    assert flag.section == "a-1"
    assert "do not lie on one straight face" in said(flag)


def test_stray_takes_the_place_of_scatter_and_spread():
    """One slip, one flag: a repeat 25 mm off makes its point spread and its section scatter."""
    read = [(*row[:2], 600) for row in rows(CLEAN) for _ in (1, 2)]
    read[5] = ("a-2", "entry", 625)
    (flag,) = flags(machine(sections(), rows=ROW), read)
    assert (flag.flag, flag.section, flag.point) == ("stray", "a-2", "entry")


# order and lone points


def test_most_harmful_first():
    read = closed(CLEAN, ("a-1", "entry", 604))
    read[5] = ("a-3", "exit", 700, "")
    layout = machine(sections(), rows=ROW)
    found = find_flags(fit_train(layout, readings(layout, read, **CLOSE)))
    assert [f.flag for f in found[:2]] == ["line-moved", "unlikely"]
    assert {f.flag for f in found[2:]} == {"lone"}


def test_lone_points_are_said_once(samples, run):
    """Every point read once is flagged; the text says so in one line and what the cheapest check would be."""
    out = " ".join(run("solve", samples / "machine.toml", samples / "as-found.csv", "--full").out.split())
    assert out.count("read once") == 1
    assert "The cheapest check is one more reading of each, or a third point on a section" in out


@pytest.mark.parametrize("points", [("0", "225", "450"), ("0", "100", "225", "350", "450")])
def test_three_points_or_more_check_each_other(points):
    layout = machine(sections(3, points=list(points)), rows=ROW)
    read = [(f"a-{k}", p, 600) for k in (1, 2, 3) for p in points]
    assert find_flags(fit_train(layout, readings(layout, read))) == ()


def test_only_the_nearest_of_a_very_long_train_are_asked():
    """Forty sections in line at one end, and a far half that stands 50 mm off: the near ones say what to expect."""
    layout = machine(sections(80), rows={"a": "target = '600'"})
    taken = [(s.name, end, 600 + 50 * (k >= 45)) for k, s in enumerate(layout.sections) for end in ("entry", "exit")]
    neighbours = Neighbours(fit_train(layout, readings(layout, taken)))
    near, far = neighbours.expect(0), neighbours.expect(79)
    assert near is not None
    assert far is not None
    assert near.at(np.array([0.0])) == pytest.approx([0], abs=1e-9)
    assert far.at(np.array([500.0 * 79])) == pytest.approx([50], abs=1e-9)


def test_closing_reading_that_bears_out_swapped_ends():
    """606 and 614 were written the other way round; read again at the end the entry says 606, as the string stood."""
    read = [(600, 605), (614, 606), (615, 620), (620, 625), (625, 630)]
    closing = [*((*row, "") for row in rows(read)), ("a-2", "entry", 606, "close")]
    found = [f for f in flags(machine(sections(), rows=ROW), closing, **CLOSE) if f.flag != "line-skewed"]
    assert [(f.flag, f.section, f.point) for f in found] == [("unlikely", "a-2", "")]
    assert "Perhaps the ends were swapped." in said(found[0])


@pytest.mark.parametrize(
    ("close", "first"), [(600, "unlikely"), (645, "unlikely"), (655, "line-moved"), (750, "line-moved")]
)
def test_how_well_a_closing_reading_bears_a_slip_out(close, first):
    """The entry was read 100 too long. Within half of that of what it should be, the closing reading says so too."""
    read = closed([(700, 600), *CLEAN[1:]], ("a-1", "entry", close))
    assert flags(machine(sections(), rows=ROW), read, **CLOSE)[0].flag == first


def test_what_two_neighbours_lead_to_expect():
    """Their middle, and no slope: 0, 1, 10 and 13 mm off are 5.5, and 4.5 to 7.5 about it, 5 in the middle."""
    layout = machine(sections(3), rows=ROW)
    read = readings(layout, rows([(600, 601), (600, 600), (610, 613)]))
    expected = Neighbours(fit_train(layout, read)).expect(1)
    assert (expected.at_zero, expected.slope) == (pytest.approx(5.5), 0)
    # the median of absolute deviations as a standard deviation (1.4826), grown by what one parameter takes of four
    assert expected.scatter == pytest.approx(stats.norm.ppf(0.75) ** -1 * 5 * (4 / 3) ** 0.5, rel=1e-4)


def test_what_neighbours_on_a_line_lead_to_expect():
    """One of their eight readings is wrong, and changes nothing."""
    layout = machine(sections(5), rows=ROW)
    ends = [(600 + 5 * k, 604.5 + 5 * k) for k in range(5)]
    ends[2], ends[4] = (700, 500), (620, 640)
    expected = Neighbours(fit_train(layout, readings(layout, rows(ends)))).expect(2)
    assert expected.slope == pytest.approx(0.01)
    assert expected.at_zero == pytest.approx(0, abs=1e-9)
    assert expected.scatter == pytest.approx(0, abs=1e-9)


def test_how_well_faces_beside_a_section_follow_one_another():
    """The middle of what eight readings are off their least-squares line, as a standard deviation; its own left out."""
    layout = machine(sections(5), rows=ROW)
    ends = [(600, 602), (601, 604), (700, 500), (603, 602), (606, 605)]
    train = fit_train(layout, readings(layout, rows(ends)))
    x = np.array([500 * k + e for k in (0, 1, 3, 4) for e in (0, 450)])
    d = np.array([v for k in (0, 1, 3, 4) for v in ends[k]])
    left = d - np.polyval(np.polyfit(x, d, 1), x)
    assert Neighbours(train).roughness(2) == pytest.approx(np.median(np.abs(left)) / stats.norm.ppf(0.75), rel=1e-4)


def test_what_is_said_of_a_stray():
    """The others' word, a hint only where one fits, and what would have gone unseen; whole messages."""
    layout = machine(sections(points=["0", "225", "450"]), rows=ROW)
    good = [(f"a-{k}", p, 600) for k in range(1, 6) for p in ("entry", "mid", "exit")]
    # 4.13 u / sqrt(1/6), with u the hypotenuse of 1 / sqrt(12) and 0.4
    seen = f"(The smallest slip seen here: {4.1321 * U * 6**0.5:.1f} mm.)"
    for value, hint in ((614.3, ""), (650, " Perhaps 50 mm too much.")):
        (flag,) = flags(layout, [("a-1", "entry", value), *good[1:]])
        assert said(flag) == (
            f"a-1, entry: read {value}, the others say 600.0 mm.{hint} Its section alone could not tell it from mid "
            f"(600) or exit (600); the neighbours or the target did. Read it again. {seen}"
        )
    (flag,) = flags(
        machine(sections(1, points=["0", "225", "450"]), rows={"a": ""}), [("a-1", "entry", 614.3), *good[1:3]]
    )
    # of three that contradict each other any may be named first
    assert said(flag).startswith(f"a-1, {flag.point}: read ")
    assert said(flag).endswith(f" that is wrong: nothing here tells which. Read all of them again. {seen}")
    named = {"entry (614.3)", "mid (600)", "exit (600)"}
    assert sum(f"{name}" in said(flag) for name in named) == 2


# --- one flag does not stand in the way of another -------------------------------------------------------------


def test_points_less_than_a_millimetre_apart_are_two():
    """A closing reading at 225 does not close the point at 225.4, nor are the two repeats of one another."""
    layout = machine(sections(points=["0", "225", "225.4", "450"]), rows=ROW)
    good = [(f"a-{k}", p, 600, "") for k in range(1, 6) for p in ("entry", "exit")]
    assert flags(layout, [*good, ("a-1", "225.4", 600, ""), ("a-1", "225", 610, "close")], **CLOSE) == []
    (moved,) = flags(layout, [*good, ("a-1", "225.4", 600, ""), ("a-1", "225.4", 610, "close")], **CLOSE)
    assert (moved.flag, moved.point) == ("line-moved", "225.4")
    two = flags(layout, [*good, ("a-1", "225", 599.2, ""), ("a-1", "225.4", 600.8, "")], **CLOSE)
    assert "spread" not in {f.flag for f in two}


def test_every_string_has_its_closing_reading_looked_at():
    """One that closes nothing, one as at first, one that bears a misread out, and then the one that moved."""
    layout = machine([*sections(), *sections(5, "b")], rows=ROW | {"b": "target = '600'"})
    read = [*rows([(700, 600), *CLEAN[1:]]), *rows(CLEAN, "b")]
    closing = [("a-1", "225", 600), ("a-2", "entry", 600), ("a-1", "entry", 600), ("b-1", "entry", 605)]
    found = flags(layout, [*((*r, "") for r in read), *((*c, "close") for c in closing)], **CLOSE)
    assert [(f.flag, f.section) for f in found] == [("line-moved", "b-1"), ("unlikely", "a-1")]


def test_every_section_is_held_against_its_neighbours():
    """A row too short to expect anything of, a row without a target that anyone knows, a section with a stray."""
    parts = [*sections(1, "b"), *sections(2, "c"), *sections(6, points=["0", "225", "450"])]
    layout = machine(parts, rows={"b": "target = '600'", "c": "", "a": "target = '600'"})
    read = [("b-1", "entry", 600), ("b-1", "exit", 600), ("c-1", "entry", 600), ("c-2", "exit", 600)]
    read += [("a-1", p, v) for p, v in (("entry", 600), ("mid", 660), ("exit", 600))]
    read += [(f"a-{k}", p, 600) for k in range(2, 6) for p in ("entry", "exit")]
    read += [("a-6", "entry", 600), ("a-6", "exit", 630)]
    assert [(f.flag, f.section) for f in flags(layout, read)] == [("stray", "a-1"), ("unlikely", "a-6")]


# --- how far is far enough ---------------------------------------------------------------------------------------


def slanting(d: float, swap: tuple[float, float]) -> list:
    """A section between two neighbours whose faces lead one to expect d less at its entry and d more at its exit."""
    k = d / 225
    ends = [(600 - 625 * k, 600 - 275 * k), (600 + swap[0], 600 + swap[1]), (600 + 275 * k, 600 + 625 * k)]
    found = flags(machine(sections(3), rows=ROW), rows(ends))
    return [f for f in found if f.flag == "unlikely" and "swapped" in said(f)]


@pytest.mark.parametrize(("d", "found"), [(1.73, 0), (1.755, 1)])
def test_ends_are_called_swapped_from_ten_u_on(d, found):
    """As read the two are off by 2 d each; the sum of squares must be beyond 100 u2: d of 3.54 u, 1.744 mm."""
    assert pytest.approx(1.744, abs=1e-3) == (100 * U**2 / 8) ** 0.5
    assert len(slanting(d, (d, -d))) == found


@pytest.mark.parametrize(("off", "found"), [(1.38, 1), (1.42, 0)])
def test_ends_are_called_swapped_where_the_other_way_round_fits(off, found):
    """Turned round both are still off by this; the sum of squares must be within 16 u2: 2.83 u, 1.395 mm."""
    assert pytest.approx(1.395, abs=1e-3) == (16 * U**2 / 2) ** 0.5
    assert len(slanting(3.0, (3.0 + off, -3.0 + off))) == found


@pytest.mark.parametrize(("chi2", "found"), [(5.9, []), (6.1, ["scatter"])])
def test_scatter_of_one_section_alone(chi2, found):
    """Two degrees of freedom: 5.99 is the 95 % point; a bow of plus, minus, minus, plus leaves no line to follow it."""
    assert stats.chi2.ppf(0.95, 2) == pytest.approx(5.99, abs=0.01)
    a = U * np.sqrt(chi2 / 4)
    layout = machine(sections(1, points=["0", "150", "300", "450"]), rows=ROW)
    read = [("a-1", p, f"{600 + s * a:.6f}") for p, s in ((0, 1), (150, -1), (300, -1), (450, 1))]
    assert [f.flag for f in flags(layout, read)] == found


@pytest.mark.parametrize(("sign", "says"), [(1, "more"), (-1, "less")])
def test_scatter_names_the_reading_farthest_off(sign, says):
    """Five points about a line, chi-square just beyond its 95 % point: too much, and no single one to blame."""
    own, x = np.array([1.0, -1.05, 0.05, -1.15, 1.05]), np.array([0, 100, 225, 350, 450])
    left = own - np.polyval(np.polyfit(x, own, 1), x)
    own, left = (a * U * np.sqrt(8.2 / np.sum(left**2)) for a in (own, left))
    worst = int(np.argmax(np.abs(left)))
    layout = machine(sections(1, points=[str(p) for p in x]), rows=ROW)
    read = [("a-1", p, f"{600 + sign * v:.6f}") for p, v in zip(x, own, strict=True)]
    (flag,) = flags(layout, read)
    assert (flag.flag, flag.section) == ("scatter", "a-1")
    assert flag.numbers == {"off": pytest.approx(sign * left[worst], abs=1e-5)}
    other = {"more": "less", "less": "more"}[says]
    word = says if left[worst] > 0 else other
    assert f"{abs(left[worst]):.1f} mm {word} than the others say. Read it again." in said(flag)
    assert f"Farthest off: {['entry', '100.0', 'mid', '350.0', 'exit'][worst]}, read" in said(flag)


def test_two_readings_of_one_point_that_differ():
    """Of three repeated points one: Bonferroni over the three, and all that is said of it."""
    layout = machine(sections(3), rows=ROW)
    # the second section was read at one end alone, where no test of strays takes the difference up first
    read = [row for row in rows([(600, 600)] * 3) if row[:2] != ("a-2", "entry")]
    read += [("a-1", "entry", 600), ("a-2", "exit", 603), ("a-3", "exit", 600)]
    (flag,) = flags(layout, read)
    assert (flag.flag, flag.section, flag.point) == ("spread", "a-2", "exit")
    assert flag.numbers == {"spread": pytest.approx(3.0), "allowed": pytest.approx(2.0)}


def test_lone_points_by_name():
    solution = solve(machine(sections(2), rows=ROW), readings(machine(sections(2), rows=ROW), rows([(600, 601)] * 2)))
    assert [(f.flag, f.section, f.point, said(f)) for f in solution.flags] == [
        ("lone", f"a-{k}", point, f"a-{k}, {point}: read once ({text}); no other reading checks it.")
        for k in (1, 2)
        for point, text in (("entry", "600"), ("exit", "601"))
    ]
