"""Finding a place on the finished wall from what survives cover-up.

Corners, edges of openings and device boxes stay visible; studs and the rough corner do not.
The distance between the two landmarks is a check that the wall is the one that is meant.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from asbuilt.answers import wording
from asbuilt.answers.reply import Reply
from asbuilt.answers.view import FaceView, View

TAPE_SIGMA_M = 0.0016  # 1/16 in: a careful tape reading (common practice, no source)
# Corners are filled and openings trimmed; their edge is known to 1/4 in (common practice, no source).
EDGE_SIGMA_M = 0.00635
FAR_ENOUGH_M = 0.15  # landmarks closer together than this check nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Landmark(Reply):
    """One thing to measure from; ``distance_m`` is positive where the place lies to its right."""

    name: str
    offset_m: float
    distance_m: float
    error_95_m: float
    text: str


class _Mark(NamedTuple):
    name: str
    offset_m: float
    sigma_m: float
    is_box: bool = False


def landmarks_of(view: View, face: FaceView, offset_m: float, without_item_id: str = "") -> tuple[Landmark, ...]:
    """The nearest landmark to the left and to the right of an offset, else the two nearest.

    A thing that is looked for, ``without_item_id``, is not found from itself.
    """
    marks = [m for m in _marks(view, face) if not (m.is_box and m.name == without_item_id)]
    marks.sort(key=lambda m: abs(m.offset_m - offset_m))
    left = next((m for m in marks if m.offset_m <= offset_m), None)
    right = next((m for m in marks if m.offset_m > offset_m and (left is None or _apart(m, left))), None)
    chosen = [m for m in (left, right) if m is not None]
    if len(chosen) == 1:
        chosen += [m for m in marks if _apart(m, chosen[0])][:1]
    return tuple(_landmark(_named(view, face, m), offset_m, view.building.unit) for m in chosen)


def marks_on(view: View, face: FaceView) -> list[tuple[str, float, float]]:
    """Every landmark of a face: (name, offset, one-sigma error) [m]."""
    return [(m.name, m.offset_m, m.sigma_m) for m in (_named(view, face, mark) for mark in _marks(view, face))]


def cross_check(landmarks: tuple[Landmark, ...], unit: str) -> str:
    """The distance between the two landmarks, in words; empty where there is one only."""
    if len(landmarks) < 2:
        return ""
    one, two = landmarks[:2]
    sigma = math.hypot(one.error_95_m, two.error_95_m) / 1.96
    distance = abs(one.offset_m - two.offset_m)
    return wording.cross_check(one.name, two.name, distance, sigma, unit)


def _apart(one: _Mark, two: _Mark) -> bool:
    return abs(one.offset_m - two.offset_m) >= FAR_ENOUGH_M


def _landmark(mark: _Mark, offset_m: float, unit: str) -> Landmark:
    distance = offset_m - mark.offset_m
    sigma = math.hypot(mark.sigma_m, TAPE_SIGMA_M)
    return Landmark(name=mark.name, offset_m=mark.offset_m, distance_m=distance, error_95_m=1.96 * sigma,
                    text=wording.from_landmark(mark.name, distance, sigma, unit))  # fmt: skip


def _marks(view: View, face: FaceView) -> Iterator[_Mark]:
    if not face.from_outside:  # where the outer corners lie is not on record
        left_cover_m, right_cover_m = _corner_coverings_m(view, face)
        yield _Mark(name="the left corner", offset_m=left_cover_m, sigma_m=EDGE_SIGMA_M)
        yield _Mark(name="the right corner", offset_m=face.face.length_m - right_cover_m, sigma_m=EDGE_SIGMA_M)
    for o in face.openings:
        yield _Mark(name=f"the left edge of the {o.kind}", offset_m=o.left_m, sigma_m=EDGE_SIGMA_M)
        yield _Mark(name=f"the right edge of the {o.kind}", offset_m=o.right_m, sigma_m=EDGE_SIGMA_M)
    for item_id, box_m, sigma_m in view.index.boxes_on(face.face.id):
        yield _Mark(name=item_id, offset_m=box_m, sigma_m=sigma_m, is_box=True)


def _named(view: View, face: FaceView, mark: _Mark) -> _Mark:
    """A box by its label; looked up only for the few marks that are shown."""
    if not mark.is_box:
        return mark
    item = view.item_on(face.face.id, mark.name)
    what = "panel" if item.kind == "panel" else "box"
    label = f" {wording.quoted(item.label)}" if item.label else ""
    return mark._replace(name=f"the middle of the {what}{label}")


def _corner_coverings_m(view: View, face: FaceView) -> tuple[float, float]:
    """How far the coverings of the walls either side stand into this face [m]."""
    ids = view.walls_of_rooms.get(face.room.id, [])
    if face.face.id not in ids or len(ids) < 2:
        return 0.0, 0.0
    at = ids.index(face.face.id)
    before = ids[at - 1] if at > 0 or face.room.closed else None
    after = ids[(at + 1) % len(ids)] if at + 1 < len(ids) or face.room.closed else None
    return tuple(view.covering_m(i) if i else 0.0 for i in (before, after))
