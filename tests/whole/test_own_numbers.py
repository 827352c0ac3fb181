"""
No number of the examples is another's: a wanted reading, a strip, a sheet and a distance that the project once used.

They are written here in parts, so that the search does not find itself. Published data of others is not searched.
"""

from __future__ import annotations

import json
import re
from fractions import Fraction
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PLACES = ("alignment", "cli", "tests", "notebooks", "sample_readings", ".ci")
KINDS = {".py", ".toml", ".csv", ".md", ".txt", ".ipynb", ".typ", ".html", ".css", ".js", ".svg", ".tsv", ".json"}
PUBLISHED = ROOT / "tests" / "validation" / "data"

READING = 3**3 + Fraction(5, 8)
STRIP = 4 * Fraction(5)
SHEET = Fraction(2 * 138, 10_000)
STRINGS = 2 * READING + STRIP
MM = Fraction("25.4")
VULGAR = {Fraction(k, 8): sign for k, sign in zip(range(1, 8), "⅛¼⅜½⅝¾⅞", strict=True)}


def fractions(inches: Fraction) -> list[str]:
    """The ways to write inches in fractions: 1 1/8, 1-1/8, with a vulgar fraction, in feet; and its decimals."""
    whole, rest = divmod(inches, 1)
    part = f"{rest.numerator}/{rest.denominator}"
    ways = [f"{whole}[ -]{part}", f"{whole // 12}(?:'|′| ?ft)[ -]?{whole % 12}[ -]{part}"]
    ways += [f"{whole}[ -]?{VULGAR[rest]}"] if rest in VULGAR else []
    return [*ways, re.escape(f"{float(inches):g}"), re.escape(f"{float(inches):.2f}")]


def millimetres(inches: Fraction, *digits: int) -> list[str]:
    """As millimetres, rounded; and in metres and centimetres to the millimetre's tenth."""
    mm = float(inches * MM)
    return [re.escape(f"{mm:.{n}f}") for n in digits] + [re.escape(f"{mm / 10:.2f}"), re.escape(f"{mm / 1000:.4f}")]


def alone(ways: list[str]) -> str:
    """Any of these, no part of a longer number or word."""
    return rf"(?<![\w.])(?:{'|'.join(ways)})(?![\w]|\.\d|/\d)"


SIXTEENTH = Fraction(1, 16)
NEIGHBOURS = READING - SIXTEENTH, READING + SIXTEENTH
SEARCHED = {
    "wanted reading": alone([*fractions(READING), *millimetres(READING, 3, 2, 1, 0), str(int(READING * MM))]),
    "its neighbours": alone([w for n in NEIGHBOURS for w in (*fractions(n), *millimetres(n, 3, 2, 1))]),
    "strip": rf"(?<![\w./])(?:{STRIP}(?:\.0)?(?:[ -]?(?:in\b|inch)|\" (?:wide|strip))|(?<!EN )(?<!en-){STRIP * MM}"
    rf"(?:\.0+)?(?![\w]|\.\d))|strip_width = \"{STRIP}\"",
    "sheet": rf"\b{4 * 6}[ -]?(?:ga\b|gauge|gage)|{alone([f'{float(SHEET):.4f}', f'{float(SHEET * MM):.3f}'])}",
    "between the strings": alone([*fractions(STRINGS), *millimetres(STRINGS, 2, 1, 0)]),
}


def words_of(path: Path) -> str:
    """A file's text; of a notebook its cells and what they printed, without pictures."""
    text = path.read_text(encoding="utf-8", errors="replace")
    if path.suffix != ".ipynb":
        return text
    cells = json.loads(text)["cells"]
    printed = [o.get("text") or o.get("data", {}).get(kind, "") for c in cells for o in c.get("outputs", ())
               for kind in ("text/plain", "text/html")]  # fmt: skip
    return "\n".join("".join(part) for part in [*(c["source"] for c in cells), *printed])


def sources() -> list[Path]:
    """Every text of the project."""
    found = [p for place in PLACES for p in (ROOT / place).rglob("*") if PUBLISHED not in p.parents]
    return [p for p in [*found, *ROOT.glob("*.*")] if p.is_file() and (p.suffix in KINDS or p.name == "run")]


@pytest.mark.parametrize("what", SEARCHED)
def test_nothing_of_anothers_example(what):
    assert len(sources()) > 200
    hits = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()[:120]}"
        for path in sources()
        for number, line in enumerate(words_of(path).split("\n"), 1)
        if re.search(SEARCHED[what], line)
    ]
    assert hits == []


FORMS = {
    "wanted reading": "{0} 5/8|{0}-5/8|{0}⅝|2' 3{1}|2 ft 3{1}|{0}.625|{2}|{2}.7|{2}.675",
    "its neighbours": "{0} 9/16|{0} 11/16|{0}.6875|{0}.5625",
    "strip": '{3} in|{3}" wide|{3}.0 in|{3} inches|{4}|{4}.0',
    "sheet": "{5} gauge|{5} ga|{5}-gauge",
    "between the strings": "{6} 1/4|{6}.25|{6}¼",
}


@pytest.mark.parametrize(("what", "form"), [(what, form) for what, forms in FORMS.items() for form in forms.split("|")])
def test_each_form_would_be_found(what, form):
    text = form.format(27, " 5/8", 700 + 1, 5 * 4, 2 * 254, 6 * 4, 5 * 15)
    assert re.search(SEARCHED[what], f"say {text}, then")
    assert not re.search(SEARCHED[what], f"say 1{text}, then")
