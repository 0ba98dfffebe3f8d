"""The record's geometry: faces in the building, placed cameras, studs of a face."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from scipy.spatial.transform import Rotation

from asbuilt.geometry.cameras import Camera, Lens
from asbuilt.geometry.frames import BUILDING, Rigid3, camera_frame, face_frame
from asbuilt.geometry.layout import FaceLayout
from asbuilt.geometry.layout import building_from_faces as lay_out
from asbuilt.geometry.studs import OpeningSpan, StudPlace, stud_lattice
from asbuilt.record.store import Record
from asbuilt.record.types import PLACED, Face, Opening, Picture, Placement, Room, Solution, Stud


def plan_building_from_faces(record: Record) -> dict[str, Rigid3]:
    """``building_from_face`` of every face as the plan has it."""
    placed: dict[str, Rigid3] = {}
    for room in record.all(Room):
        faces = sorted(record.all(Face, room_id=room.id), key=lambda f: f.order_idx)
        layouts = [
            FaceLayout(id=f.id, kind=f.kind, length_m=f.length_m, height_m=f.height_m, corner_rad=f.corner_rad)
            for f in faces
        ]
        origin_m = (room.origin_x_m, room.origin_y_m, room.floor_z_m)
        placed |= lay_out(layouts, origin_m, room.turn_rad)
    return placed


def building_from_faces(record: Record) -> dict[str, Rigid3]:
    """``building_from_face`` of every face: as solved by placing, else as planned."""
    placed = plan_building_from_faces(record)
    for solution in record.all(Solution):
        for face_id, pose in solution.report.get("building_from_face", {}).items():
            if face_id in placed:
                placed[face_id] = rigid_from_row(
                    BUILDING, face_frame(face_id), pose["quat_xyzw"], pose["translation_m"]
                )
    return placed


def rigid_from_row(target: str, source: str, quat_xyzw, translation_m) -> Rigid3:
    """A transform from its stored quaternion and translation."""
    return Rigid3(
        target=target,
        source=source,
        rotation=Rotation.from_quat(quat_xyzw).as_matrix(),
        translation_m=np.asarray(translation_m, dtype=float),
    )


def quat_xyzw(rotation: np.ndarray) -> tuple[float, ...]:
    """Quaternion (x, y, z, w) of a rotation matrix, w not negative."""
    return tuple(float(v) for v in Rotation.from_matrix(rotation).as_quat(canonical=True))


def camera_of(placement: Placement, picture: Picture) -> Camera:
    """The camera of a placed picture."""
    return Camera(
        lens=Lens.from_params(picture.width_px, picture.height_px, placement.lens),
        camera_from_building=rigid_from_row(
            camera_frame(picture.id), BUILDING, placement.quat_xyzw, placement.translation_m
        ),
    )


def cameras(record: Record) -> dict[str, Camera]:
    """Every placed picture's camera by picture id."""
    pictures = {p.id: p for p in record.all(Picture)}
    return {p.id: camera_of(p, pictures[p.id]) for p in record.all(Placement, status=PLACED) if p.id in pictures}


def studs_of(record: Record, face_id: str) -> list[StudPlace]:
    """Studs of a face from left to right: known centres where there are any, else the layout."""
    face = record.get(Face, face_id)
    return studs_from(face, record.all(Opening, face_id=face_id), record.all(Stud, face_id=face_id))


def studs_from(face: Face, openings: Iterable[Opening], studs: Iterable[Stud]) -> list[StudPlace]:
    """The studs of a face whose openings and known studs were read already."""
    spans = [OpeningSpan(left_m=o.left_m, right_m=o.right_m) for o in openings]
    known = [
        StudPlace(center_m=s.center_m, sigma_m=s.sigma_m, width_m=s.width_m, bottom_m=s.bottom_m, top_m=s.top_m,
                  source=s.source)
        for s in studs
    ]  # fmt: skip
    return stud_lattice(face.length_m, face.spacing_m, face.layout_from, face.stud_width_m, spans, known)
