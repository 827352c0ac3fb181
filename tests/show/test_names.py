"""Names that do harm elsewhere: mathematics, markup, other scripts, very long ones, in every picture and on paper."""

from __future__ import annotations

import datetime
import io
import json
import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence

import pytest
from matplotlib import font_manager
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from alignment.change.comparison import compare
from alignment.change.history import follow
from alignment.choices import Paper
from alignment.errors import InputError
from alignment.machine.layout_file import parse_layout
from alignment.machine.survey_text import parse_survey
from alignment.panel.panel import measure
from alignment.panel.panel_file import parse_panel
from alignment.show import letters
from alignment.show.paper import job as jobs
from alignment.show.paper import record as records
from alignment.show.paper import sheet as papers
from alignment.show.paper import typesetting
from alignment.show.pictures import budget as budget_plots
from alignment.show.pictures import comparison as comparison_plots
from alignment.show.pictures import history as history_plots
from alignment.show.pictures import panel as panel_plots
from alignment.show.pictures import sheets
from alignment.show.pictures import train as plots
from alignment.train import budget
from alignment.train.sheet import plan_sheet
from alignment.train.solve import solve

HARMFUL = (
    "jaw $_$",
    "($40k) up ($60k)",
    "a_b^{c}",
    r"\frac{1}{2} \$ \\",
    "<b>&amp;</b>",
    '"it\'s"',
    "@x *b* $x$ [z] #panic()",
    "{0} %s %d",
)
SCRIPTS = {
    "خط الإنتاج": "خط الإنتاج",
    "קו ייצור": "קו ייצור",
    "一号机床": "YiHaoJiChuang",
    "ジョー": "jiyo",
    "라인": "LaIn",
    "ไทย": "aithy",
    "🏭 ♥": ":factory: ♥",
    "naïve Ω Ж": "naïve Ω Ж",
    "é̱ ñ": "é̱ ñ",
}
"""Names in other scripts, and how they stand where no font has their letters (by anyascii, whose tables these are)."""
LONG = ("abcdefghi " * 19 + "abcdefghij", "x" * 200)
GROUPS = {"harmful": HARMFUL, "scripts": tuple(SCRIPTS), "long": LONG}


def toml(name: str) -> str:
    return json.dumps(name, ensure_ascii=False)


def job_files(samples, names: Sequence[str]) -> dict[str, str]:
    """The sample's files with names, in turn, before those of its sections, rows and strings, and for the others."""
    layout = (samples / "machine.toml").read_text(encoding="utf-8")
    known = re.findall(r'(?m)^name = "((?:operator|drive)-\d)"', layout)
    new = {old: f"{names[k % len(names)]} {old}" for k, old in enumerate(["operator", "drive", *known])}
    layout = re.sub(r'(?m)^name = "Liner.*"$', lambda _: f"name = {toml(names[0])}", layout)
    layout = re.sub(r"(\[(?:row|string)\.)(operator|drive)\]", lambda m: f"{m[1]}{toml(new[m[2]])}]", layout)
    layout = re.sub(r'"((?:operator|drive)(?:-\d)?)"', lambda m: toml(new[m[1]]), layout)
    files = {"machine.toml": layout}

    def cell(match: re.Match[str]) -> str:
        return '"' + new[match[1]].replace('"', '""') + '",'

    for day in ("before-move", "as-found", "as-left"):
        rows = (samples / f"{day}.csv").read_text(encoding="utf-8")
        rows = re.sub(r"(?m)^((?:operator|drive)-\d),", cell, rows)
        files[f"{day}.csv"] = re.sub(r"(?m)^# by: .*", lambda _: f"# by: {names[-1]}", rows)
    panel = (samples / "tray.toml").read_text(encoding="utf-8")
    files["tray.toml"] = re.sub(r'(?m)^(name|machine|by|coil) = ".*"', lambda m: f"{m[1]} = {toml(names[-1])}", panel)
    return files


@pytest.fixture(params=GROUPS)
def job(request, samples):
    """Layout, surveys and panel with a group of names, and those names as they are set without other fonts."""
    names = GROUPS[request.param]
    files = job_files(samples, names)
    layout = parse_layout(files["machine.toml"], "machine.toml")
    days = [parse_survey(files[f"{day}.csv"], layout, f"{day}.csv") for day in ("before-move", "as-found", "as-left")]
    return layout, days, parse_panel(files["tray.toml"], "tray.toml"), [SCRIPTS.get(name, name) for name in names]


def figures(job):
    layout, days, panel, names = job
    found = solve(layout, days[1])
    yield plots.train_sheet(found), names
    yield comparison_plots.comparison_sheet(compare(layout, days[1], days[2])), names
    yield history_plots.history_sheet(follow(layout, days)), names
    yield panel_plots.panel_sheet(measure(panel)), names[-1:]
    yield budget_plots.draw_budget(budget.work_out(layout)), names[:1]


@pytest.fixture
def no_other_fonts(monkeypatch):
    """As on a computer that has no fonts but those that matplotlib brings along."""
    monkeypatch.setattr(sheets, "OTHERS", ())


def test_every_picture(job, no_other_fonts):
    """
    Each name stands in each as it is written, no letter of it missing (pytest makes an error of that warning).

    And nothing is read as mathematics, and no line runs off the sheet.
    """
    for figure, names in figures(job):
        drawn = plots.render(figure, ".svg")
        ET.fromstring(drawn)  # noqa: S314  our own picture: whole, whatever stands in it
        words = [text for text in figure.findobj(Text) if text.get_text()]
        assert not any(text.get_parse_math() or text.get_usetex() for text in words)
        said = " ".join(text.get_text().replace(letters.MARK, "") for text in words)
        for name in names:
            # lines are parted at blanks, and a label may have room for a beginning and an end alone
            one, whole = "".join(name.split()), "".join(said.split())
            assert one[:40] in whole or any(f"{one[:n]}…" in whole for n in range(3, len(one))), name
        renderer = FigureCanvasAgg(figure).get_renderer()
        figure.draw(renderer)
        for text in words:
            if text.get_horizontalalignment() == "left":
                assert text.get_window_extent(renderer).x1 <= 1.01 * figure.bbox.x1, text.get_text()


def test_a_picture_that_a_notebook_saves(samples, no_other_fonts):
    """Not through our own rendering: the figure itself knows."""
    files = job_files(samples, ["jaw $_$ 一"])
    layout = parse_layout(files["machine.toml"], "machine.toml")
    figure = plots.train_sheet(solve(layout, parse_survey(files["as-found.csv"], layout, "as-found.csv")))
    figure.savefig(io.BytesIO(), format="png", bbox_inches="tight")
    assert "jaw $_$ Yi" in " ".join(text.get_text() for text in figure.texts)


def test_letters_of_a_font_of_the_computer(tmp_path, monkeypatch):
    """A name stays in its own script where some font of the computer has its letters: here one made for this test."""
    from fontTools.fontBuilder import FontBuilder
    from fontTools.pens.ttGlyphPen import TTGlyphPen

    pen = TTGlyphPen(None)
    for point in ((0, 0), (0, 700), (700, 700), (700, 0)):
        (pen.moveTo if point == (0, 0) else pen.lineTo)(point)
    pen.closePath()
    builder = FontBuilder(1000, isTTF=True)
    builder.setupGlyphOrder([".notdef", "one"])
    builder.setupCharacterMap({ord("一"): "one"})
    builder.setupGlyf({".notdef": pen.glyph(), "one": pen.glyph()})
    builder.setupHorizontalMetrics({".notdef": (800, 0), "one": (800, 0)})
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Only For This Test", "styleName": "Regular"})
    builder.setupOS2(sTypoAscender=800, usWinAscent=800, usWinDescent=200)
    builder.setupPost()
    builder.save(tmp_path / "one.ttf")
    monkeypatch.setattr(font_manager.fontManager, "ttflist", list(font_manager.fontManager.ttflist))
    font_manager.fontManager.addfont(tmp_path / "one.ttf")
    monkeypatch.setattr(sheets, "OTHERS", ("No Such Font", "Only For This Test"))
    figure = sheets.Sheet(figsize=(3, 1))
    words = figure.text(0, 0.5, "一号 1")
    plots.render(figure, ".png")
    assert words.get_text() == "一Hao 1"
    assert words.get_fontfamily() == ["DejaVu Sans", "Only For This Test"]


def test_a_name_that_is_read_from_the_right(no_other_fonts):
    """It must not turn the sentence round, nor draw the number after it to its other side."""
    set_as = letters.left_to_right("خط 5: 1/8 toward\nplain")
    assert set_as == f"{letters.MARK}خط{letters.MARK} 5: 1/8 toward\n{letters.MARK}plain"
    assert letters.left_to_right("Größe 5") == "Größe 5"
    figure = sheets.Sheet(figsize=(3, 1))
    words = figure.text(0, 0.5, "خط 5")
    for _ in range(3):
        plots.render(figure, ".svg")
    assert words.get_text().count(letters.MARK) == 2


@pytest.mark.parametrize(
    ("letters_", "name", "said"),
    [(20, "operator-1", "operator-1"), (9, "operator-12", "oper…r-12"), (3, "operator-1", "o…1"), (1, "abcd", "a…d")],
)
def test_a_name_cut_to_its_room(letters_, name, said):
    """Beginning and end are kept: sections of a row differ at the end."""
    assert letters.cut(name, letters_) == said


def test_what_has_no_latin_letters():
    """What joins or varies other letters goes, and what nobody has written is a question mark: never nothing at all."""
    assert letters.latin("a\u200db\ufe0f", {"\u200d", "\ufe0f"}) == "ab"
    assert letters.latin("a\U000f0000", {"\U000f0000"}) == "a?"


def test_only_what_cannot_be_shown_is_found():
    asked = []

    def shown(text: str) -> bool:
        asked.append(text)
        return not set(text) & set("xz")

    assert letters.lacking("abcdefghijklmnopqrstuvwxyz", shown) == {"x", "z"}
    assert len(asked) < 20
    assert letters.lacking("", shown) == set()


def test_paper(job, tmp_path):
    """Sheet and record are archival and accessible PDF (typst refuses to say so of one with an empty box in it)."""
    layout, _, _, _ = job
    pages = papers.render(plan_sheet(layout, repeats=None), Paper.a4, datetime.date(2026, 10, 2))
    assert b"pdfaid" in pages
    assert b"pdfuaid" in pages


@pytest.mark.parametrize("names", GROUPS)
def test_record(samples, tmp_path, names):
    for file, text in job_files(samples, GROUPS[names]).items():
        (tmp_path / file).write_text(text, encoding="utf-8")
    papers_ = jobs.Papers(
        layout=tmp_path / "machine.toml", survey=tmp_path / "as-found.csv", after=tmp_path / "as-left.csv",
        panel=tmp_path / "tray.toml", settings=None,
    )  # fmt: skip
    pages = records.render(jobs.gather(papers_), Paper.letter, datetime.date(2026, 10, 2))
    assert b"pdfaid" in pages
    assert b"pdfuaid" in pages


def test_paper_without_fonts_of_the_computer(monkeypatch):
    """On any computer: letters that typst's fonts lack are written in Latin ones."""
    compiled = typesetting._compiled
    asked = []

    def without(inputs, **how):
        asked.append(json.loads(inputs["data.json"]))
        return compiled(inputs, **(how | {"ignore_system_fonts": True}))

    monkeypatch.setattr(typesetting, "_compiled", without)
    assert typesetting._shows("machine خط קו Ж Ω")
    assert not typesetting._shows("机")
    data, said = {"rows": [["机床 5", "plain"]], "n": 3}, {"rows": [["JiChuang 5", "plain"]], "n": 3}
    missing = letters.lacking(typesetting._characters(data), typesetting._shows)
    assert missing == {"机", "床"}
    assert typesetting._each(lambda text: letters.latin(text, missing), data) == said


@pytest.mark.parametrize("name", ["a\u202eb", "a\u0000b", "a\u200bb"])
def test_a_name_with_what_does_not_print_is_refused(samples, name):
    """Characters that hide or turn round other text come into no layout."""
    with pytest.raises(InputError):
        parse_layout(job_files(samples, [name])["machine.toml"], "machine.toml")
