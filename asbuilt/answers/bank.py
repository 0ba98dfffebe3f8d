"""All placed cameras at once, as arrays."""

from __future__ import annotations

import numpy as np

from asbuilt.record.frames import camera_of
from asbuilt.record.types import Picture, Placement


class CameraBank:
    """All placed cameras as arrays, to look at a few points in every picture at once."""

    def __init__(self, placements: dict[str, Placement], pictures: dict[str, Picture]) -> None:
        self.ids = [i for i in placements if i in pictures]
        self.cameras = [camera_of(placements[i], pictures[i]) for i in self.ids]
        poses = [c.camera_from_building for c in self.cameras]
        lenses = [c.lens for c in self.cameras]
        count = len(self.ids)
        self.rotation = np.array([p.rotation for p in poses]).reshape(count, 3, 3)
        self.translation_m = np.array([p.translation_m for p in poses]).reshape(count, 3)
        self.center_m = np.array([p.origin_m for p in poses]).reshape(count, 3)
        self.lens = np.array([lens.params for lens in lenses]).reshape(count, 7)
        self.size_px = np.array([[lens.width_px, lens.height_px] for lens in lenses]).reshape(count, 2)

    def project(self, points_building_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Pixels (C, P, 2), NaN where not in the picture, and px per metre there (C, P)."""
        p = np.einsum("cij,pj->cpi", self.rotation, points_building_m) + self.translation_m[:, None]
        ahead = np.where(p[..., 2] > 0.05, p[..., 2], np.nan)
        x, y = p[..., 0] / ahead, p[..., 1] / ahead
        f, cx, cy, k1, k2, p1, p2 = (self.lens[:, i, None] for i in range(7))
        r2 = x * x + y * y
        radial = 1 + r2 * (k1 + r2 * k2)
        u = f * (x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)) + cx
        v = f * (y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y) + cy
        half_diagonal = np.hypot(self.size_px[:, :1], self.size_px[:, 1:]) / 2 / f
        inside = (u >= 0) & (v >= 0) & (u <= self.size_px[:, :1] - 1) & (v <= self.size_px[:, 1:] - 1)
        inside &= r2 < (1.3 * half_diagonal) ** 2
        return np.where(inside[..., None], np.stack([u, v], axis=-1), np.nan), f / ahead
