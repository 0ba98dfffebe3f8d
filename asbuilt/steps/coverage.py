"""Coverage: for each square inch of each face, how well the placed pictures show it.

Only pictures that were placed and taken before the face was covered count. The result is
one Coverage row a face; a face is worked out again only when something it depends on changed.
"""

from __future__ import annotations

import hashlib
import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

import numpy as np
from tqdm import tqdm

from asbuilt.geometry.cameras import Camera
from asbuilt.geometry.frames import Rigid3
from asbuilt.geometry.planes import Plane
from asbuilt.geometry.studs import StudPlace
from asbuilt.record.frames import building_from_faces, camera_of, studs_of
from asbuilt.record.joint import JointCovariance, joint_covariances
from asbuilt.record.store import Record, now
from asbuilt.record.types import PLACED, Coverage, Face, Opening, Picture, Placement
from asbuilt.steps.filing import covered_on
from asbuilt.steps.read_off import read_off_sigma_m
from asbuilt.steps.sight import CELL_M, Cells, cells_of, may_see, sight_of

VERSION = 3
SIGMA_PX = 1.5  # a careful click (common practice, no source)
INCH_M = 0.0254
ERROR_STEP_M = 0.0002
NO_PICTURE = 65535
LAYERS = {
    "count": "placed pictures that see the cell, 255 or more as 255",
    "resolution": "px per inch in the best of them",
    "obliquity": "degrees off square-on in the best of them",
    "light": "mean brightness of the best of them, 255 white",
    "sharpness": "sharpness of the best of them, 255 sharp",
    "error": "one-sigma error of a spot clicked there in the best of them, in 0.2 mm",
    "picture_low": "number of the best picture in picture_ids, low byte",
    "picture_high": "the same, high byte; 65535: none",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverageOptions:
    """``force`` works every face out again, changed or not."""

    force: bool = False
    progress: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceReport:
    """What was done for one face."""

    face_id: str
    picture_count: int
    recomputed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverageReport:
    """What was done for all faces."""

    faces: tuple[FaceReport, ...]

    def to_json(self) -> dict:
        """As plain values."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedPicture:
    """A picture that counts, with its camera and the joint covariance of the solution that placed it."""

    picture: Picture
    placement: Placement
    camera: Camera
    joint: JointCovariance | None


def run(record: Record, options: CoverageOptions = CoverageOptions()) -> CoverageReport:
    """Bring the coverage of every face up to date."""
    started_at, poses, joints = now(), building_from_faces(record), joint_covariances(record)
    pictures = {p.id: p for p in record.all(Picture, stage="open")}
    placed = [
        PlacedPicture(
            picture=pictures[p.id], placement=p, camera=camera_of(p, pictures[p.id]), joint=joints.get(p.solution_id)
        )  # fmt: skip
        for p in record.all(Placement, status=PLACED)
        if p.id in pictures
    ]
    faces, reports = {f.id: f for f in record.all(Face)}, []
    for face in tqdm(faces.values(), desc="coverage", unit="face", disable=not options.progress):
        reports.append(_face(record, site_of(face, faces, poses), placed, options.force))
    report = CoverageReport(faces=tuple(reports))
    if any(r.recomputed for r in reports):
        record.add_step_report("coverage", started_at, report.to_json())
    return report


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Site:
    """A face, where it stands, the walls of its room, and the rooms it is seen from."""

    face: Face
    building_from_face: Rigid3
    walls: tuple[Plane, ...]
    room_ids: tuple[str, ...]


def site_of(face: Face, faces: Mapping[str, Face], poses: Mapping[str, Rigid3]) -> Site:
    """A face among all faces. Where other rooms lie need not be known: only its own stands in the way."""
    far = faces.get(face.far_face_id) if face.open_behind else None
    walls = tuple(
        Plane(building_from_face=poses[o.id], length_m=o.length_m, height_m=o.height_m, depth_m=0.0)
        for o in faces.values()
        if o.room_id == face.room_id and o.id != face.id
    )
    rooms = (face.room_id,) if far is None else (face.room_id, far.room_id)
    return Site(face=face, building_from_face=poses[face.id], walls=walls, room_ids=rooms)


def _face(record: Record, site: Site, placed: Sequence[PlacedPicture], force: bool) -> FaceReport:
    face, closed = site.face, covered_on(record, site.face)
    counted = [
        p for p in placed
        if p.picture.room_id in (None, *site.room_ids) and _before(p.picture, closed)
        and may_see(p.camera, site.building_from_face, face)
    ]  # fmt: skip
    counted.sort(key=lambda p: p.picture.id)
    studs = studs_of(record, face.id)
    input_hash = _input_hash(site, studs, record.all(Opening, face_id=face.id), counted)
    kept = record.find(Coverage, face.id)
    if kept is not None and kept.input_hash == input_hash and not force:
        return FaceReport(face_id=face.id, picture_count=len(counted), recomputed=False)
    cells = cells_of(face, studs)
    grid = best_views(site, cells, counted)
    record.put(
        Coverage(
            id=face.id, created_at=now(), cell_m=CELL_M, rows=cells.rows, cols=cells.cols,
            layers=LAYERS | {"picture_ids": [p.picture.id for p in counted]},
            grid=zlib.compress(grid.tobytes(), 6), input_hash=input_hash,
        )
    )  # fmt: skip
    return FaceReport(face_id=face.id, picture_count=len(counted), recomputed=True)


def _before(picture: Picture, closed_on: str | None) -> bool:
    return not (closed_on and picture.taken_at) or picture.taken_at[:10] <= closed_on


def _input_hash(site: Site, studs: Sequence[StudPlace], openings, counted: Sequence[PlacedPicture]) -> str:
    parts = [VERSION, asdict(site.face), [[w.length_m, w.height_m] for w in site.walls]]
    for pose in (site.building_from_face, *(w.building_from_face for w in site.walls)):
        parts += [pose.rotation.tolist(), pose.translation_m.tolist()]
    parts += [asdict(s) for s in studs] + [asdict(o) for o in openings]
    for p in counted:
        parts += [asdict(p.placement), p.picture.sharpness, p.picture.light, p.picture.flags]
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()


def layers_of(coverage: Coverage) -> dict[str, np.ndarray]:
    """The layers of a stored row by name, each uint8 of shape (rows, cols), row 0 at the floor."""
    flat = np.frombuffer(zlib.decompress(coverage.grid), np.uint8)
    return dict(zip(LAYERS, flat.reshape(len(LAYERS), coverage.rows, coverage.cols), strict=True))


def best_views(site: Site, cells: Cells, counted: Sequence[PlacedPicture]) -> np.ndarray:
    """The layers of a face, uint8 of shape (8, rows, cols).

    Things lie anywhere from the stud face to where cable usually is. Toward the rim of a picture
    it may show one of the two and not the other, so each cell keeps what the worse of both offers.
    """
    face, pose, front = site.face, site.building_from_face, cells.at_front()
    inside, before = _best(site, cells, counted), _best(site, front, counted)
    worse = before.score < inside.score
    best = np.where(worse, before.number, inside.number)
    resolution = np.where(worse, before.resolution_px_per_m, inside.resolution_px_per_m)
    obliquity = np.where(worse, before.obliquity_rad, inside.obliquity_rad)
    points = np.where(worse[:, None], front.points_m, cells.points_m)
    light, sharp, error = (np.zeros(len(best)) for _ in range(3))
    for number, placed in enumerate(counted):
        index = np.flatnonzero(best == number)
        if len(index):
            light[index] = 255 * _light(placed.picture)
            sharp[index] = 255 * _sharpness(placed.picture)
            seen_by = placed.joint, placed.placement, placed.camera
            error[index] = read_off_sigma_m(*seen_by, face.id, pose, points[index], SIGMA_PX) / ERROR_STEP_M
    layers = [np.minimum(inside.count, before.count), resolution * INCH_M, np.rad2deg(obliquity)]
    layers += [light, sharp, np.ceil(error), best & 255, best >> 8]
    stack = np.stack([np.clip(np.rint(layer), 0, 255) for layer in layers]).astype(np.uint8)
    return stack.reshape(len(layers), cells.rows, cells.cols)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Best:
    """Of each cell, how many pictures see it and what the best of them offers; 0 where none does."""

    count: np.ndarray
    number: np.ndarray
    score: np.ndarray
    resolution_px_per_m: np.ndarray
    obliquity_rad: np.ndarray


def _best(site: Site, cells: Cells, counted: Sequence[PlacedPicture]) -> _Best:
    size = cells.rows * cells.cols
    count, best = np.zeros(size, int), np.full(size, NO_PICTURE)
    score, resolution, obliquity = np.zeros(size), np.zeros(size), np.zeros(size)
    for number, placed in enumerate(counted):
        sight = sight_of(placed.camera, site.building_from_face, site.face, cells, site.walls)
        count[sight.index] += 1
        value = sight.resolution_px_per_m * _quality(placed.picture)
        better = value > score[sight.index]
        index = sight.index[better]
        score[index], best[index] = value[better], number
        resolution[index] = sight.resolution_px_per_m[better]
        obliquity[index] = sight.obliquity_rad[better]
    return _Best(count=count, number=best, score=score, resolution_px_per_m=resolution, obliquity_rad=obliquity)


def _quality(picture: Picture) -> float:
    return max(_sharpness(picture), 0.05) * float(np.clip(_light(picture) / 0.25, 0.1, 1.0))


def _sharpness(picture: Picture) -> float:
    known = 0.8 if picture.sharpness is None else picture.sharpness
    return min(known, 0.2) if "blurred" in picture.flags else known


def _light(picture: Picture) -> float:
    known = 0.4 if picture.light is None else picture.light
    return min(known, 0.08) if "dark" in picture.flags else known
