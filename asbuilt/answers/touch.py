"""The chance that a drill bit touches a thing whose place is known with an error.

The bit sweeps a cylinder from the room to its tip. A thing is a straight capsule (a stretch
of cable or pipe) or a block (a box, a plate). The chance is the integral of the Gaussian
position error over the places at which the two touch, by a fixed low-discrepancy rule of
2048 points in three dimensions: the same points for every question, so that a wider or a
deeper hole never gets a smaller chance. Points are (offset, height, depth) [m].
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from scipy.special import ndtri

from asbuilt.answers.stretches import BEYOND, Stretch

LOG2_POINTS = 11
FARTHEST_SIGMA = 5.0  # beyond this the chance is below one in a million


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
    a_x, a_z, depth_a = start_m[0] - bit.offset_m, start_m[1] - bit.height_m, start_m[2] - bit.tip_m
    along = np.clip(-(a_x * d_x + a_z * d_z) / np.maximum(d_x * d_x + d_z * d_z, 1e-18), 0, 1)
    aside = length(a_x + along * d_x, a_z + along * d_z) - bit.radius_m
    lowest = np.minimum(depth_a, depth_a + depth_d)
    touched = length(np.maximum(aside, 0), np.maximum(depth_a + along * depth_d, 0)) <= radius_m
    open_ = ~touched & (aside <= radius_m) & (lowest <= radius_m)
    if open_.any():
        start, way = (tuple(v[open_] for v in of) for of in ((a_x, a_z, depth_a), (d_x, d_z, depth_d)))
        lowest_at = np.where(way[2] > 0, 0.0, 1.0)
        touched[open_] = _least_distance(start, way, along[open_], lowest_at, bit.radius_m) <= radius_m
    return touched


def length(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Hypotenuses; metres neither overflow nor vanish when squared, which np.hypot guards against at a price."""
    return np.sqrt(x * x + y * y)


def _least_distance(start, way, from_, to, bit_radius_m) -> np.ndarray:
    """Least distance from the bit to centre lines, between two places along them: convex, so by sections."""
    (a_x, a_z, depth_a), (d_x, d_z, depth_d) = start, way

    def distance(s):
        aside = length(a_x + s * d_x, a_z + s * d_z) - bit_radius_m
        return length(np.maximum(aside, 0), np.maximum(depth_a + s * depth_d, 0))

    low, high = np.minimum(from_, to), np.maximum(from_, to)
    for _ in range(22):
        third = (high - low) / 3
        left_is_less = distance(low + third) < distance(high - third)
        high = np.where(left_is_less, high - third, high)
        low = np.where(left_is_less, low, low + third)
    return distance((low + high) / 2)


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


def stretches_chance(stretches: Sequence[Stretch], radius_m: float, bit: Bit) -> tuple[float, float]:
    """Chance that the bit touches a run that lies along one alternative of each group.

    The error is taken as common to the whole run; groups as independent of each other.

    Returns
    -------
    chance, known : float
        ``known`` leaves out the ways that the run may take beyond its last sighting.
    """
    near = [s for s in stretches if _may_touch(s, radius_m, bit)]
    if not near:
        return 0.0, 0.0
    touched = _touched(near, radius_m, bit)
    chance, sure = _along_one_of_each(near, touched), [i for i, s in enumerate(near) if s.status != BEYOND]
    if len(sure) == len(near):
        return chance, chance
    return chance, _along_one_of_each([near[i] for i in sure], touched[sure]) if sure else 0.0


def _along_one_of_each(near: Sequence[Stretch], touched: np.ndarray) -> float:
    miss = np.ones(touched.shape[1])
    for group in {s.group for s in near}:
        share = np.zeros(len(miss))
        for alternative in {s.alternative for s in near if s.group == group}:
            members = [i for i, s in enumerate(near) if s.group == group and s.alternative == alternative]
            share += touched[members].any(axis=0) * near[members[0]].weight
        miss *= 1 - np.minimum(share, 1)
    return float(1 - miss.mean())


def _touched(stretches: Sequence[Stretch], radius_m: float, bit: Bit) -> np.ndarray:
    """Whether each stretch is touched at each point of the rule, shape (S, N)."""
    centers = np.array([(s.start_m, s.end_m) for s in stretches])
    roots = root_of(np.array([(s.start_cov, s.end_cov) for s in stretches]))
    places = centers[..., None] + roots @ normal_points().T  # (S, 2, 3, N)
    start, end = places.transpose(1, 2, 0, 3)
    return _meets(start, end, radius_m, bit)


def _may_touch(stretch: Stretch, radius_m: float, bit: Bit) -> bool:
    variance = max(cov[0, 0] + cov[1, 1] for cov in (stretch.start_cov, stretch.end_cov))
    a = stretch.start_m[:2] - (bit.offset_m, bit.height_m)
    d = (stretch.end_m - stretch.start_m)[:2]
    along = min(max(-float(a @ d) / max(float(d @ d), 1e-18), 0.0), 1.0)
    return math.hypot(*(a + along * d)) <= radius_m + bit.radius_m + FARTHEST_SIGMA * math.sqrt(variance)
