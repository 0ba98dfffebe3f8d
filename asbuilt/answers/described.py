"""A recorded thing described for people and programs: what, where, how well known, how seen."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.answers import wording
from asbuilt.answers.doubts import outdated
from asbuilt.answers.marks import PictureMark, marks_of
from asbuilt.answers.power import CircuitOff, circuit_off
from asbuilt.answers.reach import COVER_95, Part, Piece, crossings
from asbuilt.answers.reply import Reply
from asbuilt.answers.stretches import BETWEEN, BEYOND
from asbuilt.answers.things import Thing
from asbuilt.answers.view import FaceView, View
from asbuilt.record.types import Sighting


@dataclass(frozen=True, slots=True, kw_only=True)
class CoursePoint(Reply):
    """A corner of a run's course within reach; alternatives of one group exclude each other."""

    offset_m: float
    height_m: float
    depth_m: float
    group: int
    alternative: int
    weight: float
    status: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossingAnswer(Reply):
    """Where a run crosses the asked offset."""

    height_m: float
    depth_m: float  # from the stud face
    height_error_95_m: float
    depth_error_95_m: float
    status: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ThingAnswer(Reply):
    """One thing within reach.

    The place is that of its spot nearest to what was asked (a block's centre); ``left_m`` to
    ``top_m`` the extent of its part within reach. ``depth_m`` is from the stud face,
    ``depth_finished_m`` from the finished face. Errors are at 95 %.
    """

    item_id: str
    kind: str
    label: str
    name: str
    cable: str
    state: str
    on_far_face: bool
    circuit: CircuitOff | None
    offset_m: float
    height_m: float
    depth_m: float
    depth_finished_m: float
    offset_error_95_m: float
    height_error_95_m: float
    depth_error_95_m: float
    left_m: float
    right_m: float
    bottom_m: float
    top_m: float
    direction: str  # upright, level or slanting for a run; empty for others
    status: str  # how a run is known there: seen, between sightings, beyond the last sighting
    crossings: tuple[CrossingAnswer, ...]
    course: tuple[CoursePoint, ...]
    method: str
    picture_count: int
    seen_on: str
    pictures: tuple[PictureMark, ...]
    comes_from: str
    goes_to: str
    notes: tuple[str, ...]
    doubt: str  # why it may no longer be there, if something happened to the wall since


def describe(
    view: View, face: FaceView, parts: Sequence[tuple[Thing, Part, int]], offset_m: float
) -> dict[int, list[ThingAnswer]]:
    """Describe parts of things, each under the number of its bay, from the floor up; what is a guess comes last.

    Returns
    -------
    dict
        Bay number in ``parts`` to its things; bays without any give an empty list.
    """
    found: dict[int, list[ThingAnswer]] = defaultdict(list)
    if not parts:
        return found
    things = [t for t, _, _ in parts]
    ids = sorted({t.item.id for t in things})
    sightings = view.record.all(Sighting, target="item", target_id=ids)
    points = np.array([p.point_m for _, p, _ in parts])
    marks = marks_of(view, face, things, points, sightings)
    doubts = outdated(view, {t.item.id: t.positions for t in things})
    for (thing, part, bay), mark in zip(parts, marks, strict=True):
        found[bay].append(_one(view, face, thing, part, mark, offset_m, doubts.get(thing.item.id, "")))
    for answers in found.values():
        answers.sort(key=lambda a: (a.status == BEYOND, a.bottom_m, a.offset_m))
    return found


def _one(view: View, face: FaceView, thing: Thing, part: Part, marks, offset_m: float, doubt: str) -> ThingAnswer:
    item, e = thing.item, part.extent
    sigma = [math.sqrt(max(variance, 0.0)) for variance in part.cov.diagonal().tolist()]
    offset, height, depth = part.point_m.tolist()
    sighted = [m.taken_at[:10] for m in marks if m.sighted and m.taken_at]
    return ThingAnswer(
        item_id=item.id, kind=item.kind, label=item.label, name=wording.thing_name(item.kind, item.label),
        cable=item.cable, state=item.state, on_far_face=thing.on_far_face,
        circuit=circuit_off(view, thing.circuit.id) if thing.circuit else None,
        offset_m=offset, height_m=height, depth_m=depth, depth_finished_m=depth + face.covering_m,
        offset_error_95_m=COVER_95 * sigma[0], height_error_95_m=COVER_95 * sigma[1],
        depth_error_95_m=COVER_95 * sigma[2],
        left_m=e.left_m, right_m=e.right_m, bottom_m=e.bottom_m, top_m=e.top_m,
        direction=_direction(part) if thing.kind.is_run else "", status=part.status,
        crossings=tuple(_crossings(thing, offset_m)), course=tuple(_course(part)),
        method=" and ".join(sorted({p.method for p in thing.positions})),
        picture_count=max(p.picture_count for p in thing.positions),
        seen_on=max(sighted, default=""), pictures=marks, comes_from=item.comes_from, goes_to=item.goes_to,
        notes=tuple(_notes(face, thing, part)) + ((doubt,) if doubt else ()), doubt=doubt,
    )  # fmt: skip


def _direction(part: Part) -> str:
    point_m = part.point_m.tolist()
    nearest = min(part.pieces, key=lambda piece: _aside(piece, point_m))
    dx, dz = (abs(b - a) for a, b in zip(nearest.start_m[:2], nearest.end_m, strict=False))
    return "upright" if dz > 3 * dx else "level" if dx > 3 * dz else "slanting"


def _aside(piece: Piece, point_m: Sequence[float]) -> float:
    d = [b - a for a, b in zip(piece.start_m, piece.end_m, strict=True)]
    ahead = sum((p - a) * v for p, a, v in zip(point_m, piece.start_m, d, strict=True))
    share = min(max(ahead / max(sum(v * v for v in d), 1e-18), 0.0), 1.0)
    return math.dist(piece.at(share), point_m)


def _crossings(thing: Thing, offset_m: float):
    for c in crossings(thing.course, offset_m):
        yield CrossingAnswer(height_m=c.height_m, depth_m=c.depth_m, height_error_95_m=COVER_95 * c.sigma_height_m,
                             depth_error_95_m=COVER_95 * c.sigma_depth_m, status=c.status)  # fmt: skip


def _course(part: Part):
    for piece in part.pieces:
        for x, z, depth in (piece.start_m, piece.end_m):
            yield CoursePoint(offset_m=x, height_m=z, depth_m=depth, group=piece.group, alternative=piece.alternative,
                              weight=piece.weight, status=piece.status)  # fmt: skip


def _notes(face: FaceView, thing: Thing, part: Part):
    if thing.on_far_face and face.far is not None and not face.from_outside:
        yield wording.FAR_SIDE.format(title=face.far.title)
    if thing.item.state == "proposed":
        yield wording.PROPOSED
    if all(p.method == "usual depth" for p in thing.positions):
        yield wording.USUAL_DEPTH
    if thing.kind.is_run:
        yield {BETWEEN: wording.COURSE_UNSEEN, BEYOND: wording.GOES_ON}.get(part.status, wording.STRAIGHT_BETWEEN)
    if thing.item.note:
        yield thing.item.note
