"""Frozen types to database rows and back; plain values, JSON for the rest."""

from __future__ import annotations

import dataclasses
import json
import typing
from functools import cache

TABLE_NAMES = {"Media": "media", "Coverage": "coverage", "Followed": "followed"}


def table_name(cls: type) -> str:
    """Name of the table that holds a type: ReferencePoint -> reference_points."""
    if cls.__name__ in TABLE_NAMES:
        return TABLE_NAMES[cls.__name__]
    snake = "".join("_" + c.lower() if c.isupper() else c for c in cls.__name__).lstrip("_")
    return snake + "s"


@cache
def field_kinds(cls: type) -> dict[str, type]:
    """Column name to the Python type that its database value has: int, float, str, bytes, bool or dict."""
    hints = typing.get_type_hints(cls)
    kinds = {}
    for f in dataclasses.fields(cls):
        hint = hints[f.name]
        options = [a for a in typing.get_args(hint) if a is not type(None)]
        plain = options[0] if options and type(None) in typing.get_args(hint) else hint
        kinds[f.name] = plain if plain in (int, float, str, bytes, bool) else dict
    return kinds


def _freeze(value):
    return tuple([_freeze(v) if isinstance(v, list) else v for v in value]) if isinstance(value, list) else value


def to_row(obj) -> dict:
    """A frozen record object as database values."""
    row = {}
    for name, kind in field_kinds(type(obj)).items():
        value = getattr(obj, name)
        if kind is dict and value is not None:
            value = json.dumps(value, separators=(",", ":"))
        elif kind is bool and value is not None:
            value = int(value)
        elif kind is float and value is not None:
            value = float(value)
        row[name] = value
    return row


def from_row(cls: type, row: dict):
    """Database values as a frozen record object; unknown columns are ignored."""
    names, structured, flags = _converted(cls)
    values = {name: row[name] for name in names}
    for name in structured:
        if values[name] is not None:
            values[name] = _freeze(json.loads(values[name]))
    for name in flags:
        if values[name] is not None:
            values[name] = bool(values[name])
    return cls(**values)


@cache
def _converted(cls: type) -> tuple[list[str], list[str], list[str]]:
    """All columns of a type, those kept as JSON, and those that are yes or no."""
    kinds = field_kinds(cls)
    return list(kinds), [n for n, k in kinds.items() if k is dict], [n for n, k in kinds.items() if k is bool]
