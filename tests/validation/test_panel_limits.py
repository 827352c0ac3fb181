"""
Published limits, against the figures and the standing with which they were read.

``yes``: read in the text or in an extract of it; ``secondary``: in a text that reproduces it; ``memory``: not seen.
"""

from __future__ import annotations

import json
import re

import pytest

from alignment.panel.limits import catalogue
from alignment.show.words.sources import limit_source

ARCS = [
    ("mill-table", 0.25 * 25.4, 96 * 25.4, "secondary"),
    ("nz-roofing-code", 2, 2000, "yes"),
    ("astm-a568", 25.4, 240 * 25.4, "memory"),
    ("en-10143-camber", 5, 2000, "memory"),
]


@pytest.mark.parametrize(("name", "height", "over", "checked"), ARCS)
def test_arcs(name, height, over, checked):
    limit = catalogue()[name]
    assert limit.for_arc(3000) == (pytest.approx(height), pytest.approx(over))
    assert limit.checked == checked


@pytest.mark.parametrize(("length", "height"), [(1000, 2), (3000, 6), (5000, 10), (8000, 10)])
def test_en_508_straightness(length, height):
    """2.0 mm per m, 10 mm at most (EN 508-1 annex D, from memory)."""
    limit = catalogue()["en-508-straightness"]
    assert limit.for_arc(length) == (height, length)
    assert limit.checked == "memory"


@pytest.mark.parametrize(
    ("name", "share", "checked"), [("en-508-square", 0.005, "secondary"), ("en-10143-square", 0.01, "memory")]
)
def test_squareness(name, share, checked):
    bounds = catalogue()[name].bounds(size=1000)
    assert (bounds.lower, bounds.upper) == (-1000 * share, 1000 * share)
    assert catalogue()[name].checked == checked


def test_en_508_length():
    """+10/-5 mm up to 3 m (extract); +20/-5 over 3 m (from memory)."""
    short, long = catalogue()["en-508-length"], catalogue()["en-508-length-long"]
    assert (short.bounds(size=3000).lower, short.bounds(size=3000).upper) == (-5, 10)
    assert short.bounds(size=3001) is None
    assert (long.bounds(size=3001).lower, long.bounds(size=3001).upper) == (-5, 20)
    assert long.bounds(size=3000) is None
    assert (short.checked, long.checked) == ("yes", "memory")


@pytest.mark.parametrize(("pitch", "height"), [(200, 0.6), (400, 1.0), (720, 1.5)])
def test_en_14509_flat_face(pitch, height):
    assert catalogue()["en-14509-flat-face"].bounds(size=pitch).upper == height


@pytest.mark.parametrize("pitch", [20, 150, 199, 401, 500, 700])
def test_en_14509_says_nothing_outside_its_rows(pitch):
    assert catalogue()["en-14509-flat-face"].bounds(size=pitch) is None


def test_en_14509_is_given_for_another_kind_of_panel():
    assert catalogue()["en-14509-flat-face"].given_for == "sandwich panels (from memory)"


def test_a_limit_through_the_command(run, tmp_path):
    """
    The mill's table, 1/4 in in 8 ft, row 10 ft: 0.391 in. allowed; a strip 10 in wide just within and just beyond it.

    And beside it ASTM A1030's worked wave, 1/8 in over 18 in: 12 I-units, rounded as published.
    """
    for height, verdict in (("0.34", "OK"), ("0.44", "OUT")):
        text = '[panel]\nname = "p"\nunits = "in"\nwidth = "10"\nlength = "120"\n[rule]\nmark = "1/64"\n'
        text += '[[offsets]]\nof = "camber"\nedge = "drive"\nplaces = ["0", "60", "120"]\n'
        text += f'readings = ["0", "{height}", "0"]\n[limits]\ncamber = "mill-table"\n'
        text += '[[wave]]\nwhere = "pan"\nheight = "1/8"\npitch = "18"\n'
        (tmp_path / "p.toml").write_text(text)
        told = json.loads(run("panel", tmp_path / "p.toml", "--json").out)
        assert told["camber"]["verdict"] == verdict.lower()
        # height and limit, both over the 8 ft of the table: a height grows with the length squared
        assert told["camber"]["limit"] / told["camber"]["height_at_limit"] == pytest.approx(0.391 / float(height), 2e-3)
        assert told["waves"][0]["i_units"] == pytest.approx(12, abs=0.5)
        said = run("panel", tmp_path / "p.toml").out
        assert said.splitlines()[1].startswith(f"{verdict}.")
        (units,) = re.findall(r"([\d.]+) I-units", said)
        assert float(units) == pytest.approx(12, abs=0.5)


def test_memory_is_shown_as_such():
    for limit in catalogue().values():
        assert ("from memory: text not seen" in limit_source(limit)) == (limit.checked == "memory")
        assert ("reproduces it" in limit_source(limit)) == (limit.checked == "secondary")
        assert limit_source(limit).startswith(limit.origin)
        assert limit.checked in {"yes", "secondary", "memory"}
