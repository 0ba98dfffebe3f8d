"""Locate items: from their sightings in placed pictures to places on a face, with errors."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace

import numpy as np

from asbuilt.errors import FailedEstimate
from asbuilt.geometry.cameras import Camera
from asbuilt.geometry.frames import Rigid3
from asbuilt.geometry.intersect import ENOUGH_PARALLAX_RAD, OUTLIER_CHI2, Intersection, Seen, intersect
from asbuilt.geometry.planes import Plane, first_met
from asbuilt.record import Face, Item, Placement, Position, Record, Sighting, now
from asbuilt.record.frames import building_from_faces, cameras
from asbuilt.record.joint import JointCovariance, joint_covariances
from asbuilt.record.kinds import Kind, kind_named
from asbuilt.record.taped import write_taped

LEAST_SIGMA_DEPTH_M = 0.005
# With two pictures or more depth is measured: what is usual then only keeps it near the wall.
WIDER_WHEN_MEASURED = 2.0
INTERSECTED, USUAL = "intersected", "usual depth"
REFUSED = "refused"


@dataclass(frozen=True, slots=True, kw_only=True)
class LocateReport:
    """What locating did; ``refused`` pairs an item's place with the reason."""

    located: int
    intersected: int
    refused: tuple[tuple[str, str], ...] = ()

    def to_json(self) -> dict:
        """As plain values."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """The placed pictures of a record and all that goes with them."""

    faces: dict[str, Face]
    poses: dict[str, Rigid3]
    cameras: dict[str, Camera]
    placements: dict[str, Placement]
    joint: dict[str, JointCovariance]


def scene_of(record: Record) -> Scene:
    """Read what locating needs, once."""
    return Scene(
        faces={f.id: f for f in record.all(Face)},
        poses=building_from_faces(record),
        cameras=cameras(record),
        placements={p.id: p for p in record.all(Placement, status="placed")},
        joint=joint_covariances(record),
    )


def run(record: Record, item_ids: Iterable[str] | None = None) -> LocateReport:
    """Work out where items lie, all or some, and write their positions.

    Parameters
    ----------
    record : Record
    item_ids : iterable of str, optional
        Only these items.
    """
    started_at = now()
    wanted = None if item_ids is None else set(item_ids)
    items = [i for i in record.all(Item) if wanted is None or i.id in wanted]
    scene = scene_of(record)
    sightings: dict[str, list[Sighting]] = {}
    for sighting in record.all(Sighting, target="item"):
        sightings.setdefault(sighting.target_id, []).append(sighting)
    positions: list[Position] = []
    moved: list[Item] = []
    for item in items:
        found = locate_item(item, sightings.get(item.id, []), scene)
        positions += found
        face_ids = Counter(p.face_id for p in found)
        if face_ids and item.face_id is None:
            moved.append(replace(item, face_id=face_ids.most_common(1)[0][0]))
    with record.transaction():
        for item in items:
            record.clear(Position, item_id=item.id)
        record.put(*moved, author="located from its sightings")
        record.put(*positions)
        write_taped(record, wanted)
        report = LocateReport(
            located=sum(p.status != REFUSED for p in positions),
            intersected=sum(p.method == INTERSECTED for p in positions),
            refused=tuple((p.id, p.reason) for p in positions if p.status == REFUSED),
        )
        record.add_step_report("locate", started_at, report.to_json())
    return report


def locate_item(item: Item, sightings: list[Sighting], scene: Scene) -> list[Position]:
    """The positions of one item, one for each of its spots that a placed picture shows."""
    spots: dict[str, list[Sighting]] = {}
    for sighting in sightings:
        if sighting.picture_id in scene.cameras:
            spots.setdefault(sighting.place or f"spot {sighting.order_idx}", []).append(sighting)
    kind = kind_named(item.kind)
    positions = [_locate_spot(item, kind, place, seen, scene) for place, seen in spots.items()]
    return sorted((p for p in positions if p), key=lambda p: p.order_idx)


def _locate_spot(item: Item, kind: Kind, place: str, seen: list[Sighting], scene: Scene) -> Position | None:
    face_id = item.face_id or _face_seen(seen, scene)
    if face_id is None:
        return None
    found, used = _solve(seen, kind, scene, face_id)
    order_idx = min(s.order_idx for s in seen)
    name = f"{item.id}/{place}"
    if not found:
        return _refused(name, item, place, order_idx, face_id, found.reason)
    if found.misfit > OUTLIER_CHI2:
        return _refused(name, item, place, order_idx, face_id,
                        "its sightings do not meet in one spot; check that they show the same one")  # fmt: skip
    offset_m, depth_m, height_m = (float(v) for v in found.place_face_m)
    order = [0, 2, 1]  # stored as (offset, height, depth)
    covariance = found.covariance[np.ix_(order, order)]
    measured = len(used) > 1 and found.parallax_rad >= ENOUGH_PARALLAX_RAD
    return Position(
        id=name,
        item_id=item.id,
        place=place,
        order_idx=order_idx,
        face_id=face_id,
        offset_m=offset_m,
        height_m=height_m,
        depth_m=depth_m,
        covariance=tuple(tuple(float(v) for v in row) for row in covariance),
        method=INTERSECTED if measured else USUAL,
        picture_count=len(used),
        parallax_rad=found.parallax_rad,
    )


def usual_depth(kind: Kind, stud_depth_m: float, sighting_count: int) -> tuple[float, float]:
    """Where things of a kind usually lie from the stud face, and one sigma of that [m]."""
    sigma_m = max(LEAST_SIGMA_DEPTH_M, kind.sigma_depth_share * stud_depth_m)
    if sighting_count > 1:
        sigma_m *= WIDER_WHEN_MEASURED
    return kind.depth_share * stud_depth_m + kind.depth_shift_m, sigma_m


def _solve(
    seen: list[Sighting], kind: Kind, scene: Scene, face_id: str
) -> tuple[Intersection | FailedEstimate, list[Sighting]]:
    """Intersect; a sighting that disagrees with two or more others is left out."""
    stud_depth_m = scene.faces[face_id].stud_depth_m
    used = list(seen)
    while True:
        usual_m, sigma_m = usual_depth(kind, stud_depth_m, len(used))
        placements = [scene.placements[s.picture_id] for s in used]
        joint = scene.joint[placements[0].solution_id]
        covariance, camera_slots, lens_slots, face_slot = joint.block(placements, face_id)
        pixels = [
            Seen(
                camera=scene.cameras[s.picture_id], camera_slot=c, lens_slot=n,
                xy_px=np.array([s.x_px, s.y_px]), sigma_px=s.sigma_px,
            )
            for s, c, n in zip(used, camera_slots, lens_slots, strict=True)
        ]  # fmt: skip
        found = intersect(pixels, scene.poses[face_id], covariance, face_slot, usual_m, sigma_m)
        if not found or found.misfit <= OUTLIER_CHI2 or len(used) < 3:
            return found, used
        used.pop(found.worst)


def _face_seen(seen: list[Sighting], scene: Scene) -> str | None:
    """The face that most of the sightings' rays meet first."""
    planes = {
        f.id: Plane(building_from_face=scene.poses[f.id], length_m=f.length_m, height_m=f.height_m, depth_m=0.0)
        for f in scene.faces.values()
    }
    met = Counter()
    for sighting in seen:
        camera = scene.cameras[sighting.picture_id]
        ray = camera.rays_building(np.array([[sighting.x_px, sighting.y_px]]))[0]
        face_id = first_met(planes, camera.center_building_m, ray)
        if face_id is not None:
            met[face_id] += 1
    return met.most_common(1)[0][0] if met else None


def _refused(name: str, item: Item, place: str, order_idx: int, face_id: str, reason: str) -> Position:
    nothing = ((0.0, 0.0, 0.0),) * 3
    return Position(
        id=name, item_id=item.id, place=place, order_idx=order_idx, face_id=face_id, offset_m=0.0, height_m=0.0,
        depth_m=0.0, covariance=nothing, method="", picture_count=0, status=REFUSED, reason=reason,
    )  # fmt: skip
