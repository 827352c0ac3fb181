"""What a tape can tell, before going to the machine: the figures, and what the program says of them."""

from __future__ import annotations

import json
import math
import re
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from scipy import stats

from alignment.instruments import MARKS
from alignment.machine.layout_file import read_layout
from alignment.show.door import text
from alignment.train.budget import Means, Promise, chance_proved, expected, work_out
from alignment.train.first_tolerances import READ, fair_tolerances
from alignment.train.sheet import plan_sheet
from alignment.train.state import Measurand
from alignment.train.train import fit_train
from alignment.uncertainty import Verdict, rounding_kept, verdict
from tests.tools.machines import machine
from tests.tools.rates import Hand

IN = 25.4
TARGET = 18.375 * IN
ONCE = "mark = '1/16'\nset = '1/64'\ntilt = 2\nzero = '1/64'"
U = IN * math.sqrt((1 / 16) ** 2 / 12 + (1 / 64) ** 2 + (18.375 * math.radians(2) ** 2) ** 2 / 45)
"""One reading of that tape, by the formula of the sources: marks, placing and tilt. [mm]"""
TILTED = TARGET * math.radians(2) ** 2 / 6
"""Mean of the tilt, which goes with the tape's zero. [mm]"""
NEEDED = 2 + stats.norm.ppf(0.95)
"""T / u at which nine dead true of ten come out in: |d| <= T - 2u in nine of ten. [mm]"""


def layout(
    *, points=("0", "18"), tape: str = ONCE, tolerance: str = "square = '1/32'", count: int = 1, target="18 3/8"
):
    """Sections of 18 in, a joint between each two."""
    sections = [
        {"name": f"a-{k + 1}", "row": "a", "start": str(18 * k), "length": "18", "points": list(points)}
        for k in range(count)
    ]
    joints = [(f"a-{k}", f"a-{k + 1}") for k in range(1, count)]
    row = {"a": f"target = '{target}'" if target else ""}
    return machine(sections, units="in", tape=tape, tolerance=tolerance, rows=row, joints=joints)


def promise(found, what: str) -> Promise:
    return next(p for p in found.promises if p.what == what)


# figures


def test_sources():
    found = work_out(layout())
    u = {s.kind: s.u / IN for s in found.sources}
    assert u["marks"] == pytest.approx(1 / 16 / math.sqrt(12))
    assert u["sighting"] == pytest.approx(1 / 64)
    assert u["tilt"] == pytest.approx(18.375 * math.radians(2) ** 2 / math.sqrt(45))
    assert u["tilt_mean"] == pytest.approx(TILTED / IN)
    assert u["zero"] == pytest.approx(1 / 64)
    for share in ("in_offset", "in_skew"):
        assert sum(getattr(s, share) for s in found.sources) == pytest.approx(1)
    for common, u_ in zip(found.sources[-2:], (IN / 64, TILTED), strict=True):
        assert common.in_offset == pytest.approx(u_**2 / (U**2 + (IN / 64) ** 2 + TILTED**2))
        assert common.in_skew == 0


@pytest.mark.parametrize("repeats", [1, 4])
def test_shares_are_those_of_the_mean_of_so_many_readings(repeats):
    """By the formulas of the sources: placing and tilt go down with readings, and rounding to what they leave of it."""
    found = work_out(layout(), repeats=repeats)
    share = {s.kind: s.in_skew for s in found.sources}
    mark, hand, tilt = IN / 16, IN / 64, TARGET * math.radians(2) ** 2 / math.sqrt(45)
    kept = float(rounding_kept(math.hypot(hand, tilt), mark))
    parts = {
        "marks": (mark**2 / 12 - kept**2) / repeats + kept**2,
        "sighting": hand**2 / repeats,
        "tilt": tilt**2 / repeats,
    }
    assert share == pytest.approx(
        {kind: v / sum(parts.values()) for kind, v in parts.items()} | {"zero": 0, "tilt_mean": 0}
    )
    tape = layout().tape
    assert sum(parts.values()) == pytest.approx(float(tape.mean_u(TARGET, repeats)) ** 2)
    # an end's offset: one mean reading, and what all of them share
    own, common = sum(parts.values()), {"zero": hand**2, "tilt_mean": TILTED**2}
    of_offset = {kind: v / (own + sum(common.values())) for kind, v in (parts | common).items()}
    assert {s.kind: s.in_offset for s in found.sources} == pytest.approx(of_offset)


def test_offset_skew_and_step_by_hand():
    """Ends read once: an end is one reading and the zero; a skew and a step are two readings."""
    found = work_out(layout(count=3))
    assert found.offset == pytest.approx(math.hypot(U, IN / 64, TILTED))
    assert found.skew == pytest.approx(math.sqrt(2) * U)
    assert found.step == pytest.approx(math.sqrt(2) * U)
    assert found.smallest_skew == pytest.approx(2 * math.sqrt(2) * U)


def test_points_nearer_together_tell_less():
    """Points 6 in apart: the skew over 18 in is three times their difference."""
    assert work_out(layout(points=("6", "12"))).skew == pytest.approx(3 * math.sqrt(2) * U)


def test_without_joints_no_step():
    found = work_out(layout())
    assert math.isnan(found.step)
    assert [p.what for p in found.promises] == ["offset", "square"]


def test_smallest_slip():
    """Two points read once check nothing; three points at even places have redundancies 1/6, 2/3, 1/6."""
    assert math.isinf(work_out(layout()).smallest_slip)
    assert work_out(layout(points=("0", "9", "18"))).smallest_slip == pytest.approx(4.1321479651 * U * math.sqrt(6))
    # each end read twice: half of a slip shows, and of the rounding what both share does not
    own = math.sqrt(U**2 - rounding_kept(math.sqrt(U**2 - (IN / 16) ** 2 / 12), IN / 16) ** 2)
    assert work_out(layout(), repeats=2).smallest_slip == pytest.approx(4.1321479651 * own * math.sqrt(2))


def test_relative_targets_leave_the_zero_out():
    """Deviations from the first section's mid-length: its zero is the same, its readings are not."""
    found = work_out(layout(target="", count=2, tape=ONCE.replace("zero = '1/64'", "zero = '1'")))
    assert found.sources[-1].in_offset == 0
    assert found.offset < 2 * IN / 16


@pytest.mark.parametrize(("u", "tolerance"), [(1.0, 1.9), (1.0, 2.0), (1.0, 3.0), (0.2, 0.7), (0.2, 0.73), (0.5, 5.0)])
def test_chance_of_being_proved(u, tolerance):
    """The estimate of something dead true has to come within T - 2u."""
    room = tolerance - 2 * u
    expected = stats.norm.cdf(room, 0, u) - stats.norm.cdf(-room, 0, u) if room > 0 else 0.0
    assert chance_proved(u, tolerance) == pytest.approx(expected, abs=1e-12)


# what would make it so


@pytest.mark.parametrize("what", ["offset", "square", "step"])
@pytest.mark.parametrize("fraction", ["1/16", "3/64", "1/32"])
def test_least_repeats(what, fraction):
    """As many as it says will do, one fewer will not; None where fifty will not."""
    machine_ = layout(count=2, tolerance="\n".join(f"{k} = '{fraction}'" for k in ("offset", "square", "step")))
    said = promise(work_out(machine_), what)
    if said.repeats is None:
        assert not promise(work_out(machine_, repeats=50), what).proved
    else:
        assert promise(work_out(machine_, repeats=said.repeats), what).proved
        assert not promise(work_out(machine_, repeats=said.repeats - 1), what).proved


@pytest.mark.parametrize("repeats", [1, 3])
def test_coarsest_mark_that_will_do(repeats):
    machine_ = layout(tolerance="square = '1/16'", tape="mark = '1/16'\ntilt = 1\nzero = '1/64'")
    said = promise(work_out(machine_, repeats=repeats), "square")
    if said.mark is None:
        return
    assert promise(work_out(machine_, repeats=said.mark_repeats, mark=said.mark), "square").proved
    coarser = [m for m in MARKS[machine_.units] if said.mark < m * 0.999 and m < IN / 16 * 0.999]
    assert not any(promise(work_out(machine_, repeats=repeats, mark=m), "square").proved for m in coarser)
    assert (
        said.mark_repeats == repeats
        or not promise(work_out(machine_, repeats=said.mark_repeats - 1, mark=said.mark), "square").proved
    )


def test_points_farther_apart():
    """T / u of 3.645 with u the difference of two readings, times length over distance: solved for the distance."""
    machine_ = layout(points=("6", "12"), tolerance="square = '5/32'")
    said = promise(work_out(machine_), "square")
    assert said.apart == pytest.approx(math.sqrt(2) * U * 18 * NEEDED / (5 / 32), rel=1e-4)
    assert 6 * IN < said.apart < 18 * IN
    flat = " ".join(text(work_out(machine_)).split())
    apart = float(sum(map(Fraction, re.search(r'or points (\d+(?: \d+/\d+)?)" apart', flat)[1].split())))
    # never less than will do
    assert said.apart / IN <= apart < said.apart / IN + 1 / 8


def test_points_as_far_apart_as_can_be():
    assert promise(work_out(layout()), "square").apart is None


def test_nothing_would_do():
    """The tape's zero alone is beyond the tolerance: no reading more and no finer mark makes up for it."""
    found = work_out(layout(tape=ONCE.replace("zero = '1/64'", "zero = '1/16'"), tolerance="offset = '1/16'"))
    said = promise(found, "offset")
    assert (said.proved, said.repeats, said.mark, said.apart) == (False, None, None, None)


def test_where_it_is_hardest():
    """The longer section has the larger offset's u at its ends and the larger skew; alike ones give the first."""
    assert promise(work_out(layout(count=3)), "square").where == "a-1"
    assert promise(work_out(layout(count=3)), "step").where == "a-1 / a-2"
    sections = [
        {"name": name, "row": "a", "start": start, "length": length, "points": ["2", "10"]}
        for name, start, length in (("short", "0", "12"), ("long", "20", "30"))
    ]
    found = work_out(machine(sections, units="in", tape=ONCE, rows={"a": "target = '18 3/8'"}))
    assert {p.where for p in found.promises} == {"long"}


# the statement that a 1/32 squareness cannot be proved with a 1/16 tape


def share_proved(machine_, repeats: int, count: int = 400) -> float:
    """Share of simulated surveys of one dead true section, anywhere between two marks, proved square."""
    rng = np.random.default_rng(repeats)
    hand = Hand(machine_, rng)
    proved = 0
    for _ in range(count):
        at = np.array([rng.uniform(0, machine_.tape.mark)])
        skew = fit_train(machine_, hand.survey(at, at, repeats=repeats)).skew
        proved += verdict(float(skew.value[0]), float(skew.u[0]), machine_.tolerance.square) is Verdict.ok
    return proved / count


def test_sixteenths_cannot_prove_a_thirty_second():
    """Each end of an 18 in section read once with 1/16 marks: U of the skew alone is more than twice the 1/32."""
    said = promise(work_out(layout()), "square")
    assert 2 * said.u > 2 * said.tolerance
    assert not said.proved
    assert share_proved(layout(), 1) == 0


def test_repeats_that_would_prove_it_do():
    """
    The number of readings it names, simulated with the tape's own errors and rounding to marks.

    Nine of ten are proved, less what four hundred surveys leave open; with half as many clearly fewer.
    """
    machine_ = layout()
    needed = promise(work_out(machine_), "square").repeats
    assert needed is not None
    enough, half, third = (share_proved(machine_, n) for n in (needed, needed // 2, needed // 3))
    assert enough >= 0.88
    assert half <= enough - 0.05
    assert third <= 0.75


@pytest.mark.parametrize("boxes", [1, 2, 3, 6])
def test_a_sheet_has_as_many_boxes_as_would_prove_it(boxes):
    """Square by a tolerance that the mean of so many readings at each end just proves; five fit at most."""
    at_an_end = float(layout().tape.mean_u(TARGET, boxes))
    just = layout(tolerance=f"square = '{1.001 * NEEDED * math.sqrt(2) * at_an_end / IN:.6f}'\noffset = '1'")
    sheet = plan_sheet(just)
    assert (sheet.repeats, sheet.finer, sheet.work) == ((boxes, False, False) if boxes <= 5 else (5, True, False))


@pytest.mark.parametrize("parts", [32, 64])
def test_the_finer_mark_that_is_named_just_proves_it(parts):
    """Of marks as tapes have them, the coarsest with which one reading at each end does."""
    fine = layout(tape=ONCE.replace("1/16", f"1/{parts}", 1)).tape
    square = 1.001 * NEEDED * math.sqrt(2) * float(fine.mean_u(TARGET, 1))
    said = promise(work_out(layout(tolerance=f"square = '{square / IN:.6f}'")), "square")
    assert (said.mark, said.mark_repeats) == (pytest.approx(IN / parts), 1)


def test_finer_mark_that_would_prove_it_does():
    machine_ = layout(tape="mark = '1/16'\ntilt = 2\nzero = '1/64'")
    said = promise(work_out(machine_), "square")
    assert said.mark is not None
    assert said.mark_repeats is not None
    fine = layout(tape=f"mark = '{said.mark / IN:.6f}'\ntilt = 2\nzero = '1/64'")
    assert share_proved(fine, said.mark_repeats) >= 0.88
    assert share_proved(machine_, said.mark_repeats) <= 0.2


def test_tolerances_that_a_first_layout_is_given():
    """Whole marks, the least that nine dead true surveys in ten prove; an opening has two faces, so twice a step."""
    given = layout(count=2, tolerance="square = '1/64'\noffset = '2'\nstep = '1/64'\nopening = '1/64'")
    fair = fair_tolerances(given)
    us = expected(given, Means(tape=given.tape, repeats=READ))
    for tolerance, u in ((fair.square, us["square"]), (fair.step, us["step"])):
        marks = tolerance / (IN / 16)
        assert marks == pytest.approx(round(marks))
        assert tolerance >= NEEDED * u > tolerance - IN / 16
    assert (fair.offset, fair.opening) == (pytest.approx(2 * IN), pytest.approx(2 * fair.step))


# the program


def told(run, layout_file, *options: object) -> str:
    outcome = run("budget", layout_file, *options)
    assert outcome.status == 0, outcome.err
    assert max(map(len, outcome.out.splitlines()), default=0) <= 80
    return outcome.out


@pytest.mark.parametrize(("name", "units"), [("machine.toml", "in"), ("machine-mm.toml", "mm")])
def test_text(run, samples, name, units):
    out = told(run, samples / name)
    flat = " ".join(out.split())
    assert f"{'1/16' + chr(34) if units == 'in' else '1 mm'} marks, each point read once" in flat
    assert "As it is, this tape cannot prove the offset, squareness or the step." in flat
    assert "To prove squareness: " in flat
    # first what to do, and again as the last line
    first = {"in": 'take 1/64" marks and read each point 9 times: that proves every tolerance.'}
    if units in first:
        assert flat.endswith(first[units])
    assert "Smallest misread tape noticed: none." in flat
    assert "WHERE THE DOUBT COMES FROM" not in out
    out = told(run, samples / name, "--full")
    headings = ("TOLERANCES", "WHAT CAN BE TOLD", "WHERE THE DOUBT COMES FROM", "ABOUT THESE FIGURES")
    assert [h for h in headings if h in out] == list(headings)
    for source in ("marks", "placing and sighting", "tilt", "tape's zero"):
        assert any(line.strip().startswith(source) for line in out.splitlines())


def test_text_of_a_tape_that_will_do(run, samples):
    out = told(run, samples / "machine.toml", "--repeats", 20, "--mark", "1/32")
    assert "This tape can prove every tolerance of the layout." in " ".join(out.split())
    assert "cannot" not in out
    assert "each point read 20 times" in out


def test_text_where_nothing_would_do(run, tmp_path, samples):
    file = tmp_path / "machine.toml"
    text = (samples / "machine.toml").read_text()
    file.write_text(text.replace('zero = "1/64"', 'zero = "1/16"'))
    assert "no number of readings and no finer mark does it alone." in " ".join(told(run, file).split())


@pytest.mark.parametrize("name", ["machine.toml", "machine-mm.toml"])
@pytest.mark.parametrize("units", ["in", "mm"])
def test_json(run, samples, name, units):
    """In either unit, the same lengths."""
    outcome = run("budget", samples / name, "--json", "--units", units, "--repeats", 2)
    found = json.loads(outcome.out)
    size = IN if units == "in" else 1.0
    expected = work_out(read_layout(samples / name), repeats=2)
    assert (found["units"], found["repeats"]) == (units, 2)
    assert found["mark"] * size == pytest.approx(expected.means.tape.mark)
    assert found["u"]["skew"] * size == pytest.approx(expected.skew)
    assert found["smallest_slip"] * size == pytest.approx(expected.smallest_slip)
    assert [s["u"] * size for s in found["sources"]] == pytest.approx([s.u for s in expected.sources])
    for got, p in zip(found["tolerances"], expected.promises, strict=True):
        assert (got["tolerance"], got["where"], got["can_be_proved"]) == (p.what, p.where, p.proved)
        assert got["value"] * size == pytest.approx(p.tolerance)
        assert got["u"] * size == pytest.approx(p.u)
        assert got["chance"] == pytest.approx(p.chance)
    whole = {(t["tolerance"], t["repeats"]) for t in found["tolerances"]}
    assert all(n is None or n >= 2 for _, n in whole)


def test_json_where_no_slip_is_seen(run, samples):
    assert json.loads(run("budget", samples / "machine.toml", "--json").out)["smallest_slip"] is None


def test_mark_to_try(run, samples):
    found = json.loads(run("budget", samples / "machine.toml", "--json", "--mark", "1/32").out)
    assert found["mark"] == pytest.approx(1 / 32)
    assert found["sources"][0]["u"] == pytest.approx(1 / 32 / math.sqrt(12))
    assert '1/32" marks' in told(run, samples / "machine.toml", "--mark", "1/32")
    # a mark of the other unit is not rounded to one of this
    assert '0.039370079" marks' in told(run, samples / "machine.toml", "--mark", "1 mm")


@pytest.mark.parametrize("suffix", [".svg", ".png", ".pdf"])
def test_plot(run, samples, tmp_path, suffix):
    picture = tmp_path / f"budget{suffix}"
    told(run, samples / "machine.toml", "--plot", picture)
    head = picture.read_bytes()[:200]
    assert {".svg": b"<?xml", ".png": b"\x89PNG", ".pdf": b"%PDF"}[suffix] in head


def test_plot_shows_each_tolerance(run, samples, tmp_path):
    picture = tmp_path / "budget.svg"
    told(run, samples / "machine.toml", "--plot", picture)
    text = picture.read_text()
    for what in ('offset 1/16"', 'square 1/16"', 'step 1/16"'):
        assert what in text


def test_out(run, samples, tmp_path):
    file = tmp_path / "budget.txt"
    assert told(run, samples / "machine.toml", "-o", file) == ""
    assert file.read_text() == told(run, samples / "machine.toml")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--mark", "5/7"), "--mark: '5/7' is not a length: 7 does not divide a tape's inch."),
        (("--mark", "0"), "--mark: '0' is not more than nothing."),
        (("--mark", "18 5/"), "--mark: '18 5/' is not a length:"),
        (("--mark", "nan"), "--mark: 'nan' is not a length"),
        (("--repeats", "0"), "--repeats"),
        (("--repeats", "51"), "--repeats"),
        (("--repeats", "two"), "--repeats"),
        (("--units", "cubits"), "--units"),
        (("--plot", "budget.doc"), "budget.doc"),
    ],
)
def test_bad_input(run, samples, tmp_path, monkeypatch, options, said):
    """One message, exit status 2, nothing on standard output, nothing written."""
    monkeypatch.chdir(tmp_path)
    outcome = run("budget", samples / "machine.toml", "-o", "out.txt", "--plot", "budget.svg", *options)
    assert outcome.status == 2
    assert said in outcome.err
    assert outcome.out == ""
    assert list(tmp_path.iterdir()) == []


def test_missing_layout(run, tmp_path):
    outcome = run("budget", tmp_path / "machine.toml")
    assert (outcome.status, outcome.out) == (2, "")
    assert "machine.toml" in outcome.err


def test_points_spread_about_the_middle_of_the_section():
    """Points near the entry end are stretched about its middle: there so far apart, they just do for the offset."""
    near = layout(points=("1", "7"), tolerance="offset = '1/8'\nsquare = '1'")
    said = promise(work_out(near), "offset")
    assert said.apart is not None

    def at(apart: float) -> bool:
        margin = 9 - apart / IN / 2
        spread = layout(points=(f"{margin:.5f}", f"{18 - margin:.5f}"), tolerance="offset = '1/8'\nsquare = '1'")
        return promise(work_out(spread), "offset").proved

    assert at(said.apart * 1.001)
    assert not at(said.apart * 0.98)


def test_what_to_do_where_no_one_thing_proves_all():
    """Each tolerance has a way of its own, none serves all; one that has none at all is named."""
    found = work_out(layout())
    once = {"where": "a-1", "tolerance": 1.0, "u": 1.0}
    often = Promise(what=Measurand.offset, **once, repeats=9)
    finer = Promise(what=Measurand.square, **once, mark=IN / 64, mark_repeats=1)
    apart = Promise(what=Measurand.step, **once, apart=10 * IN)
    never = Promise(what=Measurand.step, **once)

    def said(*promises: Promise) -> str:
        return " ".join(text(replace(found, promises=promises)).split())

    assert said(often, finer).endswith("First: do for each tolerance what is said beside it.")
    assert said(often, finer, apart).endswith("First: do for each tolerance what is said beside it.")
    assert said(often, never).endswith("No tape of common marks proves the step here.")
    assert said(finer).endswith('First: take 1/64" marks and read each point once: that proves every tolerance.')
    # as many readings as now are not told again
    assert 'To prove squareness: 1/64" marks.' in said(finer)
    assert 'To prove squareness: 1/64" marks with 4 readings.' in said(replace(finer, mark_repeats=4))
