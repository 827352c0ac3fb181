"""The test panel: what its file may hold, the signs of what is found, and how it is shown."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from math import atan2, degrees, sqrt
from pathlib import Path

import numpy as np
import pytest

from alignment.errors import InputError
from alignment.files.disk import read_text
from alignment.lengths import Units
from alignment.panel.corners import fit_corners
from alignment.panel.found import PanelResult
from alignment.panel.next_step import Next, next_step
from alignment.panel.panel import measure
from alignment.panel.panel_file import parse_panel, read_panel, template
from alignment.panel.parts import Part, Side, Spot, Where
from alignment.show import terminal
from alignment.show.json import panel as panel_json
from alignment.show.page import Degree
from alignment.show.pictures import panel as panel_pictures
from alignment.show.pictures.panel_plan import along_paper
from alignment.show.words import panel as panel_wording
from alignment.show.words import panel_figures as figures
from alignment.show.words.panel_figures import to_u
from alignment.uncertainty import COVERAGE, Verdict
from tests.tools import rates_panel, tray_truth

SIDES = {"operator": Side.left, "drive": Side.right, "ends up": Side.up, "middle up": Side.down}
both_units = pytest.mark.parametrize("units", list(Units))
HEAD = '[panel]\nname = "p"\nunits = "mm"\nwidth = "400"\nlength = "3000"\nlegs = "up"\nleg = "50"\n'
RULE = '[rule]\nmark = "0.5"\nset = "0.1"\n'
CAMBER = '[[offsets]]\nof = "camber"\nedge = "{edge}"\nline = "{line}"\n'
THREE = 'places = ["0", "1500", "3000"]\nreadings = {readings}\n'
HOLLOW, ROUND = '["0", "6", "0"]', '["6", "0", "6"]'


def measured(text: str, head: str = HEAD) -> PanelResult:
    return measure(parse_panel(head + text, "p.toml"))


def panel_text(found: PanelResult) -> str:
    """Everything that is said of a panel."""
    return terminal.render(panel_wording.panel_page(found), Degree.full)


def said_of(found: PanelResult) -> str:
    """The answer in one line."""
    return " ".join(panel_text(found).split())


# ---- signs and sizes


@pytest.mark.parametrize("edge", ["operator", "drive"])
@pytest.mark.parametrize("line", ["outside", "inside"])
def test_camber_goes_toward_the_hollow_edge(edge, line):
    """The gap to a straightedge along the hollow edge is largest in the middle."""
    found = measured(CAMBER.format(edge=edge, line=line) + THREE.format(readings=HOLLOW)).camber
    other = {"operator": "drive", "drive": "operator"}[edge]
    assert found.toward is SIDES[edge if line == "outside" else other]
    assert found.height == pytest.approx(6, abs=1e-6)
    rounded = measured(CAMBER.format(edge=edge, line=line) + THREE.format(readings=ROUND)).camber
    assert rounded.toward is SIDES[other if line == "outside" else edge]


def test_camber_from_a_string_hung_askew():
    """A string need not touch the edge, nor run along it."""
    straight = measured(
        CAMBER.format(edge="drive", line="outside") + THREE.format(readings='["20", "25", "30"]')
    ).camber
    assert straight.toward is None
    hollow = measured(CAMBER.format(edge="drive", line="outside") + THREE.format(readings='["20", "31", "30"]')).camber
    assert hollow.toward is Side.right
    assert hollow.height == pytest.approx(6, abs=1e-3)


def test_camber_from_both_edges_is_one_camber():
    one, other = CAMBER.format(edge="drive", line="outside"), CAMBER.format(edge="operator", line="outside")
    alike = measured(one + THREE.format(readings=HOLLOW) + other + THREE.format(readings=ROUND)).camber
    assert (alike.toward, alike.agree) == (Side.right, True)
    alone = measured(one + THREE.format(readings=HOLLOW)).camber
    assert alike.u == pytest.approx(alone.u / sqrt(2))
    against = measured(one + THREE.format(readings=HOLLOW) + other + THREE.format(readings=HOLLOW)).camber
    assert not against.agree
    assert against.u > alone.u


def test_sets_that_differ_and_edges_that_ripple_are_told():
    one, other = CAMBER.format(edge="drive", line="outside"), CAMBER.format(edge="operator", line="outside")
    odd = "Camber: the sets of offsets give different curvatures. U was made larger."
    assert odd in said_of(measured(one + THREE.format(readings=HOLLOW) + other + THREE.format(readings=HOLLOW)))
    # an odd shape has no curvature; of r at the quarters the best line leaves 0.8 r, by its normal equations
    waved = one + 'places = ["0", "750", "1500", "2250", "3000"]\nreadings = ["5", "10", "5", "0", "5"]\n'
    said = said_of(measured(waved))
    assert "Camber is no clean arc: 4.00 mm of ripple, or a wrong reading, is left. U was made larger." in said
    assert odd not in said


def test_three_places_check_nothing_and_five_do():
    """A parabola takes three numbers."""
    one = CAMBER.format(edge="drive", line="outside")
    told = "Camber was read at three places. A wrong reading would not show. Read five."
    assert told in said_of(measured(one + THREE.format(readings=HOLLOW)))
    five = one + 'places = ["0", "750", "1500", "2250", "3000"]\nreadings = ["0", "4.5", "6", "4.5", "0"]\n'
    assert "Read five." not in said_of(measured(five))


def test_offsets_that_are_no_arc_are_told_by_their_table():
    """Two places alone, which no file can hold: the second set is named, not the first."""
    panel = parse_panel(HEAD + CAMBER.format(edge="drive", line="outside") + THREE.format(readings=HOLLOW), "p.toml")
    two = replace(panel.offsets[0], places=(0.0, 3000.0, 3000.0))
    with pytest.raises(
        InputError, match=r"p.toml: .*\n  \[\[offsets\]\] 2: an arc needs offsets at three places at least"
    ):
        measure(replace(panel, offsets=(*panel.offsets, two)))


@pytest.mark.parametrize(("line", "readings", "toward"), [
    ("under", HOLLOW, "middle up"), ("under", ROUND, "ends up"),
    ("over", HOLLOW, "ends up"), ("over", ROUND, "middle up"),
])  # fmt: skip
def test_bow(line, readings, toward):
    text = f'[[offsets]]\nof = "bow"\nedge = "drive"\nline = "{line}"\n' + THREE.format(readings=readings)
    assert measured(text).bow.toward is SIDES[toward]
    assert panel_json.as_json(measured(text))["bow"]["toward"] == toward


@pytest.mark.parametrize(("end", "edge", "higher"), [
    ("lead", "operator", "operator"), ("tail", "drive", "operator"),
    ("lead", "drive", "drive"), ("tail", "operator", "drive"),
])  # fmt: skip
def test_twist_of_a_lifted_corner(end, edge, higher):
    found = measured(f'[twist]\nend = "{end}"\nedge = "{edge}"\nlift = "7"\n').twist
    assert found.higher is SIDES[higher]
    assert abs(found.finding.value) == pytest.approx(degrees(atan2(7, 400)) / 3)


def test_twist_of_angles():
    found = measured('[twist]\nplaces = ["0", "1500", "3000"]\nangles = [1.5, 0.75, 0]\n').twist
    assert (found.higher, round(found.finding.value, 9)) == (Side.left, 0.5)


@pytest.mark.parametrize(("one", "other", "ahead"), [("3030", "3023", "operator"), ("3023", "3030", "drive")])
def test_square_says_which_corner_is_ahead(one, other, ahead):
    """The longer diagonal starts at the lead corner that is ahead."""
    text = '[square]\noperator = "3000"\ndrive = "3000"\nlead = "400"\ntail = "400"\n'
    text += f'from_operator = "{one}"\nfrom_drive = "{other}"\n'
    square = measured(text).square
    assert (square.lead.ahead, square.tail.ahead) == (SIDES[ahead], SIDES[ahead])


def test_subsets_tell_what_they_can():
    def told(*names: str) -> set[str]:
        sizes = {"operator": 3000, "drive": 3000, "lead": 400, "tail": 400, "from_operator": 3027, "from_drive": 3026}
        found = measured("[square]\n" + "".join(f'{n} = "{sizes[n]}"\n' for n in names)).square
        corners = {"edges", "taper", "misclosure"}
        return {n for n in ("lead", "tail", "both") if getattr(found, n)} | {
            n for n in corners if getattr(found.corners, n)
        }

    sides, diagonals = ("operator", "drive", "lead", "tail"), ("from_operator", "from_drive")
    assert told(*sides) == {"edges", "taper"}
    assert told(*diagonals) == {"both"}
    assert told("from_operator") == set()
    assert told("operator", "drive", *diagonals) == {"lead", "tail", "both", "edges"}
    assert told("operator", "lead", "from_drive") == {"lead"}
    assert told("operator", "tail", "from_operator") == {"tail"}
    assert told(*sides, *diagonals) == {"lead", "tail", "both", "edges", "taper", "misclosure"}


def test_sides_alone_tell_their_differences():
    """Mean of two readings less the other edge, 3001 - 2997.5; lead end less tail end, 399 - 401."""
    text = '[square]\noperator = ["3000", "3002"]\ndrive = "2997.5"\nlead = "399"\ntail = "401"\n'
    corners = measured(text).square.corners
    assert (corners.edges.value, corners.taper.value) == (3.5, -2.0)
    # variances of means add: u^2 (1/2 + 1) beside u^2 (1 + 1)
    assert corners.edges.u / corners.taper.u == pytest.approx(sqrt(1.5 / 2))


@pytest.mark.parametrize(("names", "said", "ends"), [
    (("operator", "drive", "lead", "tail"), "Squareness needs both diagonals, or one with the edge and the end", set()),
    (("from_operator",), "Squareness needs both diagonals, or one with the edge and the end", set()),
    (("from_operator", "from_drive"), "These lengths give only the mean of both ends.", {"both"}),
    (("operator", "lead", "from_drive"), "These lengths give only the lead end.", {"lead"}),
    (("operator", "tail", "from_operator"), "These lengths give only the tail end.", {"tail"}),
])  # fmt: skip
def test_what_the_lengths_leave_open_is_said(names, said, ends):
    sizes = {"operator": 3000, "drive": 3000, "lead": 400, "tail": 400, "from_operator": 3027, "from_drive": 3026}
    found = measured("[square]\n" + "".join(f'{n} = "{sizes[n]}"\n' for n in names))
    assert said in said_of(found)
    told = panel_json.as_json(found)["square"]
    assert {end for end in ("lead", "tail", "both") if told[end] is not None} == ends


def test_repeats_single_out_the_slip():
    """With both diagonals read twice the lengths themselves say which reading slipped."""
    six = {"left": [3000.0], "right": [3000.0], "lead": [400.0], "tail": [400.0], "from_left": [3026.55] * 2}
    found = fit_corners(six | {"from_right": [3026.55, 3032.9]}, length=3000, width=400, u=0.5)
    assert found.slip.name == "from_right"
    assert found.slip.alone
    assert found.slip.by == pytest.approx(6.35, abs=0.2)
    text = '[square]\noperator = "3000"\ndrive = "3000"\nlead = "400"\ntail = "400"\n'
    said = said_of(measured(text + 'from_operator = ["3026.55", "3026.55"]\nfrom_drive = ["3026.55", "3032.9"]\n'))
    (by,) = re.findall(r"The diagonal from the drive corner of the lead end is probably ([\d.]+) mm too long\.", said)
    assert float(by) == pytest.approx(6.35, abs=0.2)
    assert "One length to spare" not in said


@pytest.mark.parametrize("way", [-1, 1])
@pytest.mark.parametrize("slipped", ["left", "right", "from_left", "from_right"])
def test_the_slip_in_a_swept_panel_is_named(slipped, way):
    """
    A strip of 400 by 3000 cut square to itself and swept by 20 mm: one of its long lengths read 4 mm wrong.

    Each length explains the contradiction as well as any other; only one leaves a panel swept as its camber tells.
    """
    turn = way * 20 / 400
    radius = 3000 / turn
    angle = turn / 2 * np.array([-1, 1, -1, 1])
    # tail and lead end of the left edge, then of the right one, about the centre of the arc
    corners = ((radius + np.array([200, 200, -200, -200])) * np.array([np.sin(angle), np.cos(angle)])).T
    pairs = {"left": (0, 1), "right": (2, 3), "lead": (1, 3), "tail": (0, 2), "from_left": (1, 2), "from_right": (3, 0)}
    true = {name: float(np.hypot(*(corners[a] - corners[b]))) for name, (a, b) in pairs.items()}
    assert true["left"] - true["right"] == pytest.approx(way * 20, abs=0.01)
    for by in (-4, 4):
        six = {name: [size + by * (name == slipped)] for name, size in true.items()}
        slip = fit_corners(six, length=3000, width=400, u=0.5, swept=way * 20).slip
        assert slip is not None
        assert slip.name == slipped
        assert slip.by == pytest.approx(by, abs=0.2)


def test_waves_that_were_looked_for():
    assert "Waves were looked for. There are none." in said_of(measured("", HEAD + 'waves = "none"\n'))


@pytest.mark.parametrize(
    ("pitch", "height", "verdict"), [("300", "1.8", "out"), ("300", "0.2", "ok"), ("500", "9", None)]
)
def test_waves_by_a_published_height(pitch, height, verdict):
    """1.0 mm over 400, nothing said between 400 and 700 (EN 14509 annex D.2.2, extract); U of the rule is 0.35."""
    text = f'[[wave]]\nwhere = "drive"\nheight = "{height}"\npitch = "{pitch}"\n'
    found = measured(RULE + text + '[limits]\nwaves = "en-14509-flat-face"\n')
    finding = found.waves[0].finding
    assert finding.verdict == verdict
    assert ("does not cover this size" in said_of(found)) is (verdict is None)
    if verdict:
        assert (finding.value, finding.bounds.upper) == (float(height), 1.0)


def test_waves():
    found = measured('[[wave]]\nwhere = "pan"\nheight = "3"\npitch = "450"\n').waves[0]
    assert found.steepness == pytest.approx(3 / 450)
    assert found.i_units == pytest.approx(10.966, abs=0.001)


def across(*rows: tuple[str, str, str, str]) -> str:
    form = '[[across]]\nat = "{}"\nwidth = "{}"\noperator_leg = "{}"\ndrive_leg = "{}"\n'
    return "".join(form.format(*row) for row in rows)


def test_legs_tell_where_the_strip_ran():
    even = measured(
        RULE + across(("lead", "400", "50", "50"), ("middle", "400", "50", "50"), ("tail", "400", "50", "50"))
    )
    assert (even.legs_differ.changes, even.girth.changes, even.legs_differ.mean.value) == (False, False, 0)
    off = measured(RULE + across(("lead", "400", "52", "48"), ("tail", "400", "52", "48")))
    assert (off.legs_differ.changes, off.legs_differ.mean.value) == (False, 4)
    wander = measured(RULE + across(("lead", "400", "52", "48"), ("tail", "400", "48", "52")))
    assert (wander.legs_differ.changes, wander.girth.changes) == (True, False)
    wide = measured(RULE + across(("lead", "400", "50", "50"), ("tail", "405", "50", "50")))
    assert (wide.legs_differ.changes, wide.girth.changes) == (False, True)


@pytest.mark.parametrize(("lead", "tail", "said"), [
    (("400", "52", "48"), ("400", "52", "48"), r"The operator leg is higher by 4\.00 mm \(U [\d.]+\)\. The strip ran"),
    (("400", "48", "52"), ("400", "48", "52"), r"The drive leg is higher by 4\.00 mm \(U [\d.]+\)\. The strip ran"),
    (("400", "52", "48"), ("400", "48", "52"), r"The legs change against each other by 8\.00 mm\. The strip"),
    (("400", "50", "50"), ("405", "50", "50"), r"Width and legs together change by 5\.00 mm\. The strip's own"),
])  # fmt: skip
def test_what_the_sizes_across_mean(lead, tail, said):
    """One thing is wrong with each panel, and that alone is said of it."""
    found = measured(RULE + across(("lead", *lead), ("tail", *tail)))
    (only,) = panel_wording.meanings(found)
    assert re.match(said, only)


def test_flare_is_against_the_middle():
    found = measured(across(("tail", "407", "50", "50"), ("middle", "400", "50", "50"), ("lead", "395", "50", "50")))
    assert {end: known.value for end, known in found.flare.items()} == {"lead": -5, "tail": 7}
    flare = r"Flare, against the width at the middle: lead end -5\.00 mm \(U [\d.]+\), tail end \+7\.00 mm \(U"
    assert re.search(flare, said_of(found))


def test_sizes_across_at_a_length():
    """A place without a name is called by its length from the lead end; one without a width has its leg alone."""
    found = measured('[[across]]\nat = "tail"\ndrive_leg = "49"\n[[across]]\nat = "1000"\nwidth = "403"\n')
    assert [(where, finding.value) for where, finding in found.findings] == [
        (Where(part=Part.width, place=1000.0), 3), (Where(part=Part.leg, side=Side.right, spot=Spot.tail), -1),
    ]  # fmt: skip
    assert [row[0] for row in panel_wording.table_rows(found)] == ["width at 1000 mm", "drive leg at tail"]
    told = panel_json.as_json(found)
    assert [(w["place"], w["at"], w["width"]) for w in told["widths"]] == [("1000", 1000, 403)]


def test_strip_camber_is_taken_off():
    camber, strip = CAMBER.format(edge="drive", line="outside"), CAMBER.format(edge="operator", line="outside")
    strip = strip.replace("camber", "strip")
    found = measured(camber + THREE.format(readings=HOLLOW) + strip + THREE.format(readings='["0", "2", "0"]'))
    per = 3000**2 / 8
    assert found.strip.toward is Side.left
    assert found.added.curvature * per == pytest.approx(8, abs=1e-3)
    assert found.added.toward is Side.right
    told = panel_json.as_json(found)["camber"]["added"]
    assert told == {
        "height": pytest.approx(found.added.height, abs=1e-6),
        "u": pytest.approx(found.added.height_u, abs=1e-6),
        "toward": "drive",
    }
    said = panel_text(found)
    assert (
        f"Forming added {found.added.height:.2f} mm (U {COVERAGE * found.added.height_u:.2f}) toward drive."
        in " ".join(said.split())
    )
    assert found.added.u == pytest.approx(np.hypot(found.camber.u, found.strip.u))


def test_a_strip_that_swept_as_much_leaves_nothing_to_forming():
    one = CAMBER.format(edge="drive", line="outside") + THREE.format(readings=HOLLOW)
    found = measured(one + one.replace("camber", "strip"))
    assert found.added.toward is None
    assert re.search(
        r"The strip itself swept 6\.00 mm \(U [\d.]+\) toward drive over the same length\. No more is seen",
        said_of(found),
    )


# ---- verdicts


@pytest.mark.parametrize(("limit", "verdict"), [
    ('camber = { height = "6.35", over = "2438.4" }', "ok"), ('camber = "en-508-straightness"', "ok?"),
    ('camber = { height = "5", over = "3000" }', "out"),
])  # fmt: skip
def test_verdict_over_the_length_of_the_limit(limit, verdict):
    found = measured(
        RULE + CAMBER.format(edge="drive", line="outside") + THREE.format(readings=HOLLOW) + f"[limits]\n{limit}\n"
    )
    assert found.camber.finding.verdict == verdict


def test_lengths_have_two_sided_limits():
    def verdict(length: str) -> Verdict:
        return (
            measured(f'[square]\noperator = "{length}"\n[limits]\nlength = "en-508-length"\n')
            .lengths[Side.left]
            .verdict
        )

    assert [verdict(x) for x in ("2993", "2996.5", "3008.5", "3012")] == ["out", "ok", "ok", "out"]


def test_nothing_is_judged_without_a_limit():
    found = measured(CAMBER.format(edge="drive", line="outside") + THREE.format(readings=HOLLOW))
    assert found.verdict is None
    assert (found.camber.finding.verdict, found.camber.finding.p_in) == (None, None)
    assert "Not judged" in panel_text(found)


def test_the_strip_is_not_the_panel():
    strip = CAMBER.format(edge="drive", line="outside").replace("camber", "strip") + THREE.format(
        readings='["0", "60", "0"]'
    )
    found = measured(strip + '[limits]\nstrip = "en-10143-camber"\n')
    assert found.strip.finding.verdict == "out"
    assert found.verdict is None


def test_a_limit_is_not_used_outside_its_widths():
    """The mill's table speaks of strip 1.5 to 13 in wide: of a panel of wider strip it judges nothing, and says so."""
    text = RULE + CAMBER.format(edge="drive", line="outside") + THREE.format(readings='["0", "40", "0"]')
    text += '[limits]\ncamber = "mill-table"\n'
    wide = measured(text)
    assert (wide.camber.finding.verdict, wide.verdict) == (None, None)
    said = " ".join(panel_text(wide).split())
    assert "Not judged. No limit was chosen for what was measured." in said
    assert "Not judged: camber. The limit" in said
    assert "does not cover this size (panel 400 mm by 3000 mm, strip 500 mm wide)." in said
    # 330.2 mm are 13 in; the legs are of the strip, too
    for width, leg, verdict in (("230", "50", "out"), ("230.2", "50", "out"), ("231", "50", None)):
        narrow = measured(text, HEAD.replace('width = "400"', f'width = "{width}"').replace('"50"', f'"{leg}"'))
        assert narrow.verdict == verdict
    assert "secondary source: read in a text that reproduces it; do not accept or reject on it alone" in " ".join(
        panel_text(wide).split()
    )


def test_a_limit_says_for_what_it_was_published():
    found = measured('[square]\nfrom_operator = "3030"\nfrom_drive = "3020"\n[limits]\nsquare = "en-508-square"\n')
    assert found.verdict is not None
    assert "Judged by a limit for trapezoidal sheet: squareness of ends." in " ".join(panel_text(found).split())


def test_twist_limit_with_its_unit():
    text = '[twist]\nend = "lead"\nedge = "operator"\nlift = "7"\n[limits]\ntwist = {}\n'
    bare, metre, foot = (measured(text.format(t)) for t in ("0.9", '"0.9 deg/m"', '"0.9 deg/ft"'))
    assert bare.twist.finding.bounds.upper == metre.twist.finding.bounds.upper == 0.9
    assert foot.twist.finding.bounds.upper == pytest.approx(0.9 / 0.3048)
    with pytest.raises(InputError, match="is not a number with one of the units deg/m, deg/ft"):
        measured(text.format('"0.9 deg"'))


# ---- square and camber together


def swept(edges: tuple[float, float], height: float = 6.0, extra: str = "") -> PanelResult:
    """A panel of 400 by 3000 with these edges, the rest as of a trapezoid, and a sweep toward drive."""
    left, right = edges
    diagonal = sqrt(400**2 + left * right)
    text = f'[square]\noperator = "{left}"\ndrive = "{right}"\nlead = "400"\ntail = "400"\n'
    text += f'from_operator = "{diagonal:.4f}"\nfrom_drive = "{diagonal:.4f}"\n'
    text += RULE + CAMBER.format(edge="drive", line="outside")
    return measured(text + THREE.format(readings=f'["0", "{height}", "0"]') + extra)


def test_ends_are_square_to_the_strip_where_they_were_cut():
    """
    A strip of width w that sweeps by c over L, cut square to itself, has edges that differ by 8 c w / L.

    Plane geometry: it turns by L/R with R = L^2 / (8 c), and its edges are arcs of radii w apart.
    """
    longer = 8 * 6 * 400 / 3000
    found = swept((3000 + longer / 2, 3000 - longer / 2))
    assert found.square.swept.value == pytest.approx(longer, rel=1e-4)
    for cut in (found.square.lead, found.square.tail):
        assert cut.finding.value == pytest.approx(0, abs=2e-3)
        assert abs(cut.off_chord) == pytest.approx(longer / 2, abs=2e-3)
    assert found.square.lead.finding.u > found.square.corners.lead.u
    assert not found.square.contradicts
    assert "contradict" not in panel_text(found)


@pytest.mark.parametrize("off", [-3.0, 0.0, 3.0])
def test_a_bent_panel_cut_askew(off):
    """Corners of a ring whose both ends one shear cut askew alike; right edge hollow."""
    radius = 3000**2 / (8 * 6) + 200
    six = tray_truth.six_lengths(tray_truth.ring(radius, 3000, 400, off))
    names = {"left": "operator", "right": "drive", "from_left": "from_operator", "from_right": "from_drive"}
    text = "[square]\n" + "".join(f'{names.get(n, n)} = "{x:.6f}"\n' for n, x in six.items())
    found = measured(text + RULE + CAMBER.format(edge="drive", line="outside") + THREE.format(readings=HOLLOW)).square
    assert found.lead.finding.value == pytest.approx(off, abs=0.01)
    assert found.tail.finding.value == pytest.approx(off, abs=0.01)
    assert abs(found.apart.value) < 0.02


def test_edges_that_contradict_the_sweep_are_told():
    """Equal edges beside a sweep of 12 over 3000: they should differ by 12.8."""
    found = swept((3000, 3000), 12.0)
    assert found.square.contradicts
    said = " ".join(panel_text(found).split())
    assert said.index("READ THESE AGAIN FIRST") < said.index("WHAT IT MEANS")
    assert "The edges and the sweep contradict each other. A sweep of 12.00 mm (U 0.43) over 3000 mm makes" in said
    assert "makes operator minus drive edge +12.80 mm (U 0.46). Measured: 0.00 mm" in said
    assert "The operator edge is longer by 12.80 mm (U 0.46). Measured: 0.00 mm (U" in said
    assert panel_json.as_json(found)["square"]["contradicts_camber"] is True


def test_without_camber_the_ends_are_told_against_the_chord():
    text = '[square]\noperator = "3005"\ndrive = "2995"\nlead = "400"\ntail = "400"\nfrom_drive = "3026.5"\n'
    found = measured(text)
    assert found.square.lead.finding.value == found.square.lead.off_chord
    assert "Camber was not measured. Ends are judged against the line from end to end" in " ".join(
        panel_text(found).split()
    )


@pytest.mark.parametrize(("units", "zero"), [("in", 25.4 / 64), ("mm", 0.4)])
def test_a_tape_that_is_not_told_is_the_usual_one_of_its_units(units, zero):
    head = f'[panel]\nname = "p"\nunits = "{units}"\nwidth = "16"\nlength = "120"\n'
    tape = measured('[square]\noperator = "120"\n', head).panel.tape
    assert tape.zero == zero
    assert tape.mark == {"in": 25.4 / 16, "mm": 1.0}[units]


# ---- how numbers are written


@pytest.mark.parametrize(("value", "u", "told"), [
    (9.64, 2.465, ("10", "5")), (0.0226, 0.00565, ("0.023", "0.011")), (12.34, 0.2, ("12.3", "0.4")),
    (1.0, 0, ("1", "0")),
])  # fmt: skip
def test_a_number_goes_as_far_as_its_u(value, u, told):
    assert to_u(value, u) == told


def test_value_u_and_limit_can_be_set_side_by_side(samples):
    """All three of a row are decimals of one unit, and no limit is a fraction: 0.5 % of 19 1/4 in is 0.0963."""
    found = measure(read_panel(samples / "tray.toml"))
    rows = {row[0]: row[1:4] for row in panel_wording.table_rows(found)}
    for (where, finding), row in zip(found.findings, panel_wording.table_rows(found), strict=True):
        if finding.bounds and where.part is not Part.twist:
            value, u, limit = map(float, row[1:4])
            assert abs(value) == pytest.approx(abs(finding.value) / 25.4, abs=0.5001e-3)
            assert u == pytest.approx(COVERAGE * finding.u / 25.4, abs=0.5001e-3)
            assert limit == pytest.approx(finding.bounds.upper / 25.4, abs=0.5001e-4)
    assert rows["squareness of lead end"][2] == "0.0963"
    assert rows["operator leg at lead"][2] == "0.0625"
    assert not any("/" in cell for row in rows.values() for cell in row)


def test_no_false_precision_and_one_system_of_units(samples, run):
    inch = " ".join(run("panel", samples / "tray.toml", "--full").out.split())
    assert 'pitch 15", 10 I-units (U 5)' in inch
    assert "waves in pan, I-units 10 5 none" in inch
    assert "degrees per ft" in inch
    assert "per m" not in inch
    assert "Inches unless said." in inch
    mm = " ".join(run("panel", samples / "tray-mm.toml", "--full").out.split())
    assert "490 mm by 3000 mm" in mm
    assert "degrees per m" in mm


# ---- the sample


@both_units
def test_the_samples_are_made_from_their_truth(samples, units):
    name = "tray.toml" if units is Units.inch else "tray-mm.toml"
    assert read_text(samples / name) == tray_truth.trays()[name]


@both_units
def test_the_sample_is_answered_within_its_u(samples, units):
    """Every stated number of the tray within U of what the program finds."""
    name = "tray.toml" if units is Units.inch else "tray-mm.toml"
    found = measure(read_panel(samples / name))
    over = found.panel.length / (tray_truth.SWEEP_OVER * 25.4)
    per = found.panel.length**2 / 8
    true = {
        "camber": (found.camber.curvature * per, found.camber.u * per, tray_truth.SWEEP * 25.4 * over**2),
        "strip": (found.strip.curvature * per, found.strip.u * per, tray_truth.STRIP_SWEEP * 25.4 * over**2),
        "bow": (found.bow.curvature * per, found.bow.u * per, tray_truth.BOW * 25.4 * over**2),
        "lead": (found.square.lead.finding.value, found.square.lead.finding.u, tray_truth.OUT_OF_SQUARE * 25.4),
        "tail": (found.square.tail.finding.value, found.square.tail.finding.u, tray_truth.OUT_OF_SQUARE * 25.4),
    }
    for value, u, truth in true.values():
        assert abs(value - truth) <= COVERAGE * u
    twist = degrees(atan2(tray_truth.LIFT * 25.4, found.panel.width)) / (found.panel.length / 1000)
    assert abs(found.twist.finding.value - twist) <= COVERAGE * found.twist.finding.u
    assert found.camber.toward is Side.right
    assert found.verdict == "out"


# ---- what is shown


@both_units
def test_text_fits_the_screen(samples, run, units):
    done = run("panel", samples / "tray.toml", "--units", units)
    assert (done.status, done.err) == (0, "")
    assert max(map(len, done.out.splitlines())) <= 80
    assert done.out.isascii()
    lines = done.out.splitlines()
    assert "OUT. Out of its limit: camber." in lines[:3]
    assert len(lines) <= 40
    assert "Sweeps toward the drive edge" in done.out


def test_text_names_every_limit_with_its_source(samples, run):
    out = " ".join(run("panel", samples / "tray.toml", "--full").out.split())
    assert "Source: own number, tray.toml" in out
    assert "No accepted limit for oil canning exists" in out


def test_memory_is_said(tmp_path, run):
    text = HEAD + CAMBER.format(edge="drive", line="outside") + THREE.format(readings=HOLLOW)
    (tmp_path / "p.toml").write_text(text + '[limits]\ncamber = "astm-a568"\n')
    assert "from memory: text not seen" in " ".join(run("panel", tmp_path / "p.toml", "--full").out.split())
    told = json.loads(run("panel", tmp_path / "p.toml", "--json").out)
    assert "from memory: text not seen; do not accept" in told["camber"]["source"]


def test_a_slip_is_said_first(tmp_path, run, samples):
    text = read_text(samples / "tray.toml")
    (tmp_path / "tray.toml").write_text(re.sub('from_drive = ".*"', 'from_drive = "121 5/16"', text))
    out = run("panel", tmp_path / "tray.toml").out
    assert out.index("READ THESE AGAIN FIRST") < out.index("WHAT IT MEANS")
    assert "The diagonal from the drive corner of the lead end is probably" in " ".join(out.split())


def test_json(samples, run):
    done = run("panel", samples / "tray.toml", "--json")
    told = json.loads(done.out)
    assert set(told["square"]["lead"]) >= {"out_of_square", "u", "angle", "verdict", "limit", "source"}
    assert set(told["square"]) >= {"lead", "tail", "misclosure", "misclosure_u"}
    for key in ("camber", "bow"):
        assert set(told[key]) >= {"height", "over", "radius", "u", "toward", "verdict", "limit", "source"}
    assert set(told["twist"]) >= {"degrees_per_m", "u", "verdict", "limit", "source"}
    assert set(told["waves"][0]) >= {"place", "steepness", "i_units", "verdict", "limit", "source"}
    assert set(told["widths"][0]) >= {"place", "width", "u", "verdict", "limit", "source"}
    assert told["camber"]["toward"] == "drive"
    assert told["camber"]["height"] == pytest.approx(tray_truth.SWEEP, abs=2 * told["camber"]["u"])
    assert told["camber"]["radius"] == pytest.approx(
        told["camber"]["over"] ** 2 / 8 / told["camber"]["height"], rel=1e-3
    )
    assert told["camber"]["limit"] == pytest.approx(0.25)
    assert told["square"]["lead"]["limit"] == pytest.approx(0.005 * 19.25)
    assert told["verdict"] == "out"


def test_json_units(samples):
    result = measure(read_panel(samples / "tray.toml"))
    inches = panel_json.as_json(result)
    mm = panel_json.as_json(measure(read_panel(samples / "tray.toml").shown_in(Units.mm)))
    assert mm["camber"]["height"] == pytest.approx(25.4 * inches["camber"]["height"])
    assert mm["waves"][0]["i_units"] == pytest.approx(inches["waves"][0]["i_units"])
    assert mm["twist"] == inches["twist"]


@pytest.mark.parametrize("suffix", [".png", ".svg", ".pdf"])
def test_picture(samples, run, tmp_path, suffix):
    picture = tmp_path / f"tray{suffix}"
    assert run("panel", samples / "tray.toml", "--plot", picture).status == 0
    assert picture.read_bytes()[:4] in (b"\x89PNG", b"<?xm", b"%PDF")
    again = tmp_path / f"again{suffix}"
    run("panel", samples / "tray.toml", "--plot", again)
    assert again.read_bytes() == picture.read_bytes()


def test_picture_says_its_scale_and_its_ends(samples, run, tmp_path):
    run("panel", samples / "tray.toml", "--plot", tmp_path / "tray.svg")
    drawn = (tmp_path / "tray.svg").read_text()
    for words in (
        "lead end",
        "tail end",
        "operator edge",
        "drive edge",
        "strip runs",
        "times larger",
        "sweeps toward drive",
    ):
        assert words in drawn


def test_check(samples, run, tmp_path):
    assert run("panel", samples / "tray.toml", "--check").status == 1
    text = re.sub("camber = {.*\n", "", read_text(samples / "tray.toml"))
    (tmp_path / "good.toml").write_text(text)
    assert run("panel", tmp_path / "good.toml", "--check").status == 0


# ---- the template


def filled(units: Units) -> str:
    """The template with every line taken in that does not contradict another."""
    text = re.sub(r"(?m)^# (?=\[|[a-z_]+ = )", "", template(units))
    return re.sub(r'(?m)^(turned|waves) = ".*', "", text)


@both_units
def test_template(units):
    result = measure(parse_panel(filled(units), "panel.toml"))
    assert result.panel.units is units
    assert result.square
    assert result.camber.toward is Side.right
    assert result.bow
    assert result.twist
    assert result.waves
    assert len(result.across) == 3
    assert len(result.panel.limits) == 8
    assert "<<" not in template(units)
    assert max(map(len, template(units).splitlines())) <= 120


@both_units
def test_template_left_empty_says_so(units):
    with pytest.raises(InputError, match="nothing was measured"):
        parse_panel(template(units), "panel.toml")


# ---- bad input

BAD = {
    "no table": ("nonsense", "not a TOML file"),
    "empty": ("", "[panel] units: is missing"),
    "no size": ('[panel]\nname = "p"\nunits = "mm"\nlength = "3000"\n', "[panel] width: is missing"),
    "unknown key": (HEAD + "camber = 3\n", "[panel] camber: is not a known key"),
    "unknown table": (HEAD + "[wave]\n", "[[wave]]: '{}' is no list of tables"),
    "edges": (HEAD + 'edges = ["a", "a"]\n', "is no pair of edges"),
    "edge name": (HEAD + CAMBER.format(edge="drivr", line="outside"), "Perhaps you meant 'drive'"),
    "two places": (
        HEAD + CAMBER.format(edge="drive", line="outside") + 'places = ["0", "9"]\nreadings = ["0", "1"]\n',
        "an arc needs three",
    ),
    "same place": (
        HEAD + CAMBER.format(edge="drive", line="outside") + 'places = ["0", "9", "9"]\nreadings = ["0", "1", "1"]\n',
        "three different places",
    ),
    "uneven": (
        HEAD
        + CAMBER.format(edge="drive", line="outside")
        + 'places = ["0", "9", "18"]\nreadings = ["0", "1", "1", "0"]\n',
        "there are 4 of them and 3 places",
    ),
    "off the panel": (
        HEAD
        + CAMBER.format(edge="drive", line="outside")
        + 'places = ["0", "1500", "4000"]\nreadings = ["0", "1", "0"]\n',
        "4000.0 is off the panel",
    ),
    "steep": (
        HEAD + CAMBER.format(edge="drive", line="outside") + THREE.format(readings='["0", "376", "0"]'),
        "differ by more than an eighth of the 3000.0 they stand on",
    ),
    "no arc": (
        HEAD
        + CAMBER.format(edge="drive", line="outside")
        + 'places = ["0", "2900", "3000"]\nreadings = ["0", "0", "300"]\n',
        "[[offsets]] 1: offsets this large against their length are no arc of a panel. Check places and readings.",
    ),
    "across off the panel": (
        HEAD + '[[across]]\nat = "3100"\nwidth = "400"\n',
        "at: 3100.0 is off the panel, which is 3000.0 long from its lead end",
    ),
    "angles without places": (
        HEAD + '[twist]\nplaces = ["0", "1"]\nangles = [2]\n',
        "[twist] places: write one place for each angle",
    ),
    "angles at one place": (
        HEAD + '[twist]\nplaces = ["9", "9"]\nangles = [1, 2]\n',
        "[twist] places: write one place for each angle, two different ones at least",
    ),
    "length": (HEAD + '[square]\nlead = "18 9/8"\n', "'18 9/8' is not a length"),
    "far off": (
        HEAD + '[square]\nfrom_drive = "30266"\n',
        "[square] from_drive: read 30266.0; possible is 2925.7 to 3124.1 for",
    ),
    "wave": (HEAD + '[[wave]]\nwhere = "pan"\nheight = "450"\npitch = "3"\n', "Swapped?"),
    "waves twice": (
        HEAD.replace("leg =", 'waves = "none"\nleg =') + '[[wave]]\nwhere = "pan"\nheight = "1"\npitch = "300"\n',
        "says none, and the file has [[wave]] tables",
    ),
    "no limit": (HEAD + '[limits]\ncamber = "mill-tabel"\n', "Perhaps you meant 'mill-table'"),
    "limit of another": (HEAD + '[limits]\nsquare = "mill-table"\n', "is no published limit for this"),
    "legs of bow": (
        HEAD.replace('legs = "up"\n', "") + '[[offsets]]\nof = "bow"\nedge = "drive"\n' + THREE.format(readings=HOLLOW),
        "[panel] legs: is needed with bow",
    ),
    "legs without a leg": (
        HEAD.replace('leg = "50"\n', "") + across(("lead", "400", "50", "50")) + '[limits]\nleg = "1"\n',
        "[panel] leg: is needed",
    ),
    "nothing across": (HEAD + '[[across]]\nat = "lead"\n', "nothing stands here"),
    "angles": (HEAD + '[twist]\nplaces = ["0", "1"]\nangles = ["x", 2]\n', "is no list of degrees"),
    "boolean": (HEAD + "[square]\nlead = true\n", "is not a length"),
    "empty list": (HEAD + "[square]\nlead = []\n", "is an empty list"),
    "nothing": (HEAD, "nothing was measured"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_input(tmp_path: Path, run, name):
    text, said = BAD[name]
    (tmp_path / "p.toml").write_text(text)
    done = run("panel", tmp_path / "p.toml", "--plot", tmp_path / "p.svg", "-o", tmp_path / "p.txt")
    assert (done.status, done.out) == (2, "")
    assert "p.toml" in done.err
    assert said in done.err
    assert [p.name for p in tmp_path.iterdir()] == ["p.toml"]


def test_all_problems_at_once(tmp_path, run):
    (tmp_path / "p.toml").write_text(HEAD + '[square]\nlead = "x"\ntail = "y"\n[limits]\nbow = 3\n')
    assert run("panel", tmp_path / "p.toml").err.count("\n  ") == 3


# ---- rates, on fewer panels than ``python -m tests.tools.rates_panel`` draws


@pytest.mark.slow
@pytest.mark.parametrize("sweep", [0.0, 12.7])
def test_rates(sweep):
    rates = rates_panel.square_rates(300, 7, sweep=sweep)
    assert rates.covered >= 0.93
    assert rates.apart >= 0.92
    assert rates.alarmed <= 0.08
    assert rates.found >= 0.97
    assert rates.named >= 0.9


# ---- places and next steps


def test_readings_lie_where_they_were_taken():
    """Places are from the lead end, x from the tail end; on the picture every diamond is on the tray."""
    text = CAMBER.format(edge="drive", line="outside")
    found = measured(text + 'places = ["0", "500", "3000"]\nreadings = ["0", "4", "0"]\n')
    ((_, arc),) = found.camber.sets
    assert list(arc.x) == [3000, 2500, 0]
    figure = panel_pictures.panel_sheet(found)
    diamonds = [line for axes in figure.axes for line in axes.lines if line.get_marker() == "D"]
    along = along_paper(found)
    (x,) = [np.sort(line.get_xdata()) for line in diamonds]
    assert x == pytest.approx(np.array([0, 2500, 3000]) * along, abs=0.05)


@pytest.mark.parametrize(("text", "step", "words"), [
    ("", Next.choose_limits, "First: choose limits for what matters: [limits] in the panel's file."),
    ('[limits]\ncamber = { height = "9", over = "3000" }\n', Next.keep, "First: keep it with the record:"),
    ('[limits]\ncamber = { height = "6", over = "3000" }\n', Next.read_finer, "First: read what has a '?' again,"),
    ('[limits]\ncamber = { height = "3", over = "3000" }\n', Next.measure_strip, "First: lay a piece of"),
    (CAMBER.format(edge="drive", line="outside").replace("camber", "strip") + THREE.format(readings=HOLLOW)
     + '[limits]\ncamber = { height = "3", over = "3000" }\n', Next.find_cause, "First: find where it comes from:"),
    ('[square]\noperator = "3000"\ndrive = "3000"\n', Next.read_again, "First: read both edges and the sweep again"),
    ('[square]\noperator = "3006.4"\ndrive = "3000"\nlead = "400"\ntail = "400"\nfrom_operator = "3026"\n'
     'from_drive = "3046"\n', Next.read_again, "First: read the diagonal from the drive corner"),
])  # fmt: skip
def test_the_next_step_is_named(text, step, words):
    """Within the first five lines, below the cautions where it sends a person to the machine."""
    found = measured(CAMBER.format(edge="drive", line="outside") + THREE.format(readings=HOLLOW) + text)
    assert next_step(found) is step
    lines = panel_text(found).splitlines()
    last = " ".join(lines).partition("First: ")[2]
    assert f"First: {last}".startswith(words)
    assert [line.startswith("First: ") for line in lines].index(True) < 5
    assert panel_json.as_json(found)["next"] == str(step)
    assert ("Lock out" in panel_text(found)) is (step not in (Next.choose_limits, Next.keep))


def test_results_are_compared_by_value(samples):
    one, other = (measure(read_panel(samples / "tray.toml")) for _ in range(2))
    assert one == other
    assert one != measure(read_panel(samples / "tray-mm.toml"))
    assert repr(one).startswith("PanelResult: out\n")


def test_a_panel_without_legs_is_as_wide_as_its_strip():
    read = '[square]\noperator = "3000"\n'
    flat = parse_panel(HEAD.replace('legs = "up"\nleg = "50"\n', "") + read, "p.toml")
    assert (flat.strip_width, parse_panel(HEAD + read, "p.toml").strip_width) == (400, 500)


@pytest.mark.parametrize("sides", [True, False])
def test_the_mean_of_both_ends_is_judged_only_where_they_are_not_told_apart(sides):
    """One out-of-square, one verdict: with edges and ends each end has its own; with diagonals alone their mean has."""
    text = '[square]\nfrom_operator = "3027"\nfrom_drive = "3026"\n'
    text += 'operator = "3000"\ndrive = "3000"\nlead = "400"\ntail = "400"\n' * sides
    square = measured(text + '[limits]\nsquare = "en-508-square"\n').square
    assert square is not None
    assert square.both is not None
    assert bool(square.both.finding.bounds) is not sides
    ends = [end for end in (square.lead, square.tail) if end is not None]
    assert [bool(end.finding.bounds) for end in ends] == [True, True] * sides


# ---- words for numbers


def test_words_for_numbers():
    """One digit of U, two where the first is a 1 or a 2 (GUM 7.2.6); only what has a direction has a sign."""
    assert to_u(0.5, 0.025) == ("0.50", "0.05")
    assert to_u(0.5, 0.014) == ("0.500", "0.028")
    assert to_u(123.4, 20) == ("123", "40")
    assert figures.with_u(3.0, 0.5, Units.mm) == "3.00 mm (U 1.00)"
    assert figures.with_u(3.0, 0.5, Units.mm, signed=True) == "+3.00 mm (U 1.00)"


def test_a_place_is_told_by_its_name_or_how_far_it_is_from_the_lead_end():
    text = "".join(f'[[across]]\nat = "{at}"\nwidth = "401"\noperator_leg = "50"\n' for at in ("lead", "1000"))
    found = measured(text)
    assert [figures.place_words(place.across, Units.mm) for place in found.across] == ["lead", "1000 mm"]
    assert {figures.where_words(where, found.panel) for where, _ in found.findings} >= {
        "width at lead", "width at 1000 mm", "operator leg at lead", "operator leg at 1000 mm"
    }  # fmt: skip


def test_an_own_limit_of_waves_is_in_i_units_everywhere():
    text = '[[wave]]\nwhere = "pan"\nheight = "3"\npitch = "450"\n[limits]\nwaves = 20\n'
    found = measured(text)
    (told,) = panel_json.as_json(found)["waves"]
    assert np.max(told["limit"]) == 20
    assert found.waves[0].finding.bounds.upper == 20
    assert "waves in pan, I-units" in said_of(found)
