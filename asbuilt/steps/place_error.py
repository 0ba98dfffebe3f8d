"""How well a spot can be located along each face, and which further reference would help most."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np

from asbuilt.geometry.intersect import Seen, intersect, linearise
from asbuilt.record import Marker, Record, ReferencePoint
from asbuilt.record.joint import JointCovariance
from asbuilt.record.types import STUD_LINE
from asbuilt.sources import CLICK_SIGMA_PX, TAPE_SIGMA_M
from asbuilt.steps.locate_solve import Scene, scene_of

STEP_M = 0.6
HEIGHTS_SHARE = (0.15, 0.45, 0.75)  # of the face's height
PICTURES = 3  # pictures a spot is imagined to be sighted in
EDGE_PX = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorAt:
    """One-sigma errors of a spot sighted in a few pictures; ``pictures`` 0: nothing placed shows it."""

    offset_m: float
    height_m: float
    sigma_offset_m: float
    sigma_height_m: float
    pictures: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceError:
    """Errors along one face, and what one more taped mark at the worst spot would make of it."""

    face_id: str
    title: str
    pictures: int
    references: int
    along: tuple[ErrorAt, ...]
    typical_m: float | None = None
    worst_m: float | None = None
    worst_offset_m: float | None = None
    worst_with_mark_m: float | None = None

    def to_json(self) -> dict:
        """As plain values."""
        return asdict(self)


def face_errors(record: Record) -> list[FaceError]:
    """Errors along every wall of a placed record."""
    scene = scene_of(record)
    solution = next(iter(scene.joint), None)
    if solution is None:
        return []
    taped = _taped_per_face(record)
    return [
        _face_error(scene, face_id, solution, taped.get(face_id, 0))
        for face_id, face in scene.faces.items()
        if face.kind == "wall"
    ]


def _taped_per_face(record: Record) -> dict[str, int]:
    counts: dict[str, int] = {}
    for marker in record.all(Marker):
        if marker.offset_m is not None and marker.height_m is not None:
            counts[marker.face_id] = counts.get(marker.face_id, 0) + 1
    for point in record.all(ReferencePoint):
        if point.kind != STUD_LINE:
            counts[point.face_id] = counts.get(point.face_id, 0) + 1
    return counts


def _face_error(scene: Scene, face_id: str, solution_id: str, references: int) -> FaceError:
    face = scene.faces[face_id]
    joint = scene.joint[solution_id]
    offsets = np.linspace(0.1, face.length_m - 0.1, max(2, round(face.length_m / STEP_M) + 1))
    along, seen_at = [], {}
    for offset_m in offsets:
        for share in HEIGHTS_SHARE:
            place = np.array([offset_m, 0.5 * face.stud_depth_m, share * face.height_m])
            error, seen = _error_at(scene, joint, face_id, place)
            along.append(error)
            seen_at[len(along) - 1] = (place, seen)
    known = [(k, e) for k, e in enumerate(along) if e.pictures]
    pictures = len({i for _, seen in seen_at.values() for i in seen})
    if not known:
        return FaceError(face_id=face_id, title=face.title, pictures=0, references=references, along=tuple(along))
    worst = max(known, key=lambda pair: pair[1].sigma_offset_m)
    place, seen = seen_at[worst[0]]
    return FaceError(
        face_id=face_id,
        title=face.title,
        pictures=pictures,
        references=references,
        along=tuple(along),
        typical_m=float(np.median([e.sigma_offset_m for _, e in known])),
        worst_m=worst[1].sigma_offset_m,
        worst_offset_m=worst[1].offset_m,
        worst_with_mark_m=_with_mark(scene, joint, face_id, place, seen),
    )


def _error_at(scene: Scene, joint: JointCovariance, face_id: str, place: np.ndarray) -> tuple[ErrorAt, list[str]]:
    best = _best_views(scene, face_id, place)
    if not best:
        nothing = ErrorAt(
            offset_m=float(place[0]), height_m=float(place[2]), sigma_offset_m=0.0, sigma_height_m=0.0, pictures=0
        )
        return nothing, []
    seen, covariance, face_slot = _imagined(scene, joint, face_id, place, best)
    found = intersect(
        seen, scene.poses[face_id], covariance, face_slot, place[1], scene.faces[face_id].stud_depth_m / 2
    )
    sigma = np.sqrt(np.diag(found.covariance))
    error = ErrorAt(
        offset_m=float(place[0]), height_m=float(place[2]), sigma_offset_m=float(sigma[0]),
        sigma_height_m=float(sigma[2]), pictures=len(best),
    )  # fmt: skip
    return error, best


def _best_views(scene: Scene, face_id: str, place: np.ndarray) -> list[str]:
    """Pictures that see a spot: the nearest to square on first, spread in viewpoint."""
    point = scene.poses[face_id].apply(place)
    into = scene.poses[face_id].rotation[:, 1]
    views = []
    for picture_id, camera in scene.cameras.items():
        line = point - camera.center_building_m
        squareness = float(line @ into / np.linalg.norm(line))
        if squareness > 0.5 and np.linalg.norm(line) < 6.0:
            pixel = camera.project(point[None])
            if np.isfinite(pixel).all() and camera.lens.inside(pixel, EDGE_PX)[0]:
                views.append((squareness, picture_id))
    views.sort(reverse=True)
    return [picture_id for _, picture_id in views[:: max(1, len(views) // PICTURES)]][:PICTURES]


def _imagined(scene: Scene, joint: JointCovariance, face_id: str, place: np.ndarray, picture_ids: list[str]):
    placements = [scene.placements[i] for i in picture_ids]
    covariance, camera_slots, lens_slots, face_slot = joint.block(placements, face_id)
    point = scene.poses[face_id].apply(place)[None]
    seen = [
        Seen(
            camera=scene.cameras[i], camera_slot=c, lens_slot=n,
            xy_px=scene.cameras[i].project(point)[0], sigma_px=CLICK_SIGMA_PX.value,
        )
        for i, c, n in zip(picture_ids, camera_slots, lens_slots, strict=True)
    ]  # fmt: skip
    return seen, covariance, face_slot


def _with_mark(scene: Scene, joint: JointCovariance, face_id: str, place: np.ndarray, picture_ids: list[str]) -> float:
    """Sigma of the spot's offset [m] if a mark at it were taped and clicked in the same pictures.

    The mark's pixels are one more observation of the cameras, lenses and the face: a Kalman
    update of their covariance.
    """
    seen, covariance, face_slot = _imagined(scene, joint, face_id, place, picture_ids)
    _, by_place, by_joint = linearise(seen, scene.poses[face_id], place, len(covariance), face_slot)
    noise = np.diag(np.repeat([s.sigma_px**2 for s in seen], 2)) + TAPE_SIGMA_M.value**2 * by_place @ by_place.T
    gain = covariance @ by_joint.T @ np.linalg.inv(by_joint @ covariance @ by_joint.T + noise)
    tightened = covariance - gain @ by_joint @ covariance
    found = intersect(seen, scene.poses[face_id], tightened, face_slot, place[1], scene.faces[face_id].stud_depth_m / 2)
    return float(np.sqrt(found.covariance[0, 0]))
