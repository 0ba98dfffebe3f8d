"""How the columns of a record are shown to people and described to programs."""

from __future__ import annotations

import dataclasses
import inspect
import re
import typing

from asbuilt.record.rows import field_kinds, table_name
from asbuilt.record.types import CIRCUIT_STATES, FACE_KINDS, NOT_PLACED, PLACED, TYPES

# Ending of a column's name -> unit in its header.
ENDINGS = (("_m", "m"), ("_px", "px"), ("_rad", "rad"), ("_s", "s"), ("_deg", "deg"))
UNITS = {
    ("circuits", "amps"): "A", ("circuits", "volts"): "V", ("panels", "amps"): "A", ("panels", "volts"): "V",
    ("media", "byte_count"): "bytes", ("positions", "covariance"): "m^2",
    ("placements", "covariance"): "rad^2, rad m, m^2", ("placements", "lens"): "px, px, px, 1, 1, 1, 1",
    ("pictures", "sharpness"): "0 to 1", ("pictures", "light"): "0 to 1",
}  # fmt: skip
CHOICES = {
    ("faces", "kind"): FACE_KINDS, ("circuits", "state"): CIRCUIT_STATES,
    ("placements", "status"): (PLACED, NOT_PLACED), ("buildings", "unit"): ("in", "ft", "mm", "m"),
    ("sightings", "target"): ("item", "reference"),
}  # fmt: skip
UNIT_WORDS = {"m": "metres", "px": "pixels", "rad": "radians", "s": "seconds", "deg": "degrees"}


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: its name in the database, its header in a CSV, its unit, or an empty text."""

    name: str
    header: str
    unit: str


def column(table: str, name: str) -> Column:
    """How a column of a table is headed."""
    for ending, unit in ENDINGS:
        if name.endswith(ending):
            return Column(name=name, header=f"{name.removesuffix(ending)} ({unit})", unit=unit)
    unit = UNITS.get((table, name), "")
    return Column(name=name, header=f"{name} ({unit})" if unit else name, unit=unit)


def columns(cls: type) -> list[Column]:
    """The columns of a type's table, in order."""
    return [column(table_name(cls), name) for name in field_kinds(cls)]


def meaning(cls: type) -> str:
    """The first paragraph of what a type is for, as its docstring says it."""
    text = inspect.cleandoc(cls.__doc__ or "").split("\n\n")[0]
    return re.sub(r"``", "", " ".join(text.split()))


def json_schema() -> dict:
    """JSON Schema (draft 2020-12) of the JSON of everything, made from the record's types."""
    tables = {
        table_name(cls): {"type": "array", "items": {"$ref": f"#/$defs/{cls.__name__}"}, "description": meaning(cls)}
        for cls in TYPES
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "asbuilt record",
        "description": "Everything in a record of what is inside the walls of a building. "
        "Lengths in metres, angles in radians, as the names end.",
        "type": "object",
        "required": ["format", "format_version", "made_by", "made_at", "tables"],
        "additionalProperties": False,
        "properties": {
            "format": {"const": "asbuilt record"},
            "format_version": {"const": 1},
            "made_by": {"type": "string"},
            "made_at": {"type": "string"},
            "tables": {
                "type": "object",
                "required": sorted(tables),
                "properties": tables,
                "additionalProperties": {"type": "array", "items": {"type": "object"}},
            },
        },
        "$defs": {cls.__name__: _definition(cls) for cls in TYPES},
    }


def _definition(cls: type) -> dict:
    hints = typing.get_type_hints(cls)
    table = table_name(cls)
    return {
        "type": "object",
        "description": " ".join(re.sub("``", "", inspect.cleandoc(cls.__doc__ or "")).split()),
        "required": list(field_kinds(cls)),
        "additionalProperties": False,
        "properties": {name: _property(table, name, hints[name]) for name in field_kinds(cls)},
    }


def _property(table: str, name: str, hint) -> dict:
    described = _value(hint)
    unit = column(table, name).unit
    if unit:
        described["description"] = f"[{UNIT_WORDS.get(unit, unit)}]"
    if (table, name) in CHOICES:
        described["enum"] = list(CHOICES[table, name])
    return described


def _value(hint) -> dict:
    plain = {str: "string", int: "integer", float: "number", bool: "boolean", dict: "object"}
    if hint in plain:
        return {"type": plain[hint]}
    if hint is bytes:
        return {"type": "string", "contentEncoding": "base64"}
    parts = typing.get_args(hint)
    if type(None) in parts:
        inner = _value(next(p for p in parts if p is not type(None)))
        return {**inner, "type": [inner["type"], "null"]}
    return {"type": "array", "items": _value(parts[0])}
