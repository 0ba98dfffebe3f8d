"""Places whose position is known, marked in a picture, and how well they fit one camera."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from asbuilt.geometry.cameras import Lens
from asbuilt.geometry.resection import MIN_POINTS, resect
from asbuilt.record import Face, Media, Opening, Picture, Placement, Record, ReferencePoint, Sighting
from asbuilt.record.frames import building_from_faces
from asbuilt.units import format_length

EDGE_SIGMA_M = 0.00635  # a corner of a rough opening or of the room, 1/4 in: common practice, no source
POOR_RATIO = 4.0  # a point this many times its own error off does not fit; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """A place that can be pointed at: a reference point, or a corner that the plan gives."""

    point: ReferencePoint
    is_stored: bool
    words: str


def known_places(record: Record, face_id: str, unit: str) -> list[Known]:
    """The reference points of a face, then the corners of its openings and of the face itself."""
    stored = record.all(ReferencePoint, face_id=face_id)
    ids = {p.id for p in stored}
    face = record.get(Face, face_id)
    corners = [c for o in record.all(Opening, face_id=face_id) for c in _opening_corners(o)] + _face_corners(face)
    found = [_known(p, True, unit) for p in stored]
    return found + [_known(c, False, unit) for c in corners if c.id not in ids]


def _known(point: ReferencePoint, is_stored: bool, unit: str) -> Known:
    name = point.label or point.id
    where = f"{format_length(point.offset_m, unit)}, {format_length(point.height_m, unit)} up"
    return Known(point=point, is_stored=is_stored, words=f"{name} ({where})")


def _opening_corners(opening: Opening) -> list[ReferencePoint]:
    sides = {"left": opening.left_m, "right": opening.right_m}
    ends = {"bottom": opening.bottom_m, "top": opening.top_m}
    return [
        _corner(opening.face_id, f"{opening.id}-{side}-{end}", f"{opening.kind}, {end} {side} corner", x, z)
        for end, z in ends.items()
        for side, x in sides.items()
    ]


def _face_corners(face: Face) -> list[ReferencePoint]:
    sides, ends = {"left": 0.0, "right": face.length_m}, {"floor": 0.0, "ceiling": face.height_m}
    return [
        _corner(face.id, f"{face.id}-{side}-{end}", f"{side} end of the wall at the {end}", x, z)
        for end, z in ends.items()
        for side, x in sides.items()
    ]


def _corner(face_id: str, name: str, label: str, offset_m: float, height_m: float) -> ReferencePoint:
    return ReferencePoint(
        id=re.sub(r"[^A-Za-z0-9_+.-]+", "-", name)[:64],
        face_id=face_id,
        label=label,
        kind="corner",
        offset_m=offset_m,
        height_m=height_m,
        sigma_m=EDGE_SIGMA_M,
        sigma_depth_m=EDGE_SIGMA_M,
    )


def fit_data(record: Record, picture: Picture, unit: str) -> dict:
    """How well the known places marked in a picture fit one camera, as plain values.

    ``points`` holds each one's miss in pixels; ``words`` says it in a line. Nothing is
    stored: placing works on all pictures at once.
    """
    seen = record.all(Sighting, target="reference", picture_id=picture.id)
    points = {p.id: p for p in record.all(ReferencePoint, id=[s.target_id for s in seen])}
    poses = building_from_faces(record)
    if len(seen) < MIN_POINTS:
        words = f"{len(seen)} of the {MIN_POINTS} known places needed are marked"
        return {"count": len(seen), "fits": False, "words": words, "points": []}
    places_m = np.array([_building_m(points[s.target_id], poses) for s in seen])
    pixels = np.array([[s.x_px, s.y_px] for s in seen])
    spread_m = np.array([points[s.target_id].sigma_m for s in seen])
    found = resect(_lens(record, picture), places_m, pixels, np.array([s.sigma_px for s in seen]), spread_m)
    if not found:
        return {"count": len(seen), "fits": False, "words": found.reason, "points": []}
    in_camera = places_m @ found.rotation.T + found.translation_m
    miss = np.linalg.norm(_lens(record, picture).project(in_camera) - pixels, axis=1)
    px_per_m = _lens(record, picture).focal_px / in_camera[:, 2]
    allowed = np.hypot([s.sigma_px for s in seen], spread_m * px_per_m)
    worst = int(np.argmax(miss / allowed))
    name = points[seen[worst].target_id].label or seen[worst].target_id
    fits = bool(miss[worst] <= POOR_RATIO * allowed[worst])
    words = f"{len(seen)} known places; off by {np.sqrt((miss**2).mean()):.1f} px on average"
    words += f", most at {name}: {miss[worst]:.1f} px, {format_length(miss[worst] / px_per_m[worst], unit)} on the wall"
    if not fits:
        words += ". That one does not fit: check where it was marked and its taped place"
    listed = [{"id": s.target_id, "miss_px": round(float(m), 2)} for s, m in zip(seen, miss, strict=True)]
    return {"count": len(seen), "fits": fits, "words": words, "points": listed}


def _building_m(point: ReferencePoint, poses) -> np.ndarray:
    return poses[point.face_id].apply(np.array([point.offset_m, point.depth_m, point.height_m]))


def _lens(record: Record, picture: Picture) -> Lens:
    """The lens of a picture: as solved for it or its clip, else as its file says."""
    own = record.find(Placement, picture.id)
    if own is not None and own.lens:
        return Lens.from_params(picture.width_px, picture.height_px, own.lens)
    siblings = [p.id for p in record.all(Picture, media_id=picture.media_id)]
    solved = next((p for p in record.all(Placement, id=siblings) if p.lens), None)
    if solved is not None:
        return Lens.from_params(picture.width_px, picture.height_px, solved.lens)
    media = record.get(Media, picture.media_id)
    return Lens.from_prior(picture.width_px, picture.height_px, media.focal_prior_px)
