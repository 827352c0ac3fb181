"""Where everything of a panel is drawn, counted in inches of paper from the numbers that were measured."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.figure import Figure

from alignment.panel.panel import measure
from alignment.panel.panel_file import parse_panel
from alignment.show.pictures import panel, panel_plan

PANEL = """
[panel]
name = "p"
units = "mm"
width = "400"
length = "3000"
[[offsets]]
of = "camber"
edge = "drive"
line = "outside"
places = ["0", "1500", "3000"]
readings = ["0", "6", "0"]
[limits]
camber = { height = "4", over = "1500" }
[[across]]
at = "lead"
width = "402"
[[across]]
at = "middle"
width = "400"
[[across]]
at = "tail"
width = "398"
[[wave]]
where = "operator"
height = "3"
pitch = "450"
places = ["600", "1200"]
"""
LENGTH = 11.5 - 2 * 1.6
"""Paper for 3000 mm. [inches]"""
HALF = 0.75
"""Paper from the middle of the panel to its nominal edge. [inches]"""
SCALE = 0.02
"""Paper for a millimetre of departure. [inches]"""


@pytest.fixture
def plan():
    result = measure(parse_panel(PANEL, "p.toml"))
    return panel_plan.draw_plan(Figure().add_subplot(), result, SCALE)


def lines(plan, style):
    """Ends and middle of each line of a style."""
    found = [line for line in plan.lines if line.get_linestyle() == style]
    return [np.array(line.get_xydata()) for line in found]


def test_an_inch_is_an_inch(plan):
    left, right = plan.get_xlim()
    bottom, top = plan.get_ylim()
    assert (left, right - left) == pytest.approx((-1.6, 11.5))
    # y runs down the page, to the right of the strip
    assert (top, bottom - top) == pytest.approx((-HALF - 1.0, panel_plan.PLAN))


def test_the_nominal_panel_and_its_edges(plan):
    box = next(np.array(line.get_xydata()) for line in plan.lines if len(line.get_xydata()) == 5)
    assert box == pytest.approx(np.array([(0, -HALF), (LENGTH, -HALF), (LENGTH, HALF), (0, HALF), (0, -HALF)]))
    left, right = [np.array(line.get_xydata()) for line in plan.lines if line.get_zorder() == 4]
    # hollow at the drive edge by 6 mm in the middle; 402 wide at the lead end, on the right, and 398 at the tail
    for edge, side in ((left, -1), (right, 1)):
        assert edge[[0, -1], 0] == pytest.approx([0, LENGTH])
        wider = SCALE * side * np.array([-1, 0, 1])
        assert edge[[0, 60, -1], 1] == pytest.approx(side * HALF + wider + SCALE * np.array([0, -6, 0]), abs=1e-4)


def test_the_arc_that_is_allowed(plan):
    """4 mm over 1500 is 16 mm over 3000, on the hollow edge and to its side."""
    (allowed,) = [np.array(line.get_xydata()) for line in plan.lines if line.get_linestyle() == ":"] or [
        np.array(line.get_xydata()) for line in plan.lines if line.get_zorder() == 6 and len(line.get_xydata()) == 121
    ]
    ends = (allowed[0, 1] + allowed[-1, 1]) / 2
    assert allowed[60, 1] - ends == pytest.approx(-16 * SCALE)
    assert ends == pytest.approx(HALF)


def test_names_of_edges_stand_outside_the_nominal_panel():
    """Of a panel that is 10 mm too narrow all along: the dashed edge is the outermost at either side."""
    text = PANEL.replace('"402"', '"390"').replace('"398"', '"390"').replace('width = "400"\n[[', 'width = "390"\n[[')
    text = text.partition("[[wave]]")[0].replace('"6"', '"0"')
    plan = panel_plan.draw_plan(Figure().add_subplot(), measure(parse_panel(text, "p.toml")), SCALE)
    at = [text.get_position()[1] for text in plan.texts if text.get_text().endswith(" edge")]
    assert sorted(at) == pytest.approx([-HALF - 0.2, HALF + 0.2])


def test_widths_stand_clear_of_the_ends(plan):
    arrows = [text for text in plan.texts if getattr(text, "arrow_patch", None) and text.xy[0] == text.xyann[0]]
    at = sorted(round(float(text.xy[0]), 6) for text in arrows if text.get_zorder() == 3)
    assert at == pytest.approx([0.3, LENGTH / 2 + 0.3, LENGTH - 0.3])


def test_waves_lie_in_their_zone(plan):
    """Two strokes at each crest, near the left edge, as far from the lead end as they were."""
    strokes = [np.array(line.get_xydata()) for line in plan.lines if len(line.get_xydata()) == 61]
    assert [stroke[30, 0] for stroke in strokes] == pytest.approx(
        [LENGTH * (3000 - place) / 3000 for place in (600, 600, 1200, 1200)]
    )
    # as wide as four fifths of the pitch, but for room
    assert strokes[0][-1, 0] - strokes[0][0, 0] == pytest.approx(0.9)
    assert np.ptp([stroke[:, 1].mean() for stroke in strokes[:2]]) == pytest.approx(0.12)
    left = next(np.array(line.get_xydata()) for line in plan.lines if line.get_zorder() == 4)
    for one, other in (strokes[:2], strokes[2:]):
        inside = (one[:, 1].mean() + other[:, 1].mean()) / 2 - np.interp(one[30, 0], *left.T)
        assert inside == pytest.approx(0.16, abs=0.002)


def test_the_ruler_counts_from_the_lead_end(plan):
    marks = {text.get_text(): text.get_position()[0] for text in plan.texts if text.get_text().isdecimal()}
    assert marks["0"] == pytest.approx(LENGTH)
    assert marks["3000"] == pytest.approx(0)
    assert marks["1000"] == pytest.approx(LENGTH * 2 / 3)


@pytest.mark.parametrize(("legs", "way"), [("up", 1), ("down", -1)])
def test_a_bow_beside_what_is_allowed(legs, way):
    """Up 5 mm in the middle of 3000; 2 mm allowed over 1500 is 8 over 3000; legs are drawn as they stood."""
    text = (
        PANEL.partition("[[offsets]]")[0]
        + f'legs = "{legs}"\n[[offsets]]\nof = "bow"\nedge = "drive"\nline = "over"\n'
        + 'places = ["0", "1500", "3000"]\nreadings = ["0", "5", "0"]\n'
        + '[limits]\nbow = { height = "2", over = "1500" }\n'
    )
    result = measure(parse_panel(text, "p.toml"))
    assert result.bow is not None
    axes = panel.draw_bow(Figure().add_subplot(), result, result.bow)
    curves = [np.array(line.get_xydata()) for line in axes.lines if len(line.get_xydata()) == 121]
    allowed, (inner, bow) = curves[-1], curves[:2]
    rise = bow[60, 1] - (bow[0, 1] + bow[-1, 1]) / 2
    assert bow[[0, -1], 0] == pytest.approx([0, LENGTH])
    assert (allowed[60, 1] - (allowed[0, 1] + allowed[-1, 1]) / 2) / rise == pytest.approx(8 / 5, rel=1e-3)
    assert inner[:, 1] - bow[:, 1] == pytest.approx(way * 0.16)
    bottom, top = axes.get_ylim()
    assert top - bottom == pytest.approx(panel.SIDE_VIEW)


def test_all_of_a_panel_is_on_its_sheet():
    """An inch is an inch from top to bottom: plan, view from the side and words, none over another."""
    text = PANEL.replace('length = "3000"\n', 'length = "3000"\nlegs = "up"\n') + (
        '[[offsets]]\nof = "bow"\nedge = "drive"\nline = "over"\n'
        'places = ["0", "1500", "3000"]\nreadings = ["0", "5", "0"]\n'
    )
    figure = panel.panel_sheet(measure(parse_panel(text, "p.toml")))
    high = figure.get_figheight()
    plan, side = [axes.get_position() for axes in figure.axes]
    assert plan.height * high == pytest.approx(panel_plan.PLAN)
    assert side.height * high == pytest.approx(panel.SIDE_VIEW)
    assert plan.y0 == pytest.approx(side.y1)
    # the words below it are four and more lines of 0.17
    lines = [text for text in figure.texts if text.get_position()[1] < side.y0]
    assert lines
    assert side.y0 * high == pytest.approx(0.25 + 0.17 * len(lines))
