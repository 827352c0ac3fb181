"""Lengths that no panel can have are refused, each by its name, with what was read and what is possible."""

from __future__ import annotations

from math import hypot, sqrt

import numpy as np
import pytest

from alignment.panel.possible import Why, impossible
from tests.tools.tray_truth import ring, six_lengths

HEAD = '[panel]\nname = "p"\nunits = "mm"\nwidth = "400"\nlength = "3000"\nleg = "50"\n'
GOOD = {"left": 3000.0, "right": 3000.0, "lead": 400.0, "tail": 400.0, "from_left": 3026.5, "from_right": 3026.5}


def faults(length: float = 3000, width: float = 400, **changed: float | None) -> list[tuple[str, Why]]:
    six = {name: (value,) for name, value in (GOOD | changed).items() if value is not None}
    return [(fault.name, fault.why) for fault in impossible(six, length=length, width=width)]


@pytest.mark.parametrize("off", [-99.0, -20.0, 0.0, 20.0, 99.0])
@pytest.mark.parametrize("sweep", [0.001, 12.0, 60.0])
def test_a_panel_that_can_be_is_taken(off, sweep):
    """Cut askew by up to a quarter of the width, and swept by up to a fiftieth of its length."""
    six = six_lengths(ring(3000**2 / (8 * sweep) + 200, 3000, 400, off))
    assert faults(**six) == []


@pytest.mark.parametrize(("changed", "found"), [
    ({"left": 3751.0, "right": None}, [("left", Why.nominal)]),
    ({"left": 3749.0, "right": None, "from_left": None, "from_right": None}, []),
    ({"left": 2249.0, "right": None}, [("left", Why.nominal)]),
    ({"tail": 299.0}, [("tail", Why.nominal)]),
    ({"lead": 501.0}, [("lead", Why.nominal)]),
    ({"lead": 40.0, "tail": 4000.0}, [("lead", Why.nominal), ("tail", Why.nominal)]),
    ({"left": 3201.0}, [("left", Why.other_edge), ("right", Why.other_edge)]),
    ({"left": 3199.0, "from_left": None, "from_right": None}, []),
    ({"from_left": 3125.0}, [("from_left", Why.diagonal)]),
    ({"from_left": 2925.0}, [("from_left", Why.diagonal)]),
    ({"from_left": 3123.5, "from_right": 2926.5}, []),
    ({"from_right": 30265.0, "lead": 4000.0}, [("lead", Why.nominal), ("from_right", Why.diagonal)]),
])  # fmt: skip
def test_what_cannot_be(changed, found):
    """A quarter off for a side; 200 between the edges; sqrt(3000^2 + 400^2 -+ 2 3000 400 / 4) = 2925.7, 3124.1."""
    assert faults(**changed) == found


def test_the_sizes_as_read_stand_for_the_nominal_ones():
    """A panel cut short by a tenth has shorter diagonals, and none of them is refused."""
    short = hypot(2700, 400)
    assert faults(left=2700, right=2700, from_left=short, from_right=short) == []
    assert faults(left=None, right=None, from_left=short, from_right=short) == [
        ("from_left", Why.diagonal), ("from_right", Why.diagonal),
    ]  # fmt: skip


def test_three_lengths_that_close_no_triangle():
    """Euclid I.20, on a panel as long as it is wide: 75 and 75 do not reach over 155."""
    six = {"left": 75.0, "right": 125.0, "lead": 75.0, "tail": 125.0, "from_left": 141.0, "from_right": 155.0}
    assert faults(100, 100, **six) == [("from_right", Why.triangle)]
    assert faults(100, 100, **(six | {"from_right": 149.9})) == []
    assert sqrt(100**2 + 100**2 + 100 * 100 / 2) > 155


def test_all_are_told_at_once_with_what_is_possible(tmp_path, run):
    text = HEAD + '[square]\noperator = "3000"\ndrive = "4000"\nlead = ["400", "40"]\nfrom_drive = "119801"\n'
    text += '[[across]]\nat = "lead"\nwidth = "600"\ndrive_leg = "90"\n[twist]\nend = "lead"\nedge = "drive"\n'
    (tmp_path / "p.toml").write_text(text + 'lift = "401"\n')
    done = run("panel", tmp_path / "p.toml")
    assert (done.status, done.out) == (2, "")
    sizes = "Check the reading, and [panel] width and length."
    assert done.err.splitlines() == [
        "stringtrue: p.toml: this panel cannot be used",
        f"  [square] drive: read 4000.0; possible is 2250.0 to 3750.0 for a panel of 400.0 by 3000.0. {sizes}",
        f"  [square] lead: read 40.0; possible is 300.0 to 500.0 for a panel of 400.0 by 3000.0. {sizes}",
        "  [square] from_drive: read 119801.0; possible is 2925.7 to 3124.1 for a diagonal, with ends off square by a "
        f"quarter of the width at most. {sizes}",
        "  [twist] lift: read 401.0; possible is up to the width, 400.0.",
        "  [[across]] 1 width: read 600.0; possible is 300.0 to 500.0. Check the reading, and the sizes in [panel].",
        "  [[across]] 1 drive_leg: read 90.0; possible is 25.0 to 75.0. Check the reading, and the sizes in [panel].",
    ]


@pytest.mark.parametrize(("lead", "readings"), [("[]", "is an empty list"), ('["x"]', "is not a length")])
def test_a_list_that_holds_nothing(tmp_path, run, lead, readings):
    """Told whatever else is wrong in the file."""
    (tmp_path / "p.toml").write_text(HEAD + f'[tape]\nmark = "no"\n[square]\nlead = {lead}\n')
    err = run("panel", tmp_path / "p.toml").err
    assert "[tape] mark" in err
    assert "[square] lead" in err
    assert readings in err


def test_nothing_that_passes_fails_in_the_fit():
    """Random lengths within what is possible always make a figure."""
    from alignment.panel.corners import NAMES, fit_corners

    rng = np.random.default_rng(8)
    for _ in range(300):
        names = [name for name in NAMES if rng.random() < 0.8]
        six = {name: (GOOD[name] * rng.uniform(0.9, 1.1),) for name in names}
        bad = {fault.name for fault in impossible(six, length=3000, width=400)}
        kept = {name: values for name, values in six.items() if name not in bad}
        found = fit_corners(kept, length=3000, width=400, u=0.5)
        for known in (found.lead, found.tail, found.both):
            assert known is None or abs(known.value) < 400
