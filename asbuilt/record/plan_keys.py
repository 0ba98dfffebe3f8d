"""What a plan file may say: its tables, their keys, and how each value is read and written.

The plan file, the building commands of the command line and the export share this one
list. A key is given once here with the attribute of the record's type that it fills.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from asbuilt.record.plan_values import ANGLE, DATE, INTEGER, LENGTH, NUMBER, STUD, TEXT, YES_NO, ValueKind
from asbuilt.record.types import (
    Building,
    Circuit,
    Covering,
    Face,
    Marker,
    Opening,
    Panel,
    ReferencePoint,
    Room,
    Stud,
)
from asbuilt.sources import TAPE_SIGMA_M


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of a table. ``kept``: a row keeps what it has where the plan is silent."""

    name: str
    attr: str
    kind: ValueKind
    help: str
    required: bool = False
    kept: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One table of a plan: a type of the record, its keys, and what silence means.

    ``fill(given, earlier)`` gives the attributes that follow from others (ids, orders),
    where ``earlier`` are the rows of the type that come before.
    """

    name: str
    cls: type
    keys: tuple[Key, ...]
    fill: Callable[[dict, Sequence], dict] = lambda given, earlier: {}

    def key(self, name: str) -> Key:
        """The key of that name."""
        return next(k for k in self.keys if k.name == name)

    def key_of(self, attr: str) -> Key:
        """The key that fills an attribute."""
        return next(k for k in self.keys if k.attr == attr)

    def make(self, given: dict, earlier: Sequence):
        """The row with these attributes, the rest as silence has it."""
        return self.cls(**{**self.fill(given, earlier), **given})


def _next_order(earlier: Sequence) -> int:
    return max((row.order_idx for row in earlier), default=-1) + 1


def _free_id(stem: str, earlier: Sequence) -> str:
    """``stem``, or ``stem-2``, ``stem-3`` ... where it is taken."""
    taken, number = {row.id for row in earlier}, 1
    while (name := stem if number == 1 else f"{stem}-{number}") in taken:
        number += 1
    return name


def _same_face(given: dict, earlier: Sequence) -> list:
    return [row for row in earlier if row.face_id == given.get("face_id")]


def _fill_room(given: dict, earlier: Sequence) -> dict:
    return {"name": given.get("id"), "order_idx": _next_order(earlier)}


def _fill_face(given: dict, earlier: Sequence) -> dict:
    same_room = [face for face in earlier if face.room_id == given.get("room_id")]
    return {"title": given.get("id"), "order_idx": _next_order(same_room)}


def _fill_covering(given: dict, earlier: Sequence) -> dict:
    return {
        "id": _free_id(f"{given.get('face_id')}-layer", earlier),
        "order_idx": _next_order(_same_face(given, earlier)),
    }


def _fill_stud(given: dict, earlier: Sequence) -> dict:
    return {"id": _free_id(f"{given.get('face_id')}-stud", earlier), "sigma_m": TAPE_SIGMA_M.value}


def _fill_circuit(given: dict, earlier: Sequence) -> dict:
    number = given.get("number", "")
    return {"id": number.replace(" ", ""), "poles": number.count("+") + 1}


def _key(name: str, kind: ValueKind, help: str, attr: str | None = None, **flags) -> Key:
    suffix = {LENGTH: "_m", STUD: "_m", ANGLE: "_rad"}.get(kind, "")
    return Key(name=name, attr=attr or name + suffix, kind=kind, help=help, **flags)


_ID = _key("id", TEXT, "short name of its own", required=True)
_OWN_ID = _key("id", TEXT, "short name of its own, if two would be alike")
_FACE = _key("face", TEXT, "id of the face it is on", attr="face_id", required=True)
_ORDER = _key("order", INTEGER, "place in the order, if not as entered", attr="order_idx")
_OFFSET = _key("offset", LENGTH, "from the left end of the face, seen from inside")
_HEIGHT = _key("height", LENGTH, "above the datum floor")
_DEPTH = _key("depth", LENGTH, "into the wall from the stud face; negative towards the room")
_SIGMA = _key("sigma", LENGTH, "one standard deviation of the taping")


def _required(key: Key) -> Key:
    return dataclasses.replace(key, required=True)


TABLES: tuple[Table, ...] = (
    Table(name="building", cls=Building, keys=(
        _key("name", TEXT, "the building's name", required=True),
        _key("unit", TEXT, "what a plain number means: in, ft, mm or m"),
        _key("note", TEXT, "anything"),
    )),
    Table(name="room", cls=Room, fill=_fill_room, keys=(
        _ID,
        _key("name", TEXT, "the room's name"),
        _ORDER,
        _key("origin_x", LENGTH, "left end of the first face in the building, x"),
        _key("origin_y", LENGTH, "left end of the first face in the building, y"),
        _key("floor_z", LENGTH, "datum floor of the room in the building"),
        _key("turn", ANGLE, "direction of the first face, counter-clockwise from building x"),
        _key("closed", YES_NO, "the last face ends where the first begins"),
        _key("finished_floor", LENGTH, "thickness of the finished floor", attr="finished_floor_thickness_m"),
    )),
    Table(name="face", cls=Face, fill=_fill_face, keys=(
        _ID,
        _key("room", TEXT, "id of its room", attr="room_id", required=True),
        _key("title", TEXT, "what people call it"),
        _key("kind", TEXT, "wall, ceiling or floor"),
        _ORDER,
        _key("length", LENGTH, "from its left to its right end", required=True),
        _key("height", LENGTH, "from the datum floor to its top", required=True),
        _key("corner", ANGLE, "inside angle at its right end"),
        _key("stud", STUD, "lumber or depth of the studs", attr="stud_depth_m"),
        _key("stud_width", LENGTH, "width of a stud along the face"),
        _key("spacing", LENGTH, "on-centre spacing of the studs"),
        _key("layout_from", TEXT, "the end the stud layout starts from: left or right"),
        _key("exterior", YES_NO, "its back is the outside of the building"),
        _key("open_behind", YES_NO, "its back was open too"),
        _key("sheathing", LENGTH, "thickness of the sheathing behind the studs"),
        _key("far_face", TEXT, "id of the face on the other side", attr="far_face_id"),
        _key("far_offset_sum", LENGTH, "offset of one spot here plus its offset on the far face"),
        _key("far_height_shift", LENGTH, "height on the far face less the height here"),
        _key("cover_up", DATE, "day the face was closed", attr="cover_up_date", kept=True),
    )),
    Table(name="stud", cls=Stud, fill=_fill_stud, keys=(
        _OWN_ID, _FACE,
        _key("center", LENGTH, "offset of its centre", required=True),
        _SIGMA,
        _key("width", LENGTH, "along the face"),
        _key("bottom", LENGTH, "height of its lower end"),
        _key("top", LENGTH, "height of its upper end, if below the top plate"),
        _key("source", TEXT, "taped or measured"),
    )),
    Table(name="opening", cls=Opening,
          fill=lambda given, earlier: {"id": _free_id(f"{given.get('face_id')}-{given.get('kind')}", earlier)}, keys=(
        _OWN_ID, _FACE,
        _key("kind", TEXT, "window, door or what it is", required=True),
        _key("left", LENGTH, "offset of its left edge", required=True),
        _key("right", LENGTH, "offset of its right edge", required=True),
        _key("bottom", LENGTH, "height of its lower edge", required=True),
        _key("top", LENGTH, "height of its upper edge", required=True),
    )),
    Table(name="covering", cls=Covering, fill=_fill_covering, keys=(
        _OWN_ID, _FACE, _ORDER,
        _key("material", TEXT, "what it is", required=True),
        _key("thickness", LENGTH, "of this layer", required=True),
        _key("date", DATE, "day it went on; silent: planned", kept=True),
    )),
    Table(name="marker", cls=Marker, keys=(
        _key("id", INTEGER, "number printed on the sheet", required=True),
        _FACE, _OFFSET, _HEIGHT, _DEPTH,
        _key("size", LENGTH, "outer edge of the black square"),
        _SIGMA,
        _key("dictionary", TEXT, "family of the marker"),
    )),
    Table(name="reference", cls=ReferencePoint, keys=(
        _ID, _FACE,
        _key("label", TEXT, "what it is"),
        _key("kind", TEXT, "taped mark, corner, opening corner"),
        _required(_OFFSET), _required(_HEIGHT), _DEPTH, _SIGMA,
        _key("sigma_depth", LENGTH, "one standard deviation of the depth"),
    )),
    Table(name="panel", cls=Panel, fill=lambda given, earlier: {"name": given.get("id")}, keys=(
        _ID,
        _key("name", TEXT, "what people call it"),
        _key("face", TEXT, "id of the face it is on", attr="face_id"),
        _key("amps", NUMBER, "of the main breaker"),
        _key("volts", NUMBER, "between its poles"),
        _key("spaces", INTEGER, "breaker positions in all"),
        _key("width", LENGTH, "of the enclosure"),
        _key("height", LENGTH, "of the enclosure"),
    )),
    Table(name="circuit", cls=Circuit, fill=_fill_circuit, keys=(
        _OWN_ID,
        _key("number", TEXT, "breaker position as printed: 2, or 1+3 for two poles", required=True),
        _key("panel", TEXT, "id of its panel", attr="panel_id"),
        _key("name", TEXT, "what it is for", required=True),
        _key("amps", NUMBER, "of the breaker"),
        _key("volts", NUMBER, "of the circuit"),
        _key("poles", INTEGER, "if not as the number says"),
        _key("cable", TEXT, "size and colour"),
        _key("feeds", TEXT, "what it feeds"),
        _key("state", TEXT, "planned, roughed in, terminated or spare"),
    )),
)  # fmt: skip

TABLE = {table.name: table for table in TABLES}
TABLE_OF = {table.cls: table for table in TABLES}
