"""Causes: the one put into the sample is found, none is blamed that was not, and what is open is said."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from alignment.causes.causes import Cause, CauseTable, CauseVerdict, Standing, clause, find_causes, table
from alignment.causes.fact import FactName, Holds, Why
from alignment.causes.facts import TURNS_BACK, gather
from alignment.causes.strip_path import bends, steering
from alignment.choices import Line
from alignment.errors import InputError, NameUnknownError
from alignment.files.disk import read_text, sample_folder
from alignment.lengths import Units
from alignment.machine.layout_file import parse_layout, read_layout
from alignment.machine.survey_files import read_survey
from alignment.machine.survey_text import parse_survey
from alignment.panel.corners import Known
from alignment.panel.panel import measure
from alignment.panel.panel_file import parse_panel, read_panel
from alignment.panel.parts import Part
from alignment.show import terminal
from alignment.show.json.causes import as_json
from alignment.show.page import Degree
from alignment.show.words.causes import causes_page
from alignment.show.words.facts import fact_words
from alignment.train.solve import solve
from alignment.train.train import fit_train
from tests.tools import rates_causes, rates_panel, tray_truth
from tests.tools.machines import machine, readings
from tests.tools.sample_truth import AS_FOUND, BEFORE_MOVE

IN = 25.4
FINE = "mark = '0.1'\nset = '0.02'\ntilt = 0\nzero = '0.02'"
"""A tape that proves a section that reads right."""
SUFFIX = {Units.inch: "", Units.mm: "-mm"}


@pytest.fixture(params=list(Units))
def found(samples, request):
    """The sample's causes, in both units."""
    suffix = SUFFIX[request.param]
    layout = read_layout(samples / f"machine{suffix}.toml")
    solution = solve(layout, read_survey(samples / f"as-found{suffix}.csv", layout))
    return find_causes(solution, measure(read_panel(samples / f"tray{suffix}.toml")))


def names(found, verdict: CauseVerdict) -> set[str]:
    return {j.cause.name for j in found.of(verdict)}


def test_the_cause_put_in_is_supported_and_no_other(found):
    assert names(found, CauseVerdict.supported) == set(tray_truth.CAUSE)


def test_what_was_not_tested_is_said(found):
    open_ = names(found, CauseVerdict.not_tested)
    assert {"cross-level", "uneven-rolls", "edges-shrunk", "roll-mark"} <= open_
    assert found.next_test.cause.effort == min(j.cause.effort for j in found.of(CauseVerdict.not_tested) if j.fits)


def test_the_coil_is_contradicted_by_its_own_readings(found):
    assert "coil-camber" in names(found, CauseVerdict.contradicted)
    (coil,) = (j for j in found.judgements if j.cause.name == "coil-camber")
    assert [fact.name for fact in coil.against] == [FactName.strip_camber]


def test_the_worst_joint_is_where_the_truth_bends_most(found):
    """Bends of the stated truth, by the slope-deflection equations, against the ranking of the readings."""
    ends = {k: np.array(v) * IN for k, v in AS_FOUND.items()}
    layout, true = found.layout, {}
    sections = {s.name: s for s in layout.sections}
    for bend in found.bends:
        a, b = bend.upstream, bend.downstream
        span = sections[b].middle - sections[a].middle
        slopes = [float(np.diff(ends[n])[0]) / sections[n].length for n in (a, b)]
        chord = (ends[b].mean() - ends[a].mean()) / span
        true[a, b] = max(abs(2 / span * (2 * slopes[k] + slopes[1 - k] - 3 * chord)) for k in (0, 1))
    worst = max(true, key=lambda pair: true[pair])
    assert (found.bends[0].upstream, found.bends[0].downstream) == worst
    for bend in found.bends:
        assert abs(abs(bend.curvature.value) - true[bend.upstream, bend.downstream]) <= 2.6 * bend.curvature.u


def test_yield_strain_is_strength_over_modulus(samples):
    layout = read_layout(samples / "machine.toml")
    solution = solve(layout, read_survey(samples / "as-found.csv", layout))
    found = find_causes(solution, measure(read_panel(samples / "tray.toml")))
    assert found.yield_strain == pytest.approx(33 / 29500, rel=0.01)
    assert "from memory" in found.modulus_source


# ---- coil or machine: the turning test


@pytest.mark.parametrize("how", ["panel", "strip", "turned"])
def test_a_cambered_coil_is_not_blamed_on_the_machine(how):
    rates = rates_panel.blame_rates(12, 3, coil=True, how=how)
    assert rates.sections == 0
    assert rates.coil == (0 if how == "panel" else 1)


@pytest.mark.parametrize("how", ["panel", "strip", "turned"])
def test_a_bent_train_is_not_blamed_on_the_coil(how):
    rates = rates_panel.blame_rates(12, 3, coil=False, how=how)
    assert rates.sections == 1
    assert rates.coil == 0


@pytest.fixture
def rng():
    return np.random.default_rng(11)


@pytest.mark.parametrize("turned", ["end-for-end", "over"])
@pytest.mark.parametrize(("second", "coil"), [("operator", True), ("drive", False)])
def test_turning_tells_coil_from_machine(rng, turned, second, coil):
    """What the strip brings reverses with it; what the machine makes does not."""
    one = rates_panel.swept("drive", 12.0, rng)
    facts = gather(rates_panel.train(BEFORE_MOVE, rng), one, rates_panel.swept(second, 12.0, rng, turned=turned))
    assert facts["camber-turns"].holds is Holds.of(coil)
    assert facts["camber-stays"].holds is Holds.of(not coil)


def test_both_turns_tell_nothing_of_camber(rng):
    one = rates_panel.swept("drive", 12.0, rng)
    facts = gather(rates_panel.train(BEFORE_MOVE, rng), one, rates_panel.swept("drive", 12.0, rng, turned="both"))
    assert "camber-turns" not in facts
    assert "camber-stays" not in facts


def test_half_coil_half_machine(rng):
    """A panel that sweeps 12 as fed and 0 turned: half and half, and both are named."""
    one = rates_panel.swept("drive", 12.0, rng)
    straight = rates_panel.swept("drive", 0.05, rng, turned="end-for-end")
    verdicts = {
        j.cause.name: j.verdict for j in find_causes(rates_panel.train(AS_FOUND, rng), one, turned=straight).judgements
    }
    assert verdicts["sections-out-of-line"] is CauseVerdict.supported
    assert verdicts["coil-camber"] is CauseVerdict.supported


def test_the_sign_table():
    """A strip turned end for end with the same face up swaps its edges; turned over with the same lead end, too."""
    # edges of the strip across the machine (y), its length (x), its face (z): each turn is a rotation
    turns = {"end-for-end": (-1, -1, 1), "over": (1, -1, -1), "both": (-1, 1, -1)}
    for turn, (x, y, z) in turns.items():
        assert x * y * z == 1
        # camber is y over x squared, bow z over x squared, twist z over x times y
        assert TURNS_BACK["camber"][turn] == (y * x**2 < 0)
        assert TURNS_BACK["bow"][turn] == (z * x**2 < 0)
        assert z * x * y > 0


def bowed(readings: str, legs: str, turned: str = "") -> str:
    text = '[panel]\nname = "p"\nunits = "mm"\nwidth = "400"\nlength = "3000"\n'
    text += f'legs = "{legs}"\n' + (f'turned = "{turned}"\n' if turned else "") + '[rule]\nmark = "0.5"\n'
    return text + f'[[offsets]]\nof = "bow"\nedge = "drive"\nplaces = ["0", "1500", "3000"]\nreadings = {readings}\n'


@pytest.mark.parametrize("legs", ["up", "down"])
def test_bow_is_compared_one_way_up(rng, legs):
    """A panel that lay the other way up on the bench is the same panel."""
    train = rates_panel.train(BEFORE_MOVE, rng)
    down, up = '["0", "6", "0"]', '["6", "0", "6"]'
    one = measure(parse_panel(bowed(up, "up"), "1.toml"))
    same = measure(parse_panel(bowed(up if legs == "up" else down, legs, "over"), "2.toml"))
    facts = gather(train, one, same)
    assert (facts["bow-stays"].holds, facts["bow-turns"].holds) == (Holds.yes, Holds.no)
    reversed_ = measure(parse_panel(bowed(down if legs == "up" else up, legs, "over"), "2.toml"))
    facts = gather(train, one, reversed_)
    assert (facts["bow-stays"].holds, facts["bow-turns"].holds) == (Holds.no, Holds.yes)


@pytest.mark.parametrize(("legs", "readings", "side"), [
    ("up", '["6", "0", "6"]', "legs"), ("up", '["0", "6", "0"]', "pan"),
    ("down", '["6", "0", "6"]', "pan"), ("down", '["0", "6", "0"]', "legs"),
])  # fmt: skip
def test_the_longer_side_is_outside_the_bow(rng, legs, readings, side):
    """Legs up and the middle up: the legs are the longer side (readings are gaps below a line over the panel)."""
    facts = gather(rates_panel.train(BEFORE_MOVE, rng), measure(parse_panel(bowed(readings, legs), "p.toml")))
    middle_up = readings.startswith('["6"')
    assert facts["bow"].holds is Holds.yes
    assert facts["middle-to-legs"].holds is Holds.of(middle_up == (legs == "up"))
    assert facts[f"middle-to-{side}"].holds is Holds.yes


PANEL = (
    '[panel]\nname = "p"\nunits = "mm"\nwidth = "400"\nlength = "3000"\nlegs = "up"\nleg = "50"\n[rule]\nmark = "0.5"\n'
)


@pytest.mark.parametrize(("text", "holds", "open_"), [
    ('[[across]]\nat = "lead"\nwidth = "400"\noperator_leg = "55"\ndrive_leg = "45"\n',
     "legs-differ", {"legs-change", "girth-changes"}),
    ('[square]\nfrom_operator = "3036"\nfrom_drive = "3016"\n', "square-out", {"ends-alike"}),
    ('[[wave]]\nwhere = "drive"\nheight = "6"\npitch = "300"\n', "waves-at-edge", {"waves-at-longer-edge", "camber"}),
])  # fmt: skip
def test_what_takes_more_readings_is_left_open(rng, text, holds, open_):
    """One place shows no change, two diagonals no end, waves alone no longer edge."""
    facts = gather(rates_panel.train(BEFORE_MOVE, rng), measure(parse_panel(PANEL + text, "p.toml")))
    assert facts[holds].holds is Holds.yes
    assert not open_ & set(facts)


def test_sections_are_not_cleared_by_half_a_survey():
    """Those read are in, one was not read: neither out nor in, so nothing is contradicted by it."""
    layout = machine(
        [{"name": n, "row": n, "start": 0, "length": 500} for n in ("operator", "drive")],
        rows=dict.fromkeys(("operator", "drive"), "target = '600'"),
        tape=FINE,
    )
    train = fit_train(layout, readings(layout, [("operator", "entry", 600), ("operator", "exit", 600)]))
    panel = measure(parse_panel(PANEL.replace("[rule]", 'waves = "none"\n[rule]'), "p.toml"))
    fact = gather(train, panel)["sections-out"]
    assert (fact.holds, fact.why) == (Holds.unknown, Why.unread)
    assert ([s.name for s in fact.numbers.unread], fact.numbers.doubtful) == (["drive"], ())
    cause = Cause(
        name="x",
        words="X",
        standing=Standing.geometry,
        source="s",
        shows=(),
        because=(clause("not sections-out"),),
        test="t",
        effort=1,
    )
    only = CauseTable(causes=(cause,), materials=(), unseen=())
    assert find_causes(train, panel, among=only).judgements[0].verdict is CauseVerdict.not_tested


# ---- directions


def test_steering_points_to_the_right_of_a_person_looking_downstream(samples):
    layout = read_layout(samples / "machine.toml")
    solution = solve(layout, read_survey(samples / "as-found.csv", layout))
    assert steering(solution.train).value > 0
    sides = {name: replace(row, side={"left": "right", "right": "left"}[row.side]) for name, row in layout.rows.items()}
    mirrored = replace(solution.train, layout=replace(layout, rows=sides))
    assert steering(mirrored) == Known(value=-steering(solution.train).value, u=steering(solution.train).u)


def test_without_sides_nothing_is_guessed(samples):
    layout = read_layout(samples / "machine.toml")
    train = solve(layout, read_survey(samples / "as-found.csv", layout)).train
    blind = replace(train, layout=replace(layout, rows={n: replace(r, side="") for n, r in layout.rows.items()}))
    assert bends(blind) == []
    assert steering(blind) is None
    facts = gather(blind, measure(read_panel(samples / "tray.toml")))
    assert "points-with-sweep" not in facts
    assert "toed-in" not in facts


@pytest.mark.parametrize(("off", "alike"), [((5.0, 5.0), True), ((5.0, -5.0), False)])
def test_ends_cut_alike_on_a_panel_that_sweeps(rng, off, alike):
    """One shear cuts both ends alike across the strip, whatever the sweep makes of the edges' lengths."""
    radius = 3000**2 / (8 * 12) + 200
    tail, lead = (tray_truth.ring(radius, 3000, 400, o) for o in off)
    six = tray_truth.six_lengths(np.array([tail[0], lead[1], tail[2], lead[3]]))
    names = {"left": "operator", "right": "drive", "from_left": "from_operator", "from_right": "from_drive"}
    text = '[panel]\nname = "p"\nunits = "mm"\nwidth = "400"\nlength = "3000"\n[rule]\nmark = "0.5"\n[square]\n'
    text += "".join(f'{names.get(n, n)} = "{x:.4f}"\n' for n, x in six.items())
    text += '[[offsets]]\nof = "camber"\nedge = "drive"\nplaces = ["0", "1500", "3000"]\nreadings = ["0", "12", "0"]\n'
    facts = gather(rates_panel.train(BEFORE_MOVE, rng), measure(parse_panel(text, "p.toml")))
    assert facts["square-out"].holds is Holds.yes
    assert facts["ends-alike"].holds is Holds.of(alike)


# ---- the table


def test_the_table_is_sound(samples):
    """Standings are the agreed ones, and every fact named is one that readings can give."""
    known = table()
    assert len({cause.name for cause in known.causes}) == len(known.causes)
    told = re.findall(r"(?m)^#   ([a-z][a-z-]+(?:, [a-z-]+)*)", read_text(
        sample_folder().parent / "alignment" / "causes" / "causes.toml"
    ))  # fmt: skip
    assert {name for line in told for name in line.split(", ")} | {"lead-closes-tail-opens", "legs-change"} == set(
        FactName
    )
    for cause in known.causes:
        assert cause.source
        assert cause.test
        assert 1 <= cause.effort <= 4


@pytest.mark.parametrize("text", ["no-such-fact", "camber or twisst", "not sections"])
def test_a_table_that_names_no_fact_is_refused(text):
    """A clause of a misspelled fact would never be tested, and nobody would know."""
    with pytest.raises(NameUnknownError, match="is no fact"):
        clause(text)


def test_a_table_of_ones_own(samples):
    layout = read_layout(samples / "machine.toml")
    solution = solve(layout, read_survey(samples / "as-found.csv", layout))
    panel = measure(read_panel(samples / "tray.toml"))

    def verdict(shows: list[str], because: list[str]) -> CauseVerdict:
        cause = Cause(
            name="x",
            words="X",
            standing=Standing.guess,
            source="s",
            shows=tuple(map(clause, shows)),
            because=tuple(map(clause, because)),
            test="t",
            effort=1,
        )
        only = CauseTable(causes=(cause,), materials=(), unseen=())
        return find_causes(solution, panel, among=only).judgements[0].verdict

    assert verdict(["camber"], ["sections-out"]) == "supported"
    assert verdict(["camber"], []) == "not tested"
    assert verdict(["camber"], ["camber-turns"]) == "not tested"
    assert verdict(["camber"], ["not sections-out"]) == "contradicted"
    assert verdict(["not camber"], ["sections-out"]) == "contradicted"
    assert verdict(["twist or camber"], ["sections-out"]) == "supported"
    assert verdict(["twist or bow"], ["sections-out"]) == "contradicted"
    assert verdict(["camber-turns"], ["sections-out"]) == "not tested"


# ---- what is said


def straight(*, told: bool = True):
    """A straight machine of two sections a row, of a strip of which nothing is told."""
    sides = {"operator": "left", "drive": "right"}
    rows = {n: "target = '600'\n" + f"string_side = '{s}'" * told for n, s in sides.items()}
    parts = [{"name": f"{n}-{k}", "row": n, "start": 600 * k, "length": 500} for n in sides for k in range(2)]
    layout = machine(parts, rows=rows, tape=FINE)
    return fit_train(layout, readings(layout, [(p["name"], e, 600) for p in parts for e in ("entry", "exit")]))


def told_of(train, text: str, *causes: tuple[str, str, list[str], list[str]]) -> str:
    """What is said of a panel, with a table of causes of one's own: words, standing, shows and because."""
    made = [
        Cause(
            name=w,
            words=w,
            standing=Standing(s),
            source="s",
            shows=tuple(map(clause, a)),
            because=tuple(map(clause, b)),
            test=f"Try {w}.",
            effort=1,
        )
        for w, s, a, b in causes
    ]
    panel = measure(parse_panel(PANEL + text, "p.toml"))
    only = CauseTable(causes=tuple(made), materials=(), unseen=())
    return terminal.render(causes_page(find_causes(train, panel, among=only)), Degree.full)


SWEPT = '[[offsets]]\nof = "camber"\nedge = "drive"\nplaces = ["0", "1500", "3000"]\nreadings = ["0", "12", "0"]\n'
HEADINGS = (
    "SUPPORTED BY WHAT WAS MEASURED",
    "NOT TESTED, AND WOULD FIT",
    "CONTRADICTED",
    "NOT SEEN IN THIS PANEL",
    "NOT TESTED, AND ITS SIGN",
)


@pytest.mark.parametrize(("cause", "heading", "said", "act"), [
    (("A", "geometry", ["twist"], []), "NOT TESTED, AND ITS SIGN", "Supported: nothing.", ""),
    (("A", "geometry", ["camber"], []), "NOT TESTED, AND WOULD FIT", "Supported: nothing.", "First: try A."),
    (("A", "geometry", ["camber"], ["not sections-out"]), "SUPPORTED BY WHAT WAS MEASURED", "Supported: A.",
     "First: try A."),
    (("A", "guess", ["camber"], ["not sections-out"]), "SUPPORTED BY WHAT WAS MEASURED", "Supported: A (a guess).",
     "First: try A."),
    (("A", "geometry", ["camber"], ["sections-out"]), "CONTRADICTED", "Supported: nothing.", ""),
    (("A", "geometry", ["not camber"], []), "NOT SEEN IN THIS PANEL", "Supported: nothing.", ""),
])  # fmt: skip
def test_each_cause_stands_under_its_own_heading(cause, heading, said, act):
    """And under no other; nothing is to be done where nothing fits."""
    text = told_of(straight(), SWEPT, cause)
    assert [h for h in HEADINGS if f"\n{h}" in text] == [heading]
    assert said in text
    assert text.rstrip().splitlines()[-1].startswith("First: ") is bool(act)
    assert act in text


def test_a_rule_goes_before_a_guess():
    guess = ("A", "guess", ["camber"], ["not sections-out"])
    rule = ("B", "geometry", ["camber"], ["not sections-out"])
    assert told_of(straight(), SWEPT, guess, rule).rstrip().splitlines()[-1] == "First: try B."


def test_a_joint_bends_toward_the_edge_on_its_side(found):
    """To the right positive; the edge told first is the left one."""
    joints = next(part for part in causes_page(found).parts if part.heading == "Joints").blocks[0]
    left, right = found.panel.panel.edges
    told = {row[0]: row[1] for row in joints.rows if row[1] != "none seen"}
    bent = {f"{b.upstream} / {b.downstream}": right if b.curvature.value > 0 else left for b in found.bends}
    assert told
    assert told == {name: bent[name] for name in told}


def test_joints_without_strip_or_sides():
    """No width, no strain; no modulus, no yield; no sides, no ranking. Two joints are all listed."""
    said = told_of(straight(), SWEPT)
    joints = said[said.index("\nJOINTS") :].splitlines()
    assert [line.split()[-2:] for line in joints if " / " in line] == [["-", "-"]] * 2
    assert "yield" not in said.lower()
    found = find_causes(straight(), measure(parse_panel(PANEL + SWEPT, "p.toml")))
    assert [(j["strain"], j["over_yield"]) for j in as_json(found)["joints"]] == [(None, None)] * 2
    assert "Not ranked: the layout does not say on which side the strings hang." in told_of(straight(told=False), SWEPT)


# ---- the command


@pytest.mark.parametrize("units", list(Units))
def test_text(samples, run, units):
    suffix = SUFFIX[units]
    files = [samples / f"{name}{suffix}{end}" for name, end in
             (("machine", ".toml"), ("as-found", ".csv"), ("tray", ".toml"))]  # fmt: skip
    done, full = run("causes", *files), run("causes", *files, "--full")
    assert (done.status, done.err) == (0, "")
    lines = done.out.splitlines()
    assert len(lines) <= 30
    assert max(map(len, (*lines, *full.out.splitlines()))) <= 80
    assert full.out.isascii()
    said = " ".join(done.out.split())
    assert said.index("Panel: OUT (camber). Supported: Sections out of line sideways") < said.index("Lock out")
    assert "(a guess)" in done.out
    # what to do first stands above the cautions, and again as the last line
    assert lines[-1] == "First: put a level across the frame at each section, before the string."
    assert lines[-1] in lines[:8]
    for heading in ("NOT TESTED, AND", "CONTRADICTED", "NOT SEEN IN THIS PANEL", "JOINTS", "WHAT READINGS CANNOT SHOW"):
        assert f"\n{heading}" in full.out
        assert f"\n{heading}" not in done.out
    assert "times yield" in full.out
    assert "[published; side: guess]" in full.out
    assert "In brackets: what a rule rests on." in full.out
    assert "Machine locked out, look for a roll of that diameter" in full.out


def test_json(samples, run):
    done = run("causes", samples / "machine.toml", samples / "as-found.csv", samples / "tray.toml", "--json")
    told = json.loads(done.out)
    assert {c["cause"] for c in told["causes"] if c["verdict"] == "supported"} == set(tray_truth.CAUSE)
    assert told["joints"][0]["sections"] == ["operator-2", "operator-3"]
    assert told["joints"][0]["strain"]["value"] == pytest.approx(11.625 * abs(told["joints"][0]["curvature"]))
    first, limit = told["joints"][0], told["yield_strain"]
    assert first["over_yield"] == pytest.approx(first["strain"]["value"] / limit)
    assert told["modulus_source"]
    assert told["unseen"]
    assert {"cause", "verdict", "standing", "source", "for", "against", "test"} <= set(told["causes"][0])


def second(samples, tmp_path, change: str):
    text = read_text(samples / "tray.toml").replace('name = "Liner', f'{change}\nname = "Liner')
    path = tmp_path / "turned.toml"
    path.write_text(text)
    return path


def test_turned_panel(samples, run, tmp_path):
    other = second(samples, tmp_path, 'turned = "over"')
    three = samples / "machine.toml", samples / "as-found.csv", samples / "tray.toml"
    told = json.loads(run("causes", *three, "--turned", other, "--json").out)
    assert told["turned"] == {"file": "turned.toml", "turned": "over"}
    (sections,) = (c for c in told["causes"] if c["cause"] == "sections-out-of-line")
    assert "camber-stays" in {fact["fact"] for fact in sections["for"]}


def test_a_second_panel_says_how_it_was_turned(samples, run, tmp_path):
    other = second(samples, tmp_path, "")
    three = samples / "machine.toml", samples / "as-found.csv", samples / "tray.toml"
    done = run("causes", *three, "--turned", other)
    assert (done.status, done.out) == (2, "")
    assert done.err.startswith(
        "stringtrue: turned.toml: this second panel cannot be compared\n  [panel] turned: is missing"
    )


def test_a_second_panel_has_the_same_edges(samples, run, tmp_path):
    """All that is wrong with it at once."""
    other = second(samples, tmp_path, 'edges = ["drive", "operator"]')
    done = run("causes", samples / "machine.toml", samples / "as-found.csv", samples / "tray.toml", "--turned", other)
    assert (done.status, done.out) == (2, "")
    assert [line.split(":")[0] for line in done.err.splitlines()[1:]] == ["  [panel] turned", "  [panel] edges"]
    assert "[panel] edges: are not those of tray.toml." in done.err


@pytest.mark.parametrize(("edges", "said"), [
    ('["drive", "operator"]', "are the wrong way round for machine.toml"),
    ('["operator", "door"]', "no row 'door' in machine.toml"),
])  # fmt: skip
def test_edges_are_the_rows(samples, tmp_path, edges, said):
    layout = read_layout(samples / "machine.toml")
    solution = solve(layout, read_survey(samples / "as-found.csv", layout))
    text = '[panel]\nname = "p"\nunits = "in"\nwidth = "16"\nlength = "120"\nwaves = "none"\n'
    with pytest.raises(InputError, match=re.escape(said)):
        find_causes(solution, measure(parse_panel(text + f"edges = {edges}\n", "p.toml")))


# ---- only proof counts


def fact_of(text: str, name: str, rng=None):
    """One fact of a panel on a straight machine."""
    return gather(straight(), measure(parse_panel(PANEL + text, "p.toml"))).get(FactName(name))


THREE = (
    'places = ["0", "1500", "3000"]\nreadings = ["0", "{}", "0"]\n[limits]\n{} = {{ height = "{}", over = "3000" }}\n'
)


@pytest.mark.parametrize(("read", "limit", "holds"), [
    ("6", "4", Holds.yes), ("6", "8", Holds.no), ("4.3", "4", Holds.unknown), ("3.7", "4", Holds.unknown),
])  # fmt: skip
@pytest.mark.parametrize("of", ["camber", "bow"])
def test_a_verdict_with_a_doubt_is_no_evidence(of, read, limit, holds):
    """U of the height is 0.47, 2 sqrt(1.5 (0.5^2/12 + 0.125^2)): within that of the limit it is left open."""
    text = f'[[offsets]]\nof = "{of}"\nedge = "drive"\n' + THREE.format(read, of, limit)
    fact = fact_of(text, of)
    assert fact.holds is holds
    assert fact.why is (Why.doubtful if holds is Holds.unknown else None)
    if of == "bow":
        assert fact_of(text, "middle-to-pan").holds is (holds if holds is not Holds.yes else Holds.yes)


@pytest.mark.parametrize(("read", "holds", "why"), [
    ("0.3", Holds.unknown, Why.no_limit), ("0.6", Holds.unknown, Why.doubtful), ("0.8", Holds.yes, None),
])  # fmt: skip
def test_without_a_limit_three_standard_uncertainties_prove(read, holds, why):
    """U of the height is 0.235; nothing says how much would matter, so nothing is ruled out."""
    text = '[[offsets]]\nof = "camber"\nedge = "drive"\n' + THREE.format(read, "camber", 1).partition("[limits]")[0]
    fact = fact_of(text, "camber")
    assert (fact.holds, fact.why) == (holds, why)


@pytest.mark.parametrize(("legs", "leg_limit", "differ", "change"), [
    ([("50", "50"), ("50", "50")], 'leg = "2"', Holds.no, Holds.no),
    ([("50", "50"), ("50", "50")], "", Holds.unknown, Holds.unknown),
    ([("53", "48"), ("53", "48")], 'leg = "2"', Holds.yes, Holds.no),
    ([("53", "48"), ("48", "53")], 'leg = "2"', Holds.no, Holds.yes),
    ([("50.5", "50"), ("50.5", "50")], "", Holds.unknown, Holds.unknown),
    # they change by 1.0, U 0.76: within 1.5 as read, and not for sure
    ([("50.5", "50"), ("50", "50.5")], 'leg = "1.5"', Holds.no, Holds.unknown),
    ([("50.5", "50"), ("50", "50.5")], 'leg = "1.8"', Holds.no, Holds.no),
])  # fmt: skip
def test_legs(legs, leg_limit, differ, change):
    """Alike, unequal alike all along, changing; without a limit what is not seen is open."""
    text = "".join(
        f'[[across]]\nat = "{at}"\nwidth = "400"\noperator_leg = "{a}"\ndrive_leg = "{b}"\n'
        for at, (a, b) in zip(("lead", "tail"), legs, strict=True)
    )
    text += f"[limits]\n{leg_limit}\n"
    assert (fact_of(text, "legs-differ").holds, fact_of(text, "legs-change").holds) == (differ, change)


@pytest.mark.parametrize(("lead", "tail", "limit", "opens", "twists"), [
    ("400", "400", 'width = "3"', Holds.no, Holds.no), ("400", "400", "", Holds.unknown, Holds.unknown),
    ("410", "410", 'width = "3"', Holds.yes, Holds.no), ("390", "410", 'width = "3"', Holds.no, Holds.yes),
    ("410", "390", 'width = "3"', Holds.no, Holds.no), ("405", "420", 'width = "3"', Holds.no, Holds.no),
])  # fmt: skip
def test_flare(lead, tail, limit, opens, twists):
    """Both ends open alike; lead closes and tail opens; neither."""
    text = "".join(f'[[across]]\nat = "{at}"\nwidth = "{w}"\n' for at, w in
                   (("lead", lead), ("middle", "400"), ("tail", tail)))  # fmt: skip
    text += f"[limits]\n{limit}\n"
    assert fact_of(text, "both-ends-open").holds is opens
    assert fact_of(text, "lead-closes-tail-opens").holds is twists


@pytest.mark.parametrize(("where", "height", "holds"), [
    ("pan", "6", ("yes", "no", "yes")), ("drive", "6", ("no", "yes", "yes")),
    ("pan", "0.3", ("unknown", "no", "unknown")),
])  # fmt: skip
def test_waves(where, height, holds):
    """In the pan, at an edge, anywhere; too shallow to be proved."""
    text = f'[[wave]]\nwhere = "{where}"\nheight = "{height}"\npitch = "300"\n'
    names = ("waves-in-pan", "waves-at-edge", "waves-repeat")
    assert tuple(str(fact_of(text, name).holds) for name in names) == holds


@pytest.mark.parametrize(("out", "tape", "holds"), [
    (0.0, FINE, Holds.no), (4.0, FINE, Holds.yes),
    (0.0, "mark = '2'\nset = '1'\ntilt = 0\nzero = '0.5'", Holds.unknown),
    (1.7, "mark = '1'\nset = '0.4'\ntilt = 0\nzero = '0.4'", Holds.unknown),
])  # fmt: skip
def test_sections_count_by_proof_alone(out, tape, holds):
    """Dead true and dead wrong with a fine tape; anything with a coarse one is left open."""
    rows = {n: f"target = '600'\nstring_side = '{s}'" for n, s in (("operator", "left"), ("drive", "right"))}
    layout = machine([{"name": n, "row": n, "start": 0, "length": 500} for n in rows], rows=rows, tape=tape)
    read = [(n, e, 600 + (out if n == "drive" else 0)) for n in rows for e in ("entry", "exit")]
    train = fit_train(layout, readings(layout, read))
    fact = gather(train, measure(parse_panel(PANEL + SWEPT, "p.toml")))[FactName.sections_out]
    assert fact.holds is holds
    assert [s.name for s in fact.numbers.out] == (["drive"] if holds is Holds.yes else [])


@pytest.mark.parametrize(
    ("lean", "holds"), [(0.0, Holds.no), (6.0, Holds.yes), (-6.0, Holds.no), (1.55, Holds.unknown)]
)
def test_rows_toed_in(lean, holds):
    """Both faces lean inward by this; a string on the left of a row makes a growing reading a move to the right."""
    rows = {n: f"target = '600'\nstring_side = '{s}'" for n, s in (("operator", "left"), ("drive", "right"))}
    parts = [{"name": n, "row": n, "start": 0, "length": 500} for n in rows]
    layout = machine(parts, rows=rows, tape=FINE, tolerance="square = '1.5'")
    read = [(n, e, 600 + (lean if e == "exit" else 0)) for n in rows for e in ("entry", "exit")]
    fact = gather(fit_train(layout, readings(layout, read)), measure(parse_panel(PANEL + SWEPT, "p.toml")))[
        FactName.toed_in
    ]
    assert fact.holds is holds


@pytest.mark.parametrize(("operator", "drive", "holds"), [
    (0, 0, Holds.no), (9, -9, Holds.yes), (-9, 9, Holds.no), (1.6, -1.6, Holds.yes),
])  # fmt: skip
def test_where_the_sections_point(operator, drive, holds):
    """The panel sweeps toward drive, on the right; faces that move right downstream point there."""
    rows = {n: f"target = '600'\nstring_side = '{s}'" for n, s in (("operator", "left"), ("drive", "right"))}
    layout = machine([{"name": n, "row": n, "start": 0, "length": 500} for n in rows], rows=rows, tape=FINE)
    read = [(n, "entry", 600) for n in rows] + [("operator", "exit", 600 + operator), ("drive", "exit", 600 + drive)]
    fact = gather(fit_train(layout, readings(layout, read)), measure(parse_panel(PANEL + SWEPT, "p.toml")))[
        FactName.points_with_sweep
    ]
    assert fact.holds is holds
    assert fact.numbers.slope.value == pytest.approx((operator - drive) / 2 / 500)


# ---- the turning test in numbers


TURNED = PANEL.replace('name = "p"', 'name = "p"\nturned = "end-for-end"')


@pytest.mark.parametrize(("edge", "height", "stays", "turns"), [
    ("drive", "12", 12.0, 0.0), ("operator", "12", 0.0, 12.0), ("drive", "4", 8.0, 4.0), ("drive", "0", 6.0, 6.0),
])  # fmt: skip
def test_turned_strip_in_numbers(edge, height, stays, turns):
    """The half sum stays with the machine, the half difference turns with the strip; 12 over 3000 as fed."""
    other = SWEPT.replace('"12"', f'"{height}"').replace('edge = "drive"', f'edge = "{edge}"')
    one, two = measure(parse_panel(PANEL + SWEPT, "1.toml")), measure(parse_panel(TURNED + other, "2.toml"))
    found = find_causes(straight(), one, turned=two)
    facts = gather(straight(), one, two)
    for name, part in ((FactName.camber_stays, stays), (FactName.camber_turns, turns)):
        fact = facts[name]
        assert fact.numbers.part.height == pytest.approx(part, abs=1e-3)
        assert fact.numbers.part.u == pytest.approx(np.hypot(one.camber.u, two.camber.u) / 2)
        assert fact.holds is (Holds.no if part == 0 else Holds.yes)
        said = fact_words(fact, found)
        assert f"{part:.2f} mm (U " in said
        assert ("same way" in said) is (edge == "drive")
        assert ("turns with the strip" in said) is (name is FactName.camber_turns)


def test_finer_readings_are_the_next_test_where_they_would_settle_it():
    """A camber on its limit, and a cause that would take hours to try."""
    text = '[[offsets]]\nof = "camber"\nedge = "drive"\n' + THREE.format("4.3", "camber", "4")
    cause = Cause(
        name="x",
        words="X",
        standing=Standing.published,
        source="s",
        shows=(clause("camber"),),
        because=(clause("not sections-out"),),
        test="Try X.",
        effort=4,
    )
    panel = measure(parse_panel(PANEL + text, "p.toml"))
    found = find_causes(straight(), panel, among=CauseTable(causes=(cause,), materials=(), unseen=()))
    (judged,) = found.judgements
    assert (judged.verdict, judged.fits, judged.effort) == (CauseVerdict.not_tested, True, 2)
    assert as_json(found)["next_test"]["test"] == (
        "Read the sweep of the panel again with finer marks or more readings."
    )
    assert as_json(found)["causes"][0]["open"][0]["why"] == "doubtful"


def test_part_names_its_own_limit():
    """What a limit is chosen under is the id of what it judges."""
    assert set(Part) == {
        "square", "camber", "bow", "strip", "twist", "waves", "length", "width", "leg"
    }  # fmt: skip


@pytest.mark.parametrize("sections", [1, 5, 16])
def test_the_first_screen_is_short_whatever_is_out(sections):
    """Every section of two rows badly out, and a panel with everything measured: thirty lines."""
    layout = parse_layout(rates_causes.layout_text(sections, rates_causes.TAPES["coarse"]), "machine.toml")
    (text,) = rates_causes.surveys("out", sections, rates_causes.TAPES["coarse"], 1, 5)
    panel = measure(read_panel(sample_folder() / "tray.toml"))
    page = causes_page(find_causes(fit_train(layout, parse_survey(text, layout)), panel))
    lines = terminal.render(page).splitlines()
    assert len(lines) <= 30
    assert lines[-1].startswith("First: ")


@pytest.mark.parametrize(("limit", "why"), [("", Why.no_limit), ('leg = "0.1"', Why.doubtful)])
def test_why_legs_tell_nothing(limit, why):
    """Equal as read: without a limit nothing says how much matters, within a fine one finer readings would."""
    text = '[[across]]\nat = "lead"\noperator_leg = "50"\ndrive_leg = "50"\n' + f"[limits]\n{limit}\n"
    fact = fact_of(text, "legs-differ")
    assert (fact.holds, fact.why) == (Holds.unknown, why)


@pytest.mark.parametrize(("count", "tape", "slope", "line", "holds", "said"), [
    (5, FINE, 0.0, Line.string, Holds.no,
     "The sections do not all slope one way. A string crooked enough to matter would have shown."),
    (5, FINE, 0.01, Line.string, Holds.yes,
     "All sections slope the same way along string r. It is probably crooked."),
    (5, FINE, 0.01, Line.fitted, Holds.yes,
     "All sections slope the same way along string r. It is probably crooked."),
    (2, "mark = '2'\nset = '1'\ntilt = 0\nzero = '0.5'", 0.0, Line.string, Holds.unknown,
     "The sections do not show whether a string is crooked."),
    (1, FINE, 0.0, Line.string, Holds.unknown, "The sections do not show whether a string is crooked."),
])  # fmt: skip
def test_a_crooked_string_is_ruled_out_only_where_it_would_have_been_seen(count, tape, slope, line, holds, said):
    """True sections: a lean of both tolerances over five is ten times what marks of 0.1 tell, over two of 2 mm none."""
    parts = [{"name": f"s{k}", "row": "operator", "start": str(500 * k), "length": "450"} for k in range(count)]
    # one string for both rows, of which one is not read
    parts += [{"name": "other", "row": "drive", "start": "0", "length": "450"}]
    sides = {"operator": "left", "drive": "right"}
    rows = {n: f"target = '600'\nstring = 'r'\nstring_side = '{side}'" for n, side in sides.items()}
    layout = machine(parts, rows=rows, tape=tape)
    ends = [(s, place) for s in layout.sections[:count] for place in (0, 450)]
    read = [(s.name, "exit" if place else "entry", 600 + slope * (s.start + place)) for s, place in ends]
    train = fit_train(layout, readings(layout, read), line=line)
    panel = measure(parse_panel(PANEL + SWEPT, "p.toml"))
    fact = gather(train, panel)[FactName.string_leans]
    found = find_causes(train, panel)
    assert (fact.holds, fact.why) == (holds, Why.no_power if holds is Holds.unknown else None)
    assert fact_words(fact, found) == said
    ruled_out = "string-askew" in names(found, CauseVerdict.contradicted)
    assert ruled_out or holds is not Holds.no
    if holds is Holds.unknown:
        (askew,) = (j for j in found.judgements if j.cause.name == "string-askew")
        assert FactName.string_leans not in [f.name for f in askew.against]


def test_a_string_from_which_nothing_was_read_is_not_ruled_out():
    rows = {n: f"target = '600'\nstring = '{n}'" for n in ("operator", "drive")}
    parts = [{"name": f"{n}{k}", "row": n, "start": str(500 * k), "length": "450"} for n in rows for k in range(5)]
    layout = machine(parts, rows=rows, tape=FINE)
    panel = measure(parse_panel(PANEL + SWEPT, "p.toml"))
    for read_from, holds in ((("operator", "drive"), Holds.no), (("operator",), Holds.unknown)):
        read = [(s.name, e, 600) for s in layout.sections if s.row in read_from for e in ("entry", "exit")]
        assert gather(fit_train(layout, readings(layout, read)), panel)[FactName.string_leans].holds is holds


def test_facts_name_what_they_are_of(found):
    """The sections that are out by their names, a sweep as one, a bow as one."""
    told = {
        fact.name: fact_words(fact, found) for j in found.judgements for fact in (*j.speak_for, *j.against, *j.open)
    }
    assert "of 9 sections are out of tolerance (operator-2" in told[FactName.sections_out]
    assert told[FactName.camber].startswith("The panel sweeps ")
    assert told[FactName.bow].startswith("Bow is ")
