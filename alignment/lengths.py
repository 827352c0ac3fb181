"""
Lengths as people write and say them, and back again.

Text becomes an exact fraction of a millimetre (an inch is 25.4 mm exactly), so that nothing is lost between
``18 3/8`` on the tape and ``18 3/8`` on the screen.
"""

from __future__ import annotations

import enum
import math
import re
from fractions import Fraction
from typing import Final

from alignment.errors import LengthError, quote

__all__ = [
    "FINEST_U",
    "INCH",
    "LARGEST",
    "SMALLEST",
    "TAPE_FINEST",
    "Units",
    "decimal",
    "inch_fraction",
    "option",
    "parse",
    "show",
    "show_both",
    "show_exact",
]

INCH: Final = Fraction(254, 10)
"""Millimetres in an inch (international inch, exact)."""
LARGEST: Final = 1_000_000
"""The longest length taken [mm]; anything beyond one kilometre is a slip of the pen."""
SMALLEST: Final = Fraction(1, 1_000_000)
"""The shortest length that is more than nothing [mm]; of anything finer the squares can run out of numbers."""
TAPE_FINEST: Final = 64
"""What divides the inch on the finest tape. Uncertainties, which no tape shows, go finer."""
FINEST_U: Final = 1024
"""What may stand below the line where an uncertainty is told in fractions of an inch."""
LONGEST_TEXT: Final = 60


class Units(enum.StrEnum):
    """Unit of bare numbers in a file, and of what is printed."""

    inch = "in"
    mm = "mm"

    @property
    def size(self) -> Fraction:
        """The unit in millimetres."""
        return INCH if self is Units.inch else Fraction(1)

    @property
    def plural(self) -> str:
        """Its name in full, for headings: ``in`` is a preposition, too."""
        return "inches" if self is Units.inch else "millimetres"

    def of(self, length: float) -> float:
        """Millimetres turned into this unit, for printing."""
        return length / float(self.size)


_VULGAR = {
    "½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
}  # fmt: skip
_PLAIN = str.maketrans(
    {
        "′": "'", "‘": "'", "’": "'", "ʹ": "'", "″": '"', "“": '"', "”": '"', "ʺ": '"', "⁄": "/", "∕": "/",
        "−": "-", "–": "-", "‐": "-", "‑": "-", "\u00a0": " ", "\u2009": " ", "\u202f": " ", "\t": " ",
    }
)  # fmt: skip

_PARTS: Final = (1, 2, 4, 8, 16, 32, 64)
_NUMBER = r"(?:\d+(?:\.\d*)?|\.\d+)"
_INCH_WORDS = r"\"|''|inches|inch|in\b\.?"
_FOOT_WORDS = r"'|feet|foot|ft\b\.?"
_METRIC: Final = {"mm": Fraction(1), "cm": Fraction(10), "m": Fraction(1000)}
_METRIC_FORM = re.compile(rf"(?P<number>{_NUMBER})\s*(?P<unit>mm|cm|m)", re.ASCII)
_INCH_FORM = re.compile(
    rf"(?:(?P<feet>{_NUMBER})\s*(?:{_FOOT_WORDS})\s*-?\s*)?"
    rf"(?P<inches>(?:(?P<whole>\d+)(?:\s+|-))?(?P<over>\d+)\s*/\s*(?P<under>\d+)|(?P<decimal>{_NUMBER}))?"
    rf"\s*(?P<mark>{_INCH_WORDS})?",
    re.ASCII,
)
_EXAMPLES = {Units.inch: "18 3/8, 18-3/8, 18.375 or 467 mm", Units.mm: "467, 467.5 or 18 3/8 in"}


def parse(
    value: object,
    units: Units,
    *,
    mark: Fraction | None = None,
    signed: bool = False,
    decimal_comma: bool = False,
    finest: int = TAPE_FINEST,
) -> Fraction:
    """
    Read one length.

    Parameters
    ----------
    value : str, int, float or Fraction
        What stands in the file or was typed.
    units : Units
        Unit of a bare number.
    mark : Fraction, optional
        Smallest mark of the tape [mm]; needed for ``18 3/8+`` and ``18 3/8-`` (strong, shy: a quarter mark).
    signed : bool
        Whether a leading sign makes sense here.
    decimal_comma : bool
        Whether the file writes its decimals with a comma throughout. Elsewhere a comma is read as one only where
        it cannot mark thousands.
    finest : int
        Largest number below the line of a fraction.

    Returns
    -------
    Fraction
        The length, exactly. [mm]

    Raises
    ------
    LengthError
        Not a length; the message quotes what was read and says how to write it.

    Examples
    --------
    >>> float(parse("18 3/8", Units.inch))
    466.725
    """
    if isinstance(value, bool) or not isinstance(value, str | int | float | Fraction):
        raise LengthError(f"{quote(value)} is not a length. Write for example {_EXAMPLES[units]}.")
    if not isinstance(value, str):
        return _number(value, units, signed=signed)
    text = value.translate(_PLAIN)
    for sign, fraction in _VULGAR.items():
        # blanks keep the digits beside it out of the fraction
        text = text.replace(f"-{sign}", f"-{fraction} ").replace(sign, f" {fraction} ")
    text = " ".join(text.split()).lower()
    try:
        length = _text(text, units, mark, decimal_comma, finest)
        return _checked(length, signed)
    except LengthError as error:
        raise LengthError(
            f"{quote(value)} is not a length{'.' if str(error)[:5] == 'Write' else ':'} {error}"
        ) from None


def _number(value: float | Fraction, units: Units, *, signed: bool) -> Fraction:
    if isinstance(value, float) and not math.isfinite(value):
        raise LengthError(f"'{value}' is not a length. Write for example {_EXAMPLES[units]}.")
    if not -LARGEST <= value <= LARGEST:
        raise LengthError("a number this large is not a length: more than a kilometre.")
    # the shortest decimal that gives this float is what the person wrote
    exact = Fraction(repr(value)) if isinstance(value, float) else value
    try:
        return _checked(exact * units.size, signed)
    except LengthError as error:
        raise LengthError(f"{quote(value)} is not a length: {error}") from None


def _checked(length: Fraction, signed: bool) -> Fraction:
    if length < 0 and not signed:
        raise LengthError("it is negative, and a distance is not. Leave the minus off.")
    if abs(length) > LARGEST:
        raise LengthError("it is more than a kilometre.")
    return length


def _text(text: str, units: Units, mark: Fraction | None, decimal_comma: bool, finest: int) -> Fraction:
    """Exact millimetres of a tidied text."""
    if not text:
        raise LengthError("it is empty.")
    if len(text) > LONGEST_TEXT:
        raise LengthError("it is too long.")
    sign = 1
    if text[0] in "+-":
        sign, text = (-1 if text[0] == "-" else 1), text[1:].lstrip()
    quarter = Fraction(0)
    strong = re.search(rf"(?<=\S)\s*([+-])(?=\s*(?:{_INCH_WORDS}|mm)?$)", text)
    if strong:
        if mark is None:
            raise LengthError(f"'{strong[1]}' (strong or shy) needs the tape's mark. Write the reading out in full.")
        quarter = mark / 4 if strong[1] == "+" else -mark / 4
        text = (text[: strong.start()] + " " + text[strong.end() :]).strip()
    text = _points(text, decimal_comma)
    metric = _METRIC_FORM.fullmatch(text)
    if metric:
        return sign * (Fraction(metric["number"]) * _METRIC[metric["unit"]] + quarter)
    form = _INCH_FORM.fullmatch(text)
    if form is None or (form["inches"] is None and (form["feet"] is None or form["mark"])):
        raise LengthError(f"{_why(text)}Write for example {_EXAMPLES[units]}.")
    bare = form["mark"] is None and form["feet"] is None
    if bare and units is Units.mm and form["under"]:
        raise LengthError("fractions are inches, and this file is in millimetres. Write 467.5, or 18 3/8 in.")
    body = Fraction(form["decimal"]) if bare and units is Units.mm else _inches(form, finest) * INCH
    return sign * (body + quarter)


def _inches(form: re.Match[str], finest: int) -> Fraction:
    """Inches of a matched inch form."""
    inches = Fraction(0)
    if form["under"]:
        over, under, whole = int(form["over"]), int(form["under"]), int(form["whole"] or 0)
        if not 2 <= under <= finest or under & (under - 1):
            halves = [str(2**k) for k in range(1, finest.bit_length())]
            below = f"{', '.join(halves[:-1])} or {halves[-1]}"
            raise LengthError(f"{under} does not divide a tape's inch. Use {below} below the line.")
        if over >= under:
            more = whole * under + over
            both = dict.fromkeys(inch_fraction(Fraction(n, under)) for n in (more, whole * under + under - 1))
            raise LengthError(
                f"{over}/{under} is {'more than ' if over > under else ''}one. Write {' or '.join(both)}."
            )
        inches = whole + Fraction(over, under)
    elif form["decimal"]:
        inches = Fraction(form["decimal"])
    if form["feet"] is None:
        return inches
    feet = Fraction(form["feet"])
    if form["inches"]:
        if feet.denominator != 1:
            raise LengthError("feet with a decimal point and inches besides. Write whole feet, then inches.")
        if inches >= 12:
            raise LengthError("twelve inches or more beside feet. Write the feet and inches apart, or inches alone.")
    return feet * 12 + inches


def _points(text: str, decimal_comma: bool) -> str:
    """Decimal commas turned into points, where a comma can be nothing else."""
    if "," not in text:
        return text
    if text.count(",") > 1 or "." in text:
        raise LengthError("commas between thousands are not read. Write the number without them.")
    if re.search(rf"(?:{_FOOT_WORDS}|{_INCH_WORDS}|m)\s*,", text):
        raise LengthError("a comma stands behind the unit. Leave it out.")
    if not decimal_comma and re.search(r"(?<!\d)[1-9]\d{0,2},\d{3}(?!\d)", text):
        raise LengthError("the comma may mark decimals or thousands. Write a decimal point.")
    return text.replace(",", ".")


def _why(text: str) -> str:
    """What is likely wrong with a text of no known form; empty where it is anyone's guess."""
    if re.search(r"\d\s*/\s*(?!\s*\d)", text):
        return "there is nothing below the line. "
    if "/" in text and re.search(r"\d\.\d*.*/|/.*\.", text):
        return "a decimal point and a fraction together. "
    if re.search(r"[-+]\s", text) or re.search(r"\s[-+]", text):
        return "a sign stands inside it. "
    if re.fullmatch(r"[\d.]+e[+-]?\d+", text):
        return "powers of ten are not read. "
    return ""


def inch_fraction(inches: Fraction) -> str:
    """Write an exact number of inches as a mixed fraction, lowest terms: ``18 3/8``, ``-1/32``, ``0``."""
    whole, rest = divmod(abs(inches), 1)
    parts = [str(whole)] * bool(whole or not rest) + [f"{rest.numerator}/{rest.denominator}"] * bool(rest)
    return "-" * (inches < 0) + " ".join(parts)


def show(length: float | Fraction, units: Units, *, to: float | Fraction | None = None, signed: bool = False) -> str:
    """
    Write a length without its unit.

    Parameters
    ----------
    length : float or Fraction
        Length. [mm]
    units : Units
        Inches are written as a mixed fraction, millimetres as a decimal.
    to : float or Fraction, optional
        Step to round to [mm]; by default 1/64 in or 0.1 mm.
    signed : bool
        Whether a positive length carries a plus.

    Returns
    -------
    str
        For example ``18 3/8`` or ``466.7``; a length that rounds to nothing is ``0`` or ``0.0``, never ``-0``.
    """
    if not math.isfinite(length):
        raise LengthError(f"'{length}' cannot be written as a length.")
    exact = Fraction(length) / units.size
    plus = "+" if signed else ""
    if units is Units.inch:
        # a step that is no binary part of an inch would not come out as a tape fraction
        parts = 64 if to is None else next((d for d in _PARTS if abs(d * float(to) / 25.4 - 1) < 1e-6), 64)
        rounded = Fraction(_nearest(exact * parts), parts)
        return (plus if rounded > 0 else "") + inch_fraction(rounded)
    tenths = _nearest(exact * 10)
    return ("-" if tenths < 0 else plus if tenths > 0 else "") + f"{abs(tenths) / 10:.1f}"


def _nearest(value: float | Fraction) -> int:
    """Nearest whole number, halves away from nothing: +0.0625 and -0.0625 read alike, whatever the last bit says."""
    whole = math.floor(abs(float(value)) + 0.5 + 1e-9)
    return -whole if value < 0 else whole


def decimal(length: float, units: Units, *, signed: bool = False, places: int | None = None) -> str:
    """Write a length as a decimal: three places of an inch, two of a millimetre, or as said. [mm]"""
    digits = places if places is not None else 3 if units is Units.inch else 2
    value = _nearest(units.of(length) * 10**digits) / 10**digits
    return f"{value:{'+' if signed and value else ''}.{digits}f}"


def show_exact(length: float, units: Units) -> str:
    """Write a length so that it reads back the same: as `show` does where that serves, else with more decimals. [mm]"""
    text = show(length, units)
    back = parse(text, units, signed=True)
    return text if abs(float(back) - length) < 1e-8 else decimal(length, units, places=9).rstrip("0")


def show_both(length: float, units: Units) -> str:
    """Write a length on which a decision hangs: in inches the fraction with its decimal beside it. [mm]"""
    if units is Units.inch:
        return f"{show(length, units)} ({decimal(length, units)})"
    return show(length, units)


def option(text: str, units: Units) -> float:
    """Read a length given on the command line, more than nothing. [mm]"""
    length = parse(text, units)
    if length < SMALLEST:
        raise LengthError(f"{quote(text)} is not more than nothing.")
    return float(length)
