"""Cover plates found in a photo of a finished wall, each with the box that it should cover."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import cv2
import numpy as np

from asbuilt.answers.view import view_of
from asbuilt.errors import FailedEstimate
from asbuilt.geometry.cameras import Lens
from asbuilt.geometry.frames import Rigid3
from asbuilt.geometry.resection import MIN_POINTS
from asbuilt.imaging.plates import Patch, patches
from asbuilt.record import Picture, Record, ReferencePoint, Sighting
from asbuilt.record.frames import building_from_faces
from asbuilt.record.pixels import read_picture
from asbuilt.sheets.fit import lens_of
from asbuilt.sheets.known import PLATE_ID, PLATE_KIND, known_places

AIM_PX = 4.0  # one-sigma error of a patch's middle: measured on rendered finished walls at 3000 px
MOST_PATCHES, MOST_PLATES = 14, 9  # beyond these the trials take too long for a page
APART_M = 0.25  # plates this far apart to the side or in height keep their order in an upright photo
NEAR_SHARE = 0.012  # of the photo's longer side: a patch this near to where a plate should be is it
SIZE_RATIO = (0.55, 1.9)  # seen height of a patch to that of the box it should cover
DISTANCE_M = (0.4, 9.0)  # of the camera from the wall
MOST_ROLL_RAD = 0.35
CLEARER = 2.5  # the next best reading must fit this many times worse; our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A known place and where it seems to be in the photo [px]; a person takes it or not."""

    point: ReferencePoint
    x_px: float
    y_px: float
    sigma_px: float = AIM_PX

    def sighting(self, picture: Picture, author: str) -> Sighting:
        """The mark that it becomes once it is taken."""
        return Sighting(
            id=f"{self.point.id}@{picture.id}",
            target="reference",
            target_id=self.point.id,
            picture_id=picture.id,
            place=self.point.id,
            x_px=self.x_px,
            y_px=self.y_px,
            sigma_px=self.sigma_px,
            author=author,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Scene:
    """The plates of one face, and the patches of the photo as directions."""

    points: tuple[ReferencePoint, ...]
    places_m: np.ndarray  # (N, 3) in the face frame
    heights_m: np.ndarray  # (N,) of the boxes; 0 where not known
    patches: tuple[Patch, ...]
    pixels: np.ndarray  # (M, 2)
    bearings: np.ndarray  # (M, 2) at unit depth
    lens: Lens


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Reading:
    """Which patch covers which box, and how well that fits."""

    scene: _Scene
    pairs: tuple[tuple[int, int], ...]
    miss_px: float


def proposals(record: Record, picture: Picture) -> list[Proposal] | FailedEstimate:
    """Find cover plates in a photo and tell which box each belongs to.

    Every reading of three patches as three boxes gives a camera; it counts when it stands
    upright in the room and sees at least one more box under a patch of the right size.

    Returns
    -------
    list of Proposal or FailedEstimate
        Failed when fewer than four plates agree, or two readings fit about as well.
    """
    found = tuple(patches(read_picture(record, picture)))[:MOST_PATCHES]
    lens, _ = lens_of(record, picture)
    readings: list[_Reading] = []
    for face_id in [picture.face_id] if picture.face_id else list(building_from_faces(record)):
        scene = _scene(record, face_id, found, lens)
        readings += _readings(scene)
    if not readings:
        return FailedEstimate(
            f"{len(found)} patches like cover plates were found, but no {MIN_POINTS} of them lie as recorded boxes"
            " do; mark the places by hand"
        )
    readings.sort(key=lambda r: (-len(r.pairs), r.miss_px))
    best = readings[0]
    rival = next((r for r in readings if len(r.pairs) == len(best.pairs) and _differs(r, best)), None)
    if rival is not None and rival.miss_px < CLEARER * best.miss_px:
        return FailedEstimate("the plates can be read in two ways; mark the places by hand")
    return [
        Proposal(point=best.scene.points[n], x_px=float(best.scene.pixels[m, 0]), y_px=float(best.scene.pixels[m, 1]))
        for n, m in best.pairs
    ]


def _differs(a: _Reading, b: _Reading) -> bool:
    return a.scene is not b.scene or a.pairs != b.pairs


def _scene(record: Record, face_id: str, found: tuple[Patch, ...], lens: Lens) -> _Scene:
    unit = record.building.unit
    points = [k.point for k in known_places(record, face_id, unit, finished=True) if k.point.kind == PLATE_KIND]
    points = points[:MOST_PLATES]
    pixels = np.array([p.center_px for p in found]).reshape(-1, 2)
    rays = lens.rays(pixels) if len(pixels) else np.zeros((0, 3))
    return _Scene(
        points=tuple(points),
        places_m=np.array([[p.offset_m, p.depth_m, p.height_m] for p in points]).reshape(-1, 3),
        heights_m=np.array([2 * _half_height_m(record, face_id, p) for p in points]),
        patches=found,
        pixels=pixels,
        bearings=rays[:, :2] / rays[:, 2:],
        lens=lens,
    )


def _half_height_m(record: Record, face_id: str, point: ReferencePoint) -> float:
    for thing in view_of(record).things_on(face_id):
        if point.id == f"{PLATE_ID}{thing.item.id}" and thing.block is not None:
            return float(thing.block.half_height_m)
    return 0.0


def _readings(scene: _Scene) -> list[_Reading]:
    """Every distinct reading with enough boxes under patches, once."""
    best: dict[tuple[tuple[int, int], ...], _Reading] = {}
    for plates in itertools.combinations(range(len(scene.points)), 3):
        for chosen in itertools.permutations(range(len(scene.patches)), 3):
            if not _in_order(scene, plates, chosen):
                continue
            for pose in _poses(scene, plates, chosen):
                reading = _read(scene, pose)
                if reading and (reading.pairs not in best or reading.miss_px < best[reading.pairs].miss_px):
                    best[reading.pairs] = reading
    return list(best.values())


def _in_order(scene: _Scene, plates: tuple[int, ...], chosen: tuple[int, ...]) -> bool:
    """Whether patches lie to the side and above one another as their boxes do."""
    for (n1, m1), (n2, m2) in itertools.combinations(zip(plates, chosen, strict=True), 2):
        aside_m, _, up_m = scene.places_m[n2] - scene.places_m[n1]
        right_px, down_px = scene.pixels[m2] - scene.pixels[m1]
        if abs(aside_m) > APART_M and aside_m * right_px <= 0:
            return False
        if abs(up_m) > APART_M and up_m * down_px >= 0:
            return False
    return True


def _poses(scene: _Scene, plates: tuple[int, ...], chosen: tuple[int, ...]) -> list[Rigid3]:
    """Where the camera may have stood, upright and in the room, for three patches read as three boxes."""
    places = scene.places_m[list(plates)].reshape(3, 1, 3)
    bearings = scene.bearings[list(chosen)].reshape(3, 1, 2)
    _, turns, shifts = cv2.solveP3P(places, bearings, np.eye(3), None, flags=cv2.SOLVEPNP_P3P)
    poses = []
    for turn, shift in zip(turns, shifts, strict=True):
        rotation = cv2.Rodrigues(turn)[0]
        center = -rotation.T @ shift[:, 0]
        roll = np.arctan2(rotation[0, 2], -rotation[1, 2])  # of the wall's upright in the picture
        if DISTANCE_M[0] < -center[1] < DISTANCE_M[1] and abs(roll) < MOST_ROLL_RAD:
            poses.append(Rigid3(target="camera", source="face", rotation=rotation, translation_m=shift[:, 0]))
    return poses


def _read(scene: _Scene, pose: Rigid3) -> _Reading | None:
    in_camera = pose.apply(scene.places_m)
    expected = scene.lens.project(in_camera)
    apart = np.linalg.norm(expected[:, None] - scene.pixels[None], axis=2)
    near_px = NEAR_SHARE * max(scene.lens.width_px, scene.lens.height_px)
    pairs, miss = [], []
    for n in range(len(scene.points)):
        if not np.isfinite(apart[n]).all():
            continue
        m = int(apart[n].argmin())
        height_px = scene.lens.focal_px * scene.heights_m[n] / max(in_camera[n, 2], 0.1)
        like = height_px == 0 or SIZE_RATIO[0] < scene.patches[m].height_px / height_px < SIZE_RATIO[1]
        if apart[n, m] < near_px and like and m not in [taken for _, taken in pairs]:
            pairs.append((n, m))
            miss.append(apart[n, m])
    if len(pairs) < MIN_POINTS:
        return None
    return _Reading(scene=scene, pairs=tuple(pairs), miss_px=float(np.sqrt(np.mean(np.square(miss)))) + 1.0)
