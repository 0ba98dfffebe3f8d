"""TOML text: where its tables and keys stand, and how plain values are written."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Collection
from dataclasses import dataclass, field
from typing import Any

from asbuilt.errors import PlanError

_HEADER = re.compile(r"""\s*(\[\[?)\s*["']?([\w-]+)["']?\s*\]""")
_KEY = re.compile(r"""\s*["']?([\w-]+)["']?\s*[=.]""")
_TRIPLE = re.compile(r'"""|' + "'''")


@dataclass(slots=True)
class TomlText:
    """A parsed TOML text that remembers the line of every table and key.

    ``lines`` maps (table, index) and (table, index, key) to a line number, 1 first.
    """

    data: dict[str, Any]
    lines: dict[tuple, int] = field(default_factory=dict)

    def line(self, *place) -> int | None:
        """Line of a table or key, or of the nearest thing around it that has one."""
        while place:
            if place in self.lines:
                return self.lines[place]
            place = place[:-1]
        return None


def read_toml(text: str, tables: Collection[str]) -> TomlText:
    """Parse a TOML text made of ``tables``.

    Raises
    ------
    PlanError
        If it is not TOML; the text says at which line.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"at line (\d+)", str(error))
        at = f"line {found[1]}: " if found else ""
        raise PlanError(f"{at}not TOML: {str(error).split(' (at')[0].rstrip('.').lower()}") from None
    except RecursionError:
        raise PlanError("not a plan: brackets inside brackets without end") from None
    return TomlText(data=data, lines=_find_lines(text, tables))


def _find_lines(text: str, tables: Collection[str]) -> dict[tuple, int]:
    lines: dict[tuple, int] = {}
    counts: dict[str, int] = {}
    table: tuple = ()
    quote = ""  # the quotes of a text that runs over several lines
    for number, line in enumerate(text.split("\n"), start=1):
        inside = bool(quote)
        for mark in _TRIPLE.findall(line):
            quote = mark if not quote else "" if quote == mark else quote
        if inside:
            continue
        if header := _HEADER.match(line):
            name = header[2]
            if name in tables or header[1] == "[[":
                table = (name, counts.get(name, 0))
                counts[name] = table[1] + 1
                lines.setdefault((name,), number)
                lines[table] = number
        elif key := _KEY.match(line):
            lines.setdefault((*table, key[1]), number)
    return lines


def toml_value(value: str | int | float | bool) -> str:
    """A plain value as TOML.

    Raises
    ------
    PlanError
        If a text holds half a character (a lone surrogate), which no file can hold.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 2**53 else repr(value)
    if any("\ud800" <= c <= "\udfff" for c in value):
        raise PlanError(f"{value!r} holds a broken character and cannot be written")
    # JSON escapes are TOML escapes, save that TOML also wants DEL escaped.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
