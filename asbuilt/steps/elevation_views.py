"""Which pictures could show which part of a face, and what each would cost in parallax, blur and error."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.geometry.rectify import view_of
from asbuilt.steps.elevation_site import CELL_M, INCH_M, Site, Source

NODE_CELLS = 8  # costs are smooth; worked out every 4 in
KEPT_PER_NODE = 4  # pictures beyond the best few anywhere on the face are not looked at
# What a worse view costs; the weights were found by looking at pictures.
PARALLAX_UNIT_M = 0.00635  # 1/4 in of parallax at half the stud depth costs 1
SHARP_WEIGHT = 2.5  # times the logarithm of how much finer it could be
LIGHT_WEIGHT = 1.5
SIGMA_UNIT_M = 0.004
MOST_SIGMA_M = INCH_M  # a picture that is not placed to an inch has no place in a picture to scale; our choice
ENOUGH_LIGHT, LEAST_LIGHT = 0.25, 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidate:
    """A picture with what it costs to show it, at nodes every NODE_CELLS cells, (rows, cols)."""

    source: Source
    cost: np.ndarray


def candidates(site: Site, sources: Sequence[Source], scale_px_per_m: float) -> list[Candidate]:
    """The pictures that are among the best few somewhere on a face, in the order given."""
    points = _nodes(site)
    shape = points.shape[:2]
    kept_cost = np.full((KEPT_PER_NODE, *shape), np.inf, np.float32)
    kept_number = np.full((KEPT_PER_NODE, *shape), -1)
    for number, source in enumerate(sources):
        cost, framed = _cost(site, source, points.reshape(-1, 3), scale_px_per_m)
        new = np.where(framed, cost, np.inf).reshape(shape)
        _insert(kept_cost, kept_number, new, number)
    chosen = sorted(set(kept_number[kept_number >= 0].tolist()))
    found = []
    for number in chosen:
        cost, _ = _cost(site, sources[number], points.reshape(-1, 3), scale_px_per_m)
        found.append(Candidate(source=sources[number], cost=cost.reshape(shape).astype(np.float32)))
    return found


def _insert(kept_cost: np.ndarray, kept_number: np.ndarray, new: np.ndarray, number: int) -> None:
    """Keep the lowest costs of each node, lowest first."""
    coming, its = new.copy(), np.full(new.shape, number)
    for cost, owner in zip(kept_cost, kept_number, strict=True):
        lower = coming < cost
        cost[lower], coming[lower] = coming[lower], cost[lower]
        owner[lower], its[lower] = its[lower], owner[lower]


def _nodes(site: Site) -> np.ndarray:
    """Points at the middle of every block of NODE_CELLS cells, one block beyond each edge, (R, C, 3).

    Those beyond an edge are drawn back to it: behind a corner stands another wall.
    """
    patch = site.patch(CELL_M)
    rows, cols = -(-patch.rows // NODE_CELLS), -(-patch.cols // NODE_CELLS)
    at_rows = (np.arange(-1, rows + 1) + 0.5) * NODE_CELLS - 0.5
    at_cols = (np.arange(-1, cols + 1) + 0.5) * NODE_CELLS - 0.5
    points = patch.points_face_m(at_rows, at_cols)
    points[..., 0] = np.clip(points[..., 0], 0.0, site.face.length_m)
    points[..., 2] = np.clip(points[..., 2], 0.0, site.face.height_m)
    return points


def _cost(site: Site, source: Source, points: np.ndarray, scale_px_per_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Cost of showing points (N, 3) of a face by a picture, inf where it cannot; and which lie in its frame."""
    view = view_of(source.camera, site.building_from_face, points, site.walls)
    cost = np.full(len(points), np.inf)
    seen = np.flatnonzero(np.isfinite(view.slope))
    if len(seen):
        parallax = 0.5 * site.face.stud_depth_m * view.slope[seen]
        fine = np.minimum(view.resolution_px_per_m[seen] * source.sharpness / scale_px_per_m, 1.0)
        light = np.clip(source.light / ENOUGH_LIGHT, LEAST_LIGHT, 1.0)
        sigma = site.read_off_sigma_m(source, points[seen], 0.0)
        cost[seen] = parallax / PARALLAX_UNIT_M - SHARP_WEIGHT * np.log(np.maximum(fine, 1e-3))
        cost[seen] += -LIGHT_WEIGHT * np.log(light) + sigma / SIGMA_UNIT_M
        cost[seen[sigma > MOST_SIGMA_M]] = np.inf
    return cost, view.framed & np.isfinite(cost)
