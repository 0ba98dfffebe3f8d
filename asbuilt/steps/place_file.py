"""File placed pictures under the face they look at."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from asbuilt.geometry.planes import Plane, first_met
from asbuilt.record import Face, Marker, Picture, Record
from asbuilt.record.frames import building_from_faces, cameras


def file_placed(record: Record, markers_seen: dict[str, list[int]]) -> None:
    """File every picture that is not filed by hand: by the wall its middle meets, else by its marker sheets.

    Parameters
    ----------
    record : Record
    markers_seen : dict
        Picture id to the ids of the marker sheets in it.
    """
    faces = {f.id: f for f in record.all(Face)}
    poses = building_from_faces(record)
    planes = {f.id: Plane(building_from_face=poses[f.id], length_m=f.length_m, height_m=f.height_m, depth_m=0.0)
              for f in faces.values()}  # fmt: skip
    placed = cameras(record)
    face_of_marker = {m.id: m.face_id for m in record.all(Marker)}
    for picture in record.all(Picture):
        if picture.filed_by == "hand":
            continue
        face_id, how = None, ""
        if picture.id in placed:
            face_id, how = _looked_at(placed[picture.id], planes), "place"
        if face_id is None:
            seen = Counter(face_of_marker[m] for m in markers_seen.get(picture.id, []) if m in face_of_marker)
            face_id, how = (seen.most_common(1)[0][0], "marker") if seen else (None, "")
        if face_id is not None and (face_id, how) != (picture.face_id, picture.filed_by):
            record.put(replace(picture, face_id=face_id, room_id=faces[face_id].room_id, filed_by=how))


def _looked_at(camera, planes: dict[str, Plane]) -> str | None:
    return first_met(planes, camera.center_building_m, camera.camera_from_building.rotation[2])
