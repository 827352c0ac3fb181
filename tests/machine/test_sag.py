"""Sag of the string: how a layout tells it, what it adds to readings, and what its uncertainty does."""

from __future__ import annotations

import numpy as np
import pytest

from alignment.errors import InputError
from alignment.machine.sag import Sag
from alignment.train.train import fit_train
from tests.tools.machines import machine, readings

TAPE = "mark = '1'\nset = '0.4'\ntilt = 0\nzero = '0'"
HUNG = "weight = '1 g/m'\ntension = '49.03325 N'\nanchors = ['-1000', '5000']"
"""0.001 kg/m and the weight of five kilograms: sag of x (6000 - x) / 1e7, 0.9 at mid-span. [mm]"""


def string(name: str = "h", body: str = HUNG) -> str:
    return f"[string.{name}]\n{body}\n"


def heights(rows=None, strings: str | None = None, *, count: int = 4, **how):
    """Sections of 900 mm every 1000 mm."""
    rows = rows or {"rail": "string = 'h'\nplane = 'height'\ntarget = '300'"}
    parts = [{"name": f"{row}-{k}", "row": row, "start": 1000 * k, "length": 900} for row in rows for k in range(count)]
    return machine(parts, rows=rows, joints=string() if strings is None else strings, tape=TAPE, **how)


def level(layout, value: float = 300.0):
    """A survey that reads the same everywhere."""
    return readings(layout, [(s.name, end, value) for s in layout.sections for end in ("entry", "exit")])


def below_chord(x):
    """Sag at machine x by hand. [mm]"""
    place = np.asarray(x) + 1000
    return place * (6000 - place) / 1e7


def test_of_a_layout():
    sag = heights().strings["h"].sag
    assert (sag.first, sag.last, sag.share_u) == (-1000, 5000, 0.1)
    assert sag.at([-1000, 2000, 5000, 0]) == pytest.approx([0, 0.9, 0, 0.5])


@pytest.mark.parametrize(
    ("weight", "tension"),
    [("0.001 kg/m", "5 kgf"), ("0.00980665 N/m", "49.03325 N"), ("0.000671969 lb/ft", "11.0231131 lb")],
)
def test_units_of_weight_and_tension(weight, tension):
    """The same string in other units: a pound is 0.45359237 kg, a foot 304.8 mm."""
    body = f"weight = '{weight}'\ntension = '{tension}'\nanchors = ['-1000', '5000']"
    assert float(heights(strings=string(body=body)).strings["h"].sag.at(2000)) == pytest.approx(0.9, rel=1e-6)


def test_slope_is_the_derivative():
    sag = Sag(first=-1000, last=5000, weight=1e-5, tension=50, share_u=0)
    x = np.linspace(-1000, 5000, 7)
    assert sag.slope_at(x) == pytest.approx((sag.at(x + 0.5) - sag.at(x - 0.5)), abs=1e-12)


@pytest.mark.parametrize(("side", "sign"), [("above", 1), ("below", -1)])
def test_readings_are_taken_to_a_string_without_sag(side, sign):
    """
    Above the rail a string that sags hangs too near, so that a level rail reads short in the middle.

    Readings alike everywhere are then those of a rail that lies lower in the middle: farther from a string above it,
    nearer to one below.
    """
    rows = {"rail": f"string = 'h'\nplane = 'height'\nstring_side = '{side}'\ntarget = '300'"}
    layout = heights(rows)
    train = fit_train(layout, level(layout))
    for found, x in ((train.ends[0], train.start), (train.ends[1], train.start + train.length)):
        assert found.value == pytest.approx(sign * below_chord(x), abs=1e-9)
    # what the tape shows at a face is still what was read
    assert train.reading_at(train.start) == pytest.approx([300] * 4)
    assert train.target_at(train.start) == pytest.approx(300 - sign * below_chord(train.start))


def test_only_heights_are_corrected():
    """Seen from above a sagging string is as straight as any."""
    layout = heights({"rail": "string = 'h'\ntarget = '300'"})
    train = fit_train(layout, level(layout))
    assert train.offset.value == pytest.approx([0] * 4)


def test_its_u_is_common_to_the_string():
    """A tenth of the sag, in every deviation alike; in a skew what it changes over the section; in a step nothing."""
    layout = heights(strings=string() + joints())
    train, plain = fit_train(layout, level(layout)), fit_train(*without_sag())
    share = 0.1
    for found, bare, x in ((train.ends[0], plain.ends[0], train.start), (train.offset, plain.offset, train.middle)):
        # the bend of the string over one section's own length is let go: 450^2 over 1e7
        assert np.sqrt(found.u**2 - bare.u**2) == pytest.approx(share * below_chord(x), abs=share * 0.0203)
    slope = (6000 - 2 * (train.middle + 1000)) / 1e7
    assert train.skew.u**2 - plain.skew.u**2 == pytest.approx((share * slope * train.length) ** 2)
    # over the 100 mm from one face to the next, the line fitted to each follows the parabola to a few micrometres
    assert train.steps.u == pytest.approx(plain.steps.u, rel=1e-3)


def joints() -> str:
    return "".join(f"[[joint]]\nsections = ['rail-{k}', 'rail-{k + 1}']\n" for k in range(3))


def without_sag():
    layout = heights(strings="[string.h]\n" + joints())
    return layout, level(layout)


def test_two_strings_alike_err_each_on_its_own():
    """Two strings of one kind, hung alike: each has its own tension's error, and both have one."""
    rows = {row: f"string = '{row}'\nplane = 'height'\ntarget = '300'" for row in ("left", "right")}
    layout = heights(rows, string("left") + string("right"))
    train = fit_train(layout, level(layout))
    u_left, u_right = train.offset.u[1], train.offset.u[5]
    assert u_right == pytest.approx(u_left)
    _, apart = train.combine([(1, 1450.0, 1.0), (5, 1450.0, -1.0)])
    assert apart == pytest.approx(np.hypot(u_left, u_right))


def test_one_string_seen_from_above_and_below():
    """A rail under the string and one over it: what is too much for one is too little for the other, and adds up."""
    rows = {row: f"string = 'h'\nplane = 'height'\nstring_side = '{row}'\ntarget = '300'" for row in ("above", "below")}
    layout = heights(rows)
    train = fit_train(layout, level(layout))
    independent = fit_train(layout_without(rows), level(layout_without(rows)))
    sag = 0.1 * below_chord(1450.0)
    for factor, common in ((1.0, 0.0), (-1.0, 2 * sag)):
        parts = [(1, 1450.0, 1.0), (5, 1450.0, factor)]
        assert train.combine(parts)[1] == pytest.approx(np.hypot(independent.combine(parts)[1], common))


def layout_without(rows):
    return heights(rows, "[string.h]\n")


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("weight = '1 g/m'", "[string.h] tension: is missing: a string's sag needs its weight, its tension and its"),
        ("weight = '1 g/m'", "[string.h] anchors: is missing"),
        (HUNG.replace("1 g/m", "1 oz"), "[string.h] weight: '1 oz'"),
        (HUNG.replace("'-1000', '5000'", "'5000', '-1000'"), "[string.h] anchors: a string has two anchors, the"),
        (HUNG.replace("'-1000', ", ""), "[string.h] anchors: a string has two anchors"),
        (HUNG + "\ntension_u = 2", "[string.h] tension_u: "),
    ],
)
def test_a_string_told_badly(body, said):
    with pytest.raises(InputError) as error:
        heights(strings=string(body=body))
    assert said in str(error.value)


def test_taken_off_where_steps_are_measured_too():
    """A level rail under a sagging string, and joints found level by feeler: tape and feeler agree, nothing is off."""
    layout = heights()
    rows = []
    for s in layout.sections:
        for end, x in (("entry", s.start), ("exit", s.end)):
            rows.append((s.name, end, f"{300 - below_chord(x):.6f}"))
    rows += [(s.name, "joint", "0") for s in layout.sections[:-1]]
    train = fit_train(layout, readings(layout, rows))
    assert train.adjusted.network is not None
    assert np.abs(train.ends[0].value).max() < 0.02
    assert np.abs(train.ends[1].value).max() < 0.02
    assert np.abs(train.adjusted.network.residual).max() < 0.02


def test_sum_of_readings_is_of_the_tape_as_it_hangs():
    """What the tape reads, sag and all, as `reading_at` has it."""
    train = fit_train(heights(), level(heights()))
    x = train.start + 100
    for i in range(4):
        assert train.combine([(i, float(x[i]), 1.0)], readings=True)[0] == pytest.approx(float(train.reading_at(x)[i]))
