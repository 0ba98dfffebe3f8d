"""A place on a face, and the things in it, drawn over the pictures that show it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.geometry.cameras import Camera
from asbuilt.geometry.frames import Rigid3
from asbuilt.record import Face, Picture, Record
from asbuilt.record.frames import building_from_faces, cameras

SAMPLES = 41  # of an upright line from floor to top
MOST_OBLIQUE = 0.26  # cosine: pictures taken at a flatter angle than 75 degrees are left out, no source
EDGE_SHARE = 0.02  # a place nearer than this to the edge of a picture is as good as outside


@dataclass(frozen=True, slots=True, kw_only=True)
class PictureMark:
    """Where a place on a face appears in one picture.

    ``line_px`` is the upright line at that offset, shape (N, 2), as far as the picture shows
    it; ``spot_px`` the place itself, None without a height. ``px_per_m`` says how large the
    wall is there and ``seen_share`` how much of the line is in view.
    """

    picture: Picture
    line_px: tuple[tuple[float, float], ...]
    spot_px: tuple[float, float] | None
    px_per_m: float
    seen_share: float


def picture_marks(
    record: Record, face_id: str, offset_m: float, height_m: float | None = None, most: int = 6
) -> list[PictureMark]:
    """The placed pictures that show a place best, with the place marked in each.

    Parameters
    ----------
    record : Record
    face_id : str
    offset_m : float
        From the left end of the face [m].
    height_m : float, optional
        Above the datum; without it the whole upright line is meant [m].
    most : int
        How many pictures at most.

    Returns
    -------
    list of PictureMark
        Best first; pictures of the open wall before those of the finished one.
    """
    face = record.get(Face, face_id)
    building_from_face = building_from_faces(record)[face_id]
    placed = cameras(record)
    marks = []
    for picture in record.all(Picture, id=list(placed)):
        mark = _mark(picture, placed[picture.id], building_from_face, face, offset_m, height_m)
        if mark is not None:
            marks.append(mark)
    return sorted(marks, key=_rank)[:most]


def _rank(mark: PictureMark) -> tuple:
    worth = mark.px_per_m * mark.seen_share * (0.3 if mark.picture.flags else 1.0)
    return (mark.picture.stage != "open", -worth)


def _mark(picture, camera: Camera, building_from_face: Rigid3, face: Face, offset_m, height_m) -> PictureMark | None:
    heights_m = np.linspace(0, face.height_m, SAMPLES)
    points_m = np.stack([np.full(SAMPLES, offset_m), np.zeros(SAMPLES), heights_m], axis=1)
    if height_m is not None:
        points_m = np.vstack([points_m, (offset_m, 0.0, height_m)])
    pixels = camera.project(building_from_face.apply(points_m))
    seen = _inside(pixels, picture)
    line = pixels[:SAMPLES][seen[:SAMPLES]]
    if (height_m is not None and not seen[-1]) or len(line) < SAMPLES // 8:
        return None
    at_m = points_m[-1] if height_m is not None else points_m[:SAMPLES][seen[:SAMPLES]].mean(axis=0)
    scale = _px_per_m(camera, building_from_face, at_m)
    if scale is None:
        return None
    return PictureMark(
        picture=picture,
        line_px=tuple((float(x), float(y)) for x, y in line),
        spot_px=None if height_m is None else (float(pixels[-1, 0]), float(pixels[-1, 1])),
        px_per_m=scale,
        seen_share=len(line) / SAMPLES,
    )


def _inside(pixels: np.ndarray, picture: Picture) -> np.ndarray:
    """Which pixels lie well inside a picture; NaN does not."""
    size = np.array([picture.width_px, picture.height_px])
    with np.errstate(invalid="ignore"):
        return ((pixels > EDGE_SHARE * size) & (pixels < (1 - EDGE_SHARE) * size)).all(axis=1)


def _px_per_m(camera: Camera, building_from_face: Rigid3, at_face_m: np.ndarray) -> float | None:
    """Pixels per metre along the face at a place; None from behind the face or too flat."""
    eye_m = building_from_face.inverse().apply(camera.center_building_m[None])[0]
    sight = at_face_m - eye_m
    distance_m = float(np.linalg.norm(sight))
    cosine = float(sight[1]) / max(distance_m, 1e-9)  # the face's y axis points into the wall
    if cosine < MOST_OBLIQUE:
        return None
    return camera.lens.focal_px / distance_m * cosine


def projected(camera: Camera, building_from_face: Rigid3, points_face_m: Sequence) -> list[tuple[float, float] | None]:
    """Pixels of face points (offset, depth, height), None where the picture does not reach."""
    pixels = camera.project(building_from_face.apply(np.asarray(points_face_m, dtype=float)))
    return [None if np.isnan(p).any() else (float(p[0]), float(p[1])) for p in pixels]


def place_seen(
    camera: Camera, building_from_face: Rigid3, pixel: tuple[float, float], depth_m: float = 0.0
) -> np.ndarray | None:
    """Where on a face a pixel's ray meets the plane at a depth: (offset, depth, height) [m].

    None where the ray runs away from the face or along it.
    """
    face_from_building = building_from_face.inverse()
    eye_m = face_from_building.apply(camera.center_building_m[None])[0]
    ray = face_from_building.rotate(camera.rays_building(np.array([pixel], dtype=float)))[0]
    if ray[1] < 1e-6 or eye_m[1] >= depth_m:
        return None
    return eye_m + ray * (depth_m - eye_m[1]) / ray[1]


def face_seen(
    camera: Camera, faces: Mapping[str, Face], building_from: Mapping[str, Rigid3], pixel: tuple[float, float]
) -> str | None:
    """The id of the face a pixel looks at: the nearest one whose rectangle its ray meets."""
    best, best_m = None, np.inf
    for face_id, face in faces.items():
        spot = place_seen(camera, building_from[face_id], pixel)
        if spot is None or not (-0.05 <= spot[0] <= face.length_m + 0.05 and -0.05 <= spot[2] <= face.height_m + 0.05):
            continue
        eye_m = building_from[face_id].inverse().apply(camera.center_building_m[None])[0]
        distance_m = float(np.linalg.norm(spot - eye_m))
        if distance_m < best_m:
            best, best_m = face_id, distance_m
    return best
