"""How far a drill path passes from a recorded thing, in which direction, and with what error."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from asbuilt.answers.stretches import SEEN
from asbuilt.answers.things import Thing
from asbuilt.answers.touch import Bit, Block, block_chance, course_chance, nearest_share, share_along

# Marking out and holding the drill: 1/8 in along the wall, 1/16 in deep (common practice, no source).
AIM_COV = np.diag([0.0032, 0.0032, 0.0016]) ** 2
# Where even the bound on the chance is below this, the integral is not worth doing.
NEGLIGIBLE = 1e-5
FARTHEST_SIGMA = 5.0  # no shift in three dimensions is larger, but for one in sixty thousand


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clearance:
    """The gap between the surfaces of a bit and of a thing; negative where they overlap.

    ``toward`` is the unit direction from the bit to the nearest spot of the thing in
    (offset, height, depth); ``plane_gap_m`` leaves depth out of account.
    """

    gap_m: float
    sigma_m: float
    toward: np.ndarray
    plane_gap_m: float
    plane_sigma_m: float
    plane_toward: np.ndarray  # (2,)
    depth_m: float  # of the thing's surface at its nearest spot, from the stud face
    status: str
    weight: float
    out_of_reach: bool = False  # no part of the thing can lie on the path


def chances_of(thing: Thing, bit: Bit, clearance: Clearance, aim_cov: np.ndarray = AIM_COV) -> tuple[float, float]:
    """Chance that the bit touches the thing, the error of aiming included; and without guessed ways.

    Those are the ways that a run may take beyond its last sighting.

    To touch a block, a shift along the direction of the gap by at least the gap is needed,
    which bounds the chance; a run is out of reach where each of its stretches is. Only where
    the bound is not negligible is the integral done.
    """
    if clearance.out_of_reach:
        return 0.0, 0.0
    if thing.block is not None:
        gap_m = clearance.gap_m - max((half - thing.block.half_width_m for half, _ in thing.block.wider_m), default=0.0)
        if gap_m > 0 and ndtr(-gap_m / max(clearance.sigma_m, 1e-9)) < NEGLIGIBLE:
            return 0.0, 0.0
        chance = block_chance(replace(thing.block, cov=thing.block.cov + aim_cov), bit)
        return chance, chance
    return course_chance(thing.course, thing.radius_m, bit, aim_cov)


def clearances(things: Sequence[Thing], bit: Bit, aim_cov: np.ndarray = AIM_COV) -> list[Clearance]:
    """The clearance between a bit and the nearest part of each thing, the error of aiming included."""
    runs = [t for t in things if t.block is None]
    nearest = _runs_nearest(runs, bit, aim_cov) if runs else iter(())
    found = []
    for thing in things:
        if thing.block is not None:
            found.append(_block_clearance(thing.block, bit, aim_cov))
        else:
            found.append(_run_clearance(thing, next(nearest), bit, aim_cov))
    return found


def _block_clearance(block: Block, bit: Bit, aim_cov: np.ndarray) -> Clearance:
    (x, z, front), half = block.center_m.tolist(), (block.half_width_m, block.half_height_m)
    from_center = bit.offset_m - x, bit.height_m - z
    aside = [min(max(off, -h), h) - off for off, h in zip(from_center, half, strict=True)]
    plane = math.hypot(*aside)
    over = max(front - bit.tip_m, 0.0)
    if plane == 0:
        plane_gap = -min(h - abs(off) for off, h in zip(from_center, half, strict=True)) - bit.radius_m
    else:
        plane_gap = plane - bit.radius_m
    cov = block.cov + aim_cov
    cov[0, 0] += sum(weight * (half_m - block.half_width_m) ** 2 for half_m, weight in block.wider_m)
    return _clearance(aside, plane_gap, over, 0.0, cov, front, SEEN, 1.0)


def _runs_nearest(runs: Sequence[Thing], bit: Bit, aim_cov: np.ndarray):
    """For each run: its stretch likeliest to be met, and the one nearest along the wall.

    Yields (number of the stretch, share, aside, over), (number, share, aside) and whether the
    whole run is out of reach, all runs worked out at once.
    """
    starts = np.concatenate([t.course.starts_m for t in runs])
    ends = np.concatenate([t.course.ends_m for t in runs])
    sigma = np.sqrt(np.concatenate([t.course.reach_m for t in runs]) ** 2 + np.trace(aim_cov))
    radius = np.concatenate([np.full(len(t.course), t.radius_m) for t in runs])
    a, d = starts[:, :2] - (bit.offset_m, bit.height_m), (ends - starts)[:, :2]
    along = share_along(*a.T, *d.T)
    flat_aside = a + along[:, None] * d
    plane = np.hypot(flat_aside[:, 0], flat_aside[:, 1])
    depth_a, depth_d = starts[:, 2] - bit.tip_m, (ends - starts)[:, 2]
    share = along.copy()
    todo = np.flatnonzero((depth_a + along * depth_d > 0) & (np.abs(depth_d) > 1e-6))
    if len(todo):
        start, way = (*a[todo].T, depth_a[todo]), (*d[todo].T, depth_d[todo])
        share[todo] = nearest_share(start, way, along[todo], bit.radius_m)
    aside = a + share[:, None] * d
    over = np.maximum(depth_a + share * depth_d, 0)
    distance = np.hypot(np.maximum(np.hypot(aside[:, 0], aside[:, 1]) - bit.radius_m, 0), over)
    sigmas = (distance - radius) / sigma  # from the surface, in errors: what lies nearest may be well known
    first = 0
    for run in runs:
        own = slice(first, first + len(run.course))
        best = int(np.argmin(sigmas[own]))
        flat = int(np.argmin(plane[own]))
        met = best, float(share[first + best]), aside[first + best].tolist(), float(over[first + best])
        passed = flat, float(along[first + flat]), flat_aside[first + flat].tolist()
        yield met, passed, bool(sigmas[first + best] > FARTHEST_SIGMA)
        first = own.stop


def _run_clearance(thing: Thing, nearest, bit: Bit, aim_cov: np.ndarray) -> Clearance:
    (row, share, aside, over), (flat, flat_share, flat_aside), out_of_reach = nearest
    course = thing.course
    depth = course.starts_m[row, 2] + share * (course.ends_m[row, 2] - course.starts_m[row, 2]) - thing.radius_m
    found = _clearance(aside, math.hypot(*aside) - bit.radius_m, over, thing.radius_m,
                       course.cov_at(row, share) + aim_cov, float(depth), course.status[row],
                       float(course.weight[row]), out_of_reach)  # fmt: skip
    if flat == row and flat_share == share:
        return found
    toward = _unit(flat_aside)
    return replace(found, plane_gap_m=math.hypot(*flat_aside) - bit.radius_m - thing.radius_m,
                   plane_toward=np.array(toward),
                   plane_sigma_m=_sigma(course.cov_at(flat, flat_share) + aim_cov, toward))  # fmt: skip


def _clearance(aside, plane_gap, over, radius_m, cov, depth_m, status, weight, out_of_reach=False) -> Clearance:
    outside, aside = max(plane_gap, 0.0), _unit(aside)
    direction = (aside[0] * outside, aside[1] * outside, over)
    length = math.hypot(*direction)
    if length < 1e-9:
        direction = (*aside, 0.0)
        gap = plane_gap - radius_m
    else:
        direction, gap = tuple(d / length for d in direction), length - radius_m
    return Clearance(
        gap_m=gap, sigma_m=_sigma(cov, direction), toward=np.array(direction), plane_gap_m=plane_gap - radius_m,
        plane_sigma_m=_sigma(cov, aside), plane_toward=np.array(aside), depth_m=depth_m, status=status,
        weight=weight, out_of_reach=out_of_reach,
    )  # fmt: skip


def _unit(vector: Sequence[float]) -> tuple[float, float]:
    length = math.hypot(*vector)
    return (vector[0] / length, vector[1] / length) if length > 1e-9 else (1.0, 0.0)


def _sigma(cov: np.ndarray, direction: Sequence[float]) -> float:
    """One-sigma error along a direction: of (offset, height), or with the depth as well."""
    rows = cov.tolist()
    variance = sum(rows[i][j] * a * b for i, a in enumerate(direction) for j, b in enumerate(direction))
    return math.sqrt(max(variance, 0.0))
