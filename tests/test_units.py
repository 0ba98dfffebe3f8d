"""Lengths: what people write, what is shown, and the published values both rest on."""

from __future__ import annotations

import math
from fractions import Fraction

import pint
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from asbuilt import units
from asbuilt.errors import LengthError

SIXTEENTH_M = 0.0015875
INCHES_75_5_M = 1.9177


@pytest.mark.parametrize(
    ("text", "expected_m"),
    [
        ("6ft", 1.8288),
        ("6 feet", 1.8288),
        ("1 foot", 0.3048),
        ("6'", 1.8288),
        ("6' 3-1/2\"", INCHES_75_5_M),
        ("6'3.5", INCHES_75_5_M),
        ("6'-3 1/2\"", INCHES_75_5_M),
        ("6’ 3½”", INCHES_75_5_M),
        ("6′3 1⁄2″", INCHES_75_5_M),
        ("6' 3-1/2''", INCHES_75_5_M),
        ("6 ft 3-1/2 in", INCHES_75_5_M),
        ("6ft, 3.5in.", INCHES_75_5_M),
        ("  6  FT   3 – 1 / 2  Inches ", INCHES_75_5_M),
        ("75 1/2in", INCHES_75_5_M),
        ("75½", INCHES_75_5_M),
        ("75.5", INCHES_75_5_M),
        (75.5, INCHES_75_5_M),
        ('3/4"', 0.01905),
        (".5 in", 0.0127),
        ("6 ft 1-1/4 in", 1.86055),
        ("23 ft 11-5/8 in", 7.305675),
        ("1.91m", 1.91),
        ("1910 mm", 1.91),
        ("191 cm", 1.91),
        ("1.91 metres", 1.91),
        ("6 1/2 ft", 1.9812),
        ("-1/2 in", -0.0127),
        ("−6' 3-1/2\"", -INCHES_75_5_M),
        ("+12 mm", 0.012),
        ("1e-05 m", 0.00001),
        (0, 0.0),
    ],
)
def test_reads_what_people_write(text, expected_m):
    assert units.parse_length(text) == expected_m


@pytest.mark.parametrize(("unit", "expected_m"), [("in", 0.1524), ("ft", 1.8288), ("mm", 0.006), ("m", 6.0)])
def test_a_plain_number_is_in_the_records_unit(unit, expected_m):
    assert units.parse_length("6", unit) == expected_m
    assert units.parse_length(6, unit) == expected_m


def test_a_number_after_feet_is_inches_in_a_metric_record_too():
    assert units.parse_length("6' 3", "mm") == 1.905


@pytest.mark.parametrize(
    "text",
    ["", " ", "ft", "six feet", "nan", "inf", math.nan, math.inf, -math.inf, None, True, [], "6 ft 3 cm", "10 6",
     "6 ft 12 in", "6.5 ft 3 in", "3-5/4", "63/4", "1/0", "1--2", "6''3'", "3²", "٣ in", "1,5 m", "2000 m", "9" * 61,
     "1e400 m", 1e308, "3 yd", "6 ft 3 in 2", "in 6", "- ", "6m ft"],
)  # fmt: skip
def test_nonsense_is_refused_in_one_line_that_shows_it(text):
    with pytest.raises(LengthError) as caught:
        units.parse_length(text)
    message = str(caught.value)
    assert "\n" not in message and len(message) < 250
    assert str(text)[:20] in message


def test_a_decimal_comma_is_refused_with_what_to_write():
    with pytest.raises(LengthError, match="decimals with a point"):
        units.parse_length("1,91 m")


def test_an_unknown_unit_is_refused():
    with pytest.raises(LengthError, match="use one of: in, ft, mm, m"):
        units.parse_length("6", "yd")
    with pytest.raises(LengthError, match="use one of"):
        units.format_length(1.0, "yd")


@given(st.text(max_size=80))
@example("1/ 2")
@example("½½")
def test_any_text_is_a_finite_length_or_a_length_error(text):
    try:
        value_m = units.parse_length(text)
    except LengthError:
        return
    assert abs(value_m) <= 1000


@pytest.mark.parametrize(
    ("sixteenths", "shown"),
    [("5.5", "3/8 in"), ("6.5", "3/8 in"), ("5.4999", "5/16 in"), ("5.5001", "3/8 in"), ("6.5001", "7/16 in"),
     ("-5.5", "-3/8 in"), ("7.5", "1/2 in"), ("0.5", "0 in"), ("-0.5", "0 in"), ("15.5", "1 in"),
     ("191.5", "1 ft 0 in")],
)  # fmt: skip
def test_a_tie_of_sixteenths_goes_to_the_even_one(sixteenths, shown):
    """NIST Handbook 44, s. 10.3: exactly midway reads as the even graduation (5-1/2 -> 6, 6-1/2 -> 6)."""
    exact_m = float(Fraction(sixteenths) * Fraction(254, 10_000) / 16)
    assert units.format_feet_inches(exact_m) == shown
    # The same length as arithmetic in floats leaves it, an ulp or two off the tie.
    assert units.format_feet_inches(float(sixteenths) / 16 * 0.0254) == shown


@pytest.mark.parametrize(
    ("value_m", "feet_inches", "inches", "mm"),
    [
        (INCHES_75_5_M, "6 ft 3-1/2 in", "75-1/2 in", "1918 mm"),
        (0.0127, "1/2 in", "1/2 in", "13 mm"),
        (0.3048, "1 ft 0 in", "12 in", "305 mm"),
        (-1.905, "-6 ft 3 in", "-75 in", "-1905 mm"),
        (0.0, "0 in", "0 in", "0 mm"),
        (2.76225, "9 ft 0-3/4 in", "108-3/4 in", "2762 mm"),
        (7.305675, "23 ft 11-5/8 in", "287-5/8 in", "7306 mm"),
        (0.0005, "0 in", "0 in", "0 mm"),
        (0.0015, "1/16 in", "1/16 in", "2 mm"),
    ],
)
def test_shows_absolute_values(value_m, feet_inches, inches, mm):
    assert units.format_feet_inches(value_m) == feet_inches
    assert units.format_inches(value_m) == inches
    assert units.format_mm(value_m) == mm


def test_other_graduations():
    assert units.format_inches(0.0254 * 3.3, 8) == "3-1/4 in"
    assert units.format_inches(0.0254 * 3.3, 32) == "3-5/16 in"
    with pytest.raises(LengthError, match="not a graduation"):
        units.format_inches(1.0, 10)


@given(st.integers(-200_000, 200_000))
def test_every_sixteenth_is_read_back_exactly_as_written(count):
    value_m = float(count * Fraction(254, 10_000) / 16)
    assert units.parse_length(units.format_feet_inches(value_m)) == value_m
    assert units.parse_length(units.format_inches(value_m)) == value_m


@given(st.integers(-999_999, 999_999))
def test_every_millimetre_is_read_back_exactly_as_written(count_mm):
    value_m = float(Fraction(count_mm, 1000))
    assert units.parse_length(units.format_mm(value_m)) == value_m


@given(st.floats(-300, 300))
def test_what_is_shown_is_within_half_a_graduation(value_m):
    shown_m = units.parse_length(units.format_feet_inches(value_m))
    assert abs(shown_m - value_m) <= SIXTEENTH_M / 2 + 1e-12
    assert abs(units.parse_length(units.format_mm(value_m)) - value_m) <= 0.0005 + 1e-12


@given(st.floats(-1000, 1000), st.sampled_from(units.UNITS))
@example(0.1 + 0.2, "mm")
@example(5e-324, "in")
def test_exact_writing_is_read_back_to_the_same_float(value_m, unit):
    assert units.parse_length(units.exact_length(value_m, unit), unit) == value_m


def test_exact_writing_is_plain_where_it_can_be():
    assert units.exact_length(INCHES_75_5_M, "in") == "6 ft 3-1/2 in"
    assert units.exact_length(1.91, "mm") == "1910 mm"
    assert units.exact_length(1.91, "in") == "1.91 m"


@pytest.mark.parametrize(
    ("sigma_in", "shown", "error"),
    [
        (0.0, "6 ft 3-11/16 in", "+/- 1/16 in at 95 %"),
        (0.03, "6 ft 3-11/16 in", "+/- 1/16 in at 95 %"),
        (0.10, "6 ft 3-11/16 in", "+/- 1/4 in at 95 %"),
        (0.19, "6 ft 3-3/4 in", "+/- 3/8 in at 95 %"),
        (0.50, "6 ft 3-3/4 in", "+/- 1 in at 95 %"),
        (0.90, "6 ft 3-1/2 in", "+/- 2 in at 95 %"),
        (3.00, "6 ft 4 in", "+/- 6 in at 95 %"),
        (5.00, "6 ft 3 in", "+/- 12 in at 95 %"),
        (20.0, "6 ft 0 in", "+/- 4 ft at 95 %"),
        (85.0, "6 ft 0 in", "+/- 14 ft at 95 %"),
    ],
)
def test_a_length_is_shown_no_finer_than_its_error_warrants(sigma_in, shown, error):
    value_m = 75.70 * 0.0254
    assert units.format_length(value_m, "in", sigma_in * 0.0254) == shown
    assert units.format_error(sigma_in * 0.0254, "ft") == error


@pytest.mark.parametrize(
    ("sigma_mm", "shown", "error"),
    [(0.0, "1923 mm", "+/- 1 mm at 95 %"), (2.0, "1923 mm", "+/- 4 mm at 95 %"), (4.0, "1922 mm", "+/- 8 mm at 95 %"),
     (10.0, "1925 mm", "+/- 20 mm at 95 %"), (15.0, "1920 mm", "+/- 30 mm at 95 %"),
     (30.0, "1920 mm", "+/- 60 mm at 95 %")],
)  # fmt: skip
def test_millimetres_coarsen_with_the_error_too(sigma_mm, shown, error):
    assert units.format_length(1.9228, "mm", sigma_mm / 1000) == shown
    assert units.format_error(sigma_mm / 1000, "m") == error


@given(st.floats(0, 1.0), st.sampled_from(units.UNITS))
def test_the_stated_error_is_never_less_than_196_sigma_nor_much_more(sigma_m, unit):
    words = units.format_error(sigma_m, unit).removeprefix("+/- ").removesuffix(" at 95 %")
    stated_m = units.parse_length(words)
    assert stated_m >= 1.96 * sigma_m - 1e-12
    finest_m = SIXTEENTH_M if unit in ("in", "ft") else 0.001
    assert stated_m <= max(finest_m, 1.96 * sigma_m + 1.25 * sigma_m) + 1e-9


@pytest.mark.parametrize("bad_m", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_not_finite_is_never_shown(bad_m):
    for show in (units.format_feet_inches, units.format_inches, units.format_mm):
        with pytest.raises(LengthError):
            show(bad_m)
    with pytest.raises(LengthError):
        units.format_length(1.0, "in", bad_m)
    with pytest.raises(LengthError):
        units.format_error(bad_m, "mm")


def test_a_negative_sigma_is_refused():
    with pytest.raises(LengthError, match="less than nothing"):
        units.format_error(-0.01, "in")


def test_unit_relations_are_exact():
    """Exact by definition (1 in = 25.4 mm, 1 ft = 12 in); Pint's registry agrees on fractions."""
    registry = pint.UnitRegistry(non_int_type=Fraction)
    names = {"in": "inch", "ft": "foot", "mm": "millimeter", "cm": "centimeter", "m": "meter"}
    assert set(names) == set(units.METRES_PER)
    for unit, name in names.items():
        assert registry.Quantity(Fraction(1), name).to("meter").magnitude == units.METRES_PER[unit]
    assert units.METRES_PER["in"] == Fraction(254, 10_000)


@pytest.mark.parametrize(
    ("text", "expected_rad"),
    [(90, math.pi / 2), ("90", math.pi / 2), ("90 deg", math.pi / 2), ("-45°", -math.pi / 4), ("1.5 rad", 1.5)],
)
def test_reads_angles(text, expected_rad):
    assert units.parse_angle(text) == expected_rad


@pytest.mark.parametrize("text", ["", "right", "nan", math.inf, True, None, "400", "7 rad", "90 in"])
def test_nonsense_angles_are_refused(text):
    with pytest.raises(LengthError):
        units.parse_angle(text)


@given(st.floats(-math.tau, math.tau))
@example(math.pi / 2)
@example(math.radians(135))
def test_exact_angles_are_read_back_to_the_same_float(angle_rad):
    assert units.parse_angle(units.exact_angle(angle_rad)) == angle_rad


def test_exact_angles_are_plain_where_they_can_be():
    assert units.exact_angle(math.pi / 2) == "90 deg"
    assert units.exact_angle(math.radians(22.5)) == "22.5 deg"
