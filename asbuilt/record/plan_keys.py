"""What a plan file may say: its tables, their keys, and how each value is read and written.

The plan file, the building commands of the command line and the export share this one
list. A key is given once here with the attribute of the record's type that it fills.
"""

from __future__ import annotations

from collections.abc import Sequence

from asbuilt.record.plan_table import Table, free_id, key, next_order, required
from asbuilt.record.plan_values import ANGLE, DATE, INTEGER, LENGTH, NUMBER, STUD, TEXT, YES_NO
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
from asbuilt.record.wiring_keys import WIRING_TABLES
from asbuilt.sources import TAPE_SIGMA_M


def _same_face(given: dict, earlier: Sequence) -> list:
    return [row for row in earlier if row.face_id == given.get("face_id")]


def _fill_room(given: dict, earlier: Sequence) -> dict:
    return {"name": given.get("id"), "order_idx": next_order(earlier)}


def _fill_face(given: dict, earlier: Sequence) -> dict:
    same_room = [face for face in earlier if face.room_id == given.get("room_id")]
    return {"title": given.get("id"), "order_idx": next_order(same_room)}


def _fill_covering(given: dict, earlier: Sequence) -> dict:
    return {
        "id": free_id(f"{given.get('face_id')}-layer", earlier),
        "order_idx": next_order(_same_face(given, earlier)),
    }


def _fill_stud(given: dict, earlier: Sequence) -> dict:
    return {"id": free_id(f"{given.get('face_id')}-stud", earlier), "sigma_m": TAPE_SIGMA_M.value}


def _fill_circuit(given: dict, earlier: Sequence) -> dict:
    number = given.get("number", "")
    return {"id": number.replace(" ", ""), "poles": number.count("+") + 1}


_ID = key("id", TEXT, "short name of its own", required=True)
_OWN_ID = key("id", TEXT, "short name of its own, if two would be alike")
_FACE = key("face", TEXT, "id of the face it is on", attr="face_id", required=True)
_ORDER = key("order", INTEGER, "place in the order, if not as entered", attr="order_idx")
_OFFSET = key("offset", LENGTH, "from the left end of the face, seen from inside")
_HEIGHT = key("height", LENGTH, "above the datum floor")
_DEPTH = key("depth", LENGTH, "into the wall from the stud face; negative towards the room")
_SIGMA = key("sigma", LENGTH, "one standard deviation of the taping")



TABLES: tuple[Table, ...] = (
    Table(name="building", cls=Building, keys=(
        key("name", TEXT, "the building's name", required=True),
        key("unit", TEXT, "what a plain number means: in, ft, mm or m"),
        key("note", TEXT, "anything"),
        key("region", TEXT, "whose published figures the checks start from: us or uk"),
        key("occupancy", TEXT, "dwelling, or what it is"),
    )),
    Table(name="room", cls=Room, fill=_fill_room, keys=(
        _ID,
        key("name", TEXT, "the room's name"),
        _ORDER,
        key("origin_x", LENGTH, "left end of the first face in the building, x"),
        key("origin_y", LENGTH, "left end of the first face in the building, y"),
        key("floor_z", LENGTH, "datum floor of the room in the building"),
        key("turn", ANGLE, "direction of the first face, counter-clockwise from building x"),
        key("closed", YES_NO, "the last face ends where the first begins"),
        key("finished_floor", LENGTH, "thickness of the finished floor", attr="finished_floor_thickness_m"),
    )),
    Table(name="face", cls=Face, fill=_fill_face, keys=(
        _ID,
        key("room", TEXT, "id of its room", attr="room_id", required=True),
        key("title", TEXT, "what people call it"),
        key("kind", TEXT, "wall, ceiling or floor"),
        _ORDER,
        key("length", LENGTH, "from its left to its right end", required=True),
        key("height", LENGTH, "from the datum floor to its top", required=True),
        key("corner", ANGLE, "inside angle at its right end"),
        key("stud", STUD, "lumber or depth of the studs", attr="stud_depth_m"),
        key("stud_width", LENGTH, "width of a stud along the face"),
        key("spacing", LENGTH, "on-centre spacing of the studs"),
        key("layout_from", TEXT, "the end the stud layout starts from: left or right"),
        key("exterior", YES_NO, "its back is the outside of the building"),
        key("open_behind", YES_NO, "its back was open too"),
        key("sheathing", LENGTH, "thickness of the sheathing behind the studs"),
        key("far_face", TEXT, "id of the face on the other side", attr="far_face_id"),
        key("far_offset_sum", LENGTH, "offset of one spot here plus its offset on the far face"),
        key("far_height_shift", LENGTH, "height on the far face less the height here"),
        key("cover_up", DATE, "day the face was closed", attr="cover_up_date", kept=True),
        key("bearing", YES_NO, "it carries load from above"),
        key("rated", YES_NO, "it has to resist fire"),
        key("insulation", TEXT, "what fills the cavity: batt, spray foam, none"),
    )),
    Table(name="stud", cls=Stud, fill=_fill_stud, keys=(
        _OWN_ID, _FACE,
        key("center", LENGTH, "offset of its centre", required=True),
        _SIGMA,
        key("width", LENGTH, "along the face"),
        key("bottom", LENGTH, "height of its lower end"),
        key("top", LENGTH, "height of its upper end, if below the top plate"),
        key("source", TEXT, "taped or measured"),
    )),
    Table(name="opening", cls=Opening,
          fill=lambda given, earlier: {"id": free_id(f"{given.get('face_id')}-{given.get('kind')}", earlier)}, keys=(
        _OWN_ID, _FACE,
        key("kind", TEXT, "window, door or what it is", required=True),
        key("left", LENGTH, "offset of its left edge", required=True),
        key("right", LENGTH, "offset of its right edge", required=True),
        key("bottom", LENGTH, "height of its lower edge", required=True),
        key("top", LENGTH, "height of its upper edge", required=True),
    )),
    Table(name="covering", cls=Covering, fill=_fill_covering, keys=(
        _OWN_ID, _FACE, _ORDER,
        key("material", TEXT, "what it is", required=True),
        key("thickness", LENGTH, "of this layer", required=True),
        key("date", DATE, "day it went on; silent: planned", kept=True),
    )),
    Table(name="marker", cls=Marker, keys=(
        key("id", INTEGER, "number printed on the sheet", required=True),
        _FACE, _OFFSET, _HEIGHT, _DEPTH,
        key("size", LENGTH, "outer edge of the black square"),
        _SIGMA,
        key("dictionary", TEXT, "family of the marker"),
    )),
    Table(name="reference", cls=ReferencePoint, keys=(
        _ID, _FACE,
        key("label", TEXT, "what it is"),
        key("kind", TEXT, "taped mark, corner, opening corner"),
        required(_OFFSET), required(_HEIGHT), _DEPTH, _SIGMA,
        key("sigma_depth", LENGTH, "one standard deviation of the depth"),
    )),
    Table(name="panel", cls=Panel, fill=lambda given, earlier: {"name": given.get("id")}, keys=(
        _ID,
        key("name", TEXT, "what people call it"),
        key("face", TEXT, "id of the face it is on", attr="face_id"),
        key("amps", NUMBER, "of the main breaker"),
        key("volts", NUMBER, "between its poles"),
        key("spaces", INTEGER, "breaker positions in all"),
        key("width", LENGTH, "of the enclosure"),
        key("height", LENGTH, "of the enclosure"),
        key("fed_from", TEXT, "id of the circuit that feeds it, for a subpanel", attr="fed_from_id"),
        key("feeder", TEXT, "size and kind of its feeder cable"),
        key("main", TEXT, "main breaker, main lugs"),
    )),
    Table(name="circuit", cls=Circuit, fill=_fill_circuit, keys=(
        _OWN_ID,
        key("number", TEXT, "breaker position as printed: 2, or 1+3 for two poles", required=True),
        key("panel", TEXT, "id of its panel", attr="panel_id"),
        key("name", TEXT, "what it is for", required=True),
        key("amps", NUMBER, "of the breaker"),
        key("volts", NUMBER, "of the circuit"),
        key("poles", INTEGER, "if not as the number says"),
        key("cable", TEXT, "size and colour"),
        key("feeds", TEXT, "what it feeds"),
        key("state", TEXT, "planned, roughed in, terminated or spare"),
        key("protection", TEXT, "GFCI, AFCI, 30 mA RCD"),
        key("shares_neutral_with", TEXT, "id of the other half of a multiwire pair", attr="shares_neutral_id"),
        key("tied", YES_NO, "both halves of the pair are switched off together"),
        key("continuous", YES_NO, "its load may stay on for three hours or more"),
    )),
    *WIRING_TABLES,
)  # fmt: skip

TABLE = {table.name: table for table in TABLES}
TABLE_OF = {table.cls: table for table in TABLES}
