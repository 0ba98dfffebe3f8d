"""The chance that a drill bit touches a thing whose place is known with an error.

The bit sweeps a cylinder from the room to its tip. A thing is a straight capsule (a stretch
of cable or pipe) or a block (a box, a plate). The chance is the integral of the Gaussian
position error over the places at which the two touch, by a fixed low-discrepancy rule of
2048 points in three dimensions: the same points for every question, so that a wider or a
deeper hole never gets a smaller chance. Points are (offset, height, depth) [m].
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from scipy.special import ndtri

from asbuilt.answers.stretches import BEYOND, Course

NO_COV = np.zeros((3, 3))
LOG2_POINTS = 11
FARTHEST_SIGMA = 5.0  # beyond this the chance is below one in a million
HALVINGS = 14  # a ten-thousandth of a stretch's length


@dataclass(frozen=True, slots=True, kw_only=True)
class Bit:
    """A drill path: where it enters, how wide it is, and how deep its tip goes.

    ``tip_m`` is counted from the stud face, as every depth of the record.
    """

    offset_m: float
    height_m: float
    radius_m: float
    tip_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Block:
    """A thing with an outline on the face and a thickness.

    ``wider_m`` are half widths it may have instead, each with its weight, where its size is
    not known.
    """

    center_m: np.ndarray  # (3,), depth of its front
    cov: np.ndarray  # (3, 3) [m^2]
    half_width_m: float
    half_height_m: float
    thickness_m: float
    wider_m: tuple[tuple[float, float], ...] = ()


@cache
def normal_points() -> np.ndarray:
    """Standard normal points of shape (2048, 3), the nodes of the rule."""
    from scipy.stats import qmc  # takes longer to load than an answer takes; not every answer needs it

    uniform = qmc.Sobol(3, scramble=True, rng=np.random.default_rng(20)).random_base2(LOG2_POINTS)
    points = ndtri(np.clip(uniform, 1e-12, 1 - 1e-12))
    points.setflags(write=False)
    return points


@cache
def farthest_point() -> float:
    """How far the farthest node of the rule lies out: no shift is larger, in standard deviations."""
    return float(np.linalg.norm(normal_points(), axis=1).max())


def root_of(cov: np.ndarray) -> np.ndarray:
    """Symmetric L with L L^T = cov for covariances of shape (..., 3, 3), also semi-definite ones."""
    values, vectors = np.linalg.eigh(cov)
    return (vectors * np.sqrt(np.maximum(values, 0))[..., None, :]) @ np.swapaxes(vectors, -1, -2)


def capsule_touched(start_m: np.ndarray, end_m: np.ndarray, radius_m: float, bit: Bit) -> np.ndarray:
    """Whether the bit touches capsules from ``start_m`` to ``end_m``, both (N, 3); shape (N,)."""
    return _meets(start_m.T, end_m.T, radius_m, bit)


def _meets(start_m: np.ndarray, end_m: np.ndarray, radius_m: float, bit: Bit) -> np.ndarray:
    """The same for capsules whose (offset, height, depth) come first: shape (3, ...), to (...)."""
    d_x, d_z, depth_d = end_m - start_m
    a_x, a_z = start_m[0] - bit.offset_m, start_m[1] - bit.height_m
    along = share_along(a_x, a_z, d_x, d_z)
    off_x, off_z = a_x + along * d_x, a_z + along * d_z
    near = off_x * off_x + off_z * off_z <= (radius_m + bit.radius_m) ** 2
    # Only where it comes near enough along the wall does its depth matter.
    start = (a_x[near], a_z[near], start_m[2][near] - bit.tip_m)
    near[near] = _meets_deep(start, (d_x[near], d_z[near], depth_d[near]), along[near], radius_m, bit.radius_m)
    return near


def _meets_deep(start, way, along, radius_m: float, bit_radius_m: float) -> np.ndarray:
    """Whether capsules that the bit reaches along the wall, nearest at a share ``along``, are touched; shape (N,)."""

    def touched_at(start, way, share) -> np.ndarray:
        off_x, off_z, depth = (a + share * d for a, d in zip(start, way, strict=True))
        return length(np.maximum(length(off_x, off_z) - bit_radius_m, 0), np.maximum(depth, 0)) <= radius_m

    touched = touched_at(start, way, along)
    open_ = ~touched & (np.minimum(start[2], start[2] + way[2]) <= radius_m)
    if open_.any():
        start, way = (tuple(v[open_] for v in of) for of in (start, way))
        touched[open_] = touched_at(start, way, nearest_share(start, way, along[open_], bit_radius_m))
    return touched


def share_along(a_x, a_z, d_x, d_z) -> np.ndarray:
    """Share along straight lines from (a_x, a_z) by (d_x, d_z) at which they are nearest to the bit along the wall."""
    return np.clip(-(a_x * d_x + a_z * d_z) / np.maximum(d_x * d_x + d_z * d_z, 1e-18), 0, 1)


def length(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Hypotenuses; metres neither overflow nor vanish when squared, which np.hypot guards against at a price."""
    return np.sqrt(x * x + y * y)


def nearest_share(start, way, along, bit_radius_m: float) -> np.ndarray:
    """Share along straight lines at which they are nearest to a swept bit.

    The distance is convex along a line, so the sign of its slope is halved upon, between the place
    nearest along the wall and the end that lies nearest to the room.

    Parameters
    ----------
    start, way : triples of arrays (N,)
        Where each line starts, from the bit's tip, and its way to its end: offset, height, depth [m].
    along : array (N,)
        Share at which each is nearest along the wall.
    """
    (a_x, a_z, depth_a), (d_x, d_z, depth_d) = start, way
    least_at = -(a_x * d_x + a_z * d_z)
    flat2 = d_x * d_x + d_z * d_z
    inner, outer = along, np.where(depth_d > 0, 0.0, 1.0)
    for _ in range(HALVINGS):
        share = (inner + outer) / 2
        from_axis = length(a_x + share * d_x, a_z + share * d_z)
        # Slopes toward larger shares of half the squared distance, aside and in depth.
        aside = np.maximum(1 - bit_radius_m / np.maximum(from_axis, 1e-12), 0) * (share * flat2 - least_at)
        slope = aside + np.maximum(depth_a + share * depth_d, 0) * depth_d
        is_inner = (slope > 0) == (depth_d > 0)  # the least lies farther out
        inner, outer = np.where(is_inner, share, inner), np.where(is_inner, outer, share)
    return (inner + outer) / 2


def block_touched(center_m: np.ndarray, block: Block, bit: Bit) -> np.ndarray:
    """Whether the bit touches a block at the places ``center_m`` (N, 3); shape (N,)."""
    dx = np.maximum(np.abs(center_m[:, 0] - bit.offset_m) - block.half_width_m, 0)
    dz = np.maximum(np.abs(center_m[:, 1] - bit.height_m) - block.half_height_m, 0)
    return (np.hypot(dx, dz) <= bit.radius_m) & (center_m[:, 2] <= bit.tip_m)


def block_chance(block: Block, bit: Bit) -> float:
    """Chance that the bit touches the block."""
    widest = max((half for half, _ in block.wider_m), default=block.half_width_m)
    gap = np.array([abs(block.center_m[0] - bit.offset_m) - widest,
                    abs(block.center_m[1] - bit.height_m) - block.half_height_m])  # fmt: skip
    sigma = np.sqrt(np.diag(block.cov))
    if (gap - bit.radius_m > FARTHEST_SIGMA * sigma[:2] + 1e-12).any():
        return 0.0
    places = block.center_m + normal_points() @ root_of(block.cov).T
    chance = (1 - sum(w for _, w in block.wider_m)) * block_touched(places, block, bit).mean()
    for half_width_m, weight in block.wider_m:
        chance += weight * block_touched(places, replace(block, half_width_m=half_width_m), bit).mean()
    return float(chance)


def course_chance(course: Course, radius_m: float, bit: Bit, aim_cov: np.ndarray = NO_COV) -> tuple[float, float]:
    """Chance that the bit touches a run that lies along one alternative of each group.

    The error is taken as common to the whole run; groups as independent of each other.

    Returns
    -------
    chance, known : float
        ``known`` leaves out the ways that the run may take beyond its last sighting.
    """
    near = np.flatnonzero(_may_touch(course, radius_m, bit, aim_cov))
    if not len(near):
        return 0.0, 0.0
    course = course.part(near)
    touched = _touched(course, radius_m, bit, aim_cov)
    chance, sure = _along_one_of_each(course, touched), np.flatnonzero(course.status != BEYOND)
    if len(sure) == len(near):
        return chance, chance
    return chance, _along_one_of_each(course.part(sure), touched[sure]) if len(sure) else 0.0


def _along_one_of_each(course: Course, touched: np.ndarray) -> float:
    ways: dict[float, dict[float, list[int]]] = {}
    for row, (group, alternative) in enumerate(zip(course.group.tolist(), course.alternative.tolist(), strict=True)):
        ways.setdefault(group, {}).setdefault(alternative, []).append(row)
    miss = np.ones(touched.shape[1])
    for alternatives in ways.values():
        share = sum(touched[rows].any(axis=0) * course.weight[rows[0]] for rows in alternatives.values())
        miss *= 1 - np.minimum(share, 1)
    return float(1 - miss.mean())


def _touched(course: Course, radius_m: float, bit: Bit, aim_cov: np.ndarray) -> np.ndarray:
    """Whether each stretch is touched at each point of the rule, shape (S, N)."""
    centers = np.stack([course.starts_m, course.ends_m])
    roots = root_of(np.stack([course.start_covs, course.end_covs]) + aim_cov)
    rows = np.moveaxis(roots, 2, 1)  # (2, 3, S, 3)
    shifts = (rows.reshape(-1, 3) @ normal_points().T).reshape(*rows.shape[:3], -1)
    start, end = np.moveaxis(centers, 2, 1)[..., None] + shifts  # (3, S, N)
    return _meets(start, end, radius_m, bit)


def _may_touch(course: Course, radius_m: float, bit: Bit, aim_cov: np.ndarray) -> np.ndarray:
    """Whether each stretch can lie on the bit's path at all, along the wall.

    All of it lies beyond its nearest place, so that it must be shifted that way by the whole gap.
    """
    (a_x, a_z), (d_x, d_z) = course.starts_m[:, :2].T, (course.ends_m - course.starts_m)[:, :2].T
    a_x, a_z = a_x - bit.offset_m, a_z - bit.height_m
    along = share_along(a_x, a_z, d_x, d_z)
    off = np.stack([a_x + along * d_x, a_z + along * d_z], axis=1)
    away_m = length(*off.T)
    covs = np.stack([course.start_covs, course.end_covs])[..., :2, :2] + aim_cov[:2, :2]
    spread = np.sqrt(((covs @ off[..., None])[..., 0] * off).sum(axis=2).max(axis=0))  # sigma that way, times away_m
    return away_m * (away_m - radius_m - bit.radius_m) <= farthest_point() * spread
