"""What every described row is checked for: conditions, finite numbers, short names."""

from __future__ import annotations

import math
import re

from asbuilt.errors import RecordError


def need(condition: bool, what: str) -> None:
    """Raise RecordError with ``what`` unless the condition holds."""
    if not condition:
        raise RecordError(what)


def finite(obj, *names: str) -> None:
    """Every named number of a row is finite, or None."""
    for name in names:
        value = getattr(obj, name)
        if value is not None and not math.isfinite(value):
            raise RecordError(f"{type(obj).__name__}: {name} is {value}, not a finite number")


def slug(obj, name: str = "id") -> None:
    """A name that people give and programs refer to holds no spaces and no odd signs."""
    value = getattr(obj, name)
    need(
        isinstance(value, str) and re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_+.\-]{0,63}", value) is not None,
        f"{type(obj).__name__}: {name} {value!r} must be letters, digits, '-', '_', '+' or '.'",
    )
