"""Faces in the building: a simple plan from lengths and corner angles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.geometry.frames import BUILDING, Rigid3, face_frame


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceLayout:
    """What the layout needs of one face; wall faces in clockwise order seen from above."""

    id: str
    kind: str
    length_m: float
    height_m: float
    corner_rad: float


def _face_at(face: FaceLayout, origin_m: np.ndarray, turn_rad: float) -> Rigid3:
    """building_from_face of a wall whose offset axis points along ``turn_rad``."""
    along = np.array([np.cos(turn_rad), np.sin(turn_rad), 0.0])
    into = np.array([-np.sin(turn_rad), np.cos(turn_rad), 0.0])
    return Rigid3(
        target=BUILDING,
        source=face_frame(face.id),
        rotation=np.stack([along, into, [0.0, 0.0, 1.0]], axis=1),
        translation_m=origin_m,
    )


def building_from_faces(
    faces: Sequence[FaceLayout], origin_m: Sequence[float] = (0, 0, 0), turn_rad: float = 0.0
) -> dict[str, Rigid3]:
    """Place the faces of one room.

    Walls follow each other clockwise: the right end of one is the left end of the next,
    turned by the corner's inside angle. The ceiling's offset runs as the first wall's, its
    "height" from that wall into the room; the floor's offset likewise, its "height"
    towards that wall, so that both read as a person facing the first wall sees them.

    Parameters
    ----------
    faces : sequence of FaceLayout
        Walls in order; a ceiling and a floor may be among them.
    origin_m : sequence of 3 floats
        Left end of the first wall at datum height, in the building [m].
    turn_rad : float
        Direction of the first wall's offset axis [rad].

    Returns
    -------
    dict
        Face id to ``building_from_face``.
    """
    start = np.asarray(origin_m, dtype=float)
    place, turn = start.copy(), turn_rad
    placed: dict[str, Rigid3] = {}
    for face in (f for f in faces if f.kind == "wall"):
        placed[face.id] = _face_at(face, place, turn)
        place = placed[face.id].apply(np.array([[face.length_m, 0.0, 0.0]]))[0]
        turn -= np.pi - face.corner_rad
    along = np.array([np.cos(turn_rad), np.sin(turn_rad), 0.0])
    inward = np.array([np.sin(turn_rad), -np.cos(turn_rad), 0.0])
    up = np.array([0.0, 0.0, 1.0])
    ceiling_m = max((f.height_m for f in faces if f.kind == "wall"), default=0.0)
    for face in (f for f in faces if f.kind != "wall"):
        if face.kind == "ceiling":
            axes, origin = (along, up, inward), start + up * ceiling_m
        else:
            axes, origin = (along, -up, -inward), start + inward * face.height_m
        placed[face.id] = Rigid3(
            target=BUILDING, source=face_frame(face.id), rotation=np.stack(axes, axis=1), translation_m=origin
        )
    return placed


def closure_m(faces: Sequence[FaceLayout]) -> float:
    """How far the end of the last wall misses the start of the first [m]."""
    walls = [f for f in faces if f.kind == "wall"]
    placed = building_from_faces(walls)
    last = walls[-1]
    end = placed[last.id].apply(np.array([[last.length_m, 0.0, 0.0]]))[0]
    return float(np.linalg.norm(end))


def far_face_point(
    points_near_m: np.ndarray, offset_sum_m: float, height_shift_m: float, stud_depth_m: float
) -> np.ndarray:
    """The same points seen from the other face of the wall.

    Parameters
    ----------
    points_near_m : ndarray of shape (N, 3)
        (offset, depth, height) on the near face [m].
    offset_sum_m : float
        Near offset plus far offset of one spot, the same for every spot [m].
    height_shift_m : float
        Far height minus near height [m].
    stud_depth_m : float
        Depth of the shared cavity [m].
    """
    points = np.asarray(points_near_m, dtype=float)
    return np.stack([offset_sum_m - points[:, 0], stud_depth_m - points[:, 1], points[:, 2] + height_shift_m], axis=1)
