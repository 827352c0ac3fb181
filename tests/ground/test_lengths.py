"""Lengths in and out: every form, every way to spoil one, and round trips."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alignment.errors import LengthError
from alignment.lengths import INCH, LARGEST, Units, decimal, inch_fraction, option, parse, show, show_both

IN, MM = Units.inch, Units.mm
SIXTEENTH = INCH / 16


def test_an_inch_is_25_4_millimetres():
    """International yard and pound agreement, 1959: exactly."""
    assert Fraction("25.4") == INCH


@given(st.integers(0, 64 * 39370))
def test_every_64th_of_an_inch_comes_back(parts):
    length = Fraction(parts, 64) * INCH
    assert parse(show(length, IN), IN) == length
    assert parse(inch_fraction(Fraction(parts, 64)) + " in", MM) == length


@given(st.integers(-64 * 39370, 64 * 39370), st.booleans())
def test_every_signed_64th_comes_back(parts, signed):
    length = Fraction(parts, 64) * INCH
    assert parse(show(length, IN, signed=signed), IN, signed=True) == length


@given(st.integers(-10 * LARGEST, 10 * LARGEST), st.booleans())
def test_every_tenth_of_a_millimetre_comes_back(tenths, signed):
    length = Fraction(tenths, 10)
    assert parse(show(length, MM, signed=signed), MM, signed=True) == length


@given(st.integers(0, 10**9), st.integers(0, 6))
def test_decimals_are_exact(digits, places):
    number = f"{digits // 10**places}.{digits % 10**places:0{places}d}" if places else str(digits)
    if Fraction(number) <= LARGEST // 26:
        assert parse(number, IN) == Fraction(number) * INCH
        assert parse(number, MM) == Fraction(number)
        assert parse(f"{number} cm", IN) == Fraction(number) * 10


@given(st.floats(0, 30000, allow_nan=False))
def test_a_float_is_the_decimal_it_shows(number):
    """A spreadsheet's 18.1 is eighteen and one tenth."""
    assert parse(number, MM) == Fraction(repr(number))
    assert parse(number, IN) == Fraction(repr(number)) * INCH


@given(st.floats(-30000, 30000, allow_nan=False))
def test_what_is_shown_is_the_nearest(length):
    """Within half a 64th, within half a tenth, to rounding of floats; and never minus nothing."""
    rounding = Fraction(1, 10**8)
    assert abs(parse(show(length, IN), IN, signed=True) - Fraction(length)) <= INCH / 128 + rounding
    assert abs(parse(show(length, MM), MM, signed=True) - Fraction(length)) <= Fraction(1, 20) + rounding
    assert not show(length, IN).startswith("-0 ")
    assert show(length, MM) != "-0.0"
    assert show(length, IN) != "-0"


TEXTS = st.text(st.sampled_from("0123456789 /.,-+'\"infmcNaNe⅝½ "), max_size=12) | st.text(max_size=80)


@given(TEXTS, st.sampled_from(Units), st.booleans(), st.booleans())
def test_any_text_is_a_length_or_a_length_error(text, units, signed, comma):
    try:
        length = parse(text, units, signed=signed, decimal_comma=comma, mark=SIXTEENTH)
    except LengthError as error:
        length, said = None, str(error)
    if length is None:
        assert "\n" not in said
        assert len(said) < 250
    else:
        assert isinstance(length, Fraction)
        assert abs(length) <= LARGEST
        assert signed or length >= 0


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("18 3/8", "18.375"),
        ("18-3/8", "18.375"),
        ("18.375", "18.375"),
        ("5/8", "0.625"),
        ("18⅜", "18.375"),
        ("18 ⅜", "18.375"),
        ("½", "0.5"),
        ('18 3/8"', "18.375"),
        ("18 3/8''", "18.375"),
        ("18 3/8 in", "18.375"),
        ("18 3/8in.", "18.375"),
        ("18.375 inches", "18.375"),
        ("1' 6 3/8\"", "18.375"),
        ("1'6-3/8\"", "18.375"),
        ("1′ 6 3/8″", "18.375"),
        ("1’ 6 3/8”", "18.375"),
        ("1'-6 3/8\"", "18.375"),
        ("1 ft 6 3/8 in", "18.375"),
        ("1 FT 6 3/8 IN", "18.375"),
        ("2 feet", "24"),
        ("1 foot", "12"),
        ("2.5'", "30"),
        ("  18   3/8 ", "18.375"),
        ("18\u00a03/8", "18.375"),
        ("18–3/8", "18.375"),
        ("18 3⁄8", "18.375"),
        ("18 3 / 8", "18.375"),
        ("17 49/64", "17.765625"),
        ("18 2/4", "18.5"),
        ("18 0/8", "18"),
        ("0", "0"),
        (".5", "0.5"),
        ("18.", "18"),
    ],
)
def test_inch_forms(text, inches):
    assert parse(text, IN) == Fraction(inches) * INCH


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [
        ("467", "467"),
        ("467.5", "467.5"),
        ("467.5 mm", "467.5"),
        ("467,5", "467.5"),
        ("467,5 mm", "467.5"),
        ("46.7 cm", "467"),
        ("0.467 m", "467"),
        ("0,467 m", "467"),
        ("467MM", "467"),
        ("0,123", "0.123"),
        ("1234,5", "1234.5"),
    ],
)
@pytest.mark.parametrize("units", Units)
def test_metric_forms(text, millimetres, units):
    """With their unit in either kind of file; bare in a file in millimetres."""
    if units is MM or "m" in text.lower():
        assert parse(text, units) == Fraction(millimetres)


def test_inches_in_a_file_in_millimetres():
    assert parse("18 3/8 in", MM) == Fraction("466.725")
    assert parse('18 3/8"', MM) == Fraction("466.725")
    assert parse("1' 6 3/8", MM) == Fraction("466.725")


@pytest.mark.parametrize(("text", "sign"), [("-1/8", -1), ("+1/8", 1), ("− 1/8", -1), ("- 1/8 in", -1)])
def test_signs_where_they_make_sense(text, sign):
    assert parse(text, IN, signed=True) == sign * INCH / 8


@pytest.mark.parametrize(
    ("text", "sixteenths"),
    [
        ("18 3/8+", Fraction(294) + Fraction(1, 4)),
        ("18 3/8-", Fraction(294) - Fraction(1, 4)),
        ("18 3/8 +", Fraction(294) + Fraction(1, 4)),
        ('18 3/8"-', Fraction(294) - Fraction(1, 4)),
        ('18 3/8-"', Fraction(294) - Fraction(1, 4)),
        ("18+", Fraction(288) + Fraction(1, 4)),
        ("18⅜+", Fraction(294) + Fraction(1, 4)),
    ],
)
def test_strong_and_shy(text, sixteenths):
    """A quarter of a mark over or under the line."""
    assert parse(text, IN, mark=SIXTEENTH) == sixteenths * SIXTEENTH


def test_strong_of_a_millimetre_mark():
    assert parse("467+", MM, mark=Fraction(1)) == Fraction("467.25")
    assert parse("467- mm", IN, mark=Fraction(1)) == Fraction("466.75")


@pytest.mark.parametrize("text", ["18,375", "1,250 in"])
def test_decimal_comma_where_the_file_writes_them(text):
    with pytest.raises(LengthError):
        parse(text, IN)
    assert parse(text, IN, decimal_comma=True) == Fraction(text.split()[0].replace(",", ".")) * INCH


WRITE_IN = "Write for example 18 3/8, 18-3/8, 18.375 or 467 mm."
WRITE_MM = "Write for example 467, 467.5 or 18 3/8 in."
BELOW = "Use 2, 4, 8, 16, 32 or 64 below the line."


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("5/7", f"'5/7' is not a length: 7 does not divide a tape's inch. {BELOW}"),
        ("18 5/128", f"'18 5/128' is not a length: 128 does not divide a tape's inch. {BELOW}"),
        ("1/1", f"'1/1' is not a length: 1 does not divide a tape's inch. {BELOW}"),
        ("1/0", f"'1/0' is not a length: 0 does not divide a tape's inch. {BELOW}"),
        ("18 9/8", "'18 9/8' is not a length: 9/8 is more than one. Write 19 1/8 or 18 7/8."),
        ("18 8/8", "'18 8/8' is not a length: 8/8 is one. Write 19 or 18 7/8."),
        ("18 5/", f"'18 5/' is not a length: there is nothing below the line. {WRITE_IN}"),
        ("/8", f"'/8' is not a length. {WRITE_IN}"),
        ("18.25 5/8", f"'18.25 5/8' is not a length: a decimal point and a fraction together. {WRITE_IN}"),
        ("18 - 5/8", f"'18 - 5/8' is not a length: a sign stands inside it. {WRITE_IN}"),
        ("1e5", f"'1e5' is not a length: powers of ten are not read. {WRITE_IN}"),
        ("nan", f"'nan' is not a length. {WRITE_IN}"),
        ("inf", f"'inf' is not a length. {WRITE_IN}"),
        ("-inf", f"'-inf' is not a length. {WRITE_IN}"),
        ("true", f"'true' is not a length. {WRITE_IN}"),
        ("18 3/8 5/8", f"'18 3/8 5/8' is not a length. {WRITE_IN}"),
        ("18 1/8 mm", f"'18 1/8 mm' is not a length. {WRITE_IN}"),
        ("twenty", f"'twenty' is not a length. {WRITE_IN}"),
        ("٢٧", f"'٢٧' is not a length. {WRITE_IN}"),
        ("1_000", f"'1_000' is not a length. {WRITE_IN}"),
        ("--5", f"'--5' is not a length. {WRITE_IN}"),
        ("", "'' is not a length: it is empty."),
        ("   ", "'   ' is not a length: it is empty."),
        ("-3", "'-3' is not a length: it is negative, and a distance is not. Leave the minus off."),
        ("2000 m", "'2000 m' is not a length: it is more than a kilometre."),
        ("18,375", "'18,375' is not a length: the comma may mark decimals or thousands. Write a decimal point."),
        ("1,234.5", "'1,234.5' is not a length: commas between thousands are not read. Write the number without them."),
        ("1,234,567", "'1,234,567' is not a length: commas between thousands are not read. Write the number "
         "without them."),
        ("3' 13", "'3' 13' is not a length: twelve inches or more beside feet. Write the feet and inches apart, or "
         "inches alone."),
        ("3.5' 2", "'3.5' 2' is not a length: feet with a decimal point and inches besides. Write whole feet, then "
         "inches."),
        ("18 3/8+", "'18 3/8+' is not a length: '+' (strong or shy) needs the tape's mark. Write the reading out in "
         "full."),
    ],
)  # fmt: skip
def test_what_is_no_length(text, message):
    with pytest.raises(LengthError) as error:
        parse(text, IN)
    assert str(error.value) == message


def test_what_is_no_length_in_millimetres():
    for text, message in (
        ("18 3/8", "'18 3/8' is not a length: fractions are inches, and this file is in millimetres. "
         "Write 467.5, or 18 3/8 in."),
        ("x", f"'x' is not a length. {WRITE_MM}"),
    ):  # fmt: skip
        with pytest.raises(LengthError) as error:
            parse(text, MM)
        assert str(error.value) == message


@pytest.mark.parametrize(
    ("value", "message"),
    [
        (True, f"'True' is not a length. {WRITE_IN}"),
        (False, f"'False' is not a length. {WRITE_IN}"),
        (None, f"'None' is not a length. {WRITE_IN}"),
        ([1], f"'[1]' is not a length. {WRITE_IN}"),
        (math.nan, f"'nan' is not a length. {WRITE_IN}"),
        (math.inf, f"'inf' is not a length. {WRITE_IN}"),
        (-math.inf, f"'-inf' is not a length. {WRITE_IN}"),
        (1e300, "a number this large is not a length: more than a kilometre."),
        (10**5000, "a number this large is not a length: more than a kilometre."),
        (10**6, "'1000000' is not a length: it is more than a kilometre."),
        (-1, "'-1' is not a length: it is negative, and a distance is not. Leave the minus off."),
    ],
    ids=lambda value: str(value)[:20] if not isinstance(value, int) or abs(value) < 10**9 else "huge",
)
def test_numbers_that_are_no_length(value, message):
    with pytest.raises(LengthError) as error:
        parse(value, IN)
    assert str(error.value) == message


def test_five_thousand_digits():
    """Refused at once, and quoted in part."""
    for text in ("1" * 5000, "1/" + "2" * 5000, "0." + "3" * 5000, "1 " + "5" * 4999 + "/8"):
        with pytest.raises(LengthError) as error:
            parse(text, IN)
        assert str(error.value) == f"'{text[:40]}...' ({len(text)} characters) is not a length: it is too long."


@pytest.mark.parametrize(
    ("inches", "text"),
    [("18.375", "18 3/8"), ("18", "18"), ("0", "0"), ("-0.03125", "-1/32"), ("0.0001", "0"), ("-0.0001", "0"),
     ("18.3839", "18 25/64"), ("-1.5", "-1 1/2")],
)  # fmt: skip
def test_inches_shown(inches, text):
    assert show(Fraction(inches) * INCH, IN) == text


def test_shown_to_the_mark_or_notch():
    assert show(18.45 * 25.4, IN, to=25.4 / 16) == "18 7/16"
    assert show(18.45 * 25.4, IN, to=25.4 / 32) == "18 7/16"
    assert show(18.45 * 25.4, IN, to=25.4) == "18"
    assert show(1 / 32 * 25.4, IN, signed=True) == "+1/32"
    assert show(0.0, IN, signed=True) == "0"


def test_millimetres_shown():
    assert show(466.725, MM) == "466.7"
    assert show(-0.04, MM) == "0.0"
    assert show(2.0, MM, signed=True) == "+2.0"


def test_decimals_shown():
    assert decimal(18.3839 * 25.4, IN) == "18.384"
    # halves go away from nothing, whichever way their binary form leans
    assert decimal(466.725, MM) == "466.73"
    assert [decimal(x * 25.4, IN, signed=True) for x in (0.0625, -0.0625, 0.1875)] == ["+0.063", "-0.063", "+0.188"]
    assert [show(x, MM) for x in (0.25, -0.25, 0.35)] == ["0.3", "-0.3", "0.4"]
    assert decimal(-0.0001, IN, signed=True) == "0.000"
    assert show_both(18.3839 * 25.4, IN) == "18 25/64 (18.384)"
    assert show_both(466.725, MM) == "466.7"


@pytest.mark.parametrize("length", [math.nan, math.inf])
def test_what_cannot_be_shown(length):
    with pytest.raises(LengthError, match="cannot be written as a length"):
        show(length, IN)


def test_what_is_more_than_nothing():
    """From a nanometre on."""
    assert option("0.000001", Units.mm) == 1e-6
    for text in ("0.0000009", "0", "-1"):
        with pytest.raises(LengthError):
            option(text, Units.mm)
