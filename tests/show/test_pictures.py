"""What pictures say and where: that words stand clear of one another, and that scales and limits are told apart."""

from __future__ import annotations

import random
import re
from itertools import pairwise

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.markers import MarkerStyle
from matplotlib.text import Annotation

from alignment.change.comparison import compare
from alignment.change.history import follow
from alignment.lengths import Units
from alignment.machine.layout import Plane
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_files import read_survey, read_surveys
from alignment.panel.panel import measure
from alignment.panel.panel_file import parse_panel, read_panel
from alignment.show.pictures import budget as budget_plots
from alignment.show.pictures import comparison as comparison_plots
from alignment.show.pictures import drawing, scales
from alignment.show.pictures import history as history_plots
from alignment.show.pictures import panel as panel_plots
from alignment.show.pictures import record as report_plots
from alignment.show.pictures import train as plots
from alignment.show.words.cautions import SHORT
from alignment.train import budget as preanalysis
from alignment.train.solve import solve
from tests.tools.machines import machine, readings

FACING = {
    "operator": "string = 'o'\nstring_side = 'left'\ntarget = '600'",
    "drive": "string = 'd'\nstring_side = 'right'\ntarget = '600'",
}


def sample(samples, name: str):
    layout = read_layout(samples / "machine.toml")
    return solve(layout, read_survey(samples / name, layout))


def crooked(count: int, seed: int, bolts=("0", "450")):
    """A train whose sections lie anyhow, with its bolts where they are asked for, by default at the very ends."""
    rng = random.Random(seed)  # noqa: S311
    parts = [
        {"name": f"{row}-{k}", "row": row, "start": 500 * k, "length": 450, "bolts": list(bolts)}
        for row in FACING
        for k in range(count)
    ]
    layout = machine(parts, rows=FACING, tolerance="offset = '1.5'\nsquare = '1'\nstep = '1.5'")
    rows = [(p["name"], end, round(600 + rng.gauss(0, 3), 1)) for p in parts for end in ("entry", "exit")]
    return solve(layout, readings(layout, rows))


def boxes(axes, words):
    """Where words stand, with their frames. [pixels]"""
    figure = axes.get_figure()
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    return [
        (text.get_bbox_patch() or text).get_window_extent(renderer) for text in axes.texts if words(text.get_text())
    ]


# --- the train -------------------------------------------------------------------------------------------------


def test_lockout_stands_above_the_first_move(samples):
    texts = {
        text.get_text(): text.get_position()[1] for text in plots.train_sheet(sample(samples, "as-found.csv")).texts
    }
    first = next(y for said, y in texts.items() if said.startswith("1  "))
    assert next(y for said, y in texts.items() if said.startswith(SHORT[0])) > first
    assert all(line in " ".join(texts) for line in SHORT)
    assert "Lock out and tag out every energy source" in " ".join(texts)


def test_lockout_stands_above_what_is_to_be_read_again():
    """A section with one reading far off: reading it again sends a person to the machine too."""
    layout = machine([{"name": f"s{k}", "row": "r", "start": 500 * k, "length": 450} for k in range(3)])
    rows = [(f"s{k}", end, 600 + 10 * (k == 1 and end == "exit")) for k in range(3) for end in ("entry", "exit")]
    texts = [text.get_text() for text in plots.train_sheet(solve(layout, readings(layout, rows))).texts]
    asked = next(k for k, said in enumerate(texts) if said.startswith(("Before moving:", "Read again:")))
    assert next(k for k, said in enumerate(texts) if said.startswith(SHORT[0])) < asked


def test_nothing_to_move_sends_nobody(samples):
    said = [text.get_text() for text in plots.train_sheet(sample(samples, "as-left.csv")).texts]
    assert SHORT[0] not in " ".join(said)


@pytest.mark.parametrize(("count", "bolts"), [(5, ("0", "450")), (15, ("100", "350"))])
def test_each_move_is_a_numbered_disc_with_an_arrow(count, bolts):
    """One at each bolt end to move, numbered as in the list, no amount beside it, within its own section."""
    solution = crooked(count, 0, bolts)
    every = plots.train_sheet(solution).axes
    texts = [text for axes in every[: len(every) // 2] for text in axes.texts]
    numbers = [text for text in texts if text.get_text().isdigit() and text.get_color() == "white"]
    order = list(dict.fromkeys(step.section for step in solution.plan.steps))
    moves = zip(solution.layout.sections, solution.plan.moves, strict=True)
    wanted = [str(order.index(section.name) + 1) for section, both in moves for move in both if move]
    assert sorted(text.get_text() for text in numbers) == sorted(wanted)
    arrows = [text for text in texts if isinstance(text, Annotation)]
    assert len(arrows) == len(wanted) + len(every) // 2, "and the one of each part that says which way the strip runs"
    for text in numbers:
        section = next(s for s in solution.layout.sections if s.name == order[int(text.get_text()) - 1])
        assert section.start < text.get_position()[0] < section.end
    assert not any(": " in text.get_text() for text in texts)


def test_both_states_are_drawn_at_one_scale(samples):
    """What does not move is drawn the same in both, and both axes are alike in size and limits."""
    solution = sample(samples, "as-found.csv")
    one, other = plots.train_sheet(solution).axes
    assert (one.get_xlim(), one.get_ylim()) == (other.get_xlim(), other.get_ylim())
    assert one.get_position().size == pytest.approx(other.get_position().size)
    faces = [
        {tuple(np.round([*line.get_xdata(), *line.get_ydata()], 6)) for line in axes.lines if line.get_lw() == 2.4}
        for axes in (one, other)
    ]
    still = np.count_nonzero(~solution.plan.moves.any(axis=1))
    assert len(faces[0] & faces[1]) == still > 0


@pytest.mark.parametrize("name", [".svg", ".pdf"])
def test_the_hatch_is_in_the_file(samples, name):
    """As the key says: as a pattern that is used, with a line that is seen."""
    layout = read_layout(samples / "machine.toml")
    surveys = [read_survey(samples / f"{day}.csv", layout) for day in ("as-found", "as-left")]
    train, change = (
        plots.train_sheet(solve(layout, surveys[0])),
        comparison_plots.comparison_sheet(compare(layout, *surveys)),
    )
    assert "Hatched: OUT or OUT?" in " ".join(text.get_text() for text in train.texts)
    for figure in (train, change):
        drawn = plots.render(figure, name)
        if name == ".pdf":
            assert re.search(rb"/PatternType 1\b", drawn)
            continue
        (pattern, *_) = re.findall(r'<pattern id="(\w+)".*?</pattern>', drawn.decode(), re.DOTALL)
        told = drawn.decode()
        assert f"fill: url(#{pattern})" in told
        looks = re.search(r"<pattern.*?</pattern>", told, re.DOTALL)[0]
        assert re.search(r"stroke: #[0-9a-f]{6}", looks)
        use = next(line for line in told.splitlines() if f"url(#{pattern})" in line)
        assert "opacity" not in use


@pytest.mark.parametrize(("points", "told"), [(2, True), (6, False)])
def test_readings_are_told_where_they_can_be_read(points, told):
    """Every point has its mark; its number is left out where the section has no room for all of them."""
    places = [f"{450 * k / (points - 1):g}" for k in range(points)]
    parts = [{"name": f"s{k}", "row": "r", "start": 500 * k, "length": 450, "points": places} for k in range(15)]
    layout = machine(parts, rows={"r": "target = '600'"})
    rows = [(part["name"], place, 600) for part in parts for place in places]
    every = plots.train_sheet(solve(layout, readings(layout, rows))).axes
    assert sum(line.get_marker() == "D" for axes in every for line in axes.lines) == 15 * points
    assert [text.get_text() for axes in every for text in axes.texts].count("600") == 15 * points * told


def test_a_section_not_measured_enough_is_drawn_as_such():
    """Its place stays empty, with its name; the others have their verdicts."""
    layout = machine([{"name": f"s{k}", "row": "r", "start": 500 * k, "length": 450} for k in range(3)])
    rows = [("s0", "entry", 600), ("s0", "exit", 600), ("s1", "entry", 600), ("s2", "entry", 600), ("s2", "exit", 600)]
    axes = plots.train_sheet(solve(layout, readings(layout, rows))).axes[0]
    said = [
        text.get_text() for text in axes.texts if text.get_text().startswith("s") and "string" not in text.get_text()
    ]
    assert [text.split()[0] for text in said if not text.endswith("not measured enough")] == ["s0", "s2", "strip"]
    assert [text for text in said if text.endswith("not measured enough")] == ["s1\nnot measured enough"]
    assert sum(line.get_marker() == "D" for line in axes.lines) == 4


def test_an_axis_along_the_machine_has_its_unit(samples):
    found = sample(samples, "as-found.csv")
    assert {axes.get_xlabel() for axes in plots.train_sheet(found).axes} == {
        "inches from the zero mark, downstream to the right"
    }
    assert plots.train_sheet(crooked(3, 1)).axes[0].get_xlabel().startswith("millimetres from the zero mark")


def test_long_titles_keep_to_the_sheet(samples):
    """Names are left to the drawing where the title has no room for them; words wrap."""
    for figure in (plots.train_sheet(sample(samples, "leaning-string.csv")), plots.train_sheet(crooked(15, 2))):
        renderer = FigureCanvasAgg(figure).get_renderer()
        figure.draw(renderer)
        titles = [axes._left_title for axes in figure.axes]
        assert all(text.get_window_extent(renderer).x1 <= figure.bbox.x1 for text in [*figure.texts, *titles])


@pytest.mark.parametrize(
    ("factor", "told"),
    [(19.9, 15), (20, 20), (7.99, 6), (1.19, 1), (124, 120), (0.034, 0.03), (2.6, 2.5), (5.5, 5), (48, 40)],
)
def test_round_factor(factor, told):
    assert scales.round_down(factor) == pytest.approx(told)


@pytest.mark.parametrize(
    ("units", "length", "most", "told"),
    [
        (Units.inch, 100 * 25.4, 14, range(0, 97, 12)),
        (Units.inch, 120 * 25.4, 10, range(0, 121, 12)),
        (Units.inch, 600 * 25.4, 14, range(0, 601, 48)),
        (Units.mm, 3000, 10, range(0, 3001, 500)),
        (Units.mm, 2500, 14, range(0, 2401, 200)),
    ],
)
def test_places_along(units, length, most, told):
    """Whole steps of the unit from the zero mark on, which is not 'minus nought'."""
    places = scales.places_along(units, -0.02 * length, length, most + 1)
    assert [f"{units.of(x):.0f}" for x in places] == [str(x) for x in told]


def test_a_step_stands_beside_its_bar_and_its_ends_are_seen():
    """Three sections, the middle one 6 mm away, so 6 mm at either joint: clear of the bar, less than a line from it."""
    parts = [{"name": f"s{k}", "row": "r", "start": 500 * k, "length": 450} for k in range(3)]
    layout = machine(parts, rows={"r": "target = '600'"}, tolerance="step = '1.5'", joints=[("s0", "s1"), ("s1", "s2")])
    rows = [(f"s{k}", end, 600 + 6 * (k == 1)) for k in range(3) for end in ("entry", "exit")]
    axes = plots.train_sheet(solve(layout, readings(layout, rows))).axes[0]
    bars = [line for line in axes.lines if len(line.get_xdata()) == 2 and np.ptp(line.get_xdata()) == 0]
    bars = [bar for bar in bars if bar.get_lw() == 1.4]
    assert [bar.get_xdata()[0] for bar in bars] == [475, 975]
    said = boxes(axes, lambda words: "6" in words and "step" in words)
    assert len(said) == 2
    inch = axes.get_figure().dpi
    for bar, box in zip(bars, said, strict=True):
        (x, *_), ys = axes.transData.transform(bar.get_xydata()).T
        assert box.x0 < x < box.x1
        gap = max(box.y0 - max(ys), min(ys) - box.y1)
        assert 0 < gap < 8 / 72 * inch
    # the short strokes at its ends lie on the faces, and under nothing but words, moves and readings
    strokes = [line for line in axes.lines if line.get_marker() == "_"]
    faces = [line for line in axes.lines if line.get_lw() == 2.4]
    assert len(strokes) == 4
    assert max(face.get_zorder() for face in faces) < min(stroke.get_zorder() for stroke in strokes)
    moves = [line for line in axes.lines if line.get_marker() in ("D", "o", "^")]
    assert max(stroke.get_zorder() for stroke in strokes) < min(mark.get_zorder() for mark in moves)


# --- before and after ------------------------------------------------------------------------------------------


def test_facing_rows_stand_below_one_another(samples):
    """The drive row is an inch shorter than the operator row; their scales are one."""
    layout = read_layout(samples / "machine.toml")
    surveys = (read_survey(samples / name, layout) for name in ("as-found.csv", "as-left.csv"))
    one, other = comparison_plots.comparison_sheet(compare(layout, *surveys)).axes
    assert one.get_xlim() == other.get_xlim()
    assert one.get_position().x0 == other.get_position().x0


def far_out(tolerance: str, by: float):
    """One section 600 from its string that stands away by so much, read twice, on facing rows. [mm]"""
    parts = [{"name": f"{row}-{k}", "row": row, "start": 500 * k, "length": 450} for row in FACING for k in range(2)]
    layout = machine(parts, rows=FACING, tolerance=f"offset = '{tolerance}'")
    rows = [(p["name"], e, 600 + by * (p["start"] == 0)) for p in parts for e in ("entry", "exit")]
    return compare(layout, readings(layout, rows), readings(layout, rows))


@pytest.mark.parametrize("tolerance", ["0.5", "1.5", "3"])
@pytest.mark.parametrize(("times", "told"), [(1, True), (3, True), (60, False)])
def test_limits_are_told_where_they_are_apart(tolerance, times, told):
    """Tolerance and nought stand a letter's height apart at the edge, or nought alone is told."""
    figure = comparison_plots.comparison_sheet(far_out(tolerance, times * float(tolerance)))
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    for axes in figure.axes:
        labels = axes.get_yticklabels()
        assert sorted(round(float(tick), 6) for tick in axes.get_yticks()) == (
            [-float(tolerance), 0, float(tolerance)] if told else [0]
        )
        spots = sorted((label.get_window_extent(renderer) for label in labels), key=lambda box: box.y0)
        assert all(one.y1 <= other.y0 for one, other in pairwise(spots))


@pytest.mark.parametrize("by", [0, 3, 40])
def test_the_frame_is_alike_on_both_sides(by):
    """The facing rows are one another's mirror image; the largest deviation takes more than half of its side."""
    found = far_out("1.5", by)
    left, right = (axes.get_ylim() for axes in comparison_plots.comparison_sheet(found).axes)
    assert left == pytest.approx(right[::-1])
    away, toward = max(left), min(left)
    largest = max(by, 1.3 * 1.5)
    assert away / 2 < largest < away
    assert -away < toward < -largest


def test_rows_stand_left_to_right_then_the_rest():
    rows = dict(reversed(FACING.items()))
    layout = machine([{"name": row, "row": row, "start": 0, "length": 450} for row in rows], rows=rows)
    assert drawing.rows_down(layout, Plane.side) == ["operator", "drive"]
    assert drawing.rows_down(layout, Plane.height) == []


# --- the budget ------------------------------------------------------------------------------------------------


def test_shaded_share_is_where_the_promise_begins():
    """Inside the shade what is dead true is proved in often enough, outside not."""
    share = budget_plots.SHARE / preanalysis.COVERAGE
    assert (
        preanalysis.chance_proved(share * 0.999, 1.0)
        > preanalysis.PROVED
        > preanalysis.chance_proved(share * 1.001, 1.0)
    )
    # Student's table of the normal law, two-sided 90 %: 1.645 (JCGM 100:2008, table G.2, infinite degrees of freedom)
    assert pytest.approx(2 / (2 + 1.645), abs=2e-4) == budget_plots.SHARE


@pytest.mark.parametrize(("repeats", "words"), [(1, "1 reading"), (3, "3 readings"), (7, "7 readings")])
def test_budget_picture_tells_what_was_asked_for(samples, repeats, words):
    layout = read_layout(samples / "machine.toml")
    found = preanalysis.work_out(layout, repeats=repeats)
    axes = budget_plots.draw_budget(found).axes[0]
    assert f"you asked for {words}" in [text.get_text() for text in axes.texts]
    # the curves pass through what the budget itself says
    for line in axes.lines:
        what = str(line.get_label()).split()[0]
        if what in ("offset", "square", "step"):
            promise = next(p for p in found.promises if p.what == what)
            at = list(line.get_xdata()).index(repeats)
            assert line.get_ydata()[at] == pytest.approx(2 * promise.u / promise.tolerance)


def test_budget_picture_without_joints_has_no_step():
    layout = machine([{"name": "a", "row": "r", "start": 0, "length": 450}], rows={"r": "target = '600'"})
    figure = budget_plots.draw_budget(preanalysis.work_out(layout))
    assert [text.get_text().split()[0] for text in figure.legends[0].get_texts()] == ["square", "offset"]


def test_budget_picture_rehearses_each_number_once(samples, monkeypatch):
    layout = read_layout(samples / "machine.toml")
    found = preanalysis.work_out(layout)
    fits, rehearse = [], preanalysis._rehearse
    monkeypatch.setattr(preanalysis, "_rehearse", lambda *a, **k: fits.append(a) or rehearse(*a, **k))
    budget_plots.draw_budget(found)
    assert len(fits) == len(budget_plots.REPEATS)


def test_words_stand_beside_the_curves(samples):
    layout = read_layout(samples / "machine.toml")
    axes = budget_plots.draw_budget(preanalysis.work_out(layout, repeats=3)).axes[0]
    inside = axes.get_window_extent()
    assert not any(inside.overlaps(box) for box in boxes(axes, bool))


def test_curves_that_fall_together_are_all_to_be_seen(samples):
    """Each lies below thinner ones; of each mark what lies above it leaves an eighth of its area at least."""
    axes = budget_plots.draw_budget(preanalysis.work_out(read_layout(samples / "machine.toml"))).axes[0]
    curves = sorted((c for c in axes.lines if c.get_marker() not in ("None", None)), key=lambda c: c.get_zorder())
    assert len(curves) == 3
    assert all(one.get_lw() > other.get_lw() for one, other in pairwise(curves))
    at = np.stack(np.meshgrid(*[np.linspace(-10, 10, 201)] * 2), axis=-1).reshape(-1, 2)
    marks = [MarkerStyle(curve.get_marker()) for curve in curves]
    covered = [
        mark.get_path().transformed(mark.get_transform().scale(curve.get_ms())).contains_points(at)
        for mark, curve in zip(marks, curves, strict=True)
    ]
    for k, mark in enumerate(covered):
        above = np.any(covered[k + 1 :], axis=0)
        assert np.count_nonzero(mark & ~above) > np.count_nonzero(mark) / 8


@pytest.mark.parametrize("repeats", [1, 5, 24])
def test_what_was_asked_for_is_said_like_the_rest(samples, repeats):
    """Between the curves and their names, in letters of the size of the other words."""
    axes = budget_plots.draw_budget(preanalysis.work_out(read_layout(samples / "machine.toml"), repeats=repeats)).axes[
        0
    ]
    assert len({text.get_fontsize() for text in axes.texts}) == 1
    (asked,) = boxes(axes, lambda said: said.startswith("you asked"))
    (names,) = axes.get_figure().legends
    assert not names.get_window_extent().overlaps(asked)


# --- over time -------------------------------------------------------------------------------------------------


def followed(samples):
    layout = read_layout(samples / "machine.toml")
    names = ("before-move.csv", "as-found.csv", "as-left.csv")
    return follow(layout, read_surveys([samples / name for name in names], layout))


def test_surveys_of_one_day_stand_apart(samples):
    """Two of three surveys are hours apart after a week: evenly spaced, said so, each with its date, year and time."""
    sheet = history_plots.history_sheet(followed(samples))
    axes = sheet.axes[0]
    assert np.diff(axes.get_xticks()) == pytest.approx(np.diff(axes.get_xticks())[0])
    labels = [text.get_text() for text in axes.get_xticklabels()]
    assert labels == ["2026-09-24\n15:10", "2026-10-02\n07:40", "2026-10-02\n13:25"]
    assert "evenly spaced" in " ".join(text.get_text() for text in sheet.texts)


def test_each_quantity_has_its_own_limits():
    """Offset 3, skew 1: lines at both, each in the manner of its values, with its name."""
    layout = machine(
        [{"name": "a", "row": "r", "start": 0, "length": 400}],
        rows={"r": "target = '600'"},
        tolerance="offset = '3'\nsquare = '1'",
    )
    days = ("2025-01-06", "2025-02-06", "2025-03-06")
    surveys = [readings(layout, [("a", e, 600) for e in ("entry", "exit")], record=f"# taken: {d}\n") for d in days]
    axes = history_plots.history_sheet(follow(layout, surveys)).axes[0]
    flat = {
        (line.get_color(), round(float(line.get_ydata()[0]), 6))
        for line in axes.lines
        if len(line.get_xdata()) == 2 and line.get_transform() != axes.transData
    }
    assert {(history_plots.OFFSET, 3.0), (history_plots.OFFSET, -3.0)} <= flat
    assert {(history_plots.SKEW, 1.0), (history_plots.SKEW, -1.0)} <= flat
    assert [text.get_text() for text in axes.get_yticklabels()] == [
        "0", "offset -3.0", "offset +3.0", "skew -1.0", "skew +1.0",
    ]  # fmt: skip
    assert axes.get_xticks()[1] - axes.get_xticks()[0] == 31, "months apart, they stand at their dates"


# --- the panel -------------------------------------------------------------------------------------------------


def test_end_cuts_say_how_far_off_and_how_sure(samples):
    axes = panel_plots.panel_sheet(measure(read_panel(samples / "tray.toml"))).axes[0]
    said = [text.get_text() for text in axes.texts if text.get_text().startswith("off square")]
    assert len(said) == 2
    assert all("(U " in text and text.rsplit(": ", 1)[1] in ("OK", "OK?", "?", "OUT?", "OUT") for text in said)


PANEL = '[panel]\nname = "p"\nunits = "mm"\nwidth = "400"\nlength = "3000"\nlegs = "up"\nleg = "50"\n'
ARC = '[[offsets]]\nof = "{of}"\nedge = "drive"\nplaces = ["0", "1500", "3000"]\nreadings = ["0", "{height}", "0"]\n'


def panel_of(text: str):
    return measure(parse_panel(PANEL + text, "p.toml"))


def test_a_panel_of_which_little_was_measured():
    """A leg alone: the plain rectangle, both ends not told, nothing of a sweep, a width or a bow."""
    (axes,) = panel_plots.panel_sheet(panel_of('[[across]]\nat = "lead"\noperator_leg = "50"\n')).axes
    said = [text.get_text() for text in axes.texts]
    assert said.count("square\nnot told") == 2
    assert not any("sweep" in text or "400" in text for text in said)
    half = panel_plots.BODY / 2
    edges = [line.get_ydata() for line in axes.lines if len(line.get_xdata()) == 121]
    assert [(min(y), max(y)) for y in edges] == [(-half, -half), (half, half)]


def test_a_straight_panel_is_said_to_be_straight():
    (axes,) = panel_plots.panel_sheet(panel_of(ARC.format(of="camber", height="0"))).axes
    said = [text.get_text() for text in axes.texts]
    assert "no sweep seen" in said
    assert not any("sweeps toward" in text for text in said)


def test_a_limit_is_drawn_where_one_was_chosen():
    """One dotted line more in each view, and said in its words; without one neither a line nor a verdict."""
    text = ARC.format(of="camber", height="6") + ARC.format(of="bow", height="6").replace(
        "edge =", 'line = "over"\nedge ='
    )
    own = '{ height = "9", over = "3000" }'
    bare, judged = (panel_plots.panel_sheet(panel_of(text + limits)).axes for limits in
                    ("", f"[limits]\ncamber = {own}\nbow = {own}\n"))  # fmt: skip
    for one, other, words in zip(bare, judged, ("sweeps toward drive: 6.0", "bow: ends up, 6.0"), strict=True):
        assert len(other.lines) == len(one.lines) + 1
        (plain,), (told,) = (
            [t.get_text() for t in axes.texts if t.get_text().startswith(words)] for axes in (one, other)
        )
        assert told == f"{plain}, OK   (dotted: limit)"


@pytest.mark.parametrize("of", ["camber", "bow"])
def test_the_record_draws_a_bow_where_one_was_measured(of):
    (drawn,) = report_plots.panel_picture(panel_of(ARC.format(of=of, height="6"))).strips
    said = [line for shape in drawn.shapes if shape["kind"] == "words" for line in shape["lines"]]
    assert any(line.startswith("Seen from the drive edge, legs up.") for line in said) is (of == "bow")
    assert drawn.height == pytest.approx(panel_plots.PLAN + panel_plots.SIDE_VIEW * (of == "bow"))


@pytest.mark.parametrize(("suffix", "deviation"), [("", 25.4 * 3 / 16), ("-mm", 5.0)])
def test_deviations_are_as_much_larger_as_is_told(samples, suffix, deviation):
    """Of the section whose exit end reads 3/16 in or 5 mm too much, beside its length; and a sheet keeps its width."""
    layout = read_layout(samples / f"machine{suffix}.toml")
    found = solve(layout, read_survey(samples / f"as-found{suffix}.csv", layout))
    figure = plots.train_sheet(found)
    told = re.search(r"drawn (\d+) times larger", " ".join(text.get_text() for text in figure.texts))
    assert told is not None
    axes = figure.axes[0]
    wide, high = figure.get_size_inches()
    assert wide == pytest.approx(11.5)
    box = axes.get_position()
    along = box.width * wide / np.diff(axes.get_xlim())[0]
    across = box.height * high / -np.diff(axes.get_ylim())[0]
    entry, exit_ = np.array(axes.patches[1].get_xy())[:2]
    section = layout.sections[1]
    assert (entry[0], exit_[0]) == pytest.approx((section.start, section.start + section.length))
    larger = across * (exit_[1] - entry[1]) / along / deviation
    assert larger == pytest.approx(float(told[1]), rel=1e-6)


def test_the_strip_runs_downstream_in_the_middle_and_each_string_hangs_on_its_side(samples):
    layout = read_layout(samples / "machine.toml")
    figure = plots.train_sheet(solve(layout, read_survey(samples / "as-found.csv", layout)))
    axes = figure.axes[0]
    (run,) = [a for a in axes.texts if isinstance(a, Annotation) and not a.get_text() and a.xy[1] == a.xyann[1]]
    assert run.xy[0] > run.xyann[0]
    assert (run.xy[0] + run.xyann[0]) / 2 == pytest.approx(np.mean(axes.get_xlim()), rel=1e-6)
    for lane in drawing.lanes_of(layout, Plane.side).values():
        side = -1 if layout.rows[lane.row].side == "left" else 1
        flat = {round(float(line.get_ydata()[0]), 9) for line in axes.lines if np.ptp(line.get_ydata()) == 0}
        assert round(lane.y + side * drawing.STRING, 9) in flat


def test_arrows_of_moves_are_to_scale_and_go_their_way(samples):
    """In inches of paper, but never so short that the disc hides them; a string on the left is up the page."""
    layout = read_layout(samples / "machine.toml")
    found = solve(layout, read_survey(samples / "as-found.csv", layout))
    axes = plots.train_sheet(found).axes[0]
    bottom, top = axes.get_ylim()
    scale = 20 * (plots.train_sheet(found).get_figwidth() - 1.2) / np.diff(axes.get_xlim())[0]
    drawn = [a.xy[1] - a.xyann[1] for a in axes.texts if isinstance(a, Annotation) and a.xy[0] == a.xyann[0]]
    expected = []
    for section, both in zip(layout.sections, found.plan.moves, strict=True):
        toward = -1 if layout.rows[section.row].side == "left" else 1
        expected += [toward * np.sign(move) * max(abs(move) * scale, 0.105 + 0.22) for move in both if move]
    assert bottom > top
    assert sorted(drawn) == pytest.approx(sorted(expected))
    assert max(map(abs, expected)) > 0.33


@pytest.mark.parametrize("suffix", ["", "-mm"])
def test_deviations_of_a_record_are_as_much_larger_as_is_told(samples, suffix):
    """By the grey band: twice the tolerance high, as long as its row; the machine keeps to the margins of a page."""
    layout = read_layout(samples / f"machine{suffix}.toml")
    found = solve(layout, read_survey(samples / f"as-found{suffix}.csv", layout))
    (picture,) = report_plots.state_pictures([("As found", found, False)])
    told = re.search(r"drawn (\d+) times larger", picture.key)
    assert told is not None
    band = np.array(next(shape["points"] for shape in picture.strips[0].shapes if shape["kind"] == "area"))
    long, high = np.ptp(band, axis=0)
    row = layout.row_sections("operator")
    along = long / (row[-1].end - row[0].start)
    assert (high / 2 / layout.tolerance.offset) / along == pytest.approx(float(told[1]), rel=2e-3)
    reach = max(s.end for s in layout.sections) - min(s.start for s in layout.sections)
    assert along * reach * 1.04 == pytest.approx(picture.strips[0].width - 1.2, abs=1e-3)


def test_a_picture_of_a_record_has_twelve_strips_at_most():
    """However many sections there are, and however long their names: more would fill the record."""
    parts = [
        {"name": f"forming pass no. {k}, north side", "row": "r", "start": 50 * k, "length": 40} for k in range(56)
    ]
    layout = machine(parts, rows={"r": "target = '600'"})
    rows = [(f'"{p["name"]}"', end, 600) for p in parts for end in ("entry", "exit")]
    (picture,) = report_plots.state_pictures([("As found", solve(layout, readings(layout, rows)), False)])
    assert len(picture.strips) == 12


@pytest.mark.parametrize("planes", [("side",), ("height",), ("side", "height")])
def test_a_record_tells_from_where_a_state_is_seen_where_there_are_two_views(planes):
    side = {"side": "left", "height": "above"}
    rows = {p: f"plane = '{p}'\nstring = '{p}'\nstring_side = '{side[p]}'\ntarget = '600'" for p in planes}
    layout = machine([{"name": f"{p} 1", "row": p, "start": 0, "length": 450} for p in planes], rows=rows)
    taken = readings(layout, [(f"{p} 1", end, 600) for p in planes for end in ("entry", "exit")])
    found = report_plots.state_pictures([("As found", solve(layout, taken), False)])
    views = ["As found, seen from above", "As found, seen from the side"]
    assert [picture.title for picture in found] == (views if len(planes) == 2 else ["As found"])


def test_the_words_of_a_panel_stand_above_and_below_its_drawing():
    """Verdict and meanings above the plan, each line clear of the one before; the rest below."""
    text = ARC.format(of="camber", height="6") + '[limits]\ncamber = { height = "1", over = "3000" }\n'
    figure = panel_plots.panel_sheet(panel_of(text))
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    (plan,) = (axes.get_window_extent(renderer) for axes in figure.axes)
    lines = [words.get_window_extent(renderer) for words in figure.texts]
    assert all(line.y0 >= plan.y1 or line.y1 <= plan.y0 for line in lines)
    assert all(one.y0 >= other.y1 for one, other in pairwise(lines))


def test_a_long_name_ends_before_the_next_section_begins():
    """Over time: a name of 200 letters takes most of the breadth of its own drawing, and no more."""
    names = [f"{'operator side '}{'pass and stand ' * 12}{k}" for k in range(3)]
    layout = machine(
        [{"name": n, "row": "r", "start": 500 * k, "length": 450} for k, n in enumerate(names)],
        rows={"r": "target = '600'"},
    )
    rows = [(f'"{n}"', e, 600) for n in names for e in ("entry", "exit")]
    days = [readings(layout, rows, record=f"# taken: 2025-0{d}-06\n") for d in (1, 2, 3)]
    figure = history_plots.history_sheet(follow(layout, days))
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    for axes in figure.axes:
        name, frame = axes._left_title.get_window_extent(renderer), axes.get_window_extent(renderer)
        assert 0.6 * frame.width < name.width < 1.1 * frame.width
