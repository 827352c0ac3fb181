"""Edges may bear any names: what a number is of is known by its id, never by how it is called."""

from __future__ import annotations

import json

import pytest

PAIRS = [
    ("square side", "bow side"), ("waves east", "camber"), ("strip", "twist"), ("width at lead", "leg at lead"),
    ("pan side", "length"), ("left", "right"), ("right", "left"), ("strip camber", "squareness"),
]  # fmt: skip


def panel(edges: tuple[str, str]) -> str:
    left, right = edges
    text = '[panel]\nname = "p"\nunits = "mm"\nwidth = "400"\nlength = "3000"\nleg = "50"\nedges = '
    text += f'["{left}", "{right}"]\n'
    text += '[rule]\nmark = "0.5"\n'
    text += f'[square]\n"{left}" = "2990"\n"{right}" = "3004"\n'
    text += f'[[across]]\nat = "lead"\nwidth = "396"\n"{left}_leg" = "48"\n"{right}_leg" = "53"\n'
    text += (
        f'[[offsets]]\nof = "camber"\nedge = "{right}"\nplaces = ["0", "1500", "3000"]\nreadings = ["0", "6", "0"]\n'
    )
    return text + f'[[wave]]\nwhere = "{left}"\nheight = "4"\npitch = "300"\n'


@pytest.mark.parametrize("edges", PAIRS)
def test_a_length_keeps_its_sign_whatever_its_edge_is_called(run, tmp_path, edges):
    """On screen and in plain numbers: one edge 10 too short, the other 4 too long, legs 2 too low and 3 too high."""
    left, right = edges
    (tmp_path / "p.toml").write_text(panel(edges))
    rows = {}
    for line in run("panel", tmp_path / "p.toml", "--full").out.splitlines():
        name, _, rest = line.strip().rpartition("  none")[0].strip().partition("  ")
        if rest:
            rows[name.strip()] = rest.split()[0]
    told = json.loads(run("panel", tmp_path / "p.toml", "--json").out)
    assert [(row["edge"], row["length"]) for row in told["lengths"]] == [(left, 2990), (right, 3004)]
    assert [(row["edge"], row["height"]) for row in told["legs_found"]] == [(left, 48), (right, 53)]
    assert told["widths"][0]["width"] == 396
    assert (told["camber"]["toward"], told["waves"][0]["place"]) == (right, left)

    def value(name: str) -> str:
        # a long name is cut in its middle
        (found,) = [text for row, text in rows.items() if row == name or (".." in row and _cut(row, name))]
        return found

    assert [value(f"{edge} edge length") for edge in edges] == ["-10.00", "+4.00"]
    assert [value(f"{edge} leg at lead") for edge in edges] == ["-2.00", "+3.00"]
    assert value("width at lead") == "-4.00"


def _cut(row: str, name: str) -> bool:
    first, _, last = row.partition("..")
    return name.startswith(first) and name.endswith(last)


@pytest.mark.parametrize("edges", PAIRS[:3])
def test_the_record_keeps_the_sign_too(edges):
    from alignment.panel.panel import measure
    from alignment.panel.panel_file import parse_panel
    from alignment.show.page import Table
    from alignment.show.words.record_state import panel_part

    (table,) = [b for b in panel_part(measure(parse_panel(panel(edges))), "").blocks if isinstance(b, Table)]
    rows = {row[0]: row[1] for row in table.rows}
    assert (rows[f"{edges[0]} edge length"], rows[f"{edges[1]} edge length"]) == ("-10.00", "+4.00")
