"""The record to sign: what must stand in it, what must not, its pages, its bytes, and what is refused."""

from __future__ import annotations

import datetime
import hashlib
import math
import os
import re
import shutil
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from alignment.machine.layout_file import read_layout
from alignment.machine.survey_files import read_survey
from alignment.show.paper import job as jobs
from alignment.show.paper import record as report
from alignment.show.paper import record_front as report_front
from alignment.show.paper.job import Papers
from alignment.show.paper.typesetting import Paper
from alignment.show.pictures import record as report_plots
from alignment.show.pictures import train as plots
from alignment.show.words.cautions import FULL
from alignment.show.words.comparison import sentences
from alignment.train.solve import solve
from alignment.uncertainty import COVERAGE, Verdict, conformance_probability, verdict
from tests.show.test_sheet import POPPLER, poppler
from tests.tools.machines import layout_text, survey_text

DAY = datetime.date(2026, 10, 5)
TITLES = [
    "Record", "How it is judged", "Cautions", "As found", "What was done", "As left", "Test panel", "Settings",
    "Pictures", "Readings, as found", "Readings, as left", "Uncertainty of the readings", "Limits and their sources",
    "What the readings leave open", "What the string does not see", "Program and files", "Signatures",
]  # fmt: skip


def sample_papers(samples, suffix: str = "") -> Papers:
    names = [f"{n}{suffix}" for n in ("machine", "as-found", "as-left", "tray", "settings")]
    return Papers(
        layout=samples / f"{names[0]}.toml",
        survey=samples / f"{names[1]}.csv",
        after=samples / f"{names[2]}.csv",
        panel=samples / f"{names[3]}.toml",
        settings=samples / f"{names[4]}.toml",
    )


def pages_of(pdf: bytes, tmp_path) -> int:
    return int(re.search(r"Pages:\s+(\d+)", poppler("pdfinfo", pdf, tmp_path))[1])


def words_of(pdf: bytes, tmp_path) -> str:
    return " ".join(poppler("pdftotext", pdf, tmp_path, "-raw").split())


def texts(thing) -> list[str]:
    """Every text in a part."""
    if isinstance(thing, str):
        return [thing]
    inside = thing.values() if isinstance(thing, dict) else thing if isinstance(thing, list | tuple) else []
    return [text for item in inside for text in texts(item)]


@pytest.fixture(scope="module")
def sample_job():
    from alignment.files.disk import sample_folder

    return jobs.gather(sample_papers(sample_folder()))


@pytest.fixture(scope="module")
def sample_pdf(sample_job) -> bytes:
    return report.render(sample_job, Paper.letter, DAY)


def test_parts_of_the_sample(sample_job):
    """Every part that the sample has something for, none of them empty, every picture that is named at hand."""
    pictures: dict[str, bytes] = {}
    parts = report.parts(sample_job, pictures)
    assert [part["title"] for part in parts] == TITLES
    for part in parts:
        assert part["blocks"], part["title"]
        for block in part["blocks"]:
            assert block["kind"] in ("text", "list", "table", "pictures", "signatures")
            assert block.get("text", "x").strip()
            assert block.get("items", ["x"])
            assert block.get("rows", ["x"])
            for row in block.get("rows", []):
                assert len(row) == len(block["columns"]) == len(block["head"])
    named = [n for part in parts for b in part["blocks"] if b["kind"] == "pictures" for n in b["names"]]
    assert sorted(named) == sorted(pictures)
    assert len(named) >= 5
    assert all(b"<svg" in picture for picture in pictures.values())


def test_never_more_than_it_can_say(sample_job):
    """No word of a certificate; what the string does not see, and every caution, are said."""
    said = " ".join(texts(report.parts(sample_job, {}))).lower()
    assert "certif" not in said
    for unseen in ("roll gap", "wear", "load", "same skew to every section", "spacing between rows", "unchanged"):
        assert unseen in said
    assert all(caution.lower() in said for caution in FULL)


def test_raw_readings_are_as_written(sample_job, samples):
    """Every row of the files, in their order, in the words of the files."""
    parts = {part["title"]: part for part in report.parts(sample_job, {})}
    for title, name in (("Readings, as found", "as-found.csv"), ("Readings, as left", "as-left.csv")):
        lines = (samples / name).read_text().splitlines()
        written = [(str(n), line.split(",")) for n, line in enumerate(lines, 1) if line and line[0] != "#"][1:]
        rows = parts[title]["blocks"][1]["rows"]
        assert [row[:4] for row in rows] == [[n, *cells[:3]] for n, cells in written]
        assert [row[4] == "closing" for row in rows] == [cells[3] == "close" for _, cells in written]


def test_numbers_are_those_of_the_answer(sample_job):
    """The tables hold what solving and comparing give, with the same verdicts."""
    parts = {part["title"]: part for part in report.parts(sample_job, {})}
    for title, solution in (("As found", sample_job.found), ("As left", sample_job.left)):
        rows = {row[0]: row for b in parts[title]["blocks"] if b.get("title") == "Sections" for row in b["rows"]}
        for section in solution.state.sections:
            row = rows[section.name]
            assert row[4].split()[0] == section.worse_end.verdict.printed
            assert row[7].split()[0] == section.skew.verdict.printed
            printed = float(re.search(r"\(([-+.\d]+)\)", row[5])[1])
            assert printed == pytest.approx(section.skew.value / 25.4, abs=0.5001e-3)
            assert float(row[6]) == pytest.approx(COVERAGE * section.skew.u / 25.4, abs=0.5001e-3)
    moves = next(b for b in parts["What was done"]["blocks"] if b["kind"] == "table")["rows"]
    assert [(row[0], row[1], row[-1]) for row in moves] == [
        (m.section, m.bolt_end, str(m.outcome)) for m in sample_job.comparison.moves
    ]


def test_how_often_a_proved_in_is_wrong():
    """The largest probability that the rule's words name: something dead true with U at the tolerance, 2 Phi(-2)."""
    worst = max(
        1 - conformance_probability(d, u, lower=-1, upper=1)
        for d in np.linspace(-1, 1, 201)
        for u in np.linspace(0.005, 1, 200)
        if verdict(d, u, 1.0) is Verdict.ok
    )
    assert worst == pytest.approx(math.erfc(2 / math.sqrt(2)), abs=1e-3)
    assert f"{100 * math.erfc(2 / math.sqrt(2)):.1f} %" == "4.6 %"
    assert "at most 4.6 %" in " ".join(report.RULE)


@POPPLER
def test_sample_on_paper(sample_pdf, sample_job, samples, tmp_path):
    """Headings, the story, hashes, signatures and page numbers are in the text of the file; it is tagged."""
    told = poppler("pdfinfo", sample_pdf, tmp_path)
    assert re.search(r"Tagged:\s+yes", told)
    assert "612 x 792 pts" in told
    assert b"<pdfaid:part>2</pdfaid:part>" in sample_pdf
    assert b"<pdfuaid:part>1</pdfuaid:part>" in sample_pdf
    words = words_of(sample_pdf, tmp_path)
    assert "certif" not in words.lower()
    assert all(f"{k} {title}" in words for k, title in enumerate(TITLES, 1))
    for said in (*sentences(sample_job.comparison), "As found: OUT. As left: OK.", "R. Quill", "T-14", "signature"):
        assert said in words
    pages = pages_of(sample_pdf, tmp_path)
    assert all(f"page {k} of {pages}" in words for k in range(1, pages + 1))
    flat = words.replace(" ", "")
    for name in ("machine.toml", "as-found.csv", "as-left.csv", "tray.toml", "settings.toml"):
        assert hashlib.sha256((samples / name).read_bytes()).hexdigest() in flat
    fonts = poppler("pdffonts", sample_pdf, tmp_path).splitlines()[2:]
    assert fonts
    assert all(line.split()[-5:-2] == ["yes", "yes", "yes"] for line in fonts)


def _long_machine(folder) -> Papers:
    """Two rows of twenty sections with long names, read twice."""
    names = {
        row: [f"{row}-side-forming-pass-{k:02}-with_its_side_rolls" for k in range(20)] for row in ("left", "right")
    }
    sections = [
        {"name": name, "row": row, "start": 500 * k + 20 * (row == "right"), "length": 450}
        for row, own in names.items()
        for k, name in enumerate(own)
    ]
    rows = {row: f"string_side = '{row}'\ntarget = '700'" for row in names}
    joints = [(a, b) for own in names.values() for a, b in pairwise(own)]
    (folder / "long.toml").write_text(layout_text(sections, rows=rows, joints=joints))
    rng = np.random.default_rng(5)
    for day, out in (("found", 4), ("left", 0)):
        found = [
            (name, point, 700 + int(rng.integers(-1, 2)) + out * (k % 7 == 3 and point == "exit"))
            for own in names.values()
            for k, name in enumerate(own)
            for point in ("entry", "exit")
        ]
        (folder / f"{day}.csv").write_text(
            survey_text(found, record=f"# taken: 2026-10-0{2 + (day == 'left')} 08:00\n")
        )
    return Papers(layout=folder / "long.toml", survey=folder / "found.csv", after=folder / "left.csv")


@POPPLER
def test_long_machine_still_reads(tmp_path):
    """Forty sections with long names: all there, every word inside its page, drawings in strips of a page's width."""
    whole = jobs.gather(_long_machine(tmp_path))
    pdf = report.render(whole, Paper.a4, DAY)
    flat = words_of(pdf, tmp_path).replace(" ", "").replace("\u200b", "")
    # a line that ends in a hyphen of the name loses it in the extract
    bare = flat.replace("-", "")
    assert all(s.name.replace("-", "") in bare for s in whole.layout.sections)
    pages = poppler("pdftotext", pdf, tmp_path, "-bbox").split("<page ")[1:]
    for page in pages:
        wide, high = (float(re.search(rf'{side}="([\d.]+)"', page)[1]) for side in ("width", "height"))
        for box in re.findall(r'xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)"', page):
            x0, y0, x1, y1 = map(float, box)
            assert 0 < x0 < x1 < wide
            assert 0 < y0 < y1 < high


def test_strips_show_every_section_whole(tmp_path):
    """Each section's name stands on one strip at least, and no text is cut by an edge of the drawing."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    papers = _long_machine(tmp_path)
    layout = read_layout(papers.layout)
    solution = solve(layout, read_survey(papers.survey, layout))
    shown: list[str] = []

    def look(figure, suffix):
        renderer = FigureCanvasAgg(figure).get_renderer()
        width = figure.get_size_inches()[0] * figure.dpi
        for axes in figure.axes:
            for text in axes.texts:
                if text.get_visible() and text.get_text():
                    box = text.get_window_extent(renderer)
                    assert box.x0 >= -0.5
                    assert box.x1 <= width + 0.5
                    shown.append(text.get_text().replace("\n", ""))
        return render(figure, suffix)

    render = plots.render
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(report_plots, "render", look)
        (picture,) = report_plots.state_pictures(solution, "As read")
    assert len(picture.strips) > 2
    for section in layout.sections:
        assert any(said.startswith(section.name) for said in shown), section.name


def test_a_dropped_stray_is_struck_out(samples, tmp_path):
    """A reading left out as told stands in the list struck out, and the record says so; else it stands as it is."""
    text = (samples / "as-left.csv").read_text().replace("operator-3,exit,18 3/8,2", "operator-3,exit,19 3/8,2")
    (tmp_path / "slip.csv").write_text(text)
    papers = Papers(layout=samples / "machine.toml", survey=tmp_path / "slip.csv")
    for drop in (False, True):
        told = {p["title"]: p for p in report.parts(jobs.gather(papers, drop_strays=drop), {})}["Readings, as read"]
        struck = [row for row in told["blocks"][1]["rows"] if isinstance(row[3], dict)]
        if drop:
            assert [(row[1], row[2], row[3]) for row in struck] == [("operator-3", "exit", {"struck": "19 3/8"})]
            assert struck[0][5].startswith("dropped")
            assert told["blocks"][0]["text"].endswith("1 reading dropped, as told, and struck out.")
        else:
            assert not struck
            assert told["blocks"][0]["text"].endswith("None was dropped.")


def test_one_survey_alone(samples, tmp_path):
    """Without a second survey it is the record of one: what it asks for, and what it should come to."""
    whole = jobs.gather(Papers(layout=samples / "machine.toml", survey=samples / "as-found.csv"))
    titles = [part["title"] for part in report.parts(whole, {})]
    assert titles[3:5] == ["As read", "Moves wanted"]
    assert not {"As left", "Test panel", "Settings"} & set(titles)
    moves = {p["title"]: p for p in report.parts(whole, {})}["Moves wanted"]
    said = " ".join(texts(moves))
    assert "loosen exit, keep entry snug; swing exit 9/64 toward the string" in said
    assert report.render(whole, Paper.letter, DAY).startswith(b"%PDF-")


def _part(papers: Papers, title: str) -> list[dict]:
    """Blocks of one part."""
    (part,) = (part for part in report.parts(jobs.gather(papers), {}) if part["title"] == title)
    return part["blocks"]


def test_what_was_not_read_stands_as_such(tmp_path):
    """A section read at one point, a moved one not read again, and no joints."""
    sections = [{"name": f"s{k}", "row": "r", "start": 500 * k, "length": 450} for k in range(6)]
    (tmp_path / "m.toml").write_text(layout_text(sections, rows={"r": "target = '700'"}))
    rows = [(f"s{k}", end, 712 if (k, end) == (1, "exit") else 700) for k in range(5) for end in ("entry", "exit")]
    (tmp_path / "a.csv").write_text(survey_text([*rows, ("s5", "entry", 700)]))
    (tmp_path / "b.csv").write_text(survey_text([row for row in rows if row[0] != "s1"]))
    papers = Papers(layout=tmp_path / "m.toml", survey=tmp_path / "a.csv", after=tmp_path / "b.csv")
    tables = {block["title"]: block["rows"] for block in _part(papers, "As found") if block["kind"] == "table"}
    assert set(tables) == {"Sections"}
    assert {row[0]: row[1:3] for row in tables["Sections"] if "not measured enough" in row} == {
        "s5": ["not measured enough", "1 reading"]
    }
    (moves,) = (b["rows"] for b in _part(papers, "What was done") if b["kind"] == "table" and "planned" in b["head"])
    assert {row[0] for row in moves} == {"s1"}
    assert all(row[3:] == ["", "", "cannot be told"] for row in moves)


def test_nothing_planned_is_said(samples):
    """A machine that was in before the move asked for nothing."""
    papers = Papers(layout=samples / "machine.toml", survey=samples / "before-move.csv", after=samples / "as-left.csv")
    assert "The survey as found asks for no moves." in texts(_part(papers, "What was done"))
    done = _part(sample_papers(samples), "What was done")
    assert "The survey as found asks for no moves." not in texts(done)


def test_the_published_shear_clearance_is_named_where_it_is_used(samples, tmp_path):
    """Where the file has its own numbers for the blades, the published shares are no limit of this record."""
    papers = sample_papers(samples)
    text = papers.settings.read_text().replace(
        'kind = "shear"', 'kind = "shear"\nwanted = "0.002"\ntolerance = "0.001"'
    )
    (tmp_path / "own.toml").write_text(text)
    for settings, named in ((papers.settings, True), (tmp_path / "own.toml", False)):
        (limits,) = _part(replace(papers, settings=settings), "Limits and their sources")
        whats = [row[0] for row in limits["rows"]]
        assert "settings" in whats
        assert ("shear clearance (settings)" in whats) is named


@pytest.mark.parametrize("suffix", ["", "-mm"])
def test_units_of_what_is_printed(samples, suffix):
    """Everything in the units asked for; the readings as they were written."""
    other = {"": "mm", "-mm": "in"}[suffix]
    from alignment.lengths import Units

    whole = jobs.gather(sample_papers(samples, suffix), units=Units(other))
    assert (whole.layout.units, whole.panel.panel.units, whole.settings.settings.units) == (other,) * 3
    parts = {part["title"]: part for part in report.parts(whole, {})}
    written = {"": "18 3/8", "-mm": "467.0"}[suffix]
    assert any(row[3] == written for row in parts["Readings, as found"]["blocks"][1]["rows"])
    bare = {"": "inches where", "-mm": "millimetres where"}[suffix]
    assert bare in parts["Readings, as found"]["blocks"][0]["text"]


@pytest.mark.parametrize(("kind", "old", "new", "said"), [
    ("settings", "Liner line, bay 2", "Other line", "the settings are of Other line, the surveys of Liner line"),
    ("tray", "Liner line, bay 2", "Other line", "the panel is of Other line, the surveys of Liner line"),
    ("tray", 'coil = "C-208"', 'edges = ["north", "drive"]', "The panel has an edge 'north'"),
])  # fmt: skip
def test_another_machine_is_told_on_the_front_page(samples, tmp_path, kind, old, new, said):
    """And above the signatures, and under what is left open."""
    text = (samples / f"{kind}.toml").read_text().replace(old, new)
    for name in ("operator", "from_operator", "operator_leg"):
        text = text.replace(f"{name} =", f"{name.replace('operator', 'north')} =") if "north" in new else text
    text = text.replace('edge = "operator"', 'edge = "north"') if "north" in new else text
    (tmp_path / "other.toml").write_text(text)
    papers = Papers(
        layout=samples / "machine.toml",
        survey=samples / "as-left.csv",
        **{"settings" if kind == "settings" else "panel": tmp_path / "other.toml"},
    )
    whole = jobs.gather(papers)
    assert any("NOT OF THIS MACHINE" in line and said in line for line in report_front.front(whole))
    parts = {part["title"]: " ".join(texts(part)) for part in report.parts(whole, {})}
    assert said in parts["Signatures"]
    assert said in parts["What the readings leave open"]


def test_the_front_page_says_what_came_before_the_cure(sample_job):
    first, *rest = report_front.front(sample_job)
    assert first == (
        "As found: OUT. As left: OK. Test panel: OUT (camber), BEFORE the survey as left. "
        "Settings: OUT, BEFORE the survey as left."
    )
    assert rest[-2:] == [
        "Test panel Liner tray, third after the move: OUT (camber). Measured 2026-10-02 10:15, BEFORE the survey as "
        "left (2026-10-02 13:25). No panel is on record after it.",
        "Settings: OUT. 3 of 7 to set. 1 setting not judged. Measured 2026-10-02 08:30, BEFORE the survey as left "
        "(2026-10-02 13:25). No settings are on record after it.",
    ]


@pytest.mark.parametrize(("taken", "order", "said"), [
    ("2026-10-02 14:00", ", after the survey as left.", "after the survey as left (2026-10-02 13:25)."),
    ("2026-10-03", ", after the survey as left.", "after the survey as left (2026-10-02 13:25)."),
    ("2026-10-02", ", before or after the survey as left not recorded.", "whether that was before or after"),
    ("Friday", ", before or after the survey as left not recorded.", "whether that was before or after"),
    ("", ", before or after the survey as left not recorded.", "When it was measured is not recorded"),
])  # fmt: skip
def test_order_of_panel_and_cure(samples, tmp_path, taken, order, said):
    line = 'taken = "2026-10-02 10:15"\n'
    text = (samples / "tray.toml").read_text().replace(line, f'taken = "{taken}"\n' if taken else "")
    (tmp_path / "tray.toml").write_text(text)
    papers = Papers(
        layout=samples / "machine.toml",
        survey=samples / "as-found.csv",
        after=samples / "as-left.csv",
        panel=tmp_path / "tray.toml",
    )
    first, *rest = report_front.front(jobs.gather(papers))
    assert first.endswith(f"Test panel: OUT (camber){order}")
    assert said in rest[-1]


def test_what_is_signed_stands_above_the_signatures(sample_job):
    block = {p["title"]: p for p in report.parts(sample_job, {})}["Signatures"]["blocks"]
    assert block[0]["text"] == report_front.signed(sample_job)
    assert block[-1]["boxes"] == ["accepted", "accepted with open points", "rejected"]


def test_a_default_is_not_called_ones_own_number(sample_job):
    """Each tolerance by whose number it is; a source that was not seen is not to be relied on alone."""

    def origins(assumed: tuple[str, ...]) -> list[str]:
        layout = replace(sample_job.layout, assumed=assumed)
        whole = replace(sample_job, found=replace(sample_job.found, layout=layout))
        rows = {p["title"]: p for p in report.parts(whole, {})}["Limits and their sources"]["blocks"][0]["rows"]
        return [row[2] for row in rows]

    default = "stringtrue's default, our judgement, no source: machine.toml has none"
    assert origins(())[:4] == ["own number, machine.toml"] * 4
    assert origins(("tolerance.step",))[:4] == [*["own number, machine.toml"] * 2, default, "own number, machine.toml"]
    assert origins(("tolerance",))[:4] == [default] * 4
    assert any("press-tool handbooks" in o and "do not accept or reject on it alone" in o for o in origins(()))


def test_in_is_a_verdict_and_not_a_unit(sample_job):
    """Headings and notes name inches in full."""
    for part in report.parts(sample_job, {}):
        for block in part["blocks"]:
            for said in (block.get("title", ""), block.get("note", ""), block.get("lead", "")):
                assert not re.match(r"in\b", str(said)), said
                assert "(in)" not in str(said)


def arguments(samples) -> list[object]:
    names = ("machine.toml", "as-found.csv", "as-left.csv", "tray.toml", "settings.toml")
    layout, found, left, tray, settings = (samples / name for name in names)
    return ["report", layout, found, "--after", left, "--panel", tray, "--settings", settings]


def test_same_bytes_for_the_same_day(samples, tmp_path, monkeypatch, run):
    """Two runs of the command, each byte alike; another day, other bytes."""
    made = []
    for name, epoch in (("a", "1790000000"), ("b", "1790000000"), ("c", "1800000000")):
        monkeypatch.setenv("SOURCE_DATE_EPOCH", epoch)
        assert run(*arguments(samples), "-o", tmp_path / f"{name}.pdf").status == 0
        made.append((tmp_path / f"{name}.pdf").read_bytes())
    assert made[0] == made[1] != made[2]


@pytest.mark.parametrize("fails", ["write", "fsync", "replace"])
def test_a_write_cut_short_leaves_the_old_record(samples, tmp_path, monkeypatch, run, fails):
    """Whatever step of the writing fails, the file that was there is whole and nothing lies beside it."""
    out = tmp_path / "report.pdf"
    out.write_bytes(b"the old record")

    def broken(*_, **__):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        if fails == "write":
            real = os.fdopen

            def opened(handle, *how):
                return _Cut(real(handle, *how))

            patch.setattr(os, "fdopen", opened)
        elif fails == "fsync":
            patch.setattr(os, "fsync", broken)
        else:
            patch.setattr("pathlib.Path.replace", broken)
        found = run("report", samples / "machine.toml", samples / "as-left.csv", "-o", out, "--force")
    assert (found.status, found.out) == (2, "")
    assert "cannot be written: No space left on device" in found.err
    assert out.read_bytes() == b"the old record"
    assert [p.name for p in tmp_path.iterdir()] == ["report.pdf"]


class _Cut:
    """A file whose disk is full half way through."""

    def __init__(self, file):
        self.file = file

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.file.close()

    def write(self, data):
        self.file.write(data[: len(data) // 2])
        raise OSError(28, "No space left on device")


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("-o", "a.txt"), "cannot be written as '.txt'. Use .pdf."),
        ((), "--out"),
        (("-o", "a.pdf", "--after", "none.csv"), "none.csv: there is no such file"),
        (("-o", "a.pdf", "--panel", "machine.toml"), "machine.toml"),
        (("-o", "a.pdf", "--settings", "as-left.csv"), "as-left.csv"),
        (("-o", "a.pdf", "--line", "all"), "--line"),
        (("-o", "machine.toml"), "cannot be written as '.toml'"),
        (("-o", "nowhere/a.pdf"), "there is no folder 'nowhere'"),
    ],
)
def test_refused(samples, tmp_path, monkeypatch, run, more, said):
    """Status 2, a message, nothing on standard output and nothing written."""
    for name in ("machine.toml", "as-left.csv"):
        shutil.copy(samples / name, tmp_path / name)
    monkeypatch.chdir(tmp_path)
    found = run("report", "machine.toml", "as-left.csv", *more)
    assert (found.status, found.out) == (2, "")
    assert said in found.err
    assert "Traceback" not in found.err
    assert sorted(p.name for p in tmp_path.iterdir()) == ["as-left.csv", "machine.toml"]


def test_pasted_readings_make_no_record(samples, tmp_path, run):
    """What was pasted cannot be looked up again, so that no hash of it would mean anything."""
    found = run("report", samples / "machine.toml", "-", "-o", tmp_path / "a.pdf")
    assert (found.status, found.out) == (2, "")
    assert "a record names its files" in found.err
    assert not list(tmp_path.iterdir())


def test_one_survey_is_not_taken_for_two(samples, tmp_path, run):
    machine, survey, out = samples / "machine.toml", samples / "as-left.csv", tmp_path / "r.pdf"
    outcome = run("report", machine, survey, "--after", survey, "-o", out)
    assert (outcome.status, outcome.out) == (2, "")
    assert "stands for both surveys, before and after" in outcome.err
    assert not out.exists()
