"""The part of a thing that lies in a rectangle of the face, and the spot of it to name."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from asbuilt.answers.stretches import SEEN, Course
from asbuilt.answers.things import Thing
from asbuilt.answers.wording import COVER_95

NEARLY_M = 0.02  # a run drawn within this of the nearest place counts as just as near


@dataclass(frozen=True, slots=True, kw_only=True)
class Rectangle:
    """A rectangle of a face [m]."""

    left_m: float
    bottom_m: float
    right_m: float
    top_m: float


class Piece(NamedTuple):
    """The piece of a stretch of a run that lies inside a rectangle; places are (offset, height, depth) [m]."""

    start_m: tuple[float, float, float]
    end_m: tuple[float, float, float]
    group: int
    alternative: int
    weight: float
    status: str
    is_seldom: bool
    row: int  # number of the stretch in the course
    first: float = 0.0  # share of the stretch at which the piece starts
    last: float = 1.0

    def at(self, share: float) -> tuple[float, ...]:
        """The place at a share (0 start, 1 end) of the piece."""
        return tuple([a + share * (b - a) for a, b in zip(self.start_m, self.end_m, strict=True)])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """The part of a thing inside a rectangle.

    ``point_m`` is the spot nearest to what was asked, ``cov`` its covariance, ``status``
    how a run is known there; the extents are those of the part, errors left out.
    """

    point_m: np.ndarray
    cov: np.ndarray
    status: str
    extent: Rectangle
    pieces: tuple[Piece, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """Where a run crosses an offset: height and depth with their one-sigma errors [m]."""

    height_m: float
    depth_m: float
    sigma_height_m: float
    sigma_depth_m: float
    status: str


def parts_in(
    things: Sequence[Thing],
    rectangles: Sequence[Rectangle],
    offset_m: float,
    height_m: float | None,
    sigmas: float = COVER_95,
) -> list[list[Part | None]]:
    """For each rectangle the part of each thing in it, grown by ``sigmas`` times the thing's own error, or None."""
    runs = [t for t in things if t.block is None]
    overlapping = _overlapping(runs, rectangles, sigmas)
    return [
        [
            _run_part(t, next(near), rectangle, offset_m, height_m, sigmas)
            if t.block is None
            else _block_part(t, rectangle, sigmas)
            for t in things
        ]
        for rectangle, near in zip(rectangles, map(iter, overlapping), strict=True)
    ]


def _block_part(thing: Thing, r: Rectangle, sigmas: float) -> Part | None:
    block = thing.block
    x, z = block.center_m[:2].tolist()
    outline = Rectangle(left_m=x - block.half_width_m, bottom_m=z - block.half_height_m,
                        right_m=x + block.half_width_m, top_m=z + block.half_height_m)  # fmt: skip
    grow_x, grow_z = (sigmas * math.sqrt(block.cov[k, k]) for k in (0, 1))
    if (outline.left_m - grow_x > r.right_m or outline.right_m + grow_x < r.left_m
            or outline.bottom_m - grow_z > r.top_m or outline.top_m + grow_z < r.bottom_m):  # fmt: skip
        return None
    return Part(point_m=block.center_m, cov=block.cov, status=SEEN, extent=outline)


def _run_part(
    thing: Thing, near: list[int], r: Rectangle, offset_m: float, height_m: float | None, sigmas: float
) -> Part | None:
    """The part of a run of which only the stretches ``near`` can lie in the rectangle."""
    if not near:
        return None
    course, radius_m = thing.course, thing.radius_m if sigmas else 0.0
    grow_m = (radius_m + sigmas * course.sigma_m[near]).tolist()
    clipped = [c for piece, grow in zip(_pieces(course, near), grow_m, strict=True) if (c := _clip(piece, r, grow))]
    if not clipped:
        return None
    likely = _likely([piece for piece in clipped if not piece.is_seldom] or clipped)
    spots = [_nearest(piece, offset_m, height_m) for piece in likely]
    limit_m = min(distance for _, _, distance in spots) + NEARLY_M
    near_enough = [(p, spot) for p, spot in zip(likely, spots, strict=True) if spot[2] <= limit_m]
    piece, (share, point, _) = max(near_enough, key=lambda found: (found[0].weight, -found[1][2]))
    point, cov = np.array(point), course.cov_at(piece.row, share)
    if piece.weight < 1:
        cov = cov + _alternatives_spread(point, piece.group, course)
    return Part(point_m=point, cov=cov, status=piece.status, extent=_extent(likely), pieces=tuple(clipped))


def _pieces(course: Course, rows: list[int]) -> Iterator[Piece]:
    """Those stretches of a run, whole."""
    names = ("starts_m", "ends_m", "group", "alternative", "weight", "status", "is_seldom")
    for *places, group, alternative, weight, status, is_seldom, row in zip(
        *(getattr(course, name)[rows].tolist() for name in names), rows, strict=True
    ):
        yield Piece(*places, int(group), int(alternative), weight, status, is_seldom, row)


def _extent(pieces: Sequence[Piece]) -> Rectangle:
    ends = [p for piece in pieces for p in (piece.start_m, piece.end_m)]
    x, z = [p[0] for p in ends], [p[1] for p in ends]
    return Rectangle(left_m=min(x), bottom_m=min(z), right_m=max(x), top_m=max(z))


def _overlapping(runs: Sequence[Thing], rectangles: Sequence[Rectangle], sigmas: float) -> list[list[list[int]]]:
    """By rectangle and run the numbers of the stretches whose own rectangle, grown by width and error, meets it."""
    found: list[list[list[int]]] = [[[] for _ in runs] for _ in rectangles]
    if not runs:
        return found
    owner = [(n, row) for n, t in enumerate(runs) for row in range(len(t.course))]
    starts, ends, grow = (np.concatenate([getattr(t.course, name) for t in runs])[:, :2]
                          for name in ("starts_m", "ends_m", "sigma_m"))  # fmt: skip
    grow = sigmas * grow
    if sigmas:
        grow += np.array([runs[n].radius_m for n, _ in owner])[:, None]
    low, high = np.minimum(starts, ends) - grow, np.maximum(starts, ends) + grow
    asked = np.array([((r.left_m, r.bottom_m), (r.right_m, r.top_m)) for r in rectangles])[:, :, None]
    meets = ((low <= asked[:, 1]) & (high >= asked[:, 0])).all(axis=2)
    for number, at in zip(*(hits.tolist() for hits in np.nonzero(meets)), strict=True):
        run, row = owner[at]
        found[number][run].append(row)
    return found


def _likely(pieces: Sequence[Piece]) -> list[Piece]:
    """Of pieces that exclude each other, the likeliest alternative."""
    best: dict[int, float] = {}
    for p in pieces:
        best[p.group] = max(best.get(p.group, 0.0), p.weight)
    return [p for p in pieces if p.weight >= best[p.group]]


def _clip(piece: Piece, r: Rectangle, grow_m: Sequence[float]) -> Piece | None:
    """What of a stretch lies inside a rectangle grown by so much (offset, height)."""
    start, end = piece.start_m, piece.end_m
    first, last = 0.0, 1.0
    for k, (low, high) in enumerate(((r.left_m, r.right_m), (r.bottom_m, r.top_m))):
        low, high, a, d = low - grow_m[k], high + grow_m[k], start[k], end[k] - start[k]
        if abs(d) < 1e-12:
            if not low <= a <= high:
                return None
            continue
        one, two = sorted(((low - a) / d, (high - a) / d))
        first, last = max(first, one), min(last, two)
    if first == 0.0 and last == 1.0:
        return piece
    if first > last:
        return None
    return piece._replace(start_m=piece.at(first), end_m=piece.at(last), first=first, last=last)


def _nearest(p: Piece, offset_m: float, height_m: float | None) -> tuple[float, tuple[float, ...], float]:
    """The spot of a piece nearest to the asked offset (and height): share of the stretch, place and distance."""
    (x, z, _), (d_x, d_z) = p.start_m, [b - a for a, b in zip(p.start_m[:2], p.end_m, strict=False)]
    if height_m is None:
        share = 0.5 if abs(d_x) < 1e-9 else min(max((offset_m - x) / d_x, 0.0), 1.0)
    else:
        ahead = (offset_m - x) * d_x + (height_m - z) * d_z
        share = min(max(ahead / max(d_x * d_x + d_z * d_z, 1e-18), 0.0), 1.0)
    point = p.at(share)
    distance_m = abs(point[0] - offset_m) if height_m is None else math.dist(point[:2], (offset_m, height_m))
    return p.first + share * (p.last - p.first), point, distance_m


def crossings(course: Course, value_m: float, axis: int = 0) -> list[Crossing]:
    """Where a run crosses an offset (axis 0), from the floor up, or a height (axis 1), from the left.

    Of alternatives that exclude each other it is the likeliest, with the spread of all; ways that
    a run seldom takes past its last mark are left out. For a height, the ``height_m`` of a
    crossing is the offset at which it happens.
    """
    if not len(course):
        return []
    d = course.ends_m - course.starts_m
    own, aside = d[:, axis], np.abs(d[:, 1 - axis])
    along = np.abs(own) < np.maximum(1e-6, 0.1 * aside)  # it runs along the line, not across it
    share = (value_m - course.starts_m[:, axis]) / np.where(along, np.inf, own)
    meets = ~along & (share >= 0) & (share < 1)
    meets[-1] |= not along[-1] and share[-1] == 1
    by_group: dict[int, list[_Hit]] = {}
    for row in np.flatnonzero(meets & ~course.is_seldom).tolist():
        by_group.setdefault(int(course.group[row]), []).append(_hit(course, row, float(share[row]), axis))
    found = [_mixture(hits) for hits in by_group.values()]
    return sorted(found, key=lambda c: c.height_m)


class _Hit(NamedTuple):
    """Where one stretch crosses a line, with its variances along the line and in depth [m, m^2]."""

    weight: float
    along_m: float
    depth_m: float
    along_m2: float
    depth_m2: float
    status: str


def _hit(course: Course, row: int, share: float, axis: int) -> _Hit:
    other, (piece,), cov = 1 - axis, _pieces(course, [row]), course.cov_at(row, share).tolist()
    start, end, point = piece.start_m, piece.end_m, piece.at(share)
    slope = (end[other] - start[other]) / (end[axis] - start[axis])
    variance = cov[other][other] - 2 * slope * cov[axis][other] + slope * slope * cov[axis][axis]
    return _Hit(piece.weight, point[other], point[2], variance, cov[2][2], piece.status)


def _mixture(hits: Sequence[_Hit]) -> Crossing:
    """The likeliest of the alternatives; its error is the spread of all of them about it."""
    best, total = max(hits, key=lambda h: h.weight), sum(h.weight for h in hits)
    variance = sum(h.weight * (h.along_m2 + (h.along_m - best.along_m) ** 2) for h in hits) / total
    variance_depth = sum(h.weight * (h.depth_m2 + (h.depth_m - best.depth_m) ** 2) for h in hits) / total
    return Crossing(height_m=best.along_m, depth_m=best.depth_m, sigma_height_m=math.sqrt(variance),
                    sigma_depth_m=math.sqrt(variance_depth), status=best.status)  # fmt: skip


def _alternatives_spread(point_m: np.ndarray, group: int, course: Course) -> np.ndarray:
    """What the alternatives that a spot of a run might lie on instead add to its covariance."""
    own = np.flatnonzero(course.group == group)
    starts = course.starts_m[own]
    d = course.ends_m[own] - starts
    share = np.minimum(np.maximum(((point_m - starts) * d).sum(1) / np.maximum((d * d).sum(1), 1e-18), 0), 1)
    miss = starts + share[:, None] * d - point_m
    alternative = course.alternative[own]
    by_distance = np.lexsort(((miss * miss).sum(1), alternative))
    is_first = np.ones(len(own), bool)  # the nearest stretch of each alternative
    is_first[1:] = np.diff(alternative[by_distance]) != 0
    nearest = by_distance[is_first]
    weight, miss = course.weight[own[nearest]], miss[nearest]
    return (weight[:, None] * miss).T @ miss / weight.sum()
