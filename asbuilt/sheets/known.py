"""Places whose position is known that a person can point at in a picture."""

from __future__ import annotations

import re
from dataclasses import dataclass

from asbuilt.answers.view import View, view_of
from asbuilt.record import Face, Opening, Record, ReferencePoint
from asbuilt.record.types import STUD_LINE
from asbuilt.units import format_length

EDGE_SIGMA_M = 0.00635  # a corner of a rough opening or of the room, 1/4 in: common practice, no source
PLATE_PROUD_M = 0.005  # a cover plate's face before the finished face: common practice, no source
PLATE_SIGMA_M = 0.003  # how far off its box a plate's middle sits, 1/8 in: common practice, no source
PLATE_KIND, PLATE_ID = "cover plate", "plate-"
PLATED = ("device box", "junction box", "panel")


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """A place that can be pointed at: a reference point, or one that the record gives."""

    point: ReferencePoint
    is_stored: bool
    words: str


def known_places(record: Record, face_id: str, unit: str, finished: bool = False) -> list[Known]:
    """The places of a face that can be known again in a picture of it.

    Of an open wall: its reference points, the corners of its openings and its own. Of a
    finished one: what is still to be seen, cover plates and corners on the finished face.
    """
    view = view_of(record)
    face = view.face(face_id).face
    depth_m = -view.covering_m(face_id) if finished else 0.0
    ending = "-finished" if finished else ""
    corners = [c for o in view.face(face_id).openings for c in _opening_corners(o, depth_m, ending)]
    given = _plates(view, face_id, depth_m) + corners if finished else corners
    given += _face_corners(face, depth_m, ending)
    stored = [p for p in record.all(ReferencePoint, face_id=face_id) if p.kind != STUD_LINE and _is_of(p, finished)]
    given_ids = {c.id for c in given}
    found = [_known(p, True, unit) for p in stored if p.id not in given_ids]
    stored_ids = {p.id for p in stored}
    return found + [_known(c, c.id in stored_ids, unit) for c in given]


def current(record: Record, point: ReferencePoint) -> ReferencePoint:
    """A stored place as it is known now: a cover plate moves with what is known of its box."""
    if point.kind != PLATE_KIND:
        return point
    view = view_of(record)
    plates = _plates(view, point.face_id, -view.covering_m(point.face_id))
    return next((p for p in plates if p.id == point.id), point)


def _is_of(point: ReferencePoint, finished: bool) -> bool:
    """Whether a stored place is to be seen on the wall as it is: bare, or finished."""
    on_finished = point.kind == PLATE_KIND or point.id.endswith("-finished")
    return on_finished == finished


def _known(point: ReferencePoint, is_stored: bool, unit: str) -> Known:
    name = point.label or point.id
    where = f"{format_length(point.offset_m, unit)}, {format_length(point.height_m, unit)} up"
    return Known(point=point, is_stored=is_stored, words=f"{name} ({where})")


def _plates(view: View, face_id: str, depth_m: float) -> list[ReferencePoint]:
    """The middles of the cover plates of a face's boxes."""
    found = []
    for thing in view.things_on(face_id):
        if thing.kind.name in PLATED and thing.block is not None and not thing.on_far_face:
            spread_m = float(max(thing.block.cov[0, 0], thing.block.cov[1, 1])) ** 0.5
            found.append(
                ReferencePoint(
                    id=_slug(f"{PLATE_ID}{thing.item.id}"),
                    face_id=face_id,
                    label=f"middle of the cover of {thing.item.label or thing.kind.name}",
                    kind=PLATE_KIND,
                    offset_m=float(thing.block.center_m[0]),
                    height_m=float(thing.block.center_m[1]),
                    depth_m=depth_m - PLATE_PROUD_M,
                    sigma_m=(spread_m**2 + PLATE_SIGMA_M**2) ** 0.5,
                    sigma_depth_m=PLATE_PROUD_M,
                )
            )
    return found


def _opening_corners(opening: Opening, depth_m: float, ending: str) -> list[ReferencePoint]:
    sides = {"left": opening.left_m, "right": opening.right_m}
    ends = {"bottom": opening.bottom_m, "top": opening.top_m}
    return [
        _corner(
            opening.face_id, f"{opening.id}-{side}-{end}{ending}", f"{opening.kind}, {end} {side} corner", x, z, depth_m
        )
        for end, z in ends.items()
        for side, x in sides.items()
    ]


def _face_corners(face: Face, depth_m: float, ending: str) -> list[ReferencePoint]:
    sides, ends = {"left": 0.0, "right": face.length_m}, {"floor": 0.0, "ceiling": face.height_m}
    return [
        _corner(face.id, f"{face.id}-{side}-{end}{ending}", f"{side} end of the wall at the {end}", x, z, depth_m)
        for end, z in ends.items()
        for side, x in sides.items()
    ]


def _corner(face_id: str, name: str, label: str, offset_m: float, height_m: float, depth_m: float) -> ReferencePoint:
    return ReferencePoint(
        id=_slug(name),
        face_id=face_id,
        label=label,
        kind="corner",
        offset_m=offset_m,
        height_m=height_m,
        depth_m=depth_m,
        sigma_m=EDGE_SIGMA_M,
        sigma_depth_m=EDGE_SIGMA_M,
    )


def _slug(name: str) -> str:
    return re.sub(r"[^A-Za-z0-9_+.-]+", "-", name)[:64]
