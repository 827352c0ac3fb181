"""Settings: every way to spoil the file, the decision rule, guides against the strip, and the feeler-gauge job."""

from __future__ import annotations

import json
import math
import re

import pytest

from alignment.errors import InputError
from alignment.lengths import Units
from alignment.settings.judging import Way, judge_settings
from alignment.settings.settings_file import Kind, parse_settings, read_settings, template
from alignment.show import terminal
from alignment.show.page import Degree
from alignment.show.words.settings import settings_page, table_rows, to_do
from alignment.uncertainty import Verdict

HEAD = """\
[machine]
name = "Test line"
units = "mm"
[instrument.caliper]
mark = "0.02"
set = "0.01"
zero = "0.02"
"""
GAP = """\
[[setting]]
name = "gap"
kind = "gap"
wanted = "0.80"
tolerance = "0.10"
measured = "0.85"
"""


def state(*settings: str, head: str = HEAD):
    return judge_settings(parse_settings(head + "".join(settings), "settings.toml")).states


def problems(text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        parse_settings(text, "settings.toml")
    return str(caught.value).splitlines()


def test_uncertainty_of_a_setting():
    """One reading: mark over root 12 (GUM F.2.2.1), placing and zero in quadrature; of n only the first two shrink."""
    (one,) = state(GAP)
    own = 0.02**2 / 12 + 0.01**2
    assert one.judged.value == pytest.approx(0.05)
    assert one.judged.u == pytest.approx(math.sqrt(own + 0.02**2))
    (three,) = state(GAP.replace('"0.85"', '["0.85", "0.85", "0.86"]'))
    assert three.judged.u == pytest.approx(math.sqrt(own / 3 + 0.02**2))


@pytest.mark.parametrize(
    ("measured", "verdict"),
    [("0.80", "ok"), ("0.88", "ok?"), ("0.92", "out?"), ("1.00", "out"), ("0.72", "ok?"), ("0.60", "out")],
)
def test_decision_rule(measured, verdict):
    """Sure where the deviation is U (0.046) or more off the limit of 0.10, on either side."""
    (found,) = state(GAP.replace("0.85", measured))
    assert str(found.verdict) == verdict


def test_readings_that_scatter_grow_u():
    """0.80 and 0.90 from a caliper of 0.02: chi-square of 37 with one degree of freedom; U grows by its root."""
    (found,) = state(GAP.replace('"0.85"', '["0.80", "0.90"]'))
    own = math.sqrt(0.02**2 / 12 + 0.01**2)
    birge = math.sqrt(2 * 0.05**2) / own
    assert found.setting.found.scattered
    # what two readings keep of the rounding to 0.02 is next to nothing
    assert found.judged.u == pytest.approx(math.hypot(own * birge / math.sqrt(2), 0.02), rel=1e-5)
    assert "readings differ by more than caliper explains" in " ".join(
        told(GAP.replace('"0.85"', '["0.80", "0.90"]')).split()
    )


def settings_text(result) -> str:
    """Everything that is said of settings."""
    return terminal.render(settings_page(result), Degree.full)


def told(*settings: str, head: str = HEAD) -> str:
    return settings_text(judge_settings(parse_settings(head + "".join(settings), "settings.toml")))


STRIP = '[strip]\nwidth = "500"\nthickness = "0.7"\nmeasured = ["500.4", "500.4"]\n'
GUIDE = '[[setting]]\nname = "guides"\nkind = "guide"\nclearance = "1.5"\ntolerance = "0.5"\nmeasured = "502.6"\n'


def test_guide_hangs_on_the_measured_strip():
    """Gap less strip less clearance; both measurements are in its u."""
    (found,) = state(STRIP, GUIDE)
    own = 0.02**2 / 12 + 0.01**2
    assert found.wanted == pytest.approx(501.9)
    assert found.judged.value == pytest.approx(0.7)
    assert found.judged.u == pytest.approx(math.sqrt(own + 0.02**2 + own / 2 + 0.02**2))
    assert found.clearance.value == pytest.approx(2.2)
    assert "guides: close it by 0.70 mm, to 501.90 mm." in told(STRIP, GUIDE)


def test_guide_on_a_nominal_strip():
    """Its tolerance is a rectangular distribution: half-width over root 3 (GUM 4.3.7)."""
    strip = '[strip]\nwidth = "500"\ntolerance = "0.6"\n'
    (found,) = state(strip, GUIDE)
    assert found.judged.u == pytest.approx(math.sqrt(0.02**2 / 12 + 0.01**2 + 0.02**2 + 0.6**2 / 3))
    assert "Measure the coil at hand." in told(strip, GUIDE)


def test_strip_wider_than_the_guides():
    text = " ".join(told(STRIP, GUIDE.replace("502.6", "499.0")).split())
    assert "guides: clearance -1.40 mm (U 0.063). The strip is wider than the guides. It will buckle or climb." in text


@pytest.mark.parametrize(("measured", "fits"), [
    ("500.2", "wider than the guides"), ("500.38", "may not fit"), ("500.42", "may not fit"), ("500.6", ""),
])  # fmt: skip
def test_whether_the_strip_fits(measured, fits):
    """The strip is 500.4 wide; U of the clearance is 0.063, so within that of nothing it is open."""
    text = " ".join(told(STRIP, GUIDE.replace("502.6", measured)).split())
    assert ("The strip is wider than the guides." in text) is (fits == "wider than the guides")
    assert ("The strip may not fit. This is too coarse to tell." in text) is (fits == "may not fit")


def test_guide_set_to_a_width_of_its_own():
    """The strip's u is not in it, but what the strip has to spare is told all the same."""
    (found,) = state(STRIP, GUIDE.replace("clearance", "wanted").replace("1.5", "502"))
    assert (found.wanted, found.judged.value) == pytest.approx((502, 0.6))
    assert found.judged.u == pytest.approx(math.sqrt(0.02**2 / 12 + 0.01**2 + 0.02**2))
    assert found.clearance.value == pytest.approx(2.2)


def test_guide_that_was_not_measured():
    """What it should be is told; nothing is judged or to be done."""
    guide = GUIDE.replace('measured = "502.6"\n', "")
    (found,) = state(STRIP, guide)
    assert found.wanted == pytest.approx(501.9)
    assert (found.verdict, found.clearance, to_do(found, Units.mm)) == (None, None, "")
    text = told(STRIP, guide)
    assert "clearance" not in text
    assert any(line.split() == ["guides", "501.9", "0.500", "not", "measured"] for line in text.splitlines())


SHEAR = '[[setting]]\nname = "blades"\nkind = "shear"\n'


@pytest.mark.parametrize("measured", ["", 'measured = "0.5"\nwith = "rule"\n'])
def test_shear_clearance_is_a_feeler_gauge_job(measured):
    """Not measured, or with a rule: no verdict; the shares of the thickness and their source are told."""
    head = HEAD + '[instrument.rule]\nmark = "0.5"\n'
    strip = STRIP + 'with = "caliper"\n'
    (found,) = state(strip, SHEAR + measured, head=head)
    assert found.verdict is None
    assert found.feeler
    text = " ".join(told(strip, SHEAR + measured, head=head).split())
    assert "A FEELER-GAUGE JOB" in text
    assert "blades: 0.014 to 0.070 mm wanted." in text
    assert " Source: " in text
    own = SHEAR + 'wanted = "0.05"\ntolerance = "0.02"\n' + measured
    assert " Source: " not in " ".join(told(strip, own, head=head).split())
    whole = judge_settings(parse_settings(head + strip + SHEAR + measured, "settings.toml"))
    assert whole.verdict is Verdict.unknown


def test_shear_clearance_with_a_feeler_is_judged():
    """2 to 10 % of 0.7 mm: 0.042 give or take 0.028."""
    head = HEAD + '[instrument.feeler]\nmark = "0.01"\nset = "0.002"\n'
    (found,) = state(STRIP + 'with = "caliper"\n', SHEAR + 'measured = "0.04"\nwith = "feeler"\n', head=head)
    assert (found.wanted, found.tolerance) == pytest.approx((0.042, 0.028))
    assert str(found.verdict) == "ok"


def test_limits_stand_beside_their_u_in_one_form():
    """A rule in inches: wanted and measured as fractions, but tolerance, off and U as decimals."""
    text = '[machine]\nname = "m"\nunits = "in"\n[instrument.rule]\nmark = "1/64"\n[[setting]]\nname = "a"\n'
    text += 'kind = "die"\nwanted = "2"\ntolerance = "1/32"\nmeasured = "2 5/64"\n'
    result = judge_settings(parse_settings(text, "s.toml"))
    (row,) = table_rows(result.states, result.settings.units)
    assert row == ("a", "2", "0.031", "2 5/64", "+0.078", "0.012", "OUT")
    assert "Inches. Off: measured minus wanted." in settings_text(result)


def test_a_secondary_source_says_so():
    said = " ".join(told(STRIP, SHEAR).split())
    assert "secondary source: read in a text that quotes them; do not accept or reject on it alone" in said


def test_level_names_the_side_to_lower():
    level = '[[setting]]\nname = "level"\nkind = "level"\nover = "1000"\ntolerance = "0.2"\nmeasured = "{}"\n'
    assert "level: lower the right side by 0.50 mm over 1000 mm." in told(level.format("0.5"))
    assert "level: lower the left side by 0.50 mm over 1000 mm." in told(level.format("-0.5"))


def test_cautions_stand_wherever_something_is_to_be_set():
    assert "Lock out, tag out" in told(GAP.replace("0.85", "1.20"))
    assert "Lock out, tag out" not in told(GAP)


def test_too_coarse_to_ever_prove():
    head = HEAD.replace('"0.02"\nset = "0.01"', '"1"')
    assert "it can never be proved OK. Take something finer." in " ".join(told(GAP, head=head).split())


SPOILT = [
    ("setting = 5\n" + HEAD, ["  [[setting]]: '5' is no list of tables. Write [[setting]] above each."]),
    (HEAD, ["  [[setting]]: there is none. Add a [[setting]] for each thing that is set."]),
    (
        HEAD + GAP.replace("gap", "gab", 2).replace('kind = "gab"', 'kind = "gab"'),
        ["  [[setting]] 'gab' kind: 'gab' is not a choice. Perhaps you meant 'gap'."],
    ),
    (HEAD + GAP.replace("wanted", "wantd"), [
        "  [[setting]] 'gap' wantd: is not a known key. Perhaps you meant 'wanted'.",
        "  [[setting]] 'gap' wanted: is missing, and is needed.",
    ]),
    (HEAD + GAP.replace('tolerance = "0.10"\n', ""), ["  [[setting]] 'gap' tolerance: is missing, and is needed."]),
    (HEAD + GAP.replace('"0.85"', "[]"), [
        "  [[setting]] 'gap' measured: is an empty list. Write what was read, or leave it out."
    ]),
    (HEAD + GAP.replace("0.85", "-0.85"), [
        "  [[setting]] 'gap' measured: is negative, and only a level has a sign. Leave the minus off."
    ]),
    (HEAD + GAP + GAP, ["  [[setting]] 'gap' name: stands twice. Give each setting a name of its own."]),
    (HEAD + GAP + 'with = "calliper"\n', [
        "  [[setting]] 'gap' with: no [instrument.calliper] in this file. Perhaps you meant 'caliper'."
    ]),
    (HEAD + GUIDE, ["  [[setting]] 'guides' clearance: needs the strip's width. Write [strip] width."]),
    (HEAD + SHEAR, [
        "  [[setting]] 'blades' wanted: is missing, and the strip has no thickness to take it from. Write [strip] "
        "thickness."
    ]),
    (HEAD + STRIP + SHEAR + 'wanted = "0.04"\n', [
        "  [[setting]] 'blades' wanted: and tolerance go together. Write both, or neither for the published shares."
    ]),
    (HEAD + STRIP + SHEAR + 'tolerance = "0.02"\n', [
        "  [[setting]] 'blades' wanted: and tolerance go together. Write both, or neither for the published shares."
    ]),
    (HEAD + STRIP + GUIDE + 'wanted = "502"\n', [
        "  [[setting]] 'guides' wanted: and clearance are two ways to say one thing. Leave one of them out."
    ]),
    (HEAD + '[[setings]]\nname = "x"\n' + GAP, ["   setings: is not a known key. Perhaps you meant 'setting'."]),
]  # fmt: skip


@pytest.mark.parametrize(("text", "told_of"), SPOILT)
def test_every_way_to_spoil_the_file(text, told_of):
    """Where, what was read, and how to mend it."""
    heading, *lines = problems(text)
    assert heading == "settings.toml: these settings cannot be used"
    assert [line.strip() for line in lines] == [line.strip() for line in told_of]


@pytest.mark.parametrize("key", ["wanted", "tolerance"])
def test_a_shear_number_that_cannot_be_read_is_told_once(key):
    numbers = {"wanted": "0.04", "tolerance": "0.02"} | {key: "0.0x"}
    _, only = problems(HEAD + SHEAR + "".join(f'{k} = "{v}"\n' for k, v in numbers.items()))
    assert only.startswith(f"  [[setting]] 'blades' {key}: '0.0x' is not a length")


def test_all_mistakes_at_once():
    lines = problems(HEAD.replace('"0.02"\nset', '"none"\nset') + GAP.replace("0.85", "0.8x") + GUIDE)
    assert len(lines) == 4


@pytest.mark.parametrize("suffix", ["", "-mm"])
def test_sample(samples, suffix):
    """Three things to set, the shear for a feeler gauge; 80 plain columns."""
    result = judge_settings(read_settings(samples / f"settings{suffix}.toml"))
    states = {s.setting.name: s for s in result.states}
    out = {name for name, s in states.items() if s.verdict is Verdict.out}
    assert out == {"entry guides", "roll gap, station 6", "cross level, exit"}
    assert [name for name, s in states.items() if s.feeler] == ["shear blades"]
    text = settings_text(result)
    assert text.isascii()
    assert max(map(len, text.splitlines())) <= 80


def test_command(samples, run, tmp_path):
    """JSON alone on standard output; --check fails; a table is written."""
    file = samples / "settings.toml"
    data = json.loads(run("settings", file, "--json").out)
    assert data["verdict"] == "out"
    assert data["settings"][0]["setting"] == "entry guides"
    # the sample has two readings of these and one of the hem die
    assert {s["setting"]: s["readings"] for s in data["settings"]}["hem die opening"] == 1
    assert data["settings"][0]["readings"] == 2
    assert run("settings", file, "--check").status == 1
    assert run("settings", file, "--table", tmp_path / "s.csv").status == 0
    assert (tmp_path / "s.csv").read_text(encoding="utf-8-sig").startswith("setting,kind,wanted,")
    inch, mm = (json.loads(run("settings", file, "--json", "--units", u).out) for u in ("in", "mm"))
    assert inch["settings"][0]["u"] * 25.4 == pytest.approx(mm["settings"][0]["u"], abs=3e-5)


def test_missing_file(run, tmp_path):
    found = run("settings", tmp_path / "none.toml")
    assert (found.status, found.out) == (2, "")
    assert "there is no such file" in found.err


@pytest.mark.parametrize(("spoiled", "key"), [
    ('[strip]\nwidth = "0"\n' + GAP, "width"),
    ('[[setting]]\nname = "bed"\nkind = "level"\nover = "0"\ntolerance = "0.2"\n', "over"),
])  # fmt: skip
def test_no_strip_and_no_level_is_nought_long(spoiled, key):
    (said,) = problems(HEAD + spoiled)[1:]
    assert key in said
    assert "0" in said


def test_what_is_no_guide_has_no_clearance():
    """A gap and a level beside a known strip: nothing is said of a strip between them, and the gap is judged alone."""
    gap = GAP.replace('"0.85"', '"0.95"')
    level = '[[setting]]\nname = "level"\nkind = "level"\ntolerance = "0.2"\nmeasured = "0"\n'
    states = state(STRIP, gap, level)
    assert [s.clearance for s in states] == [None, None]
    assert states[0].judged.value == pytest.approx(0.15)
    said = told(STRIP, gap, level)
    assert "clearance" not in said
    assert "STRIP AND GUIDES" not in said


def test_a_guide_beside_a_strip_of_which_nothing_is_told():
    """It is judged by its own wanted width; what it has to spare is not known."""
    (found,) = state(GUIDE.replace("clearance", "wanted").replace("1.5", "502"))
    assert (found.judged.value, found.clearance) == (pytest.approx(0.6), None)


@pytest.mark.parametrize(("kind", "more", "less"), [
    ("gap", Way.close, Way.open), ("guide", Way.close, Way.open), ("die", Way.reduce, Way.increase),
    ("level", Way.lower_right, Way.lower_left),
])  # fmt: skip
def test_which_way_a_setting_goes(kind, more, less):
    """Down from what is too large, up to what is too small, nowhere where it is right."""
    one = f'[[setting]]\nname = "x"\nkind = "{kind}"\nwanted = "5"\ntolerance = "0.1"\nmeasured = "{{}}"\n'
    assert [state(one.format(read))[0].way for read in ("6", "4", "5")] == [more, less, None]


def test_what_is_proved_out_comes_first(run, tmp_path):
    """The first act is of the setting that is sure, though the doubtful one stands before it."""
    doubtful, sure = GAP.replace("0.85", "0.92"), GAP.replace('"gap"', '"late"', 1).replace("0.85", "1.40")
    text = told(doubtful, sure)
    assert text.splitlines()[-1] == "First: late: close it by 0.60 mm, to 0.80 mm."
    assert "- gap: close it by 0.12 mm, to 0.80 mm. Not proved: measure it again first." in text


@pytest.mark.parametrize(("text", "first"), [
    (GAP.replace("0.85", "0.88"), "First: gap: measure it again with something finer."),
    (GAP.replace('measured = "0.85"\n', ""), "First: gap: measure it."),
    (GAP.replace("0.85", "0.80"), "First: keep this file with the record."),
])  # fmt: skip
def test_what_to_do_when_nothing_is_out(text, first):
    assert told(text).splitlines()[-1] == first


# ---- the template


@pytest.mark.parametrize("units", list(Units))
def test_template(units):
    """With every line taken in, each kind of setting is judged; nothing stands in it that is not read."""
    text = re.sub(r"(?m)^# (?=\[|[a-z_]+ = )", "", template(units))
    result = judge_settings(parse_settings(text, "settings.toml"))
    assert result.settings.units is units
    assert [s.setting.kind for s in result.states] == [Kind.guide, Kind.gap, Kind.die, Kind.level, Kind.shear]
    assert all(s.judged for s in result.states if s.setting.kind is not Kind.shear)
    assert result.settings.strip.found is not None
    assert "<<" not in template(units)
    assert max(map(len, template(units).splitlines())) <= 120


@pytest.mark.parametrize("units", list(Units))
def test_template_left_empty_says_so(units):
    assert problems(template(units))[1].startswith("  [[setting]]: there is none.")


def test_start_writes_the_template(run, tmp_path):
    file = tmp_path / "s.toml"
    done = run("start", file, "--settings", "--blank", "--units", "mm")
    assert (done.status, done.err) == (0, "")
    assert " ".join(done.out.split()) == f"Wrote {file}. Fill it in, then: stringtrue settings {file}"
    assert file.read_text(encoding="utf-8") == template(Units.mm)
    both = run("start", tmp_path / "b.toml", "--settings", "--panel")
    assert both.status == 2
    assert "--panel and --settings are two files." in both.err
    assert not (tmp_path / "b.toml").exists()
