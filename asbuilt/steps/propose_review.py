"""Proposals in the order of the walk round a room, and where the pictures show them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from asbuilt.geometry.rectify import view_of
from asbuilt.record.frames import building_from_faces, camera_of
from asbuilt.record.proposal_row import PROPOSED, Proposal
from asbuilt.record.store import Record
from asbuilt.record.types import Face, Picture, Placement, Room

MOST_VIEWS = 4
LEAST_SHARE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """Where a picture shows a proposal [px]: a line, or the corners of a box; and the part to look at."""

    picture_id: str
    width_px: int
    height_px: int
    line_px: tuple[tuple[float, float], ...]
    closed: bool
    look_px: tuple[float, float, float, float]  # left, top, width, height


def walking_order(record: Record) -> list[Proposal]:
    """Undecided proposals room by room, wall by wall clockwise, boxes and runs from left to right."""
    rooms = {r.id: r.order_idx for r in record.all(Room)}
    faces = {f.id: (rooms.get(f.room_id, 0), f.order_idx) for f in record.all(Face)}
    waiting = record.all(Proposal, state=PROPOSED)
    return sorted(waiting, key=lambda p: (*faces[p.face_id], min(x for x, _, _ in p.points_m), p.id))


def seen_in(record: Record, proposal: Proposal) -> list[Shown]:
    """The pictures that show most of a proposal, best first."""
    pose = building_from_faces(record)[proposal.face_id]
    placements = {p.id: p for p in record.all(Placement, id=proposal.picture_ids, status="placed")}
    points = _outline(proposal)
    pictures = {p.id: p for p in record.all(Picture, id=proposal.picture_ids)}
    found = []
    for picture_id in proposal.picture_ids:
        if picture_id not in placements or picture_id not in pictures:
            continue
        picture = pictures[picture_id]
        view = view_of(camera_of(placements[picture_id], picture), pose, points)
        shown = np.isfinite(view.pixels_px[:, 0])
        if shown.any() and view.framed.mean() >= LEAST_SHARE:
            found.append((-float(view.framed.mean()), len(found), _shown(picture, view.pixels_px[shown], proposal)))
    return [shown for *_, shown in sorted(found, key=lambda f: f[:2])[:MOST_VIEWS]]


def _outline(proposal: Proposal) -> np.ndarray:
    """(offset, depth, height) along a run, or of a box's corners."""
    points = np.array(proposal.points_m)[:, [0, 2, 1]]
    if len(points) == 1 and proposal.width_m and proposal.height_m:
        w, h = proposal.width_m / 2, proposal.height_m / 2
        return points + np.array([[-w, 0, -h], [w, 0, -h], [w, 0, h], [-w, 0, h]])
    return points


def _shown(picture: Picture, pixels: np.ndarray, proposal: Proposal) -> Shown:
    low, high = pixels.min(axis=0), pixels.max(axis=0)
    # A box fills a fifth of what is shown, a long run nearly all of it.
    size = max(1.25 * float((high - low).max()), 0.22 * picture.width_px)
    middle = (low + high) / 2
    return Shown(
        picture_id=picture.id, width_px=picture.width_px, height_px=picture.height_px,
        line_px=tuple((round(float(x), 1), round(float(y), 1)) for x, y in pixels), closed=len(proposal.points_m) == 1,
        look_px=(float(middle[0] - size / 2), float(middle[1] - size / 2), size, size),
    )  # fmt: skip
