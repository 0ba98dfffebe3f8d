"""How the values of a plan are read, and written so that they read back the very same."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from asbuilt.errors import LengthError, PlanError
from asbuilt.record.toml_text import toml_value
from asbuilt.sources import STUD_DEPTHS_M
from asbuilt.units import exact_angle, exact_length, exact_volume, parse_angle, parse_length, parse_volume


@dataclass(frozen=True, slots=True, kw_only=True)
class ValueKind:
    """How one sort of value is read from a plan and written back.

    ``read(value, unit)`` raises LengthError or PlanError with a text that shows the value;
    ``write(value, unit)`` gives TOML that reads back to the very same value.
    """

    name: str
    read: Callable[[Any, str], Any]
    write: Callable[[Any, str], str]


def _read_text(value: Any, unit: str) -> str:
    if isinstance(value, bool) or not isinstance(value, (str, int)):
        raise PlanError(f"{value!r} is not a text; put it in quotes")
    return str(value)


def _read_number(value: Any, unit: str) -> float:
    try:
        number = math.nan if isinstance(value, bool) else float(value)
    except (TypeError, ValueError, OverflowError):
        number = math.nan
    if not math.isfinite(number):
        raise PlanError(f"{value!r} is not a number")
    return number


def _read_integer(value: Any, unit: str) -> int:
    number = _read_number(value, unit)
    if not number.is_integer() or abs(number) > 2**31:
        raise PlanError(f"{value!r} is not a whole number")
    return int(number)


def _read_yes_no(value: Any, unit: str) -> bool:
    words = {"true": True, "yes": True, "false": False, "no": False}
    if isinstance(value, bool):
        return value
    if isinstance(value, str) and value.lower() in words:
        return words[value.lower()]
    raise PlanError(f"{value!r} is neither true nor false")


def _read_date(value: Any, unit: str) -> str:
    if isinstance(value, date):  # a datetime is one too
        return value.isoformat()
    try:
        datetime.fromisoformat(value)
    except (TypeError, ValueError):
        raise PlanError(f"{value!r} is not a date; write it like 2026-03-14") from None
    return value


def _write_date(value: str, unit: str) -> str:
    try:
        plain = date.fromisoformat(value).isoformat() == value
    except ValueError:
        plain = False
    return value if plain else toml_value(value)


def _read_stud(value: Any, unit: str) -> float:
    if isinstance(value, str) and value.replace(" ", "").lower() in STUD_DEPTHS_M:
        return STUD_DEPTHS_M[value.replace(" ", "").lower()].value
    try:
        return parse_length(value, unit)
    except LengthError as error:
        raise LengthError(f"{error}; or name the lumber: {', '.join(STUD_DEPTHS_M)}") from None


def _write_stud(value: float, unit: str) -> str:
    named = [name for name, depth in STUD_DEPTHS_M.items() if depth.value == value]
    return toml_value(named[0]) if named else LENGTH.write(value, unit)


def _read_list(value: Any, unit: str) -> tuple[str, ...]:
    parts = value.split(",") if isinstance(value, str) else value  # on the command line: a,b,c
    if not isinstance(parts, (list, tuple)):
        raise PlanError(f"{value!r} is not a list; write it like [\"a\", \"b\"]")
    return tuple(_read_text(part, unit).strip() for part in parts)


def _write_list(value: tuple[str, ...], unit: str) -> str:
    return f"[{', '.join(map(toml_value, value))}]"


TEXT = ValueKind(name="text", read=_read_text, write=lambda v, unit: toml_value(v))
NUMBER = ValueKind(name="number", read=_read_number, write=lambda v, unit: toml_value(v))
INTEGER = ValueKind(name="whole number", read=_read_integer, write=lambda v, unit: toml_value(v))
YES_NO = ValueKind(name="true or false", read=_read_yes_no, write=lambda v, unit: toml_value(v))
LENGTH = ValueKind(name="length", read=parse_length, write=lambda v, unit: toml_value(exact_length(v, unit)))
ANGLE = ValueKind(name="angle", read=lambda v, unit: parse_angle(v), write=lambda v, unit: toml_value(exact_angle(v)))
DATE = ValueKind(name="date", read=_read_date, write=_write_date)
STUD = ValueKind(name="2x4, 2x6 or a length", read=_read_stud, write=_write_stud)
LIST = ValueKind(name="list of texts", read=_read_list, write=_write_list)
VOLUME = ValueKind(name="volume", read=parse_volume, write=lambda v, unit: toml_value(exact_volume(v, unit)))
