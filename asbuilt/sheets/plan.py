"""The rooms from above: walls with their openings, which way each face is looked at, where pictures were taken."""

from __future__ import annotations

import math

import numpy as np

from asbuilt.answers.view import FaceView, View, view_of
from asbuilt.record import Record
from asbuilt.sheets.drawing import Circle, Drawing, Group, Line, Part, Point, Polyline, Text

MARGIN_M = 0.7
TITLE_M, NAME_M = 0.2, 0.16
INSIDE_M = 0.42  # how far a face's words stand off its wall
ARROW_M, HEAD_M = 0.26, 0.1
SIGHT_M = 0.22  # length of a picture's line of sight


def plan_sheet(record: Record) -> Drawing:
    """Draw every room from above, to scale, in the building's axes.

    Returns
    -------
    Drawing
        Layers: pictures, walls, faces. Each face's group has its id as key.
    """
    view = view_of(record)
    walls = [view.face(face_id) for ids in view.walls_of_rooms.values() for face_id in ids]
    corners = np.array([_at(w, x) for w in walls for x in (0.0, w.face.length_m)]).reshape(-1, 2)
    low, high = (corners.min(axis=0), corners.max(axis=0)) if len(corners) else (np.zeros(2), np.ones(2))
    parts = (
        Group(parts=tuple(_sight(view, i) for i in range(len(view.bank.ids))), layer="pictures"),
        Group(parts=tuple(_wall(w) for w in walls), layer="walls"),
        Group(parts=tuple(_face(view, w) for w in walls), layer="faces"),
    )
    return Drawing(
        left_m=float(low[0]) - MARGIN_M,
        right_m=float(high[0]) + MARGIN_M,
        bottom_m=float(low[1]) - MARGIN_M,
        top_m=float(high[1]) + MARGIN_M,
        title=f"{view.building.name} from above",
        description=f"{len(view.walls_of_rooms)} rooms, {len(walls)} walls, {len(view.bank.ids)} pictures placed.",
        parts=parts,
    )


def _at(wall: FaceView, offset_m: float, toward_room_m: float = 0.0) -> Point:
    """A place along a wall, seen from above."""
    place = wall.building_from_face.apply(np.array([offset_m, -toward_room_m, 0.0]))
    return float(place[0]), float(place[1])


def _wall(wall: FaceView) -> Group:
    """The wall as it stands, its depth to scale, broken at doors and thin at windows."""
    parts: list[Part] = []
    start_m = 0.0
    for opening in sorted(wall.openings, key=lambda o: o.left_m):
        parts.append(_solid(wall, start_m, opening.left_m))
        if opening.bottom_m > 0.1:  # a window: the wall goes on beneath it
            parts.append(Line(start_m=_at(wall, opening.left_m), end_m=_at(wall, opening.right_m), pen="opening cross"))
        start_m = opening.right_m
    parts.append(_solid(wall, start_m, wall.face.length_m))
    return Group(parts=tuple(parts), title=wall.face.title)


def _solid(wall: FaceView, left_m: float, right_m: float) -> Polyline:
    depth = -wall.face.stud_depth_m
    corners = (_at(wall, left_m), _at(wall, right_m), _at(wall, right_m, depth), _at(wall, left_m, depth))
    return Polyline(points_m=corners, pen="plan wall", closed=True)


def _face(view: View, wall: FaceView) -> Group:
    """An arrow at the wall from where it is seen, its name, its left end, and what is behind it."""
    face = wall.face
    middle_m = face.length_m / 2
    tail, tip = _at(wall, middle_m, INSIDE_M + ARROW_M), _at(wall, middle_m, INSIDE_M)
    aim = math.atan2(tip[1] - tail[1], tip[0] - tail[0])
    wings = [(tip[0] - HEAD_M * math.cos(aim + a), tip[1] - HEAD_M * math.sin(aim + a)) for a in (0.45, -0.45)]
    along = math.atan2(*np.subtract(_at(wall, 1.0), _at(wall, 0.0))[::-1])
    turn = along if -math.pi / 2 < along <= math.pi / 2 else along + math.pi  # never upside down
    name_at = _at(wall, middle_m, INSIDE_M + ARROW_M + 0.2)
    behind = view.far_faces.get(face.id)
    words = face.title if behind is None else f"{face.title} (behind it: {behind.title})"
    parts: list[Part] = [
        Line(start_m=tail, end_m=tip, pen="outline"),
        Polyline(points_m=(tip, *wings), pen="arrow", closed=True),
        Text(at_m=name_at, text=words, size_m=TITLE_M, pen="text bold", anchor="middle", turn_rad=turn),
        Text(at_m=_at(wall, 0.25, 0.28), text="0", size_m=NAME_M, pen="text soft", anchor="middle"),
    ]
    return Group(parts=tuple(parts), key=face.id, title=f"{face.title}, offsets from the end marked 0")


def _sight(view: View, number: int) -> Group:
    """Where a picture was taken from, and which way it looks."""
    bank = view.bank
    x, y = (float(v) for v in bank.center_m[number, :2])
    ahead = bank.rotation[number, 2, :2]  # the camera's forward axis in building axes
    reach = SIGHT_M / max(float(np.linalg.norm(ahead)), 1e-6)
    tip = (x + float(ahead[0]) * reach, y + float(ahead[1]) * reach)
    eye = Circle(center_m=(x, y), radius_m=0.035, pen="plan eye")
    return Group(parts=(Line(start_m=(x, y), end_m=tip, pen="plan sight"), eye), key=bank.ids[number])
