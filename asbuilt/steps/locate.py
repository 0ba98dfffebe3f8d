"""Locate items: from their sightings in placed pictures to places on a face, with errors."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace

import numpy as np

from asbuilt.geometry.intersect import ENOUGH_PARALLAX_RAD, OUTLIER_CHI2
from asbuilt.geometry.planes import Plane, first_met
from asbuilt.record import Item, Position, Record, Sighting, now
from asbuilt.record.kinds import kind_named
from asbuilt.record.taped import write_taped
from asbuilt.steps.follow import Ask, follow
from asbuilt.steps.locate_boxes import box_of
from asbuilt.steps.locate_solve import Scene, is_fresh, scene_of, solve

# Thicker things are no tubes to a picture: they show as surfaces.
MOST_RADIUS_M = 0.035
FOLLOWED_CLICKS = 3  # of one spot; more add little
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


def run(
    record: Record, item_ids: Iterable[str] | None = None, *, look_again: bool = False, progress: bool = False
) -> LocateReport:
    """Work out where items lie, all or some, and write their positions.

    What was found again in other pictures counts with the sighting it came from.

    Parameters
    ----------
    record : Record
    item_ids : iterable of str, optional
        Only these items.
    look_again : bool
        First look for clicked cables and pipes in the pictures near by; reads those pictures.
    progress : bool
        Show a bar.
    """
    started_at = now()
    wanted = None if item_ids is None else set(item_ids)
    items = [i for i in record.all(Item) if wanted is None or i.id in wanted]
    scene = scene_of(record)
    sightings: dict[str, list[Sighting]] = {}
    for sighting in record.all(Sighting, target="item"):
        sightings.setdefault(sighting.target_id, []).append(sighting)
    if look_again:
        asks = [ask for item in items for ask in _asks(item, sightings.get(item.id, []), scene)]
        followed = follow(record, asks, scene.cameras, progress)
        record.put(*followed)
        scene.followed.update((f.id, f) for f in followed)
    positions: list[Position] = []
    moved: list[Item] = []
    for item in sorted(items, key=lambda i: kind_named(i.kind).is_run):  # cable near a box rests on where that is
        found = locate_item(item, sightings.get(item.id, []), scene)
        positions += found
        if box := box_of(item, found):
            scene.boxes[item.id] = box
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


def _asks(item: Item, sightings: list[Sighting], scene: Scene) -> list[Ask]:
    """Those clicks of a tube that were not yet looked for elsewhere, some of each spot."""
    kind = kind_named(item.kind)
    if not kind.is_run or kind.radius_m > MOST_RADIUS_M:
        return []
    asks = []
    for place, seen in _spots(sightings, scene).items():
        face_id = item.face_id or _face_seen(seen, scene)
        chosen = seen[:: -(-len(seen) // FOLLOWED_CLICKS)]
        new = [s for s in chosen if s.id not in scene.followed or not is_fresh(scene.followed[s.id], s, scene)]
        if face_id is None or not new:
            continue
        found, _ = solve(seen, item, scene, face_id)
        if found and found.misfit <= OUTLIER_CHI2:
            asks += [
                Ask(
                    spot=f"{item.id}/{place}", sighting=s, building_from_face=scene.poses[face_id],
                    radius_m=kind.radius_m, depth_m=float(found.place_face_m[1]),
                    sigma_m=float(np.sqrt(found.covariance[1, 1])), stud_depth_m=scene.faces[face_id].stud_depth_m,
                    solution_id=scene.placements[s.picture_id].solution_id,
                )
                for s in new
            ]  # fmt: skip
    return asks


def _spots(sightings: list[Sighting], scene: Scene) -> dict[str, list[Sighting]]:
    """The sightings of one item in placed pictures, by spot."""
    spots: dict[str, list[Sighting]] = {}
    for sighting in sightings:
        if sighting.picture_id in scene.cameras:
            spots.setdefault(sighting.place or f"spot {sighting.order_idx}", []).append(sighting)
    return spots


def locate_item(item: Item, sightings: list[Sighting], scene: Scene) -> list[Position]:
    """The positions of one item, one for each of its spots that a placed picture shows."""
    positions = [_locate_spot(item, place, seen, scene) for place, seen in _spots(sightings, scene).items()]
    return sorted((p for p in positions if p), key=lambda p: p.order_idx)


def _locate_spot(item: Item, place: str, seen: list[Sighting], scene: Scene) -> Position | None:
    face_id = item.face_id or _face_seen(seen, scene)
    if face_id is None:
        return None
    found, used = solve(seen, item, scene, face_id)
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
        picture_count=len({p.picture_id for p in used}),
        parallax_rad=found.parallax_rad,
    )


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
