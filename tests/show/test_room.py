"""Every picture of a train, whatever its size: no words over others, none off the sheet, the hatch in every file."""

from __future__ import annotations

import random
from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from alignment.change.comparison import compare
from alignment.machine.layout import Plane
from alignment.show.letters import width_of
from alignment.show.pictures.comparison import comparison_sheet
from alignment.show.pictures.narrow import work_sheet
from alignment.show.pictures.record import state_pictures
from alignment.show.pictures.sheets import Sheet, wrapped
from alignment.show.pictures.train import train_sheet
from alignment.show.words.work import STATES
from alignment.train.solve import solve
from alignment.train.work.next_act import next_act
from tests.tools.machines import machine, readings

LONG = "upper former stand with the spare jaw, unit "
KINDS = {
    # sections a row, what differs from the plain kind
    "one": (1, {}),
    "two": (2, {}),
    "nine": (9, {}),
    "fourteen long names": (14, {"prefix": LONG}),
    "five points": (4, {"points": 5}),
    "fourteen with five points": (14, {"points": 5}),
    "setbacks": (6, {"setback": 60}),
    "heights": (6, {"heights": True}),
    "wide letters": (6, {"prefix": "成形机段"}),
    "inches": (6, {"units": "in"}),
    "thirty in inches": (30, {"units": "in"}),
    "bolts at the ends": (9, {"bolts": (0, 1)}),
}


def built(kind: str, seed: int = 1):
    """A machine of that kind, and what was read at it: anyhow, most of it out."""
    count, how = KINDS[kind]
    rng = random.Random(seed)  # noqa: S311
    inch = how.get("units") == "in"
    one, pitch, target = (15.0, 16.0, 18.375) if inch else (380.0, 406.0, 467.0)
    noise = 0.18 if inch else 4.5
    rows = {
        "operator": f"string = 'operator'\nstring_side = 'left'\ntarget = '{target}'",
        "drive": f"string = 'drive'\nstring_side = 'right'\ntarget = '{target}'",
    }
    if how.get("heights"):
        rows["beds"] = f"string = 'beds'\nplane = 'height'\nstring_side = 'above'\ntarget = '{target}'"
    parts, taken = [], []
    for row in rows:
        for k in range(count):
            name = f"{how.get('prefix', '')}{row}-{k + 1}"
            points = how.get("points", 2)
            places = [f"{one * j / (points - 1):g}" for j in range(points)]
            entry, exit_ = how.get("bolts", (2 / 15, 13 / 15))
            setback = f"{how.get('setback', 0) * (k % 2)}"
            parts.append(
                {"name": name, "row": row, "start": f"{pitch * k:g}", "length": f"{one:g}", "points": places,
                 "bolts": [f"{one * entry:g}", f"{one * exit_:g}"], "setback": setback}
            )  # fmt: skip
            grain = 0.0625 if inch else 1.0
            for place in places:
                read = target + float(setback) + rng.gauss(0, noise)
                taken.append((f'"{name}"', place, f"{round(read / grain) * grain:g}"))
    tape = "mark = '1/16'" if inch else "mark = '1'\nset = '0.4'\ntilt = 0\nzero = '0.4'"
    layout = machine(parts, rows=rows, units="in" if inch else "mm", tape=tape)
    return layout, readings(layout, taken)


def words(figure, renderer) -> list[tuple[str, object]]:
    """All that is to be read on a sheet, and the room that it takes. [pixels]"""
    found: list[Text] = list(figure.texts)
    for axes in figure.axes:
        if not axes.axison:
            found += axes.texts
            continue
        ticks = [tick.label1 for axis in (axes.xaxis, axes.yaxis) for tick in axis._update_ticks()]
        titles = [axes.title, axes._left_title, axes._right_title]
        axes._update_title_position(renderer)
        axes.xaxis.get_tightbbox(renderer)
        axes.yaxis.get_tightbbox(renderer)
        found += [*axes.texts, *titles, *ticks, axes.xaxis.label, axes.yaxis.label]
    return [(text.get_text(), text.get_window_extent(renderer)) for text in found
            if text.get_visible() and text.get_text().strip()]  # fmt: skip


def faults(figure) -> list[str]:
    """Words that meet others or run off the sheet; a pixel does not count."""
    figure.set_plain()
    renderer = RendererAgg(1, 1, figure.dpi)
    sheet = figure.bbox
    told = words(figure, renderer)
    off = [f"off the sheet: {said!r}" for said, box in told
           if box.x0 < sheet.x0 or box.x1 > sheet.x1 or box.y0 < sheet.y0 or box.y1 > sheet.y1]  # fmt: skip
    boxes = [(said, box.padded(-1)) for said, box in told]
    return off + [f"{a!r} over {b!r}" for (a, one), (b, other) in combinations(boxes, 2) if one.overlaps(other)]


@pytest.mark.parametrize("kind", KINDS)
def test_no_words_meet_on_the_sheet_of_a_train(kind):
    solution = solve(*built(kind))
    for plane in [Plane.side, *[Plane.height] * ("heights" in kind)]:
        figure = train_sheet(solution, plane)
        assert faults(figure) == []
        # and nothing was left out for it that has to be there
        read = [axes for axes in figure.axes if axes.get_title(loc="left").startswith("As read")]
        seen = [text.get_text() for axes in read for text in axes.texts if text.get_visible() and text.get_text()]
        shown = [i for i, s in enumerate(solution.layout.sections) if solution.layout.rows[s.row].plane is plane]
        assert sum(said.isdigit() and len(said) < 3 for said in seen) == np.count_nonzero(solution.plan.moves[shown])
        verdicts = [solution.state.sections[i].verdict.printed for i in shown]
        assert sorted(said.split()[-1] for said in seen if said.split()[-1] in verdicts) == sorted(verdicts)


@pytest.mark.parametrize("kind", KINDS)
def test_no_words_meet_where_two_states_are_compared(kind):
    layout, before = built(kind)
    _, after = built(kind, seed=2)
    found = compare(layout, before, after)
    figure = comparison_sheet(found)
    assert faults(figure) == []
    seen = [text.get_text() for axes in figure.axes for text in axes.texts if text.get_visible()]
    assert sum(said.endswith("moved") for said in seen) == len(found.motion.moved)


@pytest.mark.parametrize("kind", KINDS)
def test_no_words_meet_on_a_phone(kind):
    """Each row by itself, as far as a log has come: all of it read, then a move asked for."""
    layout, found = built(kind)
    figure = work_sheet(next_act(layout, found), "operator")
    assert faults(figure) == []
    seen = " ".join(text.get_text() for text in figure.axes[0].texts)
    assert all(
        STATES[work.state] in seen for work in next_act(layout, found).sections if work.section.row == "operator"
    )


@pytest.mark.parametrize("kind", KINDS)
def test_no_words_meet_in_the_record(kind):
    """Drawn again by a typesetter whose letters are narrower than the room that is kept for them here."""
    solution = solve(*built(kind))
    for picture in state_pictures([("As found", solution, False), ("After", solution, True)]):
        for strip in picture.strips:
            told = [s for s in strip.shapes if s["kind"] == "words"]
            boxes = [(s["lines"], room_of(s)) for s in told]
            assert [
                one for one, box in boxes if box.x0 < -0.05 or box.x1 > strip.width + 0.05 or box.y1 > strip.height
            ] == []
            assert [(a, b) for (a, one), (b, other) in combinations(boxes, 2) if one.overlaps(other)] == []
        if picture.title.startswith("As found"):
            seen = [
                line for strip in picture.strips for s in strip.shapes if s["kind"] == "words" for line in s["lines"]
            ]
            shown = [i for i, s in enumerate(solution.layout.sections) if s.row in picture.key]
            assert sum(line.isdigit() and len(line) < 3 for line in seen) >= np.count_nonzero(
                solution.plan.moves[shown]
            )


def room_of(words: dict) -> Bbox:
    """Room that words of the record take, less a hundredth of an inch. [inches]"""
    wide = max(width_of(line, bold=words["bold"]) for line in words["lines"]) * words["size"] / 72
    high = words["size"] * (len(words["lines"]) - 0.25) * words["spacing"] / 72
    (x, y), ha, va = words["points"][0], words["ha"], words["va"]
    left = x - {"left": 0, "center": 0.5, "right": 1}[ha] * wide
    top = y - {"top": 0, "center": 0.5, "bottom": 1}[va] * high
    return Bbox([[left + 0.01, top + 0.01], [left + wide - 0.01, top + high - 0.01]])


def test_the_check_finds_what_meets():
    """It is no check that cannot fail: words put over others and off the sheet are found."""
    figure = train_sheet(solve(*built("two")))
    figure.axes[0].text(0, 1.0, "over")
    figure.axes[0].text(0, 1.0, "another")
    figure.text(0.99, 0.5, "a line that runs off")
    told = faults(figure)
    assert "'over' over 'another'" in told
    assert any(fault.startswith("off the sheet: 'a line") for fault in told)


def test_a_number_is_not_parted_from_its_fraction():
    assert wrapped("Swing until the tape reads 18 3/8.", 30) == ["Swing until the tape reads", "18 3/8."]


@pytest.mark.parametrize(("at", "smaller"), [(0.05, False), (0.8, True), (1.2, False)])
def test_a_line_that_runs_off_the_page_is_set_smaller(at, smaller):
    """One that begins on it; what stands beside the page is nobody's concern."""
    sheet = Sheet(figsize=(6, 2))
    line = sheet.text(at, 0.5, "a line of some thirty letters", size=12)
    renderer = RendererAgg(600, 200, sheet.dpi)
    sheet.draw(renderer)
    assert (line.get_fontsize() < 12) is smaller
    if at < 1:
        assert line.get_window_extent(renderer).x1 <= sheet.bbox.x1


@pytest.mark.parametrize(("said", "style"), [("Größe 3 ½", "italic"), ("كتاب", "normal"), ("Größe كتاب", "normal")])
def test_words_stay_slanted_where_the_slanted_letters_are_there(said, style):
    """The slanted face of the usual font has the Latin letters and no Arabic ones."""
    sheet = Sheet(figsize=(6, 2))
    line = sheet.text(0.1, 0.5, said, style="italic")
    sheet.set_plain()
    assert line.get_fontstyle() == style
