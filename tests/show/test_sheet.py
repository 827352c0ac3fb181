"""The sheet for the machine: its points in the order of reading, its boxes, one page, and what a printer needs."""

from __future__ import annotations

import datetime
import io
import re
import shutil
import subprocess
from dataclasses import replace

import pypdf
import pytest
import typst

from alignment.machine import entry
from alignment.machine.entry import Ask
from alignment.machine.layout_file import read_layout
from alignment.machine.sag import Sag
from alignment.show.paper import sheet, typesetting
from alignment.show.paper.typesetting import Paper
from alignment.show.words.cautions import SHORT
from alignment.show.words.sheet import columns, instructions, wanted
from alignment.train.budget import work_out
from alignment.train.sheet import FITS, plan_sheet
from tests.tools.machines import machine

DAY = datetime.date(2026, 10, 5)
POPPLER = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler's tools are not on this computer")


def poppler(tool: str, pdf: bytes, tmp_path, *options: str) -> str:
    """What one of poppler's tools says of a PDF."""
    file = tmp_path / "set.pdf"
    file.write_bytes(pdf)
    tail = ["-"] if tool == "pdftotext" else []
    return subprocess.run(
        [str(shutil.which(tool)), *options, str(file), *tail], capture_output=True, text=True, check=True
    ).stdout


def long_machine(count: int = 20):
    """A machine of two rows with long names."""
    names = {
        row: [f"{row} side, forming pass {k} with its side rolls" for k in range(count)] for row in ("left", "right")
    }
    sections = [
        {"name": name, "row": row, "start": 500 * k, "length": 450}
        for row, own in names.items()
        for k, name in enumerate(own)
    ]
    rows = {"left": "string_side = 'left'\ntarget = '600'", "right": "string_side = 'right'\ntarget = '600'"}
    return machine(sections, rows=rows)


@pytest.mark.parametrize("name", ["machine.toml", "machine-mm.toml"])
def test_points_are_numbered_as_they_are_asked_for(samples, name):
    """The numbers follow what entering the readings asks, the closing readings of each string last."""
    layout = read_layout(samples / name)
    planned = plan_sheet(layout)
    asks = entry.begin(layout, None, "new.csv").asks
    assert [*planned.points, *planned.closing] == list(asks)
    assert len(planned.points) == 18
    assert [a.section for a in planned.closing] == ["operator-1", "drive-1"]


def test_boxes_are_what_the_budget_asks_for(samples):
    """Two readings where two prove everything; as many as fit where it takes more; as many as are asked for."""
    layout = machine(
        [{"name": "a", "row": "left", "start": 0, "length": 600}],
        rows={"left": "target = '600'"},
        tape="mark = '0.5'\nset = '0.2'\ntilt = 0\nzero = '0'",
    )
    wanted = max(p.repeats or 1 for p in work_out(layout).promises)
    assert 1 < wanted <= FITS
    assert plan_sheet(layout).repeats == wanted
    assert all(p.proved for p in work_out(layout, repeats=wanted).promises)
    assert not all(p.proved for p in work_out(layout, repeats=wanted - 1).promises)
    crowded = read_layout(samples / "machine.toml")
    crowded = replace(crowded, tape=replace(crowded.tape, tilt=0.5))
    assert max(p.repeats or 1 for p in work_out(crowded).promises) > FITS
    found = plan_sheet(crowded)
    assert found.repeats == FITS
    assert found.finer
    assert plan_sheet(layout).finer is False
    assert "Take a finer rule" in " ".join(instructions(found))
    assert "finer" not in " ".join(instructions(plan_sheet(layout)))
    assert plan_sheet(crowded, repeats=2).repeats == 2


@POPPLER
@pytest.mark.parametrize(
    ("name", "paper", "size"),
    [
        ("machine.toml", Paper.letter, "612 x 792"),
        ("machine-mm.toml", Paper.a4, "595.276 x 841.89"),
        ("machine.toml", Paper.a4, "595.276 x 841.89"),
    ],
)
def test_one_page_with_everything_on_it(samples, tmp_path, name, paper, size):
    """US letter is 8.5 by 11 in of 72 points, A4 210 by 297 mm (ISO 216)."""
    pdf = sheet.render(plan_sheet(read_layout(samples / name)), paper, DAY)
    told = poppler("pdfinfo", pdf, tmp_path)
    assert re.search(r"Pages:\s+1\n", told)
    assert f"{size} pts" in told
    assert re.search(r"Tagged:\s+yes", told)
    assert re.search(r"CreationDate:\s+Mon Oct\s+5", told)
    text = " ".join(poppler("pdftotext", pdf, tmp_path, "-layout").split())
    assert all(f"{field}:" in text for field in ("taken", "by", "tape", "mark", "string", "temperature", "place"))
    words = " ".join(poppler("pdftotext", pdf, tmp_path).split())
    for said in (*SHORT, "page 1 of 1", "Closing readings last", "string operator", "string drive", "2026-10-05"):
        assert said in words
    assert words.count("closing reading: read once more") == 2
    for number in range(1, 19):
        # once on the drawing, once in the list
        assert len(re.findall(rf"(?<![\w/.-]){number}(?![\w/.-])", words)) >= 2


@POPPLER
@pytest.mark.parametrize("paper", list(Paper))
def test_fonts_are_in_the_file(samples, tmp_path, paper):
    pdf = sheet.render(plan_sheet(read_layout(samples / "machine.toml")), paper, DAY)
    fonts = poppler("pdffonts", pdf, tmp_path).splitlines()[2:]
    assert fonts
    assert all(line.split()[-5:-2] == ["yes", "yes", "yes"] for line in fonts)


@POPPLER
def test_many_sections_take_more_pages_and_lose_none(tmp_path):
    layout = long_machine()
    pdf = sheet.render(plan_sheet(layout), Paper.a4, DAY)
    words = " ".join(poppler("pdftotext", pdf, tmp_path, "-layout").split())
    flat = "".join(poppler("pdftotext", pdf, tmp_path, "-raw").split())
    pages = int(re.search(r"Pages:\s+(\d+)", poppler("pdfinfo", pdf, tmp_path))[1])
    assert 1 < pages < 6
    assert f"page {pages} of {pages}" in words
    assert all("".join(s.name.split()) in flat for s in layout.sections)
    # every word inside the page
    for x0, y0, x1, y1 in re.findall(
        r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)"',
        poppler("pdftotext", pdf, tmp_path, "-bbox"),
    ):
        assert 0 < float(x0) < float(x1) < 595.3
        assert 0 < float(y0) < float(y1) < 841.9


def test_names_are_never_read_as_a_program(tmp_path):
    """What is source to the typesetter stays the text that it is, and cannot stop the sheet."""
    nasty = ['#panic("no")', "= *bold* _it_ $x$", "`raw` @ref <lab> \\u{41} // c", '[#eval("1")]', "滚压"]
    layout = machine(
        [{"name": f"x {name}", "row": "left", "start": 500 * k, "length": 450} for k, name in enumerate(nasty)],
        rows={"left": "target = '600'"},
    )
    pdf = sheet.render(plan_sheet(layout, repeats=1), Paper.a4, DAY)
    assert pdf.startswith(b"%PDF-")
    if shutil.which("pdftotext"):
        words = "".join(poppler("pdftotext", pdf, tmp_path).split())
        assert all("".join(name.split()) in words for name in nasty[:-1])


def test_same_bytes_for_the_same_day(samples, tmp_path, monkeypatch, run):
    """Twice the same file, and another one for another day."""
    days = []
    for name, epoch in (("a", "1790000000"), ("b", "1790000000"), ("c", "1800000000")):
        monkeypatch.setenv("SOURCE_DATE_EPOCH", epoch)
        out = tmp_path / f"{name}.pdf"
        assert run("sheet", samples / "machine.toml", "-o", out).status == 0
        days.append(out.read_bytes())
    assert days[0] == days[1] != days[2]


def test_day_is_that_of_the_environment(monkeypatch):
    """1 000 000 000 seconds after 1970 fell on 2001-09-09 UTC (a widely noted date; from memory)."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1000000000")
    assert typesetting.today() == datetime.date(2001, 9, 9)
    monkeypatch.delenv("SOURCE_DATE_EPOCH")
    assert abs(typesetting.today() - datetime.datetime.now().astimezone().date()) <= datetime.timedelta(days=1)


def test_a_fault_of_the_template_is_not_set_again(monkeypatch):
    """Only what the standard of the file forbids is set a second time, without it."""
    asked, compile_ = [], typst.compile
    monkeypatch.setattr(typst, "compile", lambda *a, **k: asked.append(k) or compile_(*a, **k))
    with pytest.raises(typst.TypstError):
        typesetting.typeset("record", {})
    assert len(asked) == 1


@pytest.mark.parametrize("epoch", ["soon", "1e9", "9" * 30])
def test_a_day_that_is_none(samples, tmp_path, monkeypatch, run, epoch):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", epoch)
    found = run("sheet", samples / "machine.toml", "-o", tmp_path / "a.pdf")
    assert (found.status, found.out) == (2, "")
    assert found.err == (
        f"stringtrue: SOURCE_DATE_EPOCH: '{epoch}' is no date. Expected whole seconds since 1970, or unset it.\n"
    )
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("machine.toml", "-o", "a.txt"), "cannot be written as '.txt'. Use .pdf."),
        (("machine.toml",), "--out"),
        (("machine.toml", "-o", "a.pdf", "--repeats", "6"), "--repeats"),
        (("machine.toml", "-o", "a.pdf", "--paper", "a5"), "--paper"),
        (("none.toml", "-o", "a.pdf"), "there is no such file"),
        (("as-found.csv", "-o", "a.pdf"), "as-found.csv"),
    ],
)
def test_refused(samples, tmp_path, monkeypatch, run, arguments, said):
    """Status 2, a message, nothing on standard output and nothing written."""
    for name in ("machine.toml", "as-found.csv"):
        (tmp_path / name).write_bytes((samples / name).read_bytes())
    monkeypatch.chdir(tmp_path)
    found = run("sheet", *arguments)
    assert (found.status, found.out) == (2, "")
    assert said in found.err
    assert sorted(p.name for p in tmp_path.iterdir()) == ["as-found.csv", "machine.toml"]


def test_heights_are_drawn_from_the_side(samples):
    layout = machine(
        [{"name": "rail", "row": "left", "start": 0, "length": 450}],
        rows={"left": "target = '600'\nplane = 'height'\nstring_side = 'above'"},
    )
    assert sheet.render(plan_sheet(layout), Paper.a4, DAY).startswith(b"%PDF-")


def test_the_wanted_reading_stands_beside_each_point(samples):
    """In marks of the tape, with the section's setback; nothing where the layout has no number."""
    layout = machine(
        [
            {"name": "a", "row": "left", "start": 0, "length": 450},
            {"name": "b", "row": "left", "start": 500, "length": 450, "setback": "2.5"},
            {"name": "c", "row": "right", "start": 0, "length": 450},
        ],
        rows={"left": "target = '467'", "right": "string_side = 'right'"},
    )
    shown = {ask.section: wanted(layout, ask) for ask in plan_sheet(layout).points}
    assert shown == {"a": "467", "b": "469.5", "c": ""}
    inches = read_layout(samples / "machine.toml")
    assert {wanted(inches, ask) for ask in plan_sheet(inches).points if ask.section == "operator-1"} == {"18 3/8"}


def test_a_sagging_string_changes_what_is_wanted():
    """
    Heights over a string of 0.01 N/m with 10 N over 10 m: 12.5 mm lower in the middle, q S^2 / (8 T).

    The parabola of a loaded cable, any handbook of statics (common practice).
    """
    layout = machine(
        [{"name": "a", "row": "r", "start": 4750, "length": 500, "points": ["0", "250", "500"]}],
        rows={"r": "plane = 'height'\nstring = 's'\nstring_side = 'above'\ntarget = '467'"},
    )
    sagging = Sag(first=0.0, last=10_000.0, weight=1e-5, tension=10.0, share_u=0.0)
    layout = replace(layout, strings={"s": replace(layout.strings["s"], sag=sagging)})
    assert wanted(layout, Ask(section="a", place=250.0, repeat=1)) == "454.5"


@pytest.mark.parametrize("count", [1, 2, 9, 30])
@pytest.mark.parametrize("work", [False, True])
def test_both_kinds_for_any_machine(tmp_path, count, work):
    """Every point with its number and its wanted reading, boxes under their heads, short cautions on the first page."""
    layout = machine(
        [{"name": f"station {k}, north", "row": "r", "start": 500 * k, "length": 450} for k in range(count)],
        rows={"r": "target = '467'"},
    )
    planned = plan_sheet(layout, work=work, repeats=2)
    reader = pypdf.PdfReader(io.BytesIO(sheet.render(planned, Paper.letter, DAY)))
    text = " ".join(" ".join(page.extract_text().split()) for page in reader.pages)
    assert text.count("467") == len(planned.points) + len(planned.closing)
    assert all(caution in text for caution in SHORT)
    assert text.index(SHORT[0]) < text.index("wanted")
    assert all("".join(said.split()) in "".join(text.split()) for said in instructions(planned))
    heads = "found stop left stop left" if work else "wanted 1 2"
    assert heads in text
    assert len(reader.pages) <= 1 + count // 8


def test_the_work_sheet_by_the_command(samples, tmp_path, run):
    """Says which kind it is, and the same bytes again."""
    made = []
    for name in ("a.pdf", "b.pdf"):
        outcome = run("sheet", samples / "machine-mm.toml", "--work", "-o", tmp_path / name)
        assert outcome.status == 0
        assert outcome.out.startswith(f"{name}. Work sheet: ")
        assert "loosen that bolt end only" in " ".join(outcome.out.split())
        assert SHORT[0] in outcome.out
        made.append((tmp_path / name).read_bytes())
    assert made[0] == made[1]


def drawn(monkeypatch, layout):
    """Rows of the first stretch of a sheet's drawing, as they are handed to the typesetter."""
    monkeypatch.setattr(sheet, "typeset", lambda _, data: data)
    (view,) = sheet.render(plan_sheet(layout), Paper.a4, DAY)["views"]
    return {lane["row"]: lane for lane in view["stretches"][0]}


def test_leaders_go_to_the_points_and_strings_hang_on_their_side(monkeypatch):
    """
    Sections of 300 and 600 with a gap of 100 on a machine that begins at 200: shares of 1000, by hand.

    Looking downstream, the string of the left row hangs to its left: above it on paper, its exit end at the right.
    """
    layout = machine(
        [
            {"name": "a", "row": "l", "start": 200, "length": 300, "points": ["0", "75", "300"]},
            {"name": "b", "row": "l", "start": 600, "length": 600},
            {"name": "c", "row": "r", "start": 200, "length": 1000},
        ],
        rows={"l": "string_side = 'left'\ntarget = '467'", "r": "string_side = 'right'\ntarget = '505'"},
    )
    lanes = drawn(monkeypatch, layout)
    assert list(lanes) == ["l", "r"]
    assert [lanes[row]["above"] for row in ("l", "r")] == [True, False]
    a, b = lanes["l"]["sections"]
    assert [(s["name"], s["from"], s["to"]) for s in (a, b)] == [("a", 0.0, 0.3), ("b", 0.4, 1.0)]
    assert [(p["number"], p["x"]) for p in a["points"]] == [(1, 0.0), (2, 0.075), (3, 0.3)]
    assert [(p["number"], p["x"]) for p in b["points"]] == [(4, 0.4), (5, 1.0)]


def test_numbers_stand_over_their_points_within_the_section(monkeypatch):
    """At an end the disc touches the end from inside; points nearer than two radii share the section evenly."""
    part = {"row": "l", "length": 500}
    layout = machine(
        [
            {"name": "a", "start": 300, "points": ["0", "200", "500"]} | part,
            {"name": "b", "start": 800, "points": ["0", "5", "500"]} | part,
            {"name": "c", "start": 1300, "points": ["0", "80", "500"]} | part,
        ],
        rows={"l": "string_side = 'left'\ntarget = '467'"},
    )
    lane = drawn(monkeypatch, layout)["l"]
    r = lane["radius"]
    assert 0.01 < r < 0.02
    # of a drawing of 1500
    a, b, c = ([1500 * p["at"] for p in s["points"]] for s in lane["sections"])
    r *= 1500
    assert a == pytest.approx([r, 200, 500 - r])
    assert b == pytest.approx([500 + r, 750, 1000 - r])
    # more than two radii from its neighbour, and so over its point
    assert 2 * r < 80 - r < 4 * r
    assert c == pytest.approx([1000 + r, 1080, 1500 - r])


@pytest.mark.parametrize(("count", "stretches"), [(6, [6]), (7, [4, 3]), (12, [6, 6]), (13, [4, 5, 4])])
def test_a_long_row_is_drawn_in_stretches_as_long_as_each_other(monkeypatch, count, stretches):
    """At most six abreast; a section of the other row is drawn where its middle lies; the longest fills the width."""
    parts = [{"name": f"a{k}", "row": "a", "start": 100 * k, "length": 90} for k in range(count)]
    parts.append({"name": "b", "row": "b", "start": 0, "length": 100 * count - 10})
    rows = {"a": "string_side = 'left'\ntarget = '467'", "b": "string_side = 'right'\ntarget = '505'"}
    layout = machine(parts, rows=rows)
    monkeypatch.setattr(sheet, "typeset", lambda _, data: data)
    (view,) = sheet.render(plan_sheet(layout, repeats=1), Paper.a4, DAY)["views"]
    lanes = [{lane["row"]: lane["sections"] for lane in stretch} for stretch in view["stretches"]]
    named = [[s["name"] for s in lane["a"]] for lane in lanes]
    assert [len(names) for names in named] == stretches
    assert [name for names in named for name in names] == [f"a{k}" for k in range(count)]
    (at,) = [k for k, lane in enumerate(lanes) if lane["b"]]
    assert "b" in [s["name"] for s in lanes[at]["b"]]
    # its middle lies 5 short of half of the pitches
    middle = (100 * count - 10) / 2
    low = 100 * sum(stretches[:at])
    assert low - 5 <= middle <= low + 100 * stretches[at]
    assert max(s["to"] for lane in lanes for own in lane.values() for s in own) == 1.0


def test_a_point_between_the_ends_is_told_by_its_place(monkeypatch):
    layout = machine(
        [{"name": "a", "row": "l", "start": 0, "length": 450, "points": ["0", "60", "112.5", "450"]}],
        rows={"l": "string_side = 'left'\ntarget = '467'"},
    )
    monkeypatch.setattr(sheet, "typeset", lambda _, data: data)
    data = sheet.render(plan_sheet(layout), Paper.a4, DAY)
    (section,) = data["sections"]
    assert [(p["number"], p["point"]) for p in section["points"]] == [
        (1, "entry"), (2, "at 60.0"), (3, "at 112.5"), (4, "exit"),
    ]  # fmt: skip
    assert [(p["number"], p["point"]) for p in data["closing"]] == [(1, "entry")]


def test_numbers_are_as_small_as_the_shortest_section_needs(monkeypatch):
    """Three points abreast on a section of 50 of a drawing of 1000: discs of a sixth of its length across."""
    layout = machine(
        [
            {"name": "a", "row": "l", "start": 0, "length": 50, "points": ["0", "25", "50"]},
            {"name": "b", "row": "l", "start": 60, "length": 940},
        ],
        rows={"l": "string_side = 'left'\ntarget = '467'"},
    )
    lane = drawn(monkeypatch, layout)["l"]
    assert lane["radius"] == pytest.approx(0.05 / 6)
    assert [p["at"] for p in lane["sections"][0]["points"]] == pytest.approx([0.05 / 6, 0.025, 0.25 / 6])


def test_columns_are_numbered_where_there_are_several(samples):
    layout = read_layout(samples / "machine.toml")
    one, two = (plan_sheet(layout, repeats=count) for count in (1, 2))
    assert (columns(one), columns(two)) == (["reading"], ["1", "2"])
    order = "Fill all of column 1 before column 2, up to 2."
    assert order in instructions(two)[1]
    assert "column" not in " ".join(instructions(one))


def test_only_long_words_may_be_parted():
    """After hyphens, else anywhere; a name of fewer letters, a piece of one and a hash stay whole."""
    part = typesetting.PART
    assert typesetting._parted("operator-2 reads 18 3/8 and is wanted so") == "operator-2 reads 18 3/8 and is wanted so"
    assert typesetting._parted("measured-by-the-second-shift.csv") == part.join(
        ("measured-", "by-", "the-", "second-", "shift.csv")
    )
    assert typesetting._parted("x" * 24) == part.join(("x" * 10, "x" * 10, "x" * 4))
    assert typesetting._parted("x" * 23 + " y") == "x" * 23 + " y"
    assert typesetting._parted("0" * 64) == "0" * 64
