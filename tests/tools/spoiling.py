"""Ways to spoil a good file: one thing after the other, each chosen by the bytes of an input."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

Pick = Callable[[int], int]
"""Chooses a number from 0 up to, not including, the one that is given."""

VALUES = (
    '"18 3/8"', '"0"', '"1/64"', '"-3"', '"999 m"', '"999 m 1"', '"0.0000000001"', '"1e5"', '"nan"', '""', '" "',
    '"\\u001b[2J"', '"a\\nb"', '"a\\u00a0b"', '"\\u200b"', "'''a\nb'''", '"467 mm"', '"2 ft"', '"5 ft in"', '"½56"',
    "nan", "inf", "-inf", "1e999", "-0.0", "0", "1", "-1", "18.25", "1e-300", "1e300", "0x" + "f" * 4000, "9" * 400,
    "true", "false", "2026-10-02", "07:40:00", "[]", "[[]]", "[1]", '["0", "18"]', '["18", "0"]', '["1", "1"]',
    '["0", "99"]', '["1", "2", "3"]', '["a", "a"]', '["a", "a "]', '["from_b", "b"]', '[""]', "[nan, nan]", "{}",
    "{ a = 1 }", '{ height = "1", over = 1 }', '{ height = "1" }', '"operator"', '"drive"', '"operator-1"',
    '" operator-1"', '["operator-1", " operator-2"]', '["operator-2", "operator-1"]', '"side"', '"height"', '"above"',
    '"in"', '"mm"', '"lead"', '"level"', '"shear"', '"guide"', '"none"', '"bow"', '"33 ksi"', '"0 ksi"', '"EC-I"',
    '"II"', '"mill-table"', '"' + "x" * 300 + '"',
)  # fmt: skip
"""What may stand behind an equals sign, good and bad."""
LINES = (
    "[machine]", "[tape]", "[row.operator]", '[row."\\u001b[2J"]', '[row.""]', "[row]", "[[row]]", "[[section]]",
    "[section]", "[string.operator]", "[[joint]]", "[[wave]]", "[twist]", "[limits]", "[[offsets]]", "[[across]]",
    "[[setting]]", "[instrument.rule]", '[instrument.""]', "a = 1", "name" + ".a" * 1200 + " = 1", "[" * 400, "\x00",
    "x = " + "[" * 400, "# a note", "=", '"', "angles = [0.1, 0.5, 91]", "places = [0, 5]", "edges = ['a', 'b']",
    "weight = '0.5 g/m'", "tension = '50 N'", "anchors = ['-10', '130']", "class = 'II'", "units = 'mm'",
    "target = '18'", "plane = 'height'", "string_side = 'above'", "step = '-1/32'", "hold = true", "at = 'lead'",
    "turned = 'over'", "waves = 'none'", "over = '40'", "clearance = '1/16'", "legs = 'up'", "leg = '2'",
)  # fmt: skip
CELLS = (
    "18 3/8", "18.375", "18,5", "0", "-1", "5/7", "18 9/8", "18+", "18-", "nan", "1e5", "", " ", "entry", "exit", "mid",
    "joint", "close", "op-1", "op-2", "OP-1", "drive-1", "op-1 ", "section", "point", "reading", "u", "note",
    "repeat", "6,5", "17", "18", "19", "#N/A", "#REF!", "# x", "1", "2", "0000", "1" * 5000, "999 m", "½56", "5 ft in",
    "18\u00a03/8", "18\u20283/8", '"', '"18', 'a "b" c', '""', '"a\nb"', '"18\r3/8"', "\x0b", "\x00", "\x1b[2J", "٢٧",
    "467 mm", "\ufeff",
)  # fmt: skip
ROWS = (
    "# mark: 1/32", "# mark: 0", "# mark: 0.0000001", "# mark: nan", "# units: mm", "# units: cm", "# tilt: 1",
    "# tilt: 1_0", "# tilt: 45", "# tilt: nan", "# set: 900 m", "# zero: 1/64", "#", "# taken: today",
    '# hook, "bent', '"# x"', "", ",,,", "#N/A,entry,18", "section,entry,exit", "section,point,reading", "# a\x0bb;c",
    "# \u2028;", "op-1,entry,18", "op-1,joint,1/64", "op-2,joint,1/64", 'op-1,entry,18,1,"a', "op-2;entry;18",
    "op-2\tentry\t27",
)  # fmt: skip
LETTERS = "\"'#,;\t\n\r-+./ 0123456789=[]{}\\\x00\x0b\u00a0\u2028½é"


def picker(data: bytes) -> Pick:
    """Numbers out of an input, a byte for each, or two where one is too few; nothing but 0 at its end."""
    rest = iter(data)
    return lambda below: (next(rest, 0) * 256 + next(rest, 0) if below > 256 else next(rest, 0)) % below


def spoil_toml(text: str, pick: Pick) -> str:
    """A TOML text with a few of its lines spoiled."""
    lines = text.split("\n")
    for _ in range(1 + pick(2)):
        at, way = pick(len(lines)), pick(7)
        key, equals, _ = lines[at].partition("=")
        if way in (0, 1, 2) and equals:
            # a value of another line, of another line with the same key, or any
            others = [line for line in lines if way == 0 or line.startswith(key)]
            other = others[pick(len(others))].partition("=")[2] if way != 2 else ""
            lines[at] = f"{key}= {other or VALUES[pick(len(VALUES))]}"
        else:
            _spoil_line(lines, at, way, pick, LINES)
    return "\n".join(lines)


def spoil_table(text: str, pick: Pick) -> str:
    """A table of text with a few of its cells and rows spoiled."""
    lines = text.split("\n")
    for _ in range(1 + pick(2)):
        at, way = pick(len(lines)), pick(7)
        if way in (0, 1, 2):
            cells = re.split("([,;\t])", lines[at])
            cells[2 * pick((len(cells) + 1) // 2)] = CELLS[pick(len(CELLS))]
            lines[at] = "".join(cells)
        else:
            _spoil_line(lines, at, way, pick, ROWS)
    return "\n".join(lines)


def _spoil_line(lines: list[str], at: int, way: int, pick: Pick, more: Sequence[str]) -> None:
    """Take a line out, put one in, double one, or change one of its letters."""
    if way == 3 and len(lines) > 1:
        del lines[at]
    elif way == 4:
        lines.insert(at, more[pick(len(more))])
    elif way == 5:
        lines.insert(at, lines[pick(len(lines))])
    else:
        letter, line = pick(len(lines[at]) + 1), lines[at]
        put = LETTERS[pick(len(LETTERS))] if pick(3) else ""
        lines[at] = line[:letter] + put + line[letter + pick(2) :]
