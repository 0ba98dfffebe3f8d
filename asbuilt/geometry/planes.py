"""Faces as bounded planes, and where rays meet them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.geometry.frames import Rigid3


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """A face as a bounded plane on which texture is expected."""

    building_from_face: Rigid3
    length_m: float
    height_m: float
    depth_m: float


def on_planes(planes: Sequence[Plane], center_m: np.ndarray, rays: np.ndarray) -> np.ndarray:
    """Where rays from a camera first meet a face, shape (N, 3); NaN where they meet none."""
    best = np.full(len(rays), np.inf)
    for plane in planes:
        face_from_building = plane.building_from_face.inverse()
        start, direction = face_from_building.apply(center_m), face_from_building.rotate(rays)
        with np.errstate(divide="ignore", invalid="ignore"):
            distance = (plane.depth_m - start[1]) / direction[:, 1]
            x, z = start[0] + distance * direction[:, 0], start[2] + distance * direction[:, 2]
        on = (distance > 0.1) & (direction[:, 1] > 0.05)
        on &= (x > -0.3) & (x < plane.length_m + 0.3) & (z > -0.5) & (z < plane.height_m + 0.5)
        best = np.where(on & (distance < best), distance, best)
    best[~np.isfinite(best)] = np.nan
    return center_m + best[:, None] * rays


def first_met(planes: Mapping[str, Plane], center_m: np.ndarray, ray: np.ndarray) -> str | None:
    """The id of the face that a ray of shape (3,) from a camera meets first, or None."""
    distance = {
        face_id: float(np.linalg.norm(on_planes([plane], center_m, ray[None])[0] - center_m))
        for face_id, plane in planes.items()
    }
    met = {face_id: d for face_id, d in distance.items() if np.isfinite(d)}
    return min(met, key=met.get) if met else None


def outside_m(place_m: Sequence[float], middle_m: Sequence[float], half_m: Sequence[float]) -> float:
    """How far a place (offset, height) of a face lies outside a rectangle on it; 0 inside [m]."""
    aside, over = (max(abs(p - m) - h, 0.0) for p, m, h in zip(place_m, middle_m, half_m, strict=True))
    return math.hypot(aside, over)
