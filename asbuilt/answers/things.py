"""A recorded thing as it lies in a face: a block or the course of a run, with its error."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from asbuilt.answers.course import JOIN_M, Framing, leading_to, legs_of
from asbuilt.answers.index import ENDS, LEADERS
from asbuilt.answers.stretches import Course, Leg, Spot, courses
from asbuilt.answers.touch import Block
from asbuilt.geometry.planes import outside_m
from asbuilt.record.kinds import KINDS, Kind
from asbuilt.record.store import Record
from asbuilt.record.types import Circuit, Face, Item, Position

# How far a thing reaches into the wall behind its front [m]; common practice, no source.
THICKNESS_M = {"device box": 0.076, "junction box": 0.054, "panel": 0.095, "coil": 0.06, "blocking": 0.0381,
               "nail plate": 0.0016, "shear panel": 0.012, "conduit end": 0.03, "stub": 0.03}  # fmt: skip
USUAL_THICKNESS_M = 0.05
# A device box whose size nobody noted is mostly of one gang, else of two or three (our choice).
GANGS_UNKNOWN = ((2, 0.30), (3, 0.08))
GANG_M = 0.046  # each further gang of a box, common practice, no source
PIPES = ("pipe", "drain", "gas pipe", "sprinkler pipe", "conduit", "duct")
STOP_WORDS = ("stub", "stub-out", "cap", "capped", "end", "stops")  # said of where a run comes from or goes to
MIRROR = np.diag([-1.0, 1.0, -1.0])
NO_COURSE = Course.of(())


class Place(NamedTuple):
    """One measured spot of an item on a face, as the record holds it (``Position``), without its error."""

    item_id: str
    face_id: str
    order_idx: int
    place: str
    method: str
    picture_count: int
    offset_m: float
    height_m: float
    depth_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Thing:
    """One item in the frame of the face that was asked about.

    ``spots`` are its measured spots (offset, height, depth); a run has a ``course``, any
    other thing a ``block``.
    """

    item: Item
    kind: Kind
    circuit: Circuit | None
    positions: tuple[Place, ...]
    spots: tuple[Spot, ...]
    radius_m: float = 0.0
    block: Block | None = None
    course: Course = NO_COURSE
    on_far_face: bool = False


def things_of(
    record: Record,
    item_ids: Iterable[str],
    face: Face,
    framing: Framing,
    circuits: Mapping[str, Circuit],
    far: Face | None = None,
) -> list[Thing]:
    """The things of those ids in the frame of ``face``; ``far`` is the wall's other face.

    The items that runs may end in must be among them.
    """
    ids = sorted(set(item_ids))
    items = {i.id: i for i in record.all(Item, id=ids)}
    placed: dict[str, list[tuple[Place, Spot]]] = {}
    for place, spot in _places(record, ids):
        placed.setdefault(place.item_id, []).append((place, spot))
    things = []
    for item_id, found in placed.items():
        item = items[item_id]
        own = [(p, spot) for p, spot in found if p.face_id == face.id]
        across = [(p, _turned(spot, face, far)) for p, spot in found if far is not None and p.face_id == far.id]
        for group, is_far in ((own, False), (across, True)):
            if group:
                group.sort(key=lambda measured: measured[0].order_idx)
                things.append(_thing(item, circuits.get(item.circuit_id), *zip(*group, strict=True), is_far))
    return _with_courses(things, framing)


def _places(record: Record, item_ids: Sequence[str]) -> Iterator[tuple[Place, Spot]]:
    """The measured spots of items, each in the frame of its own face."""
    rows = record.values(Position, (*Place._fields, "covariance"), item_id=item_ids, status="measured")
    covs = np.array(json.loads(f"[{','.join(row[-1] for row in rows)}]"))  # all at once: they are many
    points = np.array([row[-4:-1] for row in rows])
    for row, point, cov in zip(rows, points, covs, strict=True):
        yield Place(*row[:-1]), Spot(point_m=point, cov=cov)


def _with_courses(things: Sequence[Thing], framing: Framing) -> list[Thing]:
    """The same things, every run with its course; and after them the runs that must lead to some."""
    led_to = [t for t in things if _has_unseen_run(t, things)]
    into = [t for t in things if t.block is not None and t.kind.name in ENDS]
    runs = [_legs_of(t, into, framing) for t in things if t.block is None]
    runs += [leading_to(t.spots[0], framing, from_above=t.kind.name == "coil") for t in led_to]
    each = courses(runs)
    found = [t if t.block is not None else replace(t, course=next(each)) for t in things]
    return found + [replace(t, block=None, radius_m=LEADERS[t.kind.name], course=next(each)) for t in led_to]


def _has_unseen_run(thing: Thing, things: Sequence[Thing]) -> bool:
    """Whether a conduit's end, a stub or a coil has no run on record that leads to it."""
    if thing.kind.name not in LEADERS or _says_stop(thing.item.comes_from):
        return False
    at_m = thing.block.center_m[:2]
    ends = [s.point_m[:2] for t in things if t.block is None for s in (t.spots[0], t.spots[-1])]
    return all(math.dist(end, at_m) > JOIN_M for end in ends)


def _turned(spot: Spot, asked: Face, own: Face) -> Spot:
    """A spot of the wall's other face in the frame of the one that was asked about."""
    offset_sum_m, height_shift_m = far_link(asked, own)
    x, z, depth = spot.point_m
    turned = np.array([offset_sum_m - x, z - height_shift_m, asked.stud_depth_m - depth])
    return Spot(point_m=turned, cov=MIRROR @ spot.cov @ MIRROR)


def far_link(near: Face, far: Face) -> tuple[float, float]:
    """(offset sum, far height minus near height) that ties a face to the wall's other face [m]."""
    if near.far_face_id == far.id:
        total = near.far_offset_sum_m if near.far_offset_sum_m is not None else near.length_m
        return total, near.far_height_shift_m
    total = far.far_offset_sum_m if far.far_offset_sum_m is not None else far.length_m
    return total, -far.far_height_shift_m


def _thing(item: Item, circuit: Circuit | None, positions: tuple[Place, ...], spots, is_far: bool) -> Thing:
    kind = KINDS[item.kind]
    common = dict(item=item, kind=kind, circuit=circuit, positions=positions, spots=spots, on_far_face=is_far)
    if kind.is_run:
        return Thing(**common, radius_m=item.radius_m or kind.radius_m)
    return Thing(**common, block=_block(item, kind, spots, is_far))


def _block(item: Item, kind: Kind, spots: Sequence[Spot], is_far: bool) -> Block:
    low, high = spots[0].point_m, spots[0].point_m
    for spot in spots[1:]:
        low, high = np.minimum(low, spot.point_m), np.maximum(high, spot.point_m)
    usual_width_m = kind.width_m + GANG_M * ((item.gangs or 1) - 1)
    half_w = max((item.width_m or usual_width_m) / 2, float(high[0] - low[0]) / 2)
    half_h = max((item.height_m or kind.height_m) / 2, float(high[1] - low[1]) / 2)
    thickness = THICKNESS_M.get(kind.name, USUAL_THICKNESS_M)
    center = (low + high) / 2
    center[2] = low[2]
    if is_far:
        center[2] = high[2] - thickness
    cov = spots[0].cov if len(spots) == 1 else np.mean([s.cov for s in spots], axis=0)
    wider: tuple[tuple[float, float], ...] = ()
    if kind.name == "device box" and item.width_m is None and item.gangs is None:
        wider = tuple(((kind.width_m + GANG_M * (gangs - 1)) / 2, weight) for gangs, weight in GANGS_UNKNOWN)
    return Block(center_m=center, cov=cov, half_width_m=half_w, half_height_m=half_h, thickness_m=thickness,
                 wider_m=wider)  # fmt: skip


def _legs_of(thing: Thing, into: Sequence[Thing], framing: Framing) -> list[Leg]:
    """The legs of a run; ``into`` are the things that runs can go into."""
    ends = (thing.spots[0], thing.spots[-1])
    boxes = (_box_at(thing, ends[0], into), None) if len(thing.spots) == 1 else _boxes_at(thing, ends, into)
    joins = tuple(None if box is None else _mouth(end, box.block) for end, box in zip(ends, boxes, strict=True))
    named = tuple(box is not None and _is_named(thing, box) for box in boxes)
    stops = (_says_stop(thing.item.comes_from), _says_stop(thing.item.goes_to))
    return legs_of(thing.spots, framing, joins, is_pipe=thing.kind.name in PIPES, stops=stops, named=named)


def _says_stop(text: str) -> bool:
    return any(word in STOP_WORDS for word in text.lower().split())


def _boxes_at(run: Thing, ends: tuple[Spot, Spot], into: Sequence[Thing]) -> list[Thing | None]:
    """The boxes that the two ends go into: never both into one, for then the run leaves it by the farther end."""
    boxes = [_box_at(run, end, into) for end in ends]
    if boxes[0] is not None and boxes[0] is boxes[1]:
        farther = int(_away_m(ends[1], boxes[1]) >= _away_m(ends[0], boxes[0]))
        boxes[farther] = _box_at(run, ends[farther], [t for t in into if t is not boxes[farther]])
    return boxes


def _is_named(run: Thing, box: Thing) -> bool:
    """Whether somebody wrote down that the run comes from that box or goes to it."""
    return box.item.id in (run.item.comes_from, run.item.goes_to)


def _box_at(run: Thing, end: Spot, into: Sequence[Thing]) -> Thing | None:
    """The box of the same circuit that an end goes into: the nearest within reach."""
    best, best_m = None, JOIN_M
    for other in into:
        if other.on_far_face != run.on_far_face:
            continue
        named = _is_named(run, other)
        if not named and (run.item.circuit_id is None or other.item.circuit_id not in (run.item.circuit_id, None)):
            continue
        if not named and other.item.circuit_id is None and other.kind.name != "panel":
            continue
        distance_m = _away_m(end, other)
        if distance_m < best_m:
            best, best_m = other, distance_m
    return best


def _away_m(end: Spot, box: Thing) -> float:
    """How far an end is from a box's outline along the wall [m]."""
    half_m = box.block.half_width_m, box.block.half_height_m
    return outside_m(end.point_m[:2].tolist(), box.block.center_m[:2].tolist(), half_m)


def _mouth(end: Spot, block: Block) -> Spot:
    """Where a run enters a box: the place of the box nearest to the run's end."""
    (x, z, _), (box_x, box_z, front) = end.point_m.tolist(), block.center_m.tolist()
    nearest_x = min(max(x, box_x - block.half_width_m), box_x + block.half_width_m)
    nearest_z = min(max(z, box_z - block.half_height_m), box_z + block.half_height_m)
    return Spot(point_m=np.array([nearest_x, nearest_z, front + block.thickness_m / 2]), cov=block.cov)
