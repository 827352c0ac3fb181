"""One row drawn down a narrow page: what stands where, on both sides of the strip, before and after readings."""

import re

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from alignment.machine.layout_file import parse_layout
from alignment.machine.survey_text import parse_survey
from alignment.show.pictures.narrow import FACE, NarrowMove, NarrowSection, row_sheet, work_sheet
from alignment.train.work.next_act import Act, next_act
from tests.phone.conftest import LAYOUT

HEAD = "section,point,reading,kind\n"
OFF = HEAD + 2 * "operator-1,entry,18 3/8,\noperator-1,exit,18 1/2,\n"


def drawn(layout, text):
    found = next_act(layout, parse_survey(text, layout, "job.csv", begun=True))
    figure = work_sheet(found, "operator")
    FigureCanvasAgg(figure).draw()
    return found, figure


def words(figure):
    return [text.get_text() for text in figure.axes[0].texts if text.get_text()]


def test_nothing_read(layout):
    _, figure = drawn(layout, HEAD)
    assert "operator-1\nnot read" in words(figure)
    assert len(figure.axes[0].patches) == 2


def test_readings_and_the_move(layout):
    found, figure = drawn(layout, OFF)
    assert found.act is Act.move
    said = words(figure)
    assert said[0] == "Row operator, wanted 18 3/8"
    assert {"18 3/8", "18 1/2", "operator-1\nmove", "operator-2\nnot read", "1"} <= set(said)
    # the exit end is drawn farther from the string, and its arrow points toward it
    body = figure.axes[0].patches[0].get_xy()
    assert body[0][0] == pytest.approx(FACE)
    assert body[1][0] > FACE + 0.2
    arrows = [text for text in figure.axes[0].texts if getattr(text, "arrow_patch", None)]
    assert len(arrows) == len(found.stops)
    exit_ = arrows[-1]
    assert exit_.xy[0] < exit_.xyann[0]


def test_the_factor_is_that_of_the_drawing(layout):
    _, figure = drawn(layout, OFF)
    factor = float(re.search(r"drawn (\d+) times", " ".join(words(figure)))[1])
    body = figure.axes[0].patches[0].get_xy()
    across, along = body[1][0] - body[0][0], body[1][1] - body[0][1]
    # an eighth of an inch over fifteen inches
    assert factor == pytest.approx((across / 0.125) / (along / 15), rel=0.02)


def test_legible_on_a_phone_and_nothing_overlaps(layout):
    """Nine points at least where 4.5 inches are shown as 360 of the page's points, of which an inch has 96."""
    _, figure = drawn(layout, OFF)
    renderer = FigureCanvasAgg(figure).get_renderer()
    boxes = []
    for text in figure.axes[0].texts:
        if text.get_text():
            boxes.append((text.get_text(), text.get_window_extent(renderer)))
            assert text.get_fontsize() * (360 / 4.5) / 96 >= 9
    for k, (one, box) in enumerate(boxes):
        assert figure.bbox.x0 <= box.x0
        assert box.x1 <= figure.bbox.x1, one
        assert not any(box.overlaps(other) for _, other in boxes[k + 1 :]), one


def test_only_the_section_that_is_asked_for_is_moved(layout):
    text = OFF + 2 * "operator-2,entry,18 3/8,\noperator-2,exit,18 1/2,\n"
    found, figure = drawn(layout, text)
    assert found.act is Act.move
    arrows = [text for text in figure.axes[0].texts if getattr(text, "arrow_patch", None)]
    assert len(arrows) == len(found.stops)


def test_sections_stand_apart_as_they_do(layout):
    """One begins 35 inches behind the other, both 15 long, all to one scale along the machine."""
    apart = parse_layout(LAYOUT.replace('start = "16"', 'start = "35"'), "machine.toml")
    _, figure = drawn(apart, OFF)
    first, second = [np.array(patch.get_xy())[:, 1] for patch in figure.axes[0].patches[:2]]
    assert (second.min() - first.min()) / np.ptp(first) == pytest.approx(35 / 15)


def test_the_disc_of_a_move_holds_its_number_and_keeps_to_its_section(layout):
    """A bolt at the very end too: its disc is no wider than the shortest section leaves room for at its ends."""
    section = NarrowSection(
        name="a", start=0, length=100, ends=(0.0, 3.0), readings=("467", "470"), words="move", good=False,
        moves=tuple(NarrowMove(place=place, toward=True, number=k) for k, place in ((1, 0), (2, 100))),
    )  # fmt: skip
    figure = row_sheet([section], title="", note="", tolerance=1.5, left=True)
    renderer = FigureCanvasAgg(figure).get_renderer()
    axes = figure.axes[0]
    top, bottom = sorted({round(float(y), 6) for y in np.array(axes.patches[0].get_xy())[:, 1]})
    discs = [line for line in axes.lines if line.get_marker() == "o"]
    numbers = [text for text in axes.texts if text.get_text() in ("1", "2")]
    assert len(discs) == len(numbers) == 2
    for disc, number in zip(discs, numbers, strict=True):
        radius = disc.get_ms() / 72 / 2
        y = float(disc.get_ydata()[0])
        assert top < y - radius < y + radius < bottom
        box = number.get_window_extent(renderer)
        assert np.hypot(box.width, box.height) / figure.dpi / 2 < radius
