"""What a person makes of a proposal: accept, move, join, reject, and take that back."""

from __future__ import annotations

import json
import secrets
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from asbuilt.errors import RecordError
from asbuilt.geometry.cameras import Camera
from asbuilt.geometry.frames import Rigid3
from asbuilt.geometry.rectify import view_of
from asbuilt.record.frames import building_from_faces, camera_of
from asbuilt.record.kinds import kind_named
from asbuilt.record.proposal_row import ACCEPTED, PROPOSED, REJECTED, Proposal
from asbuilt.record.rows import from_row
from asbuilt.record.store import Record
from asbuilt.record.types import Circuit, Item, Picture, Placement, Position, Sighting
from asbuilt.steps import locate

SPOT_STEP_M = 0.25  # a spot of a run at least this often
MOST_SIGHTINGS = 4  # of each spot
MOST_SLOPE = 1.2
LEAST_SIGMA_PX = 1.5
MOST_SHIFT_M = 1.0
LEAST_TOWARD = 0.05  # of a ray: flatter ones meet the wall nowhere near


def accept(record: Record, proposal_id: str, circuit_id: str | None = None) -> list[int]:
    """Make an item with sightings of a proposal; the numbers of the changes, to take them back."""
    proposal = _open(record, proposal_id)
    if circuit_id is not None:
        record.get(Circuit, circuit_id)
    kind = kind_named(proposal.kind)
    sighted = proposal if kind.is_run else _middled(proposal)
    item = Item(
        id=f"{kind.name.replace(' ', '-')}-{secrets.token_hex(4)}",
        kind=kind.name,
        face_id=proposal.face_id,
        circuit_id=circuit_id,
        width_m=sighted.width_m if not kind.is_run else None,
        height_m=sighted.height_m if not kind.is_run else None,
        radius_m=proposal.radius_m if kind.is_run else None,
        gangs=proposal.gangs,
        comes_from=_end_label(record, proposal.comes_from),
        goes_to=_end_label(record, proposal.goes_to),
        note=f"sheath looks {proposal.sheath}" if proposal.sheath not in ("", "unsure") else "",
    )
    sightings = _sightings(record, sighted, item)
    if not sightings:
        raise RecordError(f"no placed picture shows {proposal_id}; look again with: asbuilt propose {record.folder}")
    with _Changes(record) as numbers, record.transaction():
        record.put(item, *sightings)
        record.put(replace(proposal, state=ACCEPTED, item_id=item.id))
    locate.run(record, [item.id])
    return numbers


def _middled(proposal: Proposal) -> Proposal:
    """A thing that is no run by the middle of its outline, such as a coil."""
    if len(proposal.points_m) == 1:
        return proposal
    points = np.array(proposal.points_m)
    size = np.ptp(points, axis=0)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    return replace(proposal, points_m=(tuple(float(v) for v in middle),), width_m=float(size[0]),
                   height_m=float(size[1]))  # fmt: skip


def _end_label(record: Record, end: str) -> str:
    """What an item is told to come from: the box that a proposal became, or the words."""
    box = record.find(Proposal, end)
    if box is None:
        return end
    return box.item_id or ""


def reject(record: Record, proposal_id: str) -> list[int]:
    """Not there, or not worth keeping; it is not proposed again."""
    with _Changes(record) as numbers:
        record.put(replace(_open(record, proposal_id), state=REJECTED))
    return numbers


def move(record: Record, proposal_id: str, right_m: float, up_m: float) -> list[int]:
    """Shift a proposal along the face."""
    proposal = _open(record, proposal_id)
    if not (abs(right_m) <= MOST_SHIFT_M and abs(up_m) <= MOST_SHIFT_M):
        raise RecordError(f"a proposal moves by at most {MOST_SHIFT_M:g} m at a time; else mark the thing anew")
    points = tuple((x + right_m, z + up_m, d) for x, z, d in proposal.points_m)
    with _Changes(record) as numbers:
        record.put(replace(proposal, points_m=points))
    return numbers


def on_plane(
    camera: Camera, building_from_face: Rigid3, depth_m: float, x_px: float, y_px: float
) -> tuple[float, float] | None:
    """Offset and height [m] of a pixel on the plane ``depth_m`` behind the stud faces; None beside the wall."""
    face_from_building = building_from_face.inverse()
    start = face_from_building.apply(camera.center_building_m[None])[0]
    way = face_from_building.rotate(camera.rays_building(np.array([[x_px, y_px]])))[0]
    if way[1] < LEAST_TOWARD:
        return None
    met = start + way * (depth_m - start[1]) / way[1]
    return float(met[0]), float(met[2])


def join(record: Record, first_id: str, second_id: str) -> list[int]:
    """Make one run of two, at the ends that are nearest to each other."""
    first, second = _open(record, first_id), _open(record, second_id)
    if first_id == second_id or first.face_id != second.face_id:
        raise RecordError("two different runs of one wall can be joined")
    if not (kind_named(first.kind).is_run and kind_named(second.kind).is_run):
        raise RecordError("only runs can be joined; a box is accepted, moved or rejected")
    points, ends = _spliced(first, second)
    sheath = first.sheath if first.sheath != "unsure" else second.sheath
    joined = replace(
        first, points_m=points, comes_from=ends[0], goes_to=ends[1], sheath=sheath,
        sigma_depth_m=max(first.sigma_depth_m, second.sigma_depth_m),
        picture_ids=tuple(dict.fromkeys([*first.picture_ids, *second.picture_ids])),
    )  # fmt: skip
    with _Changes(record) as numbers, record.transaction():
        record.put(joined, replace(second, state="joined", joined_to=first_id))
    return numbers


def _spliced(first: Proposal, second: Proposal) -> tuple[tuple, tuple[str, str]]:
    best = None
    for turn_a in (False, True):
        for turn_b in (False, True):
            a = first.points_m[::-1] if turn_a else first.points_m
            b = second.points_m[::-1] if turn_b else second.points_m
            gap = float(np.linalg.norm(np.subtract(a[-1][:2], b[0][:2])))
            if best is None or gap < best[0]:
                starts = first.goes_to if turn_a else first.comes_from
                ends = second.comes_from if turn_b else second.goes_to
                best = (gap, (*a, *b), (starts, ends))
    return best[1], best[2]


def undo(record: Record, numbers: Sequence[int]) -> list[str]:
    """Take changes of proposals back, last first; an item made by them goes, too. Names the proposals."""
    restored = []
    for number in sorted(numbers, reverse=True):
        rows = list(record.db.query(
            "SELECT row_id, before, after FROM history WHERE id = ? AND table_name = 'proposals' AND action = 'change'",
            [number],
        ))  # fmt: skip
        if not rows:
            raise RecordError("that step cannot be taken back; load the page again")
        before = from_row(Proposal, json.loads(rows[0]["before"]))
        after = from_row(Proposal, json.loads(rows[0]["after"]))
        if record.find(Proposal, before.id) != after:
            raise RecordError(f"{before.id} was changed since; take back the later step first")
        with record.transaction():
            record.put(before)
            if after.state == ACCEPTED and before.state != ACCEPTED:
                _drop_item(record, after.item_id)
        restored.append(before.id)
    return restored


def _drop_item(record: Record, item_id: str) -> None:
    if record.find(Item, item_id) is None:
        return
    for sighting in record.all(Sighting, target_id=item_id):
        record.remove(Sighting, sighting.id)
    record.clear(Position, item_id=item_id)
    record.remove(Item, item_id)


def _open(record: Record, proposal_id: str) -> Proposal:
    proposal = record.get(Proposal, proposal_id)
    if proposal.state != PROPOSED:
        raise RecordError(f"{proposal_id} was {proposal.state} already")
    return proposal


class _Changes:
    """The numbers of the changes of proposals made inside a ``with``."""

    def __init__(self, record: Record) -> None:
        self.record = record
        self.numbers: list[int] = []

    def __enter__(self) -> list[int]:
        self.last = next(iter(self.record.db.query("SELECT max(id) AS last FROM history")))["last"] or 0
        return self.numbers

    def __exit__(self, *exc) -> None:
        sql = "SELECT id FROM history WHERE id > ? AND table_name = 'proposals' ORDER BY id"
        self.numbers += [row["id"] for row in self.record.db.query(sql, [self.last])]


def _sightings(record: Record, proposal: Proposal, item: Item) -> list[Sighting]:
    """A sighting of each spot in the pictures that show it most squarely, as well aimed as it was found."""
    pose = building_from_faces(record)[proposal.face_id]
    placements = {p.id: p for p in record.all(Placement, id=proposal.picture_ids, status="placed")}
    cameras = {
        p.id: camera_of(placements[p.id], p) for p in record.all(Picture, id=proposal.picture_ids) if p.id in placements
    }
    rows = []
    for order, (offset_m, height_m, depth_m) in enumerate(_spots(proposal.points_m)):
        place = f"{item.id}.{order}"
        seen = []
        for picture_id, camera in cameras.items():
            view = view_of(camera, pose, np.array([[offset_m, depth_m, height_m]]))
            if view.framed[0] and view.slope[0] < MOST_SLOPE:
                seen.append((float(view.slope[0]), picture_id, view))
        for slope, picture_id, view in sorted(seen, key=lambda s: s[0])[:MOST_SIGHTINGS]:
            aim_m = float(np.hypot(proposal.sigma_m, slope * proposal.sigma_depth_m))
            rows.append(Sighting(
                id=f"{place}@{picture_id}", target_id=item.id, picture_id=picture_id, place=place, order_idx=order,
                x_px=float(view.pixels_px[0, 0]), y_px=float(view.pixels_px[0, 1]),
                sigma_px=max(LEAST_SIGMA_PX, aim_m * float(view.resolution_px_per_m[0])), author=record.author,
            ))  # fmt: skip
    return rows


def _spots(points_m: Sequence[Sequence[float]]) -> list[Sequence[float]]:
    """The ends of a run, and spots between them so close that it is straight from one to the next."""
    if len(points_m) < 3:
        return list(points_m)
    kept, since = [points_m[0]], 0.0
    for before, here in zip(points_m, points_m[1:-1], strict=False):
        since += float(np.linalg.norm(np.subtract(here[:2], before[:2])))
        if since >= SPOT_STEP_M:
            kept.append(here)
            since = 0.0
    return [*kept, points_m[-1]]
