"""The part of a thing that lies in a rectangle of the face, and the spot of it to name."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.answers.stretches import BEYOND, SEEN, Course, Stretch
from asbuilt.answers.things import Thing
from asbuilt.answers.wording import COVER_95

NEARLY_M = 0.02  # a run drawn within this of the nearest place counts as just as near
SELDOM = 0.15  # a way past the last mark so much less likely than the likeliest one names no place (our choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rectangle:
    """A rectangle of a face [m]."""

    left_m: float
    bottom_m: float
    right_m: float
    top_m: float


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
    pieces: tuple[Stretch, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """Where a run crosses an offset: height and depth with their one-sigma errors [m]."""

    height_m: float
    depth_m: float
    sigma_height_m: float
    sigma_depth_m: float
    status: str


def at(stretch: Stretch, share: float) -> tuple[np.ndarray, np.ndarray]:
    """Point and covariance at a share (0 start, 1 end) of a stretch."""
    point = stretch.start_m + share * (stretch.end_m - stretch.start_m)
    return point, (1 - share) * stretch.start_cov + share * stretch.end_cov


def parts_in(
    things: Sequence[Thing], rectangle: Rectangle, offset_m: float, height_m: float | None, sigmas: float = COVER_95
) -> list[Part | None]:
    """The part of each thing in a rectangle grown by ``sigmas`` times the thing's own error, or None."""
    runs = [t for t in things if t.block is None]
    near = _overlapping(runs, rectangle, sigmas)
    return [
        _run_part(t, next(near), rectangle, offset_m, height_m, sigmas)
        if t.block is None
        else _block_part(t, rectangle, sigmas)
        for t in things
    ]


def _block_part(thing: Thing, r: Rectangle, sigmas: float) -> Part | None:
    block = thing.block
    reach = sigmas * np.sqrt(np.diag(block.cov)[:2])
    x, z = block.center_m[:2]
    outline = Rectangle(left_m=x - block.half_width_m, bottom_m=z - block.half_height_m,
                        right_m=x + block.half_width_m, top_m=z + block.half_height_m)  # fmt: skip
    apart = (outline.left_m - reach[0] > r.right_m, outline.right_m + reach[0] < r.left_m,
             outline.bottom_m - reach[1] > r.top_m, outline.top_m + reach[1] < r.bottom_m)  # fmt: skip
    if any(apart):
        return None
    return Part(point_m=block.center_m, cov=block.cov, status=SEEN, extent=outline)


def _run_part(
    thing: Thing, near: np.ndarray, r: Rectangle, offset_m: float, height_m: float | None, sigmas: float
) -> Part | None:
    """The part of a run of which only the stretches ``near`` can lie in the rectangle."""
    if not len(near):
        return None
    radius_m = thing.radius_m if sigmas else 0.0
    sigma_m = thing.course.sigma_m[near].tolist()
    clipped = [c for i, s in zip(near, sigma_m, strict=True) if (c := _clip(thing.course[i], r, radius_m, sigmas, s))]
    if not clipped:
        return None
    likely = list(_likely([s for s in clipped if not _is_seldom(s, thing.course)] or clipped))
    spots = [_nearest(s, offset_m, height_m) for s in likely]
    distances = [d for _, _, d in spots]
    near = [i for i, d in enumerate(distances) if d <= min(distances) + NEARLY_M]
    best = max(near, key=lambda i: (likely[i].weight, -distances[i]))
    ends = np.array([p for s in likely for p in (s.start_m, s.end_m)])
    extent = Rectangle(left_m=float(ends[:, 0].min()), bottom_m=float(ends[:, 1].min()),
                       right_m=float(ends[:, 0].max()), top_m=float(ends[:, 1].max()))  # fmt: skip
    point, cov, _ = spots[best]
    if likely[best].weight < 1:
        cov = cov + _alternatives_spread(point, likely[best].group, thing.course)
    return Part(point_m=point, cov=cov, status=likely[best].status, extent=extent, pieces=tuple(clipped))


def _overlapping(runs: Sequence[Thing], r: Rectangle, sigmas: float) -> Iterator[np.ndarray]:
    """Of each run the numbers of the stretches whose own rectangle, grown by width and error, meets ``r``."""
    if not runs:
        return
    counts = [len(t.course) for t in runs]
    starts, ends, grow = (np.concatenate([getattr(t.course, name) for t in runs])[:, :2]
                          for name in ("starts_m", "ends_m", "sigma_m"))  # fmt: skip
    grow = sigmas * grow
    if sigmas:
        grow += np.repeat([t.radius_m for t in runs], counts)[:, None]
    apart = (np.minimum(starts, ends) - grow > (r.right_m, r.top_m)) | (
        np.maximum(starts, ends) + grow < (r.left_m, r.bottom_m)
    )
    meets, first = ~apart.any(axis=1), 0
    for count in counts:
        yield np.flatnonzero(meets[first : first + count])
        first += count


def _likely(stretches: Sequence[Stretch]) -> Iterator[Stretch]:
    """Of stretches that exclude each other, the likeliest alternative."""
    best: dict[int, float] = {}
    for s in stretches:
        best[s.group] = max(best.get(s.group, 0.0), s.weight)
    yield from (s for s in stretches if s.weight >= best[s.group])


def _is_seldom(stretch: Stretch, course: Course) -> bool:
    """Whether a run hardly takes that way past its last mark: it counts for touching, but names no place."""
    return stretch.status == BEYOND and stretch.weight < SELDOM * course.weight[course.group == stretch.group].max()


def _clip(stretch: Stretch, r: Rectangle, radius_m: float, sigmas: float, sigma_m: Sequence[float]) -> Stretch | None:
    """The piece of a stretch inside a rectangle grown by the run's width and error (offset, height)."""
    start, end = stretch.start_m.tolist(), stretch.end_m.tolist()
    first, last = 0.0, 1.0
    for k, (low, high) in enumerate(((r.left_m, r.right_m), (r.bottom_m, r.top_m))):
        grow = radius_m + sigmas * sigma_m[k]
        low, high, a, d = low - grow, high + grow, start[k], end[k] - start[k]
        if abs(d) < 1e-12:
            if not low <= a <= high:
                return None
            continue
        one, two = sorted(((low - a) / d, (high - a) / d))
        first, last = max(first, one), min(last, two)
    if first == 0.0 and last == 1.0:
        return stretch
    if first > last:
        return None
    (start, start_cov), (end, end_cov) = at(stretch, first), at(stretch, last)
    return Stretch(start_m=start, end_m=end, start_cov=start_cov, end_cov=end_cov, group=stretch.group,
                   alternative=stretch.alternative, weight=stretch.weight, status=stretch.status)  # fmt: skip


def _nearest(s: Stretch, offset_m: float, height_m: float | None) -> tuple[np.ndarray, np.ndarray, float]:
    """The spot of a stretch nearest to the asked offset (and height), with its distance."""
    d = s.end_m - s.start_m
    if height_m is None:
        share = 0.5 if abs(d[0]) < 1e-9 else min(max(float((offset_m - s.start_m[0]) / d[0]), 0.0), 1.0)
        point, cov = at(s, share)
        return point, cov, abs(float(point[0]) - offset_m)
    wanted = np.array([offset_m, height_m])
    share = min(max(float((wanted - s.start_m[:2]) @ d[:2] / max(d[:2] @ d[:2], 1e-18)), 0.0), 1.0)
    point, cov = at(s, share)
    return point, cov, math.dist(point[:2], wanted)


def crossings(course: Course, value_m: float, axis: int = 0) -> list[Crossing]:
    """Where a run crosses an offset (axis 0), from the floor up, or a height (axis 1), from the left.

    Of alternatives that exclude each other it is the likeliest, with the spread of all; ways that
    a run seldom takes past its last mark are left out. For a height, the ``height_m`` of a
    crossing is the offset at which it happens.
    """
    other = 1 - axis
    d = course.ends_m - course.starts_m
    along = np.abs(d[:, axis]) < np.maximum(1e-6, 0.1 * np.abs(d[:, other]))  # it runs along the line, not across it
    share = (value_m - course.starts_m[:, axis]) / np.where(along, np.inf, d[:, axis])
    meets = ~along & (share >= 0) & (share < 1)
    if len(course):
        meets[-1] |= not along[-1] and share[-1] == 1
    by_group: dict[int, list[tuple[Stretch, np.ndarray, np.ndarray]]] = {}
    for row in np.flatnonzero(meets):
        stretch = course[row]
        if not _is_seldom(stretch, course):
            by_group.setdefault(stretch.group, []).append((stretch, *at(stretch, float(share[row]))))
    found = [_mixture(hits, axis) for hits in by_group.values()]
    return sorted(found, key=lambda c: c.height_m)


def _mixture(hits: Sequence[tuple[Stretch, np.ndarray, np.ndarray]], axis: int) -> Crossing:
    """The likeliest of the alternatives; its error is the spread of all of them about it."""
    other = 1 - axis
    best = max(range(len(hits)), key=lambda i: hits[i][0].weight)
    weights = np.array([s.weight for s, _, _ in hits])
    weights = weights / weights.sum()
    points = np.array([p for _, p, _ in hits])
    slope = [(s.end_m[other] - s.start_m[other]) / (s.end_m[axis] - s.start_m[axis]) for s, _, _ in hits]
    along = [c[other, other] - 2 * m * c[axis, other] + m * m * c[axis, axis]
             for m, (_, _, c) in zip(slope, hits, strict=True)]  # fmt: skip
    variance = np.array(along) + (points[:, other] - points[best, other]) ** 2
    variance_depth = np.array([c[2, 2] for _, _, c in hits]) + (points[:, 2] - points[best, 2]) ** 2
    return Crossing(
        height_m=float(points[best, other]), depth_m=float(points[best, 2]),
        sigma_height_m=float(np.sqrt(weights @ variance)), sigma_depth_m=float(np.sqrt(weights @ variance_depth)),
        status=hits[best][0].status,
    )  # fmt: skip


def _alternatives_spread(point_m: np.ndarray, group: int, course: Course) -> np.ndarray:
    """What the alternatives that a spot of a run might lie on instead add to its covariance."""
    own = np.flatnonzero(course.group == group)
    starts, d = course.starts_m[own], (course.ends_m - course.starts_m)[own]
    share = np.clip(((point_m - starts) * d).sum(1) / np.maximum((d * d).sum(1), 1e-18), 0, 1)
    miss = starts + share[:, None] * d - point_m
    length = (miss * miss).sum(1)
    spread, total = np.zeros((3, 3)), 0.0
    for alternative in sorted(set(course.alternative[own].tolist())):
        members = np.flatnonzero(course.alternative[own] == alternative)
        nearest = members[np.argmin(length[members])]
        weight = course.weight[own[nearest]]
        spread += weight * np.outer(miss[nearest], miss[nearest])
        total += weight
    return spread / total
