"""What each line asks for, the plan as a checklist, and a plan taken up again half done."""

from __future__ import annotations

import csv
import io
import json

import pytest

from alignment.choices import Line, LineChoice
from alignment.files import read_layout, read_survey
from alignment.solution import easiest, solve, solve_lines


def test_free_line_asks_for_fewer_bolt_ends_where_the_string_leans(samples, run):
    """The string of the sample leans 3/8 in over its row; the sections behind it stand well (stated truth)."""
    layout = read_layout(samples / "machine.toml")
    found = solve_lines(layout, read_survey(samples / "leaning-string.csv", layout), LineChoice.all)
    ends = {line: s.plan.bolt_ends for line, s in found.items()}
    assert ends[Line.free] < ends[Line.string]
    assert easiest(found) is found[Line.free]
    assert found[Line.free].plan.optimal
    _, slope = found[Line.free].train.string_lines["operator"]
    assert slope * 98 * 25.4 == pytest.approx(0.375 * 25.4, abs=0.11 * 25.4)
    told = " ".join(run("solve", samples / "machine.toml", samples / "leaning-string.csv", "--line", "all").out.split())
    assert "The easiest is the free line" in told
    data = json.loads(
        run("solve", samples / "machine.toml", samples / "leaning-string.csv", "--line", "all", "--json").out
    )
    assert [row["line"] for row in data["lines"]] == ["string", "fitted", "free"]
    assert data["line"] == "free"


def test_every_joint_comes_into_step(samples):
    """The plan of the sample as found leaves every joint in step, by the best estimate."""
    for suffix in ("", "-mm"):
        layout = read_layout(samples / f"machine{suffix}.toml")
        found = solve(layout, read_survey(samples / f"as-found{suffix}.csv", layout))
        assert any(not joint.step.verdict.is_in for joint in found.state.joints)
        assert all(joint.step.verdict.is_in for joint in found.plan.state.joints)
        assert not found.plan.missed


@pytest.mark.parametrize("suffix", [".txt", ".csv"])
def test_checklist_has_every_move_and_the_readings_to_take_after_it(samples, run, tmp_path, suffix):
    file = tmp_path / f"moves{suffix}"
    outcome = run("solve", samples / "machine.toml", samples / "as-found.csv", "--checklist", file)
    assert outcome.status == 0
    data = json.loads(run("solve", samples / "machine.toml", samples / "as-found.csv", "--json").out)
    steps = data["moves"]["steps"]
    text = file.read_text(encoding="utf-8")
    if suffix == ".csv":
        rows = list(csv.DictReader(io.StringIO(text)))
        assert [(r["section"], r["loosen"], r["snug"]) for r in rows] == [
            (s["section"], s["loosen"], s["snug"] or "") for s in steps
        ]
        assert all(r["read after"] == "" and r["stop at"] for r in rows)
    else:
        assert text.count("read again:") == len({s["section"] for s in steps})
        assert "Lock out and tag out" in " ".join(text.split())
        assert max(map(len, text.splitlines())) <= 80


def test_a_finished_section_is_not_touched_again(samples, run):
    """With operator-2 done as it stands, it is told as missed, and nothing else changes about it."""
    machine, survey = samples / "machine.toml", samples / "as-found.csv"
    data = json.loads(run("solve", machine, survey, "--done", "operator-2", "--json").out)
    assert "operator-2" not in {s["section"] for s in data["moves"]["steps"]}
    assert any(m["where"] == "operator-2" and m["why"] == "done already" for m in data["moves"]["missed"])
    outcome = run("solve", machine, survey, "--done", "operater-2")
    assert (outcome.status, outcome.out) == (2, "")
    assert "Perhaps you meant 'operator-2'" in outcome.err


def test_checklist_refuses_other_kinds_of_file(samples, run, tmp_path):
    outcome = run("solve", samples / "machine.toml", samples / "as-found.csv", "--checklist", tmp_path / "m.doc")
    assert (outcome.status, outcome.out) == (2, "")
    assert list(tmp_path.iterdir()) == []
