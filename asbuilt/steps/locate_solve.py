"""One spot from its clicks and from where it was found again: pixels in, a place with its error out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.errors import FailedEstimate
from asbuilt.geometry.cameras import Camera
from asbuilt.geometry.frames import Rigid3
from asbuilt.geometry.intersect import OUTLIER_CHI2, Intersection, Seen, intersect
from asbuilt.geometry.studs import StudPlace
from asbuilt.record import Face, Followed, Item, Placement, Record, Sighting
from asbuilt.record.frames import building_from_faces, cameras, studs_of
from asbuilt.record.joint import JointCovariance, joint_covariances
from asbuilt.record.kinds import NEAR_STUD_M, Kind, kind_named, usual_depth
from asbuilt.steps.locate_boxes import Box, box_near, boxes_of

# How well a tube's middle line is met under a click, and found again elsewhere: measured on rendered rooms.
CENTERED_PX, FOLLOWED_PX, FOLLOWED_ALONG_PX = 1.7, 2.5, 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """The placed pictures of a record and all that goes with them."""

    faces: dict[str, Face]
    poses: dict[str, Rigid3]
    cameras: dict[str, Camera]
    placements: dict[str, Placement]
    joint: dict[str, JointCovariance]
    followed: dict[str, Followed]  # by sighting, of the pictures as they are placed now
    studs: dict[str, list[StudPlace]]  # by face
    boxes: dict[str, Box]  # by item

    def at_stud(self, face_id: str, offset_m: float) -> bool:
        """Whether a place is so near a stud that what lies there may be stapled to it."""
        return any(abs(offset_m - s.center_m) < s.width_m / 2 + NEAR_STUD_M for s in self.studs.get(face_id, ()))


def scene_of(record: Record) -> Scene:
    """Read what locating needs, once."""
    return Scene(
        faces={f.id: f for f in record.all(Face)},
        poses=building_from_faces(record),
        cameras=cameras(record),
        placements={p.id: p for p in record.all(Placement, status="placed")},
        joint=joint_covariances(record),
        followed={f.id: f for f in record.all(Followed)},
        studs={f.id: studs_of(record, f.id) for f in record.all(Face)},
        boxes=boxes_of(record),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Pixel:
    """A pixel of a spot: clicked (no ``leader``) or found again from the sighting ``leader``."""

    sighting_id: str
    picture_id: str
    xy_px: np.ndarray
    sigma_px: float
    along: np.ndarray | None = None
    sigma_along_px: float = 0.0
    leader: str | None = None


def pixels_of(sighting: Sighting, scene: Scene) -> list[Pixel]:
    """The click, on its tube's middle line where there is one, and where it was found again."""
    followed = scene.followed.get(sighting.id)
    if followed is None or not followed.pictures or not is_fresh(followed, sighting, scene):
        xy = np.array([sighting.x_px, sighting.y_px])
        return [Pixel(sighting_id=sighting.id, picture_id=sighting.picture_id, xy_px=xy, sigma_px=sighting.sigma_px)]
    click = Pixel(
        sighting_id=sighting.id, picture_id=sighting.picture_id, xy_px=np.array([followed.x_px, followed.y_px]),
        sigma_px=min(CENTERED_PX, sighting.sigma_px), along=np.array(followed.along),
        sigma_along_px=sighting.sigma_px,
    )  # fmt: skip
    again = [
        Pixel(
            sighting_id=sighting.id, picture_id=picture_id, xy_px=np.array([x, y]), sigma_px=FOLLOWED_PX,
            along=np.array([along_x, along_y]), sigma_along_px=FOLLOWED_ALONG_PX, leader=sighting.id,
        )
        for picture_id, (x, y, along_x, along_y) in followed.pictures.items()
        if picture_id in scene.cameras
    ]  # fmt: skip
    return [click, *again]


def is_fresh(followed: Followed, sighting: Sighting, scene: Scene) -> bool:
    """Whether a sighting is still where it was followed from, in the pictures as placed now."""
    placed = scene.placements.get(sighting.picture_id)
    same_click = tuple(followed.click_px) == (sighting.x_px, sighting.y_px)
    return same_click and placed is not None and placed.solution_id == followed.solution_id


def solve(
    seen: Sequence[Sighting], item: Item, scene: Scene, face_id: str
) -> tuple[Intersection | FailedEstimate, list[Pixel]]:
    """Intersect; pixels that disagree are left out while enough are left to tell which.

    Returns
    -------
    found : Intersection or FailedEstimate
    pixels : list of Pixel
        Those it rests on.
    """
    pixels = [pixel for s in seen for pixel in pixels_of(s, scene)]
    while True:
        found = _intersect(pixels, item, scene, face_id)
        if not found or found.misfit <= OUTLIER_CHI2:
            return found, pixels
        worst = pixels[found.worst]
        clicks = [p for p in pixels if p.leader is None]
        if worst.leader is not None:
            pixels = [p for p in pixels if p is not worst]
        elif len(clicks) >= 3:
            pixels = [p for p in pixels if p.sighting_id != worst.sighting_id]
        elif len(clicks) < len(pixels):
            pixels = clicks
        else:
            return found, pixels


def _intersect(pixels: list[Pixel], item: Item, scene: Scene, face_id: str) -> Intersection | FailedEstimate:
    placements = [scene.placements[p.picture_id] for p in pixels]
    joint = scene.joint[placements[0].solution_id]
    covariance, camera_slots, lens_slots, face_slot = joint.block(placements, face_id)
    clicked_at = {p.sighting_id: k for k, p in enumerate(pixels) if p.leader is None}
    seen = [
        Seen(
            camera=scene.cameras[p.picture_id], camera_slot=c, lens_slot=n, xy_px=p.xy_px, sigma_px=p.sigma_px,
            along=p.along, sigma_along_px=p.sigma_along_px, leader=clicked_at[p.leader] if p.leader else None,
        )
        for p, c, n in zip(pixels, camera_slots, lens_slots, strict=True)
    ]  # fmt: skip
    kind, stud_depth_m = kind_named(item.kind), scene.faces[face_id].stud_depth_m
    pose = scene.poses[face_id]
    found = intersect(seen, pose, covariance, face_slot, *usual_depth(kind, stud_depth_m))
    if not found or not kind.stapled:
        return found
    usual = _usual_there(item, kind, found, scene, face_id)
    return intersect(seen, pose, covariance, face_slot, *usual) if usual else found


def _usual_there(item: Item, kind: Kind, found: Intersection, scene: Scene, face_id: str) -> tuple[float, float] | None:
    """The usual depth where the studs and boxes about a place matter; None where there are none."""
    offset_m, _, height_m = found.place_face_m
    at_stud = scene.at_stud(face_id, offset_m)
    box = box_near(scene.boxes.values(), face_id, item.circuit_id, offset_m, height_m)
    if not at_stud and box is None:
        return None
    return usual_depth(kind, scene.faces[face_id].stud_depth_m, at_stud, box)
