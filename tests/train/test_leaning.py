"""A string that leans: found, told apart from skewed sections, and what hanging it anew would take away."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from alignment.choices import Line
from alignment.train.flags import leaning as leaning_test
from alignment.train.flags.find import find_flags
from alignment.train.flags.leaning import find_leans, lean_tests
from alignment.train.train import Train, fit_train
from tests.tools import flag_rates
from tests.tools.machines import machine, readings, said

STEP, LENGTH, TARGET = 500, 450, 600


def train(deviations, rows=None, line: Line = Line.string, **section) -> Train:
    """Sections of one row or more, at even places, whose ends deviate as given. [mm]"""
    rows = rows or {"a": f"target = '{TARGET}'"}
    names = [name for name in rows for _ in deviations[name]]
    count = [k for name in rows for k in range(len(deviations[name]))]
    sections = [
        {"name": f"{name}-{k + 1}", "row": name, "start": str(STEP * k), "length": str(LENGTH), **section}
        for name, k in zip(names, count, strict=True)
    ]
    layout = machine(sections, rows=rows)
    read = [
        (f"{name}-{k + 1}", point, f"{TARGET + d:.3f}")
        for name in rows
        for k, ends in enumerate(deviations[name])
        for point, d in zip(("entry", "exit"), ends, strict=True)
    ]
    return fit_train(layout, readings(layout, read), line=line)


def leaning(slope: float, count: int = 5, seed: int = 1, scatter: float = 1.2) -> list[tuple[float, float]]:
    """Ends of sections seen from a leaning string, each section out by itself besides. [mm]"""
    own = np.random.default_rng(seed).normal(0, scatter, (count, 2))
    start = STEP * np.arange(count)
    return [(float(a + slope * s), float(b + slope * (s + LENGTH))) for (a, b), s in zip(own, start, strict=True)]


@pytest.mark.parametrize("slope", [0.0, 0.001, 0.004, -0.004, 0.02])
@pytest.mark.parametrize("seed", range(6))
def test_test_is_that_of_a_plain_regression(slope, seed):
    """scipy.stats.linregress of the section ends on their places, tested at 1 %: F(1, 2 n - 2) is t squared."""
    t = train({"a": leaning(slope, 7, seed, scatter=3.0)})
    x = np.concatenate([t.start, t.start + t.length])
    plain = stats.linregress(x, np.concatenate([end.value for end in t.ends]))
    (test,) = lean_tests(t)
    assert test.slope == pytest.approx(plain.slope, rel=1e-9)
    assert test.limit >= plain.stderr * stats.t.ppf(0.995, 12) * (1 - 1e-9)
    assert test.u >= plain.stderr * (1 - 1e-9)
    # nothing is found that the plain test does not find, and little that it does is lost to the test for blocks
    assert bool(find_leans(t)) <= (plain.pvalue < 0.01)
    assert bool(find_leans(t)) or not plain.pvalue < 1e-5


@pytest.mark.parametrize(("seed", "slope"), [(1, 0.006), (4, 0.006)])
def test_two_sections_are_tested_by_the_plain_regression_alone(seed, slope):
    """Two sections, out by more than the tape: t with two degrees of freedom, 9.92 at 1 %."""
    t = train({"a": leaning(slope, 2, seed, scatter=2.0)})
    x = np.concatenate([t.start, t.start + t.length])
    plain = stats.linregress(x, np.concatenate([end.value for end in t.ends]))
    (test,) = lean_tests(t)
    assert stats.t.ppf(0.995, 2) == pytest.approx(9.925, abs=1e-3)
    assert test.limit == pytest.approx(stats.t.ppf(0.995, 2) * plain.stderr, rel=1e-9)
    assert test.leans is None


@pytest.mark.parametrize(("off", "limit"), [(0.1, 9.0), (6.0, None)])
def test_two_sections_as_straight_as_the_tape_can_tell_lean_from_nine_times_its_uncertainty_on(off, limit):
    """By a tenth of a millimetre they are; by 6 mm they are not, and Student's 9.92 of their own scatter it is."""
    t = train({"a": [(off, -off), (-off, off)]})
    places = np.array([0, LENGTH, STEP, STEP + LENGTH])
    plain = stats.linregress(places, [off, -off, -off, off])
    of_tape = np.hypot(1 / np.sqrt(12), 0.4) / np.sqrt(np.sum((places - places.mean()) ** 2))
    (test,) = lean_tests(t)
    assert test.limit == pytest.approx(limit * of_tape if limit else stats.t.ppf(0.995, 2) * plain.stderr, rel=1e-3)


def test_sections_out_as_blocks_are_no_lean():
    """Both ends of a section out alike: ten ends are no ten measurements. Accused in 1 % at the most."""
    rng = np.random.default_rng(7)
    accused = 0
    for _ in range(400):
        own = rng.normal(0, 3.2, 6)
        accused += bool(find_leans(train({"a": [(a, a) for a in own.tolist()]})))
    # four standard errors of 400 about 1 %
    assert accused / 400 <= 0.01 + 4 * np.sqrt(0.01 * 0.99 / 400)


@pytest.mark.parametrize("slope", [0.0, 0.02])
def test_blocks_are_tested_by_their_offsets_and_skews_apart(slope):
    """A slope of offsets at their leverage and of skews at theirs, with the degrees of freedom of GUM G.4.1."""
    own = np.random.default_rng(11).normal((0, slope * LENGTH), (3.0, 0.4), (7, 2))
    middle = STEP * np.arange(7) + LENGTH / 2
    blocks = [(o + slope * x - s / 2, o + slope * x + s / 2) for (o, s), x in zip(own.tolist(), middle, strict=True)]
    t = train({"a": blocks})
    entry, exit_ = (end.value for end in t.ends)
    places = np.concatenate([middle - LENGTH / 2, middle + LENGTH / 2])
    plain = stats.linregress(places, np.concatenate([entry, exit_]))
    offsets = (entry + exit_) / 2 - plain.intercept - plain.slope * middle
    skews = exit_ - entry - plain.slope * LENGTH
    moment = np.sum((places - places.mean()) ** 2)
    of_offsets = np.sum(offsets**2) / 5 * np.sum((2 * (middle - middle.mean())) ** 2) / moment**2
    of_skews = np.sum(skews**2) / 7 * 7 * (LENGTH / 2) ** 2 / moment**2
    dof = (of_offsets + of_skews) ** 2 / (of_offsets**2 / 5 + of_skews**2 / 7)
    (test,) = lean_tests(t)
    assert test.u == pytest.approx(np.sqrt(of_offsets + of_skews), rel=1e-9)
    assert test.limit == pytest.approx(test.u * stats.t.ppf(0.995, dof), rel=1e-9)


@pytest.mark.parametrize(("of_it", "leans"), [(0.98, False), (1.02, None)])
def test_string_is_ruled_out_where_both_offset_tolerances_would_have_been_found(of_it, leans):
    """Five dead true sections: Student's 0.5 % point, eight degrees of freedom, and 0.842 more for four in five."""
    places = np.concatenate([STEP * np.arange(5), STEP * np.arange(5) + LENGTH])
    span, moment = 4 * STEP + LENGTH, np.sum((places - places.mean()) ** 2)
    u = of_it * 2 * 1.6 / span * np.sqrt(moment) / (stats.t.ppf(0.995, 8) + stats.norm.ppf(0.8))
    parts = [{"name": f"s{k}", "row": "a", "start": str(STEP * k), "length": str(LENGTH)} for k in range(5)]
    how = {"tape": f"mark = '0.001'\nset = '{u:.6f}'\ntilt = 0\nzero = '0'", "tolerance": "offset = '1.6'"}
    layout = machine(parts, rows={"a": f"target = '{TARGET}'"}, **how)
    read = [(s.name, end, TARGET) for s in layout.sections for end in ("entry", "exit")]
    (test,) = lean_tests(fit_train(layout, readings(layout, read)))
    assert test.u == pytest.approx(u / np.sqrt(moment), rel=1e-4)
    assert test.leans is leans


def test_absence_of_a_lean_is_believed_where_it_would_have_been_seen():
    """A lean of both offset tolerances over five true sections, 3.2 mm: seen by fine marks, not by two sections."""
    fine = {"tape": "mark = '0.1'\nset = '0.05'\ntilt = 0\nzero = '0'"}
    for count, how, leans in ((1, fine, None), (2, {}, None), (5, fine, False)):
        parts = [{"name": f"s{k}", "row": "a", "start": str(STEP * k), "length": str(LENGTH)} for k in range(count)]
        layout = machine(parts, rows={"a": f"target = '{TARGET}'"}, **how)
        read = [(s.name, end, TARGET) for s in layout.sections for end in ("entry", "exit")]
        (test,) = lean_tests(fit_train(layout, readings(layout, read)))
        assert test.leans is leans, count
        assert np.isinf(test.limit) == (count == 1)


def test_sections_on_a_line_by_chance_are_not_surer_than_the_tape():
    """Offsets that grow by a third of a mark over the machine, on one exact line: the tape cannot tell it."""
    tiny = 0.3 / (STEP * 4)
    assert find_leans(train({"a": leaning(tiny, scatter=0.0)})) == ()
    (lean,) = find_leans(train({"a": leaning(0.01, scatter=0.0)}))
    u = np.hypot(1 / np.sqrt(12), 0.4)
    places = np.concatenate([STEP * np.arange(5), STEP * np.arange(5) + LENGTH])
    moment = np.sum((places - places.mean()) ** 2)
    assert lean.expanded == pytest.approx(stats.t.ppf(0.975, 8) * u / np.sqrt(moment), rel=1e-6)


def test_share_is_what_hanging_it_anew_takes_away():
    """The string moved as told, the deviations' squares summed again by hand; and no lean is left."""
    before = leaning(0.01)
    (lean,) = find_leans(train({"a": before}))
    after = []
    for k, ends in enumerate(before):
        x = STEP * k + np.array([0, LENGTH])
        by = lean.entry + (lean.exit - lean.entry) * (x - lean.first) / (lean.last - lean.first)
        after.append(tuple(float(d) for d in np.array(ends) - by))
    assert find_leans(train({"a": after})) == ()
    # readings are written to a thousandth
    assert lean.share == pytest.approx(1 - np.sum(np.square(after)) / np.sum(np.square(before)), abs=1e-3)
    assert lean.share > 0.9


def test_two_sections_exactly_on_a_leaning_line():
    """The string is named, and no reading: their skews are its slope too."""
    t = train({"a": leaning(0.02, count=2, scatter=0.0)})
    (lean,) = find_leans(t)
    assert lean.slope == pytest.approx(0.02)
    (flag,) = [f for f in find_flags(t) if f.harmful]
    assert said(flag) == (
        "All sections on string a slope the same way, 19.0 mm away from it over 950.0 mm (U 3.00): the string is "
        "probably crooked. Hanging its exit end 19.0 mm nearer to the faces would explain 100 % of it: look at the "
        "string before moving any section."
    )


def test_one_section_is_no_row_to_lean():
    assert find_leans(train({"a": leaning(0.05, count=1)})) == ()


def test_rows_on_both_sides_of_a_string_lean_opposite_ways():
    """What is farther from the string on one side is nearer to it on the other: one lean, from all ten sections."""
    rows = {side[0]: f"target = '{TARGET}'\nstring = 's'\nstring_side = '{side}'" for side in ("left", "right")}
    this, other = leaning(0.01, seed=3), leaning(-0.01, seed=4)
    (lean,) = find_leans(train({"l": this, "r": other}, rows))
    assert lean.slope == pytest.approx(0.01, abs=lean.expanded)
    assert lean.string == "s"
    # both sides growing alike is no lean of the string between them
    assert find_leans(train({"l": this, "r": leaning(0.01, seed=4)}, rows)) == ()


def test_rows_without_targets():
    """Deviations relative to the first section lean as well."""
    (lean,) = find_leans(train({"a": leaning(0.01)}, {"a": ""}))
    assert lean.slope == pytest.approx(0.01, abs=lean.expanded)


def test_no_lean_from_a_fitted_line():
    """The fitted line has taken it away already."""
    assert find_leans(train({"a": leaning(0.01)}, line=Line.fitted)) == ()


@pytest.mark.parametrize(("slope", "way", "hang"), [(0.01, "away from", "nearer to"), (-0.01, "toward", "farther")])
def test_flag_says_which_end_to_hang_and_by_how_much(slope, way, hang):
    t = train({"a": leaning(slope, scatter=0.2)})
    (lean,) = find_leans(t)
    (flag,) = [f for f in find_flags(t) if f.flag == "line-skewed"]
    span = STEP * 4 + LENGTH
    assert flag.string == "a"
    assert f"{abs(lean.slope * span):.1f} mm {way} it over {span}.0 mm" in said(flag)
    assert f"exit end {abs(lean.exit):.1f} mm {hang}" in said(flag)
    # its entry end hangs right, within what can be told
    assert "its entry end" not in said(flag)
    assert f"explain {100 * lean.share:.0f} % of it" in said(flag)
    assert flag.numbers["grow"] == pytest.approx(slope * span, abs=flag.numbers["U"])


# --- in words ----------------------------------------------------------------------------------------------------


def slanted(shift: float = 0.0, start: int = 1000):
    """Five sections from 1000 on, whose faces come to lie 49 farther over their 2450, and the flag that says so."""
    parts = [{"name": f"s{k}", "row": "a", "start": str(start + STEP * k), "length": str(LENGTH)} for k in range(5)]
    layout = machine(parts, rows={"a": f"target = '{TARGET}'"})
    own = np.random.default_rng(3).normal(0, 1, (5, 2))
    read = [
        (f"s{k}", end, f"{TARGET + shift + 0.02 * (STEP * k + x) + own[k, e]:.6f}")
        for k in range(5)
        for e, (end, x) in enumerate((("entry", 0), ("exit", LENGTH)))
    ]
    found = fit_train(layout, readings(layout, read))
    (lean,) = find_leans(found)
    (flag,) = [f for f in find_flags(found) if f.flag == "line-skewed"]
    return lean, flag


def test_numbers_of_a_string_that_leans():
    lean, flag = slanted()
    assert (lean.first, lean.last) == (1000, 3450)
    assert flag.numbers["grow"] == pytest.approx(49, abs=4)
    assert flag.numbers["grow"] == pytest.approx(lean.slope * 2450)
    assert flag.numbers["U"] == pytest.approx(lean.expanded * 2450)
    assert "over 2450.0 mm" in said(flag)
    assert flag.numbers["exit"] - flag.numbers["entry"] == pytest.approx(flag.numbers["grow"])


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("times", "named"), [(0.45, False), (0.55, True), (1.5, True)])
def test_end_to_hang_anew_is_named_from_half_of_u_on(times, named, sign):
    """Of the growth's U; all readings shifted so that the entry end is off by just so much of it."""
    lean, flag = slanted()
    want = sign * times * flag.numbers["U"]
    lean, flag = slanted(want - lean.entry)
    assert lean.entry == pytest.approx(want, abs=1e-4)
    way = "nearer to" if sign > 0 else "farther from"
    entry = f"its entry end {abs(want):.1f} mm {way} the faces"
    exit_ = f"its exit end {lean.exit:.1f} mm nearer to the faces"
    assert f"Hanging {f'{entry}, ' if named else ''}{exit_} would explain" in said(flag)


@pytest.mark.parametrize("slope", [0.02, -0.02, 0.0004, -0.0004])
def test_which_way_and_what_share(slope):
    """Toward the string or away, and the share of the squares as worked out from the offsets and ends themselves."""
    start = STEP * np.arange(5)
    own = np.array([0.3, -0.5, 0.1, 0.4, -0.3]) * slope / 0.02
    ends = np.stack([slope * start + own, slope * (start + LENGTH) + own], axis=1)
    fine = {"tape": "mark = '0.001'\nset = '0.0001'\ntilt = 0\nzero = '0'"}
    parts = [{"name": f"s{k}", "row": "a", "start": str(STEP * k), "length": str(LENGTH)} for k in range(5)]
    layout = machine(parts, rows={"a": f"target = '{TARGET}'"}, **fine)
    read = [(f"s{k}", e, f"{TARGET + ends[k, j]:.9f}") for k in range(5) for j, e in enumerate(("entry", "exit"))]
    (flag,) = [f for f in find_flags(fit_train(layout, readings(layout, read))) if f.flag == "line-skewed"]
    line = np.polyfit(np.stack([start, start + LENGTH], axis=1).ravel(), ends.ravel(), 1)
    left = ends - np.polyval(line, np.stack([start, start + LENGTH], axis=1))
    assert f"mm {'away from' if slope > 0 else 'toward'} it over 2450.0 mm" in said(flag, layout)
    assert f"would explain {100 * (1 - np.sum(left**2) / np.sum(ends**2)):.0f} % of it" in said(flag, layout)
    assert flag.numbers["exit"] == pytest.approx(np.polyval(line, 2450))
    exit_ = (
        f"its exit end {abs(np.polyval(line, 2450)):.1f} mm {'nearer to' if slope > 0 else 'farther from'} the faces"
    )
    assert exit_ in said(flag, layout)
    assert flag.numbers["entry"] == pytest.approx(np.polyval(line, 0))


@pytest.mark.parametrize(
    ("scatter", "most"), [(1.0, 0.001), (3.0, 0.002), (5.3, 0.007), (9.0, 0.01), (12.0, 0.01), (30.0, 0.01005)]
)
def test_two_straight_sections_are_seldom_accused_however_far_out(scatter, most):
    """
    How often the test of two sections rejects, integrated with scipy's normal and chi-square distributions.

    Section ends out by themselves, by so many times what the tape tells; 5.3 is 1/8 in by a 1/16 tape.
    """
    quantile = (np.arange(20_000) + 0.5) / 20_000
    left = scatter**2 * stats.chi2.ppf(quantile, 2)
    alone = left <= stats.chi2.ppf(leaning_test.PAIR_ALONE, 2)
    beyond = np.where(alone, leaning_test.PAIR, np.maximum(np.sqrt(left / 2), 1) * stats.t.ppf(0.995, 2))
    accused = float(np.mean(2 * stats.norm.sf(beyond / scatter)))
    assert accused <= most
    # the command's rule is that of the program: on draws of its own, three standard errors
    drawn = flag_rates.pair_accused(np.sqrt(scatter**2 - 1), 100_000) / 100
    assert drawn == pytest.approx(accused, abs=3 * np.sqrt(accused / 100_000) + 1e-4)


def test_the_command_accuses_what_the_program_accuses():
    """Two sections on and off a line that leans more and more, by the rule as it is and as the command draws it."""
    rng = np.random.default_rng(4)
    fine = {"tape": "mark = '0.001'\nset = '0.5'\ntilt = 0\nzero = '0'"}
    at = [("s0", 0), ("s1", 18 + 2)]
    parts = [{"name": n, "row": "a", "start": f"{x * 25.4}", "length": f"{18 * 25.4}"} for n, x in at]
    layout = machine(parts, rows={"a": f"target = '{TARGET}'"}, **fine)
    told = []
    for grow in np.linspace(0, 16, 60):
        ends = rng.normal(0, 0.6, 4) + grow * np.array([0, 18, 18 + 2, 2 * 18 + 2]) / (2 * 18 + 2)
        rows = [(f"s{k // 2}", ("entry", "exit")[k % 2], f"{TARGET + d:.9f}") for k, d in enumerate(ends)]
        (test,) = lean_tests(fit_train(layout, readings(layout, rows)))
        told.append(test.leans is True)
        assert bool(flag_rates.pair_leans(ends[None], layout.tape.reading_u(TARGET))[0]) is told[-1], grow
    assert any(told)
    assert not all(told)


def test_three_eighths_are_found_with_two_perfect_sections():
    """
    A lean of 3/8 in over two true sections, read once with a 1/16 tape: nine in ten or more.

    At most 95 % can be found by any test that accuses a straight string in 1 % of machines out by up to 1/8 in (linear
    programme over all tests that do not acquit a larger slope).
    """
    kind = flag_rates.Kind(sections=2)
    assert flag_rates.rates(kind, 400, seed=3)["lean"] / 100 >= 0.91 - 4 * np.sqrt(0.91 * 0.09 / 400)
