"""Many surveys over time: what drifts, what moved when, and what stops a survey from being followed."""

from __future__ import annotations

import datetime
import io
import json
import sys
from dataclasses import replace

import numpy as np
import openpyxl
import pytest

from alignment.change import history
from alignment.change.history import MONTH, follow
from alignment.choices import Line
from alignment.errors import InputError, NotEnoughReadingsError
from alignment.machine.layout_file import read_layout
from alignment.machine.survey_files import read_survey
from alignment.machine.survey_text import parse_survey
from alignment.show.door import text
from alignment.show.json.history import as_json
from alignment.show.pictures import history as history_plots
from alignment.show.tables.history import as_tables
from alignment.show.words.history import drifting, headlines
from alignment.uncertainty import COVERAGE
from tests.tools import rates_compare
from tests.tools.machines import machine

SECTIONS = [{"name": f"s{k}", "row": "r", "start": f"{500 * k}", "length": "480"} for k in range(5)]
ROWS = {"r": "target = '600'"}
FIRST = datetime.datetime.fromisoformat("2025-01-06 07:30")


def made(layout, days, values, *, noise=0.0, seed=1):
    """
    Surveys on some days.

    Parameters
    ----------
    values : callable
        Deviation of a section's entry and exit end on a day, from its name and the day. [mm]
    """
    rng = np.random.default_rng(seed)
    found = []
    for day in days:
        lines = [f"# taken: {(FIRST + datetime.timedelta(days=day)).isoformat(' ', 'minutes')}", "section,entry,exit,u"]
        for s in layout.sections:
            ends = [600 + v + rng.normal(0, noise) if noise else 600 + v for v in values(s.name, day)]
            lines.append(f"{s.name},{ends[0]:.6f},{ends[1]:.6f},0.4")
        found.append(parse_survey("\n".join(lines), layout, f"day-{day:03.0f}.csv"))
    return found


@pytest.fixture
def layout():
    return machine(SECTIONS, rows=ROWS)


DRAGGED = {"operator-2", "operator-3", "operator-5", "drive-2"}
MONTHS = [MONTH * k for k in range(12)]


def still(name, day):
    return 0.0, 0.0


def creeping(name, day):
    """Section s3 goes away by 0.5 mm a month."""
    return (0.5 * day / MONTH,) * 2 if name == "s3" else (0.0, 0.0)


def knocked(name, day):
    """Section s1 is knocked 8 mm at its exit end between the sixth and the seventh month."""
    return (0.0, 8.0) if name == "s1" and day > 6.5 * MONTH else (0.0, 0.0)


def hung_farther(name, day):
    """The string is hung 3 mm farther off each month."""
    return (3.0 * day / MONTH,) * 2


def test_a_drift_is_found_and_nothing_else(layout):
    """The true slope to the last digit, over the whole record, of that section's offset alone."""
    found = follow(layout, made(layout, MONTHS, creeping))
    ((name, what, drift),) = drifting(found)
    assert (name, what, drift.dates) == ("s3", "offset", 12)
    assert drift.per_month == pytest.approx(0.5, rel=1e-6)
    assert drift.since == found.taken[0]
    assert found.events == ()
    assert headlines(found) == (
        "Drifting: s3 offset +0.500 mm a month.",
        "Nothing moved from one survey to the next by more than this tape can see.",
    )


def test_a_knock_is_a_move_and_no_drift(layout):
    """It is named between its two dates; since then there is no drift."""
    found = follow(layout, made(layout, MONTHS, knocked))
    (event,) = found.events
    assert (event.before, event.after) == (6, 7)
    assert event.motion.moved.tolist() == [1]
    assert drifting(found) == []
    # the knock is a new level, and no slope
    assert found.drifts[1][1].per_month == pytest.approx(0.0, abs=1e-9)
    assert "2025-07-07 22:30 to 2025-08-07 09:00: s1 exit 8.0 mm away." in " ".join(text(found).split())


def test_many_moves_are_counted():
    """Knocked to and fro between each two of sixteen surveys: of fifteen moves the last twelve stand there."""
    layout = machine(SECTIONS, rows=ROWS)
    days = [MONTH * k for k in range(16)]
    found = follow(layout, made(layout, days, lambda name, day: (0.0, 8.0 * (round(day / MONTH) % 2) * (name == "s1"))))
    assert len(found.events) == 15
    lines = text(found).splitlines()
    start = lines.index("MOVES, LAST FIRST") + 1
    listed = lines[start : lines.index("", start)]
    moves = [line for line in listed if line.startswith("  - ")]
    assert len(moves) == 12
    assert moves[0].startswith(f"  - {found.taken[14]:%Y-%m-%d}")
    assert listed[-1] == "  And at 3 earlier dates: see --json or --table."


def test_doubts_are_those_of_what_was_asked(layout):
    """Moves take two surveys, drifts four; a line of each day is said to be one."""
    surveys = made(layout, MONTHS[:4], still)
    for number, line in ((4, Line.string), (2, Line.fitted), (1, Line.string)):
        said = " ".join(text(follow(layout, surveys[:number], line=line), full=True).split())
        assert ("Offset and skew are from a line through the sections" in said) is (line is Line.fitted)
        assert ("Moves are from one survey to the next" in said) is (number > 1)
        assert ("Drifts are against the other sections" in said) is (number == 4)


@pytest.mark.parametrize(("values", "count", "sheets"), [
    (still, 2, {"series"}), (still, 12, {"series", "drift"}), (knocked, 12, {"series", "drift", "moved"}),
])  # fmt: skip
def test_tables_are_those_of_which_there_is_something(layout, values, count, sheets):
    tables = as_tables(follow(layout, made(layout, MONTHS[:count], values)))
    assert set(tables) == sheets
    assert not any(table.empty for table in tables.values())


def test_u_of_a_table_is_two_standard_uncertainties(layout):
    found = follow(layout, made(layout, MONTHS[:2], still))
    series = as_tables(found)["series"]
    assert series["U offset"].to_numpy() == pytest.approx(COVERAGE * found.offset_u.ravel())
    assert series["U skew"].to_numpy() == pytest.approx(COVERAGE * found.skew_u.ravel())
    assert (series["U skew"] > 0).all()


def test_order_of_the_files_does_not_matter(layout):
    surveys = made(layout, MONTHS, creeping)
    one, other = follow(layout, surveys), follow(layout, surveys[::-1])
    assert as_json(one) == as_json(other)


def test_nothing_is_called_over_many_quiet_histories(layout):
    """Of 100 histories of noise alone, each with 1 % for a false move and 1 % for a false drift, 92 are quiet."""
    loud = 0
    for seed in range(100):
        found = follow(layout, made(layout, MONTHS, still, noise=0.4, seed=seed))
        loud += bool(found.events or drifting(found))
    # binomial of 100 and 0.02: mean 2, 4 sigma 5.6
    assert loud <= 8


@pytest.mark.parametrize("sections", [2, 5])
def test_the_string_of_each_day_is_taken_off(sections):
    """A string hung 3 mm farther each month makes no section drift; that all go together is said of the string."""
    layout = machine(SECTIONS[:sections], rows=ROWS)
    found = follow(layout, made(layout, MONTHS, hung_farther))
    assert drifting(found) == []
    assert headlines(found)[0] == (
        "All sections on string r drift together: +3.000 mm a month at the entry and +3.000 mm a month at the exit. "
        "Check where the string is tied first."
    )
    offset, skew = found.apart
    assert offset == pytest.approx(np.full((12, sections), found.offset.mean()), abs=1e-6)
    assert skew == pytest.approx(np.zeros((12, sections)), abs=1e-6)


def test_section_missing_on_some_dates(layout):
    surveys = made(layout, MONTHS, creeping)
    surveys[4] = replace(surveys[4], readings=tuple(r for r in surveys[4].readings if r.section != "s3"))
    found = follow(layout, surveys)
    assert np.isnan(found.offset[4, 3])
    assert drifting(found)[0][2].dates == 11
    data = json.loads(json.dumps(as_json(found), allow_nan=False))
    assert data["sections"][3]["offset"]["values"][4] is None
    assert "'-' marks a section" in text(found, full=True)


def test_two_surveys_make_no_drift(layout):
    found = follow(layout, made(layout, MONTHS[:2], creeping))
    assert headlines(found)[0] == "Too early to speak of a drift: 2 dates, and it takes 4."


def test_one_survey_stands_alone(layout):
    found = follow(layout, made(layout, [0], still))
    assert headlines(found)[1] == "One survey alone shows no move."
    assert history_plots.history_sheet(found).axes


def test_no_survey_at_all(layout):
    with pytest.raises(NotEnoughReadingsError):
        follow(layout, [])


def test_every_survey_that_cannot_be_followed_is_told(layout):
    """Without a date, with one that is none, with too few readings: all in one go."""
    texts = {
        "a.csv": "section,entry,exit\ns0,600,600\n",
        "b.csv": "# taken: last Tuesday\nsection,entry,exit\ns0,600,600\n",
        "c.csv": "# taken: 2025-01-01\nsection,entry,exit\ns0,600,\n",
    }
    with pytest.raises(InputError) as caught:
        follow(layout, [parse_survey(text, layout, name) for name, text in texts.items()])
    assert str(caught.value).splitlines() == [
        "surveys: 3 cannot be followed over time",
        "  a.csv: # taken is missing. Write a line '# taken: 2026-10-02 07:40' above the readings.",
        "  b.csv: # taken 'last Tuesday' is not a date as year-month-day. Write a line '# taken: 2026-10-02 07:40' "
        "above the readings.",
        "  c.csv: no section was read at two distinct points, so no face can be drawn. Read each section at its entry "
        "and exit points.",
    ]


@pytest.mark.parametrize("suffix", ["", "-mm"])
def test_samples(samples, suffix):
    """Dragged over the weekend, cured the same day."""
    layout = read_layout(samples / f"machine{suffix}.toml")
    days = ("as-left", "before-move", "as-found")
    found = follow(layout, [read_survey(samples / f"{day}{suffix}.csv", layout) for day in days])
    for event in found.events:
        assert {layout.sections[i].name for i in event.motion.moved} <= DRAGGED
    assert [(event.before, event.after) for event in found.events] == [(0, 1), (1, 2)]
    for full in (False, True):
        said = text(found, full=full)
        assert said.isascii()
        assert max(map(len, said.splitlines())) <= 80


def test_a_misread_tape_is_told_beside_the_move_that_it_feigns(samples):
    """An inch too much at one point: the section is named twice, each time with the flag of that survey."""
    layout = read_layout(samples / "machine.toml")
    days = ("before-move", "inch-slip", "as-left")
    found = follow(layout, [read_survey(samples / f"{day}.csv", layout) for day in days])
    for event in found.events:
        assert [(source, flag.section) for source, flag in event.flags] == [("inch-slip.csv", "operator-4")]
    said = " ".join(text(found).split())
    assert said.count("But check inch-slip.csv: operator-4, exit: read 19 3/8") == 2
    assert said.endswith("First: check the reading of operator-4 in inch-slip.csv. A wrong reading looks like a move.")


@pytest.fixture
def folder(samples, tmp_path):
    place = tmp_path / "surveys"
    place.mkdir()
    for day in ("before-move", "as-found", "as-left"):
        (place / f"{day}.csv").write_bytes((samples / f"{day}.csv").read_bytes())
    (place / "notes.txt").write_text("not a survey")
    return place


def test_command_reads_a_folder(samples, folder, run, tmp_path):
    """Its surveys and nothing else; text, JSON, picture and tables."""
    machine_file = samples / "machine.toml"
    found = run("history", machine_file, folder, "--plot", tmp_path / "h.svg", "--table", tmp_path / "h.xlsx")
    assert (found.status, found.err) == (0, "")
    assert found.out == run("history", machine_file, *sorted(folder.glob("*.csv")), folder).out
    data = json.loads(run("history", machine_file, folder, "--json").out)
    assert [s["file"] for s in data["surveys"]] == ["before-move.csv", "as-found.csv", "as-left.csv"]
    assert {m["section"] for m in data["moved"]} <= DRAGGED
    book = openpyxl.load_workbook(tmp_path / "h.xlsx")
    assert book.sheetnames == ["series", "moved"]
    assert book["series"].max_row == 1 + 3 * 9


def test_command_tells_every_file_that_cannot_be_read(samples, folder, run):
    (folder / "bad-1.csv").write_text("section,point,reading\nnobody,entry,18\n")
    (folder / "bad-2.csv").write_text("")
    found = run("history", samples / "machine.toml", folder)
    assert (found.status, found.out) == (2, "")
    assert found.err.startswith("stringtrue: 2 of the surveys cannot be used\nbad-1.csv: 1 reading cannot be used\n")
    assert "bad-2.csv: no readings" in found.err


def test_command_on_an_empty_folder(samples, run, tmp_path):
    found = run("history", samples / "machine.toml", tmp_path)
    assert found.status == 2
    assert found.err.endswith("there is no survey in this folder. Expected .csv, .tsv, .xlsx files.\n")


class Terminal(io.StringIO):
    """Standard error that says it is a terminal."""

    def isatty(self) -> bool:
        """Always."""
        return True


@pytest.mark.parametrize("terminal", [True, False])
def test_progress_goes_to_a_terminal_only(terminal, monkeypatch, tmp_path):
    """Sixty files: a bar on standard error where that is a terminal, nothing otherwise."""
    from cli import output

    stream = Terminal() if terminal else io.StringIO()
    monkeypatch.setattr(sys, "stderr", stream)
    with output.progress([tmp_path] * 60, "surveys") as shown:
        assert len(list(shown)) == 60
    assert ("100%" in stream.getvalue()) is terminal
    assert bool(stream.getvalue()) is terminal


def test_picture_has_a_panel_for_each_section(layout):
    """Drift lines with their number where significant, and a mark where a section moved."""
    sheet = history_plots.history_sheet(follow(layout, made(layout, MONTHS, creeping)))
    assert [axes.get_title(loc="left") for axes in sheet.axes] == [f"s{k}" for k in range(5)]
    assert [text.get_text() for axes in sheet.axes for text in axes.texts] == ["+0.500"]


def test_picture_of_very_many_surveys(layout):
    """Neighbours are drawn together, so that the picture stays small."""
    found = follow(layout, made(layout, [MONTH * k / 20 for k in range(200)], knocked))
    sheet = history_plots.history_sheet(found)
    assert max(len(line.get_xdata()) for axes in sheet.axes for line in axes.lines) <= history_plots.MANY


def test_a_drift_over_very_many_surveys_is_one_stroke(layout):
    """From the first to the last of them: 0.5 mm a month over 199/20 months."""
    found = follow(layout, made(layout, [MONTH * k / 20 for k in range(200)], creeping))
    axes = history_plots.history_sheet(found).axes[3]
    (stroke,) = [line for line in axes.lines if line.get_linewidth() == 3 and line.get_alpha() == 0.75]
    assert stroke.get_ydata() == pytest.approx([0.0, 0.5 * 199 / 20], abs=1e-3)
    assert np.diff(stroke.get_xdata()) == pytest.approx(MONTH * 199 / 20, abs=1 / 1440)  # a date is told to the minute


def test_order_by_offset_from_utc(layout):
    """10:00 two hours east of Greenwich is before 09:00 there."""
    surveys = [
        parse_survey(f"# taken: {taken}\nsection,entry,exit\ns0,600,600\ns1,600,600\n", layout, f"{name}.csv")
        for taken, name in (("2026-10-02T09:00+00:00", "later"), ("2026-10-02T10:00+02:00", "earlier"))
    ]
    assert [survey.source for survey in follow(layout, surveys).surveys] == ["earlier.csv", "later.csv"]


@pytest.mark.parametrize("size", [1, 2, 3, 5])
@pytest.mark.parametrize("dates", [3, 4, 6])
def test_no_drift_of_a_machine_whose_string_was_hung_anew(size, dates):
    """Thirty histories of a machine that nobody touched: no section drifts, and of strings one at most is said to."""
    found = rates_compare.histories(30, size, dates, "badly out", rates_compare.PEOPLE[0], anew=True)
    assert found.drifting == 0
    assert found.together <= 1


def test_three_surveys_are_too_early(layout):
    """However straight the line: three dates make no drift, and that is said."""
    found = follow(layout, made(layout, MONTHS[:3], creeping))
    assert drifting(found) == []
    assert headlines(found)[0] == "Too early to speak of a drift: 3 dates, and it takes 4."
    assert text(found).splitlines()[-1] == "First: survey again. A drift takes 4 dates."


def test_a_drift_under_a_string_hung_anew(layout):
    """Hung up to 12 mm off at either end each month, s3 creeps by 0.5 mm a month: its drift is found all the same."""
    rng = np.random.default_rng(4)
    line = {day: rng.uniform(-12, 12, 2) for day in MONTHS}

    def values(name, day):
        k = int(name[1:])
        ends = [line[day][0] + (line[day][1] - line[day][0]) * x / 2480 for x in (500 * k, 500 * k + 480)]
        return tuple(end + own for end, own in zip(ends, creeping(name, day), strict=True))

    found = follow(layout, made(layout, MONTHS, values, noise=0.2))
    assert [(name, what) for name, what, _ in drifting(found)] == [("s3", "offset")]
    ((_, _, drift),) = drifting(found)
    assert abs(drift.per_month - 0.5) <= 2 * drift.u


def test_of_two_sections_either_may_drift():
    """One of two goes away from the other: which one cannot be told, and neither is named."""
    layout = machine(SECTIONS[:2], rows=ROWS)
    found = follow(layout, made(layout, MONTHS, lambda name, day: ((3.0 * day / MONTH) * (name == "s1"),) * 2))
    assert drifting(found) == []
    assert "One of these drifts, and which cannot be told: s0 or s1." in headlines(found)


def test_a_job_log_tells_of_two_days(samples):
    """As found and as left; what was moved in between is named, and nothing else."""
    layout = read_layout(samples / "machine.toml")
    found = follow(layout, [read_survey(samples / f"{name}.csv", layout) for name in ("before-move", "job")])
    assert [day.strftime("%m-%d %H:%M") for day in found.taken] == ["09-24 15:10", "10-02 07:40", "10-02 13:00"]
    moved = [layout.sections[i].name for i in found.events[-1].motion.moved]
    assert moved == ["operator-2", "operator-3", "operator-5", "drive-2"]


@pytest.mark.parametrize(("dates", "pairs"), [(2, 1), (3, 2), (5, 4)])
def test_no_section_is_named_by_chance_over_the_whole_history(layout, monkeypatch, dates, pairs):
    """By Bonferroni: each pair of neighbouring surveys gets its part of what a history may err."""
    asked = []
    compared = history.compare_trains

    def listening(*trains, **how):
        asked.append(how["probability"])
        return compared(*trains, **how)

    monkeypatch.setattr(history, "compare_trains", listening)
    follow(layout, made(layout, MONTHS[:dates], still))
    assert asked == pytest.approx([1 - (1 - history.PROBABILITY) / pairs] * pairs)


def test_dates_have_room_in_a_picture(layout):
    """Between two that are written is their share of a panel's width, and no more than that share and a month."""
    (axes, *_) = history_plots.history_sheet(follow(layout, made(layout, MONTHS, creeping))).axes
    dated = [at for at, label in zip(axes.get_xticks(), axes.get_xticklabels(), strict=True) if label.get_text()]
    need = history_plots.ROOM * np.diff(axes.get_xlim())[0]
    month = np.diff(axes.get_xticks())[0]
    assert len(axes.get_xticks()) == len(MONTHS)
    assert all(need <= gap < need + month for gap in np.diff(dated))
