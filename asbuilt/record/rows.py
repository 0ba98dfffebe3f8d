"""Frozen types to database rows and back; plain values, JSON for the rest."""

from __future__ import annotations

import dataclasses
import json
import typing
from collections.abc import Sequence
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
    return tuple([_freeze(v) if type(v) is list else v for v in value]) if type(value) is list else value


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
    return from_values(cls, [row[name] for name in field_kinds(cls)])


def from_values(cls: type, values: Sequence):
    """Database values in the order of a type's fields, as a frozen record object."""
    named = dict(zip(field_kinds(cls), values, strict=True))
    structured, flags = _converted(cls)
    for name in structured:
        if named[name] is not None:
            named[name] = _freeze(json.loads(named[name]))
    for name in flags:
        if named[name] is not None:
            named[name] = bool(named[name])
    return cls(**named)


@cache
def columns(cls: type) -> str:
    """The columns of a type as SQL names them, in the order of its fields."""
    return ", ".join(field_kinds(cls))


@cache
def _converted(cls: type) -> tuple[list[str], list[str]]:
    """Which fields of a type are kept as JSON, and which are yes or no."""
    kinds = field_kinds(cls).items()
    return [name for name, k in kinds if k is dict], [name for name, k in kinds if k is bool]
