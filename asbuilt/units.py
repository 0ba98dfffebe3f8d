"""Lengths, angles and volumes as people write them, and as they are shown; metres, radians and cubic metres inside.

Reading is exact (fractions, one rounding to a float at the end). Showing rounds to the
nearest graduation, a tie to the even one [NIST Handbook 44, s. 10.3], and never shows a
finer graduation than the error warrants.
"""

from __future__ import annotations

import math
import re
import unicodedata
from fractions import Fraction

from asbuilt.errors import LengthError
from asbuilt.sources import COVER_95, LONGEST_LENGTH_M

INCH_M = Fraction(254, 10_000)  # exact by definition: 1 in = 25.4 mm
METRES_PER = {"in": INCH_M, "ft": 12 * INCH_M, "mm": Fraction(1, 1000), "cm": Fraction(1, 100), "m": Fraction(1)}
UNITS = ("in", "ft", "mm", "m")  # what a plain number may mean

_WORDS = {
    "ft": "ft", "feet": "ft", "foot": "ft", "'": "ft",
    "in": "in", "ins": "in", "inch": "in", "inches": "in", '"': "in",
    "mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "cm": "cm", "centimetre": "cm", "centimetres": "cm", "centimeter": "cm", "centimeters": "cm",
    "m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m",
}  # fmt: skip
_PRIMES = dict.fromkeys(map(ord, "\u2032\u2018\u2019\u201b\u00b4`\u02b9\u02bc"), "'")
_DOUBLE_PRIMES = dict.fromkeys(map(ord, "\u2033\u201c\u201d\u201e\u201f\u02ba\u02dd\u3003"), '"')
_DASHES = dict.fromkeys(map(ord, "\u2010\u2011\u2012\u2013\u2014\u2212"), "-")
_SPELLINGS = {**_PRIMES, **_DOUBLE_PRIMES, **_DASHES, ord("\u2044"): "/", ord("\u2215"): "/"}

_NUMBER = r"\d+ ?[- ] ?\d+ ?/ ?\d+|\d+ ?/ ?\d+|(?:\d+\.\d*|\.\d+|\d+)(?:e[-+]?\d{1,3})?"
_ANY = "|".join(sorted(map(re.escape, _WORDS), key=len, reverse=True))
_FEET = "|".join(re.escape(w) for w, unit in _WORDS.items() if unit == "ft")
_INCHES = "|".join(re.escape(w) for w, unit in _WORDS.items() if unit == "in")
_SIMPLE = re.compile(rf"({_NUMBER}) ?(?:({_ANY})\.?)?", re.ASCII)
_FEET_INCHES = re.compile(rf"({_NUMBER}) ?(?:{_FEET})\.?,? ?-? ?({_NUMBER}) ?(?:(?:{_INCHES})\.?)?", re.ASCII)
_LONGEST_TEXT = 60  # characters; nothing that anybody writes for a length is longer

# What is shown is counted in picometres, in which a tie of sixteenths is seen as a tie.
_GRAIN = 10**12
_MILLIMETRE = 10**9
_SIXTY_FOURTH = int(INCH_M * _GRAIN / 64)
# Graduations that a value may be shown to.
_INCH_STEPS = tuple(_SIXTY_FOURTH * s for s in (4, 8, 16, 32, 64, 128, 192, 384, 768, 1536))
_MM_STEPS = tuple(_MILLIMETRE * s for s in (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000))


def parse_length(text: str | float | int, unit: str = "in") -> float:
    """Read a length as people write it.

    Parameters
    ----------
    text : str, float or int
        ``6ft``, ``6' 3-1/2"``, ``6'3.5``, ``75 1/2in``, ``1.91m``, ``1910 mm``, or a plain
        number in ``unit``. Curly quotes, prime marks and fraction characters are understood.
    unit : {"in", "ft", "mm", "m"}
        What a plain number means.

    Returns
    -------
    float
        [m]

    Raises
    ------
    LengthError
        If it is not a length, or one longer than any building.
    """
    if unit not in UNITS:
        raise LengthError(f"{unit!r} is not a unit of a record; use one of: {', '.join(UNITS)}")
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        if not math.isfinite(text):
            raise LengthError(f"{text} is not a length")
        return _in_reach(Fraction(str(text)) * METRES_PER[unit], text)
    if not isinstance(text, str):
        raise _not_a_length(text)
    sign, words = _normalize(text)
    both = _FEET_INCHES.fullmatch(words)
    if both:
        return _in_reach(sign * _feet_and_inches(both[1], both[2], text), text)
    simple = _SIMPLE.fullmatch(words)
    if not simple:
        raise _not_a_length(text)
    named = _WORDS[simple[2]] if simple[2] else unit
    return _in_reach(sign * _number(simple[1], text) * METRES_PER[named], text)


def _normalize(text: str) -> tuple[int, str]:
    """Sign and plain-ASCII lower-case text with single spaces."""
    if len(text) > _LONGEST_TEXT:
        raise _not_a_length(text[:_LONGEST_TEXT] + "...")
    spelled = "".join(
        " " + unicodedata.normalize("NFKC", c) if unicodedata.decomposition(c).startswith("<fraction>") else c
        for c in text
    )
    words = " ".join(spelled.translate(_SPELLINGS).replace("''", '"').lower().split())
    if words[:1] in ("-", "+"):
        return (-1 if words[0] == "-" else 1), words[1:].lstrip()
    return 1, words


def _number(words: str, text: str) -> Fraction:
    """The value of ``3``, ``3.5``, ``1/2``, ``3-1/2`` or ``3 1/2``."""
    if "/" not in words:
        return Fraction(words)
    *whole, top, bottom = re.split(r"\D+", words)
    if int(bottom) == 0 or int(top) >= int(bottom):
        raise LengthError(f"{text!r}: {top}/{bottom} is not a fraction below one; write it like 3-1/2")
    return int(whole[0] if whole else 0) + Fraction(int(top), int(bottom))


def _feet_and_inches(feet_words: str, inch_words: str, text: str) -> Fraction:
    feet, inches = _number(feet_words, text), _number(inch_words, text)
    if feet.denominator != 1:
        raise LengthError(f"{text!r}: a part of a foot and inches beside it; write whole feet, then inches")
    if inches >= 12:
        raise LengthError(f"{text!r}: {inch_words} in after the feet is a foot or more; check the reading")
    return 12 * INCH_M * feet + INCH_M * inches


def _in_reach(value: Fraction, text) -> float:
    if abs(value) > LONGEST_LENGTH_M.value:
        raise LengthError(f"{text!r} is longer than any building; check the number and its unit")
    return float(value)


def _not_a_length(text) -> LengthError:
    comma = ", decimals with a point," if isinstance(text, str) and re.search(r"\d,\d", text) else ""
    return LengthError(f"{text!r} is not a length; write it{comma} like 6 ft 3-1/2 in, 75-1/2 in, 1910 mm or 1.91 m")


def _grains(value_m: float) -> int:
    """A length in picometres, in which every graduation is a whole number."""
    if not math.isfinite(value_m):
        raise LengthError(f"{value_m} is not a length that can be shown")
    above, below = value_m.as_integer_ratio() if isinstance(value_m, float) else Fraction(value_m).as_integer_ratio()
    return _divided(above * _GRAIN, below)


def _divided(value: int, by: int) -> int:
    """The nearest whole number of a ratio; a tie goes to the even one."""
    whole, rest = divmod(value, by)
    return whole + (2 * rest > by or (2 * rest == by and whole % 2 == 1))


def _rounded(value_m: float, step: int) -> int:
    """The nearest multiple of a step [pm]; a tie goes to the even multiple."""
    return _divided(_grains(value_m), step) * step


def _mixed(parts: int) -> str:
    """``75-1/2`` for a non-negative number of 64ths."""
    whole, rest = divmod(parts, 64)
    if not rest:
        return str(whole)
    common = math.gcd(rest, 64)
    return f"{whole}-{rest // common}/{64 // common}" if whole else f"{rest // common}/{64 // common}"


def _inch_text(value: int) -> str:
    return f"{'-' if value < 0 else ''}{_mixed(abs(value) // _SIXTY_FOURTH)} in"


def _feet_inch_text(value: int) -> str:
    feet, parts = divmod(abs(value) // _SIXTY_FOURTH, 12 * 64)
    if not feet:
        return _inch_text(value)
    sign = "-" if value < 0 else ""
    # The nought stays: 9 ft 0-3/4 in, as on a drawing.
    return f"{sign}{feet} ft {'0-' if 0 < parts < 64 else ''}{_mixed(parts)} in"


def _mm_text(value: int) -> str:
    return f"{value // _MILLIMETRE} mm"


def _graduation(denominator: int) -> int:
    if denominator not in (1, 2, 4, 8, 16, 32, 64):
        raise LengthError(f"1/{denominator} in is not a graduation of a tape")
    return _SIXTY_FOURTH * (64 // denominator)


def format_feet_inches(value_m: float, denominator: int = 16) -> str:
    """``6 ft 3-1/2 in``, to the nearest 1/``denominator`` in."""
    return _feet_inch_text(_rounded(value_m, _graduation(denominator)))


def format_inches(value_m: float, denominator: int = 16) -> str:
    """``75-1/2 in``, to the nearest 1/``denominator`` in."""
    return _inch_text(_rounded(value_m, _graduation(denominator)))


def format_mm(value_m: float) -> str:
    """``1910 mm``, to the nearest whole millimetre."""
    return _mm_text(_rounded(value_m, _MILLIMETRE))


def _is_inch(unit: str) -> bool:
    if unit not in UNITS:
        raise LengthError(f"{unit!r} is not a unit of a record; use one of: {', '.join(UNITS)}")
    return unit in ("in", "ft")


def _step(sigma_m: float | None, unit: str) -> int:
    """The finest graduation [pm] not finer than half a sigma.

    Rounding to a step no coarser than sigma adds at most 1/12 of its variance, 4 % to sigma.
    """
    steps = _INCH_STEPS if _is_inch(unit) else _MM_STEPS
    sigma = _grains(sigma_m or 0.0)
    if sigma < 0:
        raise LengthError(f"a sigma of {sigma_m} m is less than nothing")
    return next((s for s in steps if 2 * s >= sigma), steps[-1])


def format_length(value_m: float, unit: str, sigma_m: float | None = None) -> str:
    """A length for people: feet and inches for "in" and "ft", millimetres for "mm" and "m".

    Parameters
    ----------
    value_m : float
        [m]
    unit : {"in", "ft", "mm", "m"}
        The record's unit.
    sigma_m : float, optional
        One standard deviation of the value [m]; coarsens what is shown, never below
        1/16 in or 1 mm.
    """
    value = _rounded(value_m, _step(sigma_m, unit))
    return _feet_inch_text(value) if _is_inch(unit) else _mm_text(value)


def format_error(sigma_m: float, unit: str) -> str:
    """``+/- 3/8 in at 95 %``: 1.96 sigma rounded up to the graduation its length is shown to; long ones in feet."""
    step = _step(sigma_m, unit)
    value = max(1, -(-_grains(COVER_95.value * sigma_m) // step)) * step
    if not _is_inch(unit):
        text = _mm_text(value)
    else:
        text = _feet_inch_text(value).removesuffix(" 0 in") if value > 24 * 64 * _SIXTY_FOURTH else _inch_text(value)
    return f"+/- {text} at 95 %"


def exact_length(value_m: float, unit: str) -> str:
    """The plainest writing that ``parse_length`` reads back to the very same float."""
    if not math.isfinite(value_m):
        raise LengthError(f"{value_m} is not a length that can be written")
    plain = format_feet_inches(value_m, 64) if _is_inch(unit) else format_mm(value_m)
    if parse_length(plain) == value_m:
        return plain
    return f"{value_m!r} m"


def parse_angle(text: str | float | int) -> float:
    """Read an angle: a plain number or ``90 deg`` in degrees, ``1.57 rad`` in radians.

    Returns
    -------
    float
        [rad]

    Raises
    ------
    LengthError
        If it is not an angle within a full turn.
    """
    words = "" if isinstance(text, bool) else " ".join(str(text).translate(_SPELLINGS).lower().split())
    found = re.fullmatch(r"([-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?)\ ?(deg|degrees|\u00b0|rad)?", words, re.ASCII)
    if not found:
        raise LengthError(f"{text!r} is not an angle; write it like 90 or 90 deg")
    angle_rad = float(found[1]) if found[2] == "rad" else math.radians(float(found[1]))
    if not abs(angle_rad) <= math.tau:
        raise LengthError(f"{text!r} is more than a full turn")
    return angle_rad


def exact_angle(angle_rad: float) -> str:
    """The plainest writing that ``parse_angle`` reads back to the very same float."""
    degrees = round(math.degrees(angle_rad), 9)
    plain = str(int(degrees)) if degrees == int(degrees) else repr(degrees)
    return f"{plain} deg" if parse_angle(plain) == angle_rad else f"{angle_rad!r} rad"


_VOLUMES = {"in3": INCH_M**3, "in\u00b3": INCH_M**3, "cu in": INCH_M**3, "cu. in": INCH_M**3,
            "cm3": Fraction(1, 10**6), "cm\u00b3": Fraction(1, 10**6), "ml": Fraction(1, 10**6),
            "l": Fraction(1, 1000), "m3": Fraction(1)}  # fmt: skip


def parse_volume(text: str | float | int, unit: str = "in") -> float:
    """Read the volume stamped into a box: ``18 in3``, ``20.3 cu in``, ``295 cm3``.

    A plain number is cubic inches where the record's unit is inches or feet, else cubic
    centimetres.

    Returns
    -------
    float
        [m^3]

    Raises
    ------
    LengthError
        If it is not a volume above nothing.
    """
    words = "" if isinstance(text, bool) else " ".join(str(text).lower().split()).rstrip(".")
    found = re.fullmatch(r"(\d+\.?\d*(?:e[-+]?\d{1,3})?|\.\d+) ?(\D.*)?", words, re.ASCII)
    named = (found[2] or ("in3" if _is_inch(unit) else "cm3")) if found else ""
    if named not in _VOLUMES or not Fraction(found[1]):
        raise LengthError(f"{text!r} is not a volume; write it like 18 in3 or 295 cm3")
    return float(Fraction(found[1]) * _VOLUMES[named])


def format_volume(value_m3: float, unit: str) -> str:
    """``20.25 in3`` for "in" and "ft", ``332 cm3`` for "mm" and "m"."""
    if _is_inch(unit):
        return f"{round(value_m3 / float(_VOLUMES['in3']), 2):g} in3"
    return f"{round(value_m3 * 1e6):d} cm3"


def exact_volume(value_m3: float, unit: str) -> str:
    """The plainest writing that ``parse_volume`` reads back to the very same float."""
    plain = format_volume(value_m3, unit)
    return plain if parse_volume(plain) == value_m3 else f"{value_m3!r} m3"
