"""The record to sign: what must stand in it, what must not, its pages, its bytes, and what is refused."""

from __future__ import annotations

import datetime
import hashlib
import io
import math
import os
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pypdf
import pytest

from alignment.change.strings import Stayed
from alignment.lengths import Units, parse
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_files import read_survey
from alignment.show.page import Page, Part, Table, said
from alignment.show.paper import job as jobs
from alignment.show.paper import record as report
from alignment.show.paper.job import Papers
from alignment.show.paper.typesetting import Paper
from alignment.show.pictures import record as record_pictures
from alignment.show.words import cautions
from alignment.show.words.cautions import FULL, SHORT
from alignment.show.words.comparison import sentences
from alignment.show.words.moves import by_section, step_lines
from alignment.show.words.phrases import verdict_words
from alignment.show.words.record import MISSING, ROLES, VOUCHES, front_page, number, told_page
from alignment.show.words.record_annexes import RULE, annex_pages
from alignment.show.words.record_order import panel_when, settings_when, signed
from alignment.train.solve import solve
from alignment.uncertainty import COVERAGE, Verdict, conformance_probability, verdict
from tests.show.test_sheet import POPPLER, poppler
from tests.tools.machines import layout_text, survey_text

DAY = datetime.date(2026, 10, 5)
TITLES = [
    "Moves and state", "Pictures", "Test panel", "Settings", "Readings", "Open points, uncertainty and decision rule",
    "Program and files",
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


def whole_text(job) -> str:
    """Everything that a record says."""
    return " ".join(text for page in (front_page(job), *annex_pages(job).values()) for text in said(page))


def part_of(job, heading: str) -> Part:
    """One part of the record by its heading."""
    (part,) = (p for page in (front_page(job), *annex_pages(job).values()) for p in page.parts if p.heading == heading)
    return part


def tables(part: Part) -> list[Table]:
    return [block for block in part.blocks if isinstance(block, Table)]


def told(part: Part) -> str:
    """Everything that one part says."""
    return " ".join(said(Page(title="", parts=(part,))))


@pytest.fixture(scope="module")
def sample_job():
    from alignment.files.disk import sample_folder

    return jobs.gather(sample_papers(sample_folder()))


@pytest.fixture(scope="module")
def sample_pdf(sample_job) -> bytes:
    return report.render(sample_job, Paper.letter, DAY)


def test_annexes_of_the_sample(sample_job):
    """Every annex that the sample has something for, none of them empty."""
    pages = annex_pages(sample_job)
    assert [page.title for page in pages.values()] == TITLES
    assert all(part.blocks for page in pages.values() for part in page.parts)


def test_never_more_than_it_can_say(sample_job):
    """No word of a certificate; what the string does not see, and every caution in full, are said."""
    text = whole_text(sample_job).lower()
    assert "certif" not in text
    for unseen in ("roll gap", "wear", "load", "same skew to every section", "spacing between rows", "unchanged"):
        assert unseen in text
    assert all(caution.lower() in text for caution in FULL)
    assert "no accredited laboratory" in VOUCHES.lower()


def test_all_that_a_report_of_results_holds(sample_job, sample_pdf):
    """
    What ISO/IEC 17025:2017 7.8.2.1 and 7.8.6 ask of a report (clauses from memory), each looked for on paper.

    Title; place; unique number on every page and the pages counted; method; item; dates of measuring and of issue;
    results with units and U; what was left out; who authorises; own readings only; decision rule, limits and whose.
    """
    pages = [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(sample_pdf)).pages]
    first, text = pages[0], " ".join(pages)
    assert all(f"page {k} of {len(pages)}" in page for k, page in enumerate(pages, 1))
    assert all(f"Alignment record {number(sample_job)}" in page for page in pages)
    for asked in (
        "Alignment record", sample_job.layout.name, "place", "temperature", "string", "read by", "when", "wanted",
        "U = 2u", "Tolerance", "Printed 2026-10-05", "Checked and released by", "user's own readings", "Copy it whole",
    ):  # fmt: skip
        assert asked in first, asked
    for asked in ("Method", "Decision rule", "ISO 14253-1", "JCGM 106:2012", "Limits and their sources", "left out"):
        assert asked in text, asked


def test_the_number_is_of_the_files(sample_job):
    """The same files give the same number; a byte more in one of them another."""
    assert re.fullmatch("([0-9a-f]{4}-){2}[0-9a-f]{4}", number(sample_job))
    what, name, digest = sample_job.digests[1]
    other = replace(sample_job, digests=(sample_job.digests[0], (what, name, digest[::-1]), *sample_job.digests[2:]))
    assert number(other) != number(sample_job)


def test_raw_readings_are_as_written(sample_job, samples):
    """Every row of the files, in their order, in the words of the files."""
    for heading, name in (("Readings, as found", "as-found.csv"), ("Readings, as left", "as-left.csv")):
        lines = (samples / name).read_text().splitlines()
        written = [(str(n), line.split(",")) for n, line in enumerate(lines, 1) if line and line[0] != "#"][1:]
        (table,) = tables(part_of(sample_job, heading))
        assert [list(row[:4]) for row in table.rows] == [[n, *cells[:3]] for n, cells in written]
        assert [row[4] == "closing" for row in table.rows] == [cells[3] == "close" for _, cells in written]
        seen: dict[tuple[str, str], int] = {}
        for row in (row for row in table.rows if row[4] != "closing"):
            seen[row[1:3]] = seen.get(row[1:3], 0) + 1
            assert row[4] == ("", "2nd", "3rd")[seen[row[1:3]] - 1]


def test_a_log_is_written_once_with_its_moves_and_times(samples):
    """One table of the whole log, in its order: readings of sections that were never moved do not stand twice."""
    job = jobs.gather(Papers(layout=samples / "machine.toml", survey=samples / "job.csv"))
    (part,) = annex_pages(job)["readings"].parts
    (table,) = tables(part)
    lines = (samples / "job.csv").read_text().splitlines()
    written = [(n, line.split(",")) for n, line in enumerate(lines, 1) if line and line[0] != "#"][1:]
    assert [row[:5] for row in table.rows] == [
        (str(n), when[11:], section, point, reading) for n, (section, point, reading, _, when, _) in written
    ]
    assert [row[5] == "moved to" for row in table.rows] == [cells[3] == "move" for _, cells in written]
    assert "2026-10-02" in table.note
    assert annex_pages(job)["readings"].title == "Readings and moves"


def test_chances_of_sections_now_and_after_the_moves(sample_job):
    """Annex A has each section's chance as it stood and as planned, and as left; chances are the answer's own."""
    for heading, s in zip(("As found: OUT", "As left: OK"), (sample_job.found, sample_job.left), strict=True):
        table = tables(part_of(sample_job, heading))[0]
        for name, state in (("chance", s.state), ("moved", s.plan.state)):
            if name == "moved" and not s.plan.steps:
                assert name not in table.head
                continue
            k = table.head.index(name)
            for row, section in zip(table.rows, state.sections, strict=True):
                low, high = {"> 99%": (0.995, 1), "< 1%": (0, 0.005)}.get(row[k], (None, None))
                if low is None:
                    low, high = (float(row[k].rstrip("%")) / 100 + d for d in (-0.005, 0.005))
                assert low <= section.chance <= high


def test_numbers_are_those_of_the_answer(sample_job):
    """The tables hold what solving and comparing give, with the same verdicts."""
    (ends,) = tables(part_of(sample_job, "Wanted, as found, as left"))
    front = {row[0]: row for row in ends.rows}
    for name, solution in (("As found", sample_job.found), ("As left", sample_job.left)):
        (page,) = (p for p in annex_pages(sample_job)["work"].parts if p.heading.startswith(f"{name}: "))
        rows = {row[0]: row for row in tables(page)[0].rows}
        first = ends.head.index(f"{name.lower().removeprefix('as ')}, entry")
        for section in solution.state.sections:
            row = rows[section.name]
            assert row[4].split()[0] == verdict_words(section.worse_end).split()[0]
            assert row[7].split()[0] == verdict_words(section.skew).split()[0]
            assert float(row[5]) == pytest.approx(section.skew.value / 25.4, abs=0.5001e-3)
            assert float(row[6]) == pytest.approx(COVERAGE * section.skew.u / 25.4, abs=0.5001e-3)
            for k, end in enumerate((section.entry, section.exit)):
                printed = float(parse(front[section.name][first + k], Units.inch))
                assert printed == pytest.approx(end.reading, abs=0.5001 * 25.4 / 64)
                if name == "As left":
                    assert front[section.name][-3 + k] == verdict_words(end.deviation).split()[0]
    (moves,) = tables(part_of(sample_job, "What was moved"))
    assert [(row[0], row[1], row[-1]) for row in moves.rows] == [
        (m.section, m.bolt_end, str(m.outcome)) for m in sample_job.comparison.moves
    ]


def test_signed_on_the_first_page_and_seven_in_all(sample_job, sample_pdf, samples):
    """What is signed stands over the signatures on page 1; nine sections with panel and settings: 7 pages at most."""
    papers = sample_papers(samples)
    for pdf in (
        sample_pdf,
        report.render(jobs.gather(sample_papers(samples, "-mm")), Paper.a4, DAY),
        report.render(jobs.gather(replace(papers, survey=samples / "job.csv", after=None)), Paper.letter, DAY),
    ):
        reader = pypdf.PdfReader(io.BytesIO(pdf))
        first = " ".join(reader.pages[0].extract_text().split())
        order = [first.index(text) for text in ("As left:", "Open points", "accepted with open points", *ROLES)]
        assert order == sorted(order)
        assert len(reader.pages) <= 7
    assert signed(sample_job) in " ".join(pypdf.PdfReader(io.BytesIO(sample_pdf)).pages[0].extract_text().split())


@pytest.mark.parametrize("count", [1, 2, 9, 30])
def test_one_page_to_sign_on_any_machine(tmp_path, count):
    """The signatures stand on page 1 with one section and with thirty, long names and all of them out."""
    sections = [
        {"name": f"forming pass {k}, north side, with its side rolls", "row": "r", "start": 500 * k, "length": 450}
        for k in range(count)
    ]
    (tmp_path / "m.toml").write_text(layout_text(sections, rows={"r": "target = '467'"}))
    rows = [(s["name"], end, 467 + 5 * (end == "exit")) for s in sections for end in ("entry", "exit")]
    rows = [(f'"{name}"', *rest) for name, *rest in rows]
    for name in ("a", "b"):
        (tmp_path / f"{name}.csv").write_text(survey_text(rows))
    papers = Papers(layout=tmp_path / "m.toml", survey=tmp_path / "a.csv", after=tmp_path / "b.csv")
    pdf = report.render(jobs.gather(papers), Paper.letter, DAY)
    first, second, *_ = pypdf.PdfReader(io.BytesIO(pdf)).pages
    assert "Checked and released by" in first.extract_text()
    assert "Moves and state" in second.extract_text()


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
    assert "at most 4.6 %" in " ".join(RULE)


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
    assert all(f"{letter} {title}" in words for letter, title in zip("ABCDEFG", TITLES, strict=True))
    for text in (*sentences(sample_job.comparison), signed(sample_job), "R. Quill", "T-14", "signature"):
        assert text in words
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
    rows = {row: f"string_side = '{row}'\ntarget = '600'" for row in names}
    joints = [(a, b) for own in names.values() for a, b in pairwise(own)]
    (folder / "long.toml").write_text(layout_text(sections, rows=rows, joints=joints))
    rng = np.random.default_rng(5)
    for day, out in (("found", 4), ("left", 0)):
        found = [
            (name, point, 600 + int(rng.integers(-1, 2)) + out * (k % 7 == 3 and point == "exit"))
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
    """Each section's name stands on one strip at least, and no words are cut by an edge of the drawing."""
    papers = _long_machine(tmp_path)
    layout = read_layout(papers.layout)
    solution = solve(layout, read_survey(papers.survey, layout))
    (picture,) = record_pictures.state_pictures([("As read", solution, False)])
    assert len(picture.strips) > 2
    shown = set()
    for strip in picture.strips:
        for shape in (shape for shape in strip.shapes if shape["kind"] == "words"):
            (x, y), wide = shape["points"][0], 0.5 * shape["size"] / 72 * max(map(len, shape["lines"]))
            first = x - {"left": 0.0, "center": 0.5, "right": 1.0}[shape["ha"]] * wide
            assert -0.1 < first < first + wide < strip.width + 0.1
            assert 0 < y < strip.height
            shown.add("".join(shape["lines"]).replace(" ", ""))
    for section in layout.sections:
        assert any(words.startswith(section.name) for words in shown), section.name


def test_cautions_stand_over_moves_and_over_pictures_with_arrows(sample_job):
    """In full where the annexes begin, in short over each list of moves and over the pictures."""
    pages = annex_pages(sample_job)
    assert pages["work"].parts[0].blocks == (cautions.full(),)
    assert cautions.short() in pages["pictures"].parts[0].blocks


def test_cautions_stand_where_the_record_of_one_survey_asks_for_moves(samples):
    """On the first page, and in what is said of the file."""
    whole = jobs.gather(Papers(layout=samples / "machine.toml", survey=samples / "as-found.csv"))
    assert cautions.short() in part_of(whole, "Open points").blocks
    assert SHORT[0] in list(said(told_page(whole, "r.pdf")))


def test_as_found_and_as_left_at_one_scale(sample_job):
    """A tolerance is as wide in both pictures, though the deviations as left are much smaller."""
    states = [(name, solution, False) for name, solution in sample_job.surveys]
    found, left = record_pictures.state_pictures(states)
    (alone,) = record_pictures.state_pictures(states[1:])
    bands = [
        max(p[1] for p in shape["points"]) - min(p[1] for p in shape["points"])
        for picture in (found, left, alone)
        for shape in [next(s for s in picture.strips[0].shapes if s["kind"] == "area")]
    ]
    assert bands[0] == pytest.approx(bands[1])
    assert bands[2] > 1.5 * bands[1]


def test_a_record_loads_no_plotting_and_no_tables(samples, tmp_path):
    """Start-up time: its pictures are drawn by the typesetter."""
    code = (
        "import sys; from cli.app import run; status = run();"
        "assert not {'matplotlib', 'pandas', 'openpyxl'} & set(sys.modules), sorted(sys.modules); sys.exit(status)"
    )
    line = [sys.executable, "-c", code, *map(str, arguments(samples)), "-o", str(tmp_path / "r.pdf")]
    made = subprocess.run(line, capture_output=True, text=True, check=False)
    assert made.returncode == 0, made.stderr


def test_a_dropped_stray_is_marked(samples, tmp_path):
    """A reading left out as told stands in the list as such, and the record says so; else it stands as it is."""
    lines = (samples / "as-left.csv").read_text().splitlines()
    at = [k for k, line in enumerate(lines) if line.startswith("operator-3,exit")][1]
    cells = lines[at].split(",")
    whole, *rest = cells[2].split()
    lines[at] = ",".join([*cells[:2], " ".join([str(int(whole) + 1), *rest]), *cells[3:]])
    (tmp_path / "slip.csv").write_text("\n".join(lines) + "\n")
    papers = Papers(layout=samples / "machine.toml", survey=tmp_path / "slip.csv")
    for drop in (False, True):
        (part,) = annex_pages(jobs.gather(papers, drop_strays=drop))["readings"].parts
        (table,) = tables(part)
        marked = [row for row in table.rows if "left out" in row[-1]]
        assert [(int(row[0]), row[1], row[2]) for row in marked] == [(at + 1, "operator-3", "exit")] * drop
        assert ("1 reading left out of the fit" if drop else "None was left out") in table.note


def test_one_survey_alone(samples):
    """Without a second survey it is the record of one: what it asks for, and what it should come to."""
    whole = jobs.gather(Papers(layout=samples / "machine.toml", survey=samples / "as-found.csv"))
    headings = [part.heading for part in annex_pages(whole)["work"].parts]
    assert headings[1] == "Moves wanted"
    assert headings[2].startswith("As read: ")
    assert not {"panel", "settings"} & set(annex_pages(whole))
    moves = told(part_of(whole, "Moves wanted"))
    mark = whole.found.survey.tape.graduation
    first, *_ = step_lines(by_section(whole.found.plan.steps)[0], whole.layout, mark)
    assert first in moves
    assert moves.index(SHORT[0]) < moves.index(first)
    assert "Nothing is on record as moved" in told(part_of(whole, "What was moved"))
    assert report.render(whole, Paper.letter, DAY).startswith(b"%PDF-")


def test_what_was_not_read_stands_as_such(tmp_path):
    """A section read at one point, a moved one not read again, and no joints."""
    sections = [{"name": f"s{k}", "row": "r", "start": 500 * k, "length": 450} for k in range(6)]
    (tmp_path / "m.toml").write_text(layout_text(sections, rows={"r": "target = '467'"}))
    rows = [(f"s{k}", end, 472 if (k, end) == (1, "exit") else 467) for k in range(5) for end in ("entry", "exit")]
    (tmp_path / "a.csv").write_text(survey_text([*rows, ("s5", "entry", 467)]))
    (tmp_path / "b.csv").write_text(survey_text([row for row in rows if row[0] != "s1"]))
    papers = Papers(layout=tmp_path / "m.toml", survey=tmp_path / "a.csv", after=tmp_path / "b.csv")
    whole = jobs.gather(papers)
    (found,) = (p for p in annex_pages(whole)["work"].parts if p.heading.startswith("As found: "))
    (table,) = tables(found)
    assert {row[0]: row[1:3] for row in table.rows if "not measured enough" in row} == {
        "s5": ("not measured enough", "1 reading")
    }
    (ends,) = tables(part_of(whole, "Wanted, as found, as left"))
    assert {row[0] for row in ends.rows if "not read" in row} == {"s1", "s5"}
    (moves,) = tables(part_of(whole, "What was moved"))
    assert {row[0] for row in moves.rows} == {"s1"}
    assert all(row[3:] == ("-", "-", "cannot be told") for row in moves.rows)


def test_nothing_planned_is_said(samples, sample_job):
    """A machine that was in before the move asked for nothing."""
    papers = Papers(layout=samples / "machine.toml", survey=samples / "before-move.csv", after=samples / "as-left.csv")
    nothing = "The survey as found asks for no moves."
    assert nothing in told(part_of(jobs.gather(papers), "What was moved"))
    assert nothing not in told(part_of(sample_job, "What was moved"))


def test_the_published_shear_clearance_is_named_where_it_is_used(samples, tmp_path):
    """Where the file has its own numbers for the blades, the published shares are no limit of this record."""
    papers = sample_papers(samples)
    text = papers.settings.read_text().replace(
        'kind = "shear"', 'kind = "shear"\nwanted = "0.002"\ntolerance = "0.001"'
    )
    (tmp_path / "own.toml").write_text(text)
    for settings, named in ((papers.settings, True), (tmp_path / "own.toml", False)):
        (limits,) = tables(part_of(jobs.gather(replace(papers, settings=settings)), "Limits and their sources"))
        whats = [row[1] for row in limits.rows if row[0] == "settings"]
        assert whats == ["all", *["shear clearance"] * named]


LOG = """section,point,reading,kind,when,photo,sha256,note
a,entry,467,,2026-10-02 07:41,,,
a,exit,472,,2026-10-02 07:42,,,
b,entry,467,,2026-10-02 07:43,,,
b,exit,467,,2026-10-02 07:44,,,
a,exit,,photo,2026-10-02 07:45,here.jpg,{same},
a,exit,467,move,2026-10-02 07:49,,,washer turned
a,exit,,photo,2026-10-02 07:50,changed.jpg,{same},
a,entry,467,,2026-10-02 07:52,,,
a,exit,467,,2026-10-02 07:53,,,
a,exit,,photo,2026-10-02 07:54,gone.jpg,{same},
"""


def test_one_log_tells_the_whole_job(tmp_path):
    """Found, moved and left from one file; photographs by name and hash, and whether they are still the same."""
    sections = [{"name": name, "row": "r", "start": 500 * k, "length": 450} for k, name in enumerate("ab")]
    (tmp_path / "m.toml").write_text(layout_text(sections, rows={"r": "target = '467'"}))
    same = hashlib.sha256(b"picture").hexdigest()
    (tmp_path / "job.csv").write_text(LOG.format(same=same))
    (tmp_path / "here.jpg").write_bytes(b"picture")
    (tmp_path / "changed.jpg").write_bytes(b"another")
    whole = jobs.gather(Papers(layout=tmp_path / "m.toml", survey=tmp_path / "job.csv"))
    (moves,) = tables(part_of(whole, "What was moved"))
    assert moves.rows == (("a", "exit", "467.0", "2026-10-02 07:49", "washer turned"),)
    (ends,) = tables(part_of(whole, "Wanted, as found, as left"))
    assert ends.rows[0][:6] == ("a", "467.0", "467.0", "472.0", "467.0", "467.0")
    (part,) = annex_pages(whole)["photographs"].parts
    assert [row[3:] for row in tables(part)[0].rows] == [
        ("here.jpg", same, "same"), ("changed.jpg", same, "ANOTHER FILE"), ("gone.jpg", same, "not there"),
    ]  # fmt: skip
    pdf = report.render(whole, Paper.a4, DAY)
    assert "here.jpg" in " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)


def test_no_photographs_no_annex(sample_job):
    assert "photographs" not in annex_pages(sample_job)


@pytest.mark.parametrize("suffix", ["", "-mm"])
def test_units_of_what_is_printed(samples, suffix):
    """Everything in the units asked for; the readings as they were written."""
    other = {"": "mm", "-mm": "in"}[suffix]
    whole = jobs.gather(sample_papers(samples, suffix), units=Units(other))
    assert (whole.layout.units, whole.panel.panel.units, whole.settings.settings.units) == (other,) * 3
    (table,) = tables(part_of(whole, "Readings, as found"))
    assert table.rows[0][3] == whole.found.survey.readings[0].text
    bare = {"": "inches where", "-mm": "millimetres where"}[suffix]
    assert bare in table.note
    (ends,) = tables(part_of(whole, "Wanted, as found, as left"))
    assert ends.note.lower().startswith(Units(other).plural)


@pytest.mark.parametrize(("kind", "old", "new", "words"), [
    ("settings", "Liner line, bay 2", "Other line", "the settings are of Other line, the surveys of Liner line"),
    ("tray", "Liner line, bay 2", "Other line", "the panel is of Other line, the surveys of Liner line"),
    ("tray", 'coil = "C-208"', 'edges = ["north", "drive"]', "The panel has an edge 'north'"),
])  # fmt: skip
def test_another_machine_is_told_on_the_front_page(samples, tmp_path, kind, old, new, words):
    """Over the signatures, and in what is said of the file."""
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
    assert any("NOT OF THIS MACHINE" in text and words in text for text in said(front_page(whole)))
    assert any("NOT OF THIS MACHINE" in text and words in text for text in said(told_page(whole, "r.pdf")))


def test_the_order_of_what_was_measured_is_said_over_the_signatures(sample_job):
    """The sample's panel and settings were measured before the cure: they tell nothing of the machine as left."""
    text = signed(sample_job).lower()
    assert re.match(
        r"as found: out\. as left: \S+ test panel: out \(camber\), before the survey as left\.", text.lower()
    )
    assert text.endswith("settings: out, before the survey as left.")
    open_points = told(part_of(sample_job, "Open points"))
    for left in (panel_when(sample_job), settings_when(sample_job)):
        assert re.search(r"Measured \S+ \S+, BEFORE the survey as left \(.*\)\. No .* on record after it\.", left)
        assert left in open_points
        assert left in " ".join(said(told_page(sample_job, "r.pdf")))


@pytest.mark.parametrize(("taken", "order", "words"), [
    ("2026-10-02 23:00", ", after the survey as left.", ", after the survey as left ("),
    ("2026-10-03", ", after the survey as left.", ", after the survey as left ("),
    ("2026-10-02", ", before or after the survey as left not recorded.", "whether that was before or after"),
    ("Friday", ", before or after the survey as left not recorded.", "whether that was before or after"),
    ("", ", before or after the survey as left not recorded.", "When it was measured is not recorded"),
])  # fmt: skip
def test_order_of_panel_and_cure(sample_job, taken, order, words):
    """By the dates on record, and open where these do not tell."""
    panel = sample_job.panel.panel
    record = {k: v for k, v in panel.record.items() if k != "taken"} | ({"taken": taken} if taken else {})
    found = replace(sample_job, panel=replace(sample_job.panel, panel=replace(panel, record=record)), settings=None)
    assert signed(found).endswith(f"(camber){order}")
    assert words in panel_when(found)


def test_a_default_is_not_called_ones_own_number(sample_job):
    """Each tolerance by whose number it is; a source that was not seen is not to be relied on alone."""

    def origins(assumed: tuple[str, ...]) -> dict[str, str]:
        layout = replace(sample_job.layout, assumed=assumed)
        whole = replace(sample_job, found=replace(sample_job.found, layout=layout))
        (table,) = tables(part_of(whole, "Limits and their sources"))
        return {what: row[3] for row in table.rows for what in row[1].split("; ")}

    default = "stringtrue's default, our judgement, no source: machine.toml has none"
    own = "own number, machine.toml"
    names = ("offset at either end", "square, end to end", "step at a joint", "opening, taper")
    for assumed, expected in (
        ((), [own] * 4),
        (("tolerance.step",), [own, own, default, own]),
        (("tolerance",), [default] * 4),
    ):
        assert [origins(assumed)[name] for name in names] == expected
    shear = origins(())["shear clearance"]
    assert "press-tool handbooks" in shear
    assert "do not accept or reject on it alone" in shear


def test_an_inch_is_no_preposition(sample_job):
    """Headings, titles and notes name inches in full or by their sign."""
    for page in (front_page(sample_job), *annex_pages(sample_job).values()):
        for part in page.parts:
            for text in (part.heading, *(t for table in tables(part) for t in (table.title, table.note))):
                assert not re.search(r"\d in\b|^in\b|\(in\)", text), text


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


def test_steps_that_are_proved_are_counted(sample_job):
    """On the front page: those not proved one by one, the rest by their number; all where all are."""
    joints = sample_job.left.state.joints
    assert all(j.step.verdict is Verdict.ok for j in joints)
    assert f"Steps at joints: all {len(joints)} OK." in " ".join(said(front_page(sample_job)))
    state = replace(sample_job.left.state, joints=(joints[0]._replace(step=None), *joints[1:]))
    front = " ".join(said(front_page(replace(sample_job, left=replace(sample_job.left, state=state)))))
    first = f"{joints[0].upstream} / {joints[0].downstream}"
    assert f"Steps at joints: {first} not measured. The other {len(joints) - 1} OK." in front


def test_what_a_record_of_readings_says_is_told_as_written(sample_job):
    record = {**sample_job.left.survey.record, "by": "Ada Sill"}
    named = replace(sample_job, left=replace(sample_job.left, survey=replace(sample_job.left.survey, record=record)))
    assert "Ada Sill" in whole_text(named)
    nobody = {key: value for key, value in record.items() if key != "by"}
    unnamed = replace(sample_job, left=replace(sample_job.left, survey=replace(sample_job.left.survey, record=nobody)))
    assert "Ada Sill" not in whole_text(unnamed)
    assert whole_text(unnamed).count(MISSING) == whole_text(named).count(MISSING) + 1


def test_the_string_is_not_taken_to_have_stayed_up_unless_that_is_told(samples):
    motion = jobs.gather(sample_papers(samples)).comparison.motion
    assert motion.stayed is not Stayed.told
    assert jobs.gather(sample_papers(samples), same_string=True).comparison.motion.stayed is Stayed.told


def test_states_are_drawn_as_read_and_after_moves_that_are_still_to_be_made(samples, sample_job, monkeypatch):
    drawn: list[list[tuple[str, object, bool]]] = []
    monkeypatch.setattr(report, "typeset", lambda *_: b"")
    monkeypatch.setattr(report.record_pictures, "state_pictures", lambda states: drawn.append(list(states)) or [])
    alone = jobs.gather(Papers(layout=samples / "machine.toml", survey=samples / "as-found.csv"))
    done = replace(alone, found=replace(alone.found, plan=replace(alone.found.plan, steps=())))
    for job in (sample_job, alone, done):
        report.render(job, Paper.letter, DAY)
    told = [[(title.split(":")[0].split(",")[0], moves) for title, _, moves in states] for states in drawn]
    assert told == [
        [("As found", False), ("As left", False)], [("As read", False), ("After the moves", True)], [("As read", False)]
    ]  # fmt: skip


def test_what_moves_should_come_to_is_told_where_they_are_still_to_be_made(samples, sample_job):
    alone = jobs.gather(Papers(layout=samples / "machine.toml", survey=samples / "as-found.csv"))
    (wanted,) = (p for page in annex_pages(alone).values() for p in page.parts if p.heading == "Moves wanted")
    assert f"After these moves it should read: {alone.found.plan.state.verdict.printed}." in told(wanted)
    assert "After these moves it should read" not in whole_text(sample_job)
