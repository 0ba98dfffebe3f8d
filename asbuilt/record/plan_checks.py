"""Whether the parts of a plan agree with each other: names that exist, places on their face."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace

from asbuilt.geometry.layout import FaceLayout, closure_m
from asbuilt.record.plan_keys import TABLE_OF
from asbuilt.record.types import Circuit, Face, Item, Marker, Opening, Panel, ReferencePoint, Room, Stud
from asbuilt.record.wiring import Cable, Hole, TapedPlace
from asbuilt.units import format_length

# Common practice, no source: taped to 1/16 in, the walls of a room close within this; more
# is a misread tape or a corner that is not square.
CLOSURE_M = 0.05
# Common practice, no source: a marker or mark may stick out past the end of a face by this.
BEYOND_M = 0.10

REFERS: dict[str, type] = {
    "room_id": Room, "face_id": Face, "far_face_id": Face, "panel_id": Panel, "circuit_id": Circuit,
    "shares_neutral_id": Circuit, "fed_from_id": Circuit, "item_id": Item, "switch_id": Item, "load_id": Item,
    "cable_id": Cable,
}  # fmt: skip

Rows = dict[type, dict]  # type -> id -> row
Refuse = Callable[..., None]  # refuse(row, attr, text) raises


def check_names(rows: Rows, refuse: Refuse) -> None:
    """Every id that a row names is there."""
    for row in _all(rows):
        for attr, cls in REFERS.items():
            named = getattr(row, attr, None)
            if named is not None and named not in rows[cls]:
                known = ", ".join([*map(str, rows[cls])][:12]) or "there is none yet"
                refuse(row, attr, f"there is no {cls.__name__.lower()} {named!r}; known: {known}")


def check_places(rows: Rows, unit: str, refuse: Refuse) -> None:
    """Everything on a face lies on it."""
    for row, attr, is_height in _places(rows):
        face = rows[Face][row.face_id]
        value_m, most_m = getattr(row, attr), face.height_m if is_height else face.length_m
        if value_m is not None and not -BEYOND_M <= value_m <= most_m + BEYOND_M:
            size = f"{format_length(most_m, unit)} {'high' if is_height else 'long'}"
            refuse(row, attr, f"{format_length(value_m, unit)} is not on face {face.id}, which is {size}")


def _places(rows: Rows) -> Iterator[tuple]:
    """(row, attribute, whether it is a height) of every place on a face."""
    spots = (Marker, ReferencePoint, TapedPlace, Hole)
    along = {Opening: ("left_m", "right_m"), Stud: ("center_m",)} | dict.fromkeys(spots, ("offset_m",))
    up = {Opening: ("bottom_m", "top_m")} | dict.fromkeys(spots, ("height_m",))
    for attrs, is_height in ((along, False), (up, True)):
        for cls, names in attrs.items():
            yield from ((row, name, is_height) for row in rows[cls].values() for name in names)


def check_circuits(rows: Rows, refuse: Refuse) -> None:
    """No two circuits of a panel sit on one breaker position."""
    taken: dict[tuple, Circuit] = {}
    for circuit in rows[Circuit].values():
        for position in circuit.number.split("+"):
            other = taken.setdefault((circuit.panel_id, position.strip()), circuit)
            if other is not circuit:
                refuse(circuit, "number", f"breaker position {position.strip()} is taken by {other.name!r}")


def pair_far_faces(rows: Rows, refuse: Refuse) -> None:
    """Make the two faces of a wall name each other, and refuse a pair that disagrees."""
    for face in list(rows[Face].values()):
        if face.far_face_id is None:
            continue
        far = rows[Face][face.far_face_id]
        if face.far_offset_sum_m is None:
            refuse(
                face, "far_offset_sum_m", f"say what offset here plus offset on {far.id} make, of one and the same spot"
            )
        if far.id == face.id or far.far_face_id not in (None, face.id):
            refuse(face, "far_face_id", f"face {far.id} is not free: its far face is {far.far_face_id or 'itself'}")
        if far.stud_depth_m != face.stud_depth_m:
            refuse(face, "stud_depth_m", f"differs from that of {far.id}, the other side of the same studs")
        mirrored = replace(
            far,
            far_face_id=face.id,
            far_offset_sum_m=face.far_offset_sum_m,
            far_height_shift_m=-face.far_height_shift_m,
        )
        if far.far_face_id is not None and mirrored != far:
            refuse(face, "far_face_id", f"the far offset sum or height shift differs from what {far.id} says")
        rows[Face][far.id] = mirrored


def closure_notes(rows: Rows, unit: str) -> list[str]:
    """One line for each room whose walls, as taped, do not close."""
    notes = []
    for room in rows[Room].values():
        walls = sorted((f for f in rows[Face].values() if f.room_id == room.id), key=lambda f: f.order_idx)
        layouts = [
            FaceLayout(id=f.id, kind=f.kind, length_m=f.length_m, height_m=f.height_m, corner_rad=f.corner_rad)
            for f in walls
            if f.kind == "wall"
        ]
        if room.closed and len(layouts) > 2 and (miss_m := closure_m(layouts)) > CLOSURE_M:
            notes.append(
                f"room {room.id}: its walls miss closing by {format_length(miss_m, unit)}; check lengths and corners"
            )
    return notes


def _all(rows: Rows) -> Iterable:
    return (row for cls in TABLE_OF for row in rows[cls].values())
