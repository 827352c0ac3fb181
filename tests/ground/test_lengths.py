"""Lengths in and out: every form, every way to spoil one, and round trips."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alignment.errors import LengthError
from alignment.lengths import INCH, LARGEST, Units, decimal, inch_fraction, parse, show, show_both

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
    """A spreadsheet's 27.1 is twenty-seven and one tenth."""
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
        ("27 5/8", "27.625"),
        ("27-5/8", "27.625"),
        ("27.625", "27.625"),
        ("5/8", "0.625"),
        ("27⅝", "27.625"),
        ("27 ⅝", "27.625"),
        ("½", "0.5"),
        ('27 5/8"', "27.625"),
        ("27 5/8''", "27.625"),
        ("27 5/8 in", "27.625"),
        ("27 5/8in.", "27.625"),
        ("27.625 inches", "27.625"),
        ("2' 3 5/8\"", "27.625"),
        ("2'3-5/8\"", "27.625"),
        ("2′ 3 5/8″", "27.625"),
        ("2’ 3 5/8”", "27.625"),
        ("2'-3 5/8\"", "27.625"),
        ("2 ft 3 5/8 in", "27.625"),
        ("2 FT 3 5/8 IN", "27.625"),
        ("2 feet", "24"),
        ("1 foot", "12"),
        ("2.5'", "30"),
        ("  27   5/8 ", "27.625"),
        ("27\u00a05/8", "27.625"),
        ("27–5/8", "27.625"),
        ("27 5⁄8", "27.625"),
        ("27 5 / 8", "27.625"),
        ("27 1/64", "27.015625"),
        ("27 2/4", "27.5"),
        ("27 0/8", "27"),
        ("0", "0"),
        (".5", "0.5"),
        ("27.", "27"),
    ],
)
def test_inch_forms(text, inches):
    assert parse(text, IN) == Fraction(inches) * INCH


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [
        ("702", "702"),
        ("702.5", "702.5"),
        ("702.5 mm", "702.5"),
        ("702,5", "702.5"),
        ("702,5 mm", "702.5"),
        ("70.2 cm", "702"),
        ("0.702 m", "702"),
        ("0,702 m", "702"),
        ("702MM", "702"),
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
    assert parse("27 5/8 in", MM) == Fraction("701.675")
    assert parse('27 5/8"', MM) == Fraction("701.675")
    assert parse("2' 3 5/8", MM) == Fraction("701.675")


@pytest.mark.parametrize(("text", "sign"), [("-1/8", -1), ("+1/8", 1), ("− 1/8", -1), ("- 1/8 in", -1)])
def test_signs_where_they_make_sense(text, sign):
    assert parse(text, IN, signed=True) == sign * INCH / 8


@pytest.mark.parametrize(
    ("text", "sixteenths"),
    [
        ("27 5/8+", Fraction(442) + Fraction(1, 4)),
        ("27 5/8-", Fraction(442) - Fraction(1, 4)),
        ("27 5/8 +", Fraction(442) + Fraction(1, 4)),
        ('27 5/8"-', Fraction(442) - Fraction(1, 4)),
        ('27 5/8-"', Fraction(442) - Fraction(1, 4)),
        ("27+", Fraction(432) + Fraction(1, 4)),
        ("27⅝+", Fraction(442) + Fraction(1, 4)),
    ],
)
def test_strong_and_shy(text, sixteenths):
    """A quarter of a mark over or under the line."""
    assert parse(text, IN, mark=SIXTEENTH) == sixteenths * SIXTEENTH


def test_strong_of_a_millimetre_mark():
    assert parse("702+", MM, mark=Fraction(1)) == Fraction("702.25")
    assert parse("702- mm", IN, mark=Fraction(1)) == Fraction("701.75")


@pytest.mark.parametrize("text", ["27,625", "1,250 in"])
def test_decimal_comma_where_the_file_writes_them(text):
    with pytest.raises(LengthError):
        parse(text, IN)
    assert parse(text, IN, decimal_comma=True) == Fraction(text.split()[0].replace(",", ".")) * INCH


WRITE_IN = "Write for example 27 5/8, 27-5/8, 27.625 or 702 mm."
WRITE_MM = "Write for example 702, 702.5 or 27 5/8 in."
BELOW = "Use 2, 4, 8, 16, 32 or 64 below the line."


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("5/7", f"'5/7' is not a length: 7 does not divide a tape's inch. {BELOW}"),
        ("27 5/128", f"'27 5/128' is not a length: 128 does not divide a tape's inch. {BELOW}"),
        ("1/1", f"'1/1' is not a length: 1 does not divide a tape's inch. {BELOW}"),
        ("1/0", f"'1/0' is not a length: 0 does not divide a tape's inch. {BELOW}"),
        ("27 9/8", "'27 9/8' is not a length: 9/8 is more than one. Write 28 1/8 or 27 7/8."),
        ("27 8/8", "'27 8/8' is not a length: 8/8 is one. Write 28 or 27 7/8."),
        ("27 5/", f"'27 5/' is not a length: there is nothing below the line. {WRITE_IN}"),
        ("/8", f"'/8' is not a length. {WRITE_IN}"),
        ("27.5 5/8", f"'27.5 5/8' is not a length: a decimal point and a fraction together. {WRITE_IN}"),
        ("27 - 5/8", f"'27 - 5/8' is not a length: a sign stands inside it. {WRITE_IN}"),
        ("1e5", f"'1e5' is not a length: powers of ten are not read. {WRITE_IN}"),
        ("nan", f"'nan' is not a length. {WRITE_IN}"),
        ("inf", f"'inf' is not a length. {WRITE_IN}"),
        ("-inf", f"'-inf' is not a length. {WRITE_IN}"),
        ("true", f"'true' is not a length. {WRITE_IN}"),
        ("27 5/8 5/8", f"'27 5/8 5/8' is not a length. {WRITE_IN}"),
        ("27 3/8 mm", f"'27 3/8 mm' is not a length. {WRITE_IN}"),
        ("twenty", f"'twenty' is not a length. {WRITE_IN}"),
        ("٢٧", f"'٢٧' is not a length. {WRITE_IN}"),
        ("1_000", f"'1_000' is not a length. {WRITE_IN}"),
        ("--5", f"'--5' is not a length. {WRITE_IN}"),
        ("", "'' is not a length: it is empty."),
        ("   ", "'   ' is not a length: it is empty."),
        ("-3", "'-3' is not a length: it is negative, and a distance is not. Leave the minus off."),
        ("2000 m", "'2000 m' is not a length: it is more than a kilometre."),
        ("27,625", "'27,625' is not a length: the comma may mark decimals or thousands. Write a decimal point."),
        ("1,234.5", "'1,234.5' is not a length: commas between thousands are not read. Write the number without them."),
        ("1,234,567", "'1,234,567' is not a length: commas between thousands are not read. Write the number "
         "without them."),
        ("3' 13", "'3' 13' is not a length: twelve inches or more beside feet. Write the feet and inches apart, or "
         "inches alone."),
        ("3.5' 2", "'3.5' 2' is not a length: feet with a decimal point and inches besides. Write whole feet, then "
         "inches."),
        ("27 5/8+", "'27 5/8+' is not a length: '+' (strong or shy) needs the tape's mark. Write the reading out in "
         "full."),
    ],
)  # fmt: skip
def test_what_is_no_length(text, message):
    with pytest.raises(LengthError) as error:
        parse(text, IN)
    assert str(error.value) == message


def test_what_is_no_length_in_millimetres():
    for text, message in (
        ("27 5/8", "'27 5/8' is not a length: fractions are inches, and this file is in millimetres. "
         "Write 702.5, or 27 5/8 in."),
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
    [("27.625", "27 5/8"), ("27", "27"), ("0", "0"), ("-0.03125", "-1/32"), ("0.0001", "0"), ("-0.0001", "0"),
     ("27.6339", "27 41/64"), ("-1.5", "-1 1/2")],
)  # fmt: skip
def test_inches_shown(inches, text):
    assert show(Fraction(inches) * INCH, IN) == text


def test_shown_to_the_mark_or_notch():
    assert show(27.7 * 25.4, IN, to=25.4 / 16) == "27 11/16"
    assert show(27.7 * 25.4, IN, to=25.4 / 32) == "27 11/16"
    assert show(27.7 * 25.4, IN, to=25.4) == "28"
    assert show(1 / 32 * 25.4, IN, signed=True) == "+1/32"
    assert show(0.0, IN, signed=True) == "0"


def test_millimetres_shown():
    assert show(701.675, MM) == "701.7"
    assert show(-0.04, MM) == "0.0"
    assert show(2.0, MM, signed=True) == "+2.0"


def test_decimals_shown():
    assert decimal(27.6339 * 25.4, IN) == "27.634"
    # halves go away from nothing, whichever way their binary form leans
    assert decimal(701.675, MM) == "701.68"
    assert [decimal(x * 25.4, IN, signed=True) for x in (0.0625, -0.0625, 0.1875)] == ["+0.063", "-0.063", "+0.188"]
    assert [show(x, MM) for x in (0.25, -0.25, 0.35)] == ["0.3", "-0.3", "0.4"]
    assert decimal(-0.0001, IN, signed=True) == "0.000"
    assert show_both(27.6339 * 25.4, IN) == "27 41/64 (27.634)"
    assert show_both(701.675, MM) == "701.7"


@pytest.mark.parametrize("length", [math.nan, math.inf])
def test_what_cannot_be_shown(length):
    with pytest.raises(LengthError, match="cannot be written as a length"):
        show(length, IN)
