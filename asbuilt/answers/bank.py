"""All placed cameras at once, as arrays."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.spatial import cKDTree

from asbuilt.record.frames import camera_of
from asbuilt.record.types import Picture, Placement

FAR_M = 20.0  # from farther away an inch is less than two pixels in any usual picture


@dataclass(frozen=True, kw_only=True, eq=False)
class CameraBank:
    """All placed cameras as arrays, to look at a few points in every picture at once."""

    ids: list[str]
    rotation: np.ndarray  # (C, 3, 3), camera_from_building
    translation_m: np.ndarray  # (C, 3)
    center_m: np.ndarray  # (C, 3)
    lens: np.ndarray  # (C, 7)
    size_px: np.ndarray  # (C, 2), width and height

    @classmethod
    def of(cls, placements: dict[str, Placement], pictures: dict[str, Picture]) -> CameraBank:
        """The cameras of the placed pictures."""
        ids = [i for i in placements if i in pictures]
        cameras = [camera_of(placements[i], pictures[i]) for i in ids]
        poses = [c.camera_from_building for c in cameras]
        lenses = [c.lens for c in cameras]
        count = len(ids)
        return cls(
            ids=ids, rotation=np.array([p.rotation for p in poses]).reshape(count, 3, 3),
            translation_m=np.array([p.translation_m for p in poses]).reshape(count, 3),
            center_m=np.array([p.origin_m for p in poses]).reshape(count, 3),
            lens=np.array([lens.params for lens in lenses]).reshape(count, 7),
            size_px=np.array([[lens.width_px, lens.height_px] for lens in lenses]).reshape(count, 2),
        )  # fmt: skip

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(self.center_m)

    def near(self, points_building_m: np.ndarray) -> CameraBank:
        """The cameras that are not too far from points (P, 3) to show anything of them."""
        if not self.ids:
            return self
        middle = points_building_m.mean(axis=0)
        radius_m = float(np.linalg.norm(points_building_m - middle, axis=1).max())
        own = self._tree.query_ball_point(middle, FAR_M + radius_m, return_sorted=True)
        if len(own) == len(self.ids):
            return self
        return CameraBank(ids=[self.ids[i] for i in own], rotation=self.rotation[own], size_px=self.size_px[own],
                          translation_m=self.translation_m[own], center_m=self.center_m[own],
                          lens=self.lens[own])  # fmt: skip

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
