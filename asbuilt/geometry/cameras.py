"""Cameras: a lens and where it stood.

Pixels: (0, 0) is the centre of the top-left pixel, x right, y down. The lens is OpenCV's
radial-tangential model with square pixels, k1, k2, p1, p2.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from asbuilt.errors import ShapeError
from asbuilt.geometry.frames import Rigid3

DIAGONAL_35_MM = float(np.hypot(36.0, 24.0))  # 43.2666 mm, full-frame film


def require_shape(array: np.ndarray, last: int, what: str) -> np.ndarray:
    """``array`` as floats of shape (N, last).

    Raises
    ------
    ShapeError
        Names the expected and the actual shape.
    """
    array = np.asarray(array, dtype=float)
    if array.ndim != 2 or array.shape[1] != last:
        raise ShapeError(f"{what}: expected (N, {last}), got {array.shape}")
    return array


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """A lens and the size of its picture, as displayed."""

    width_px: int
    height_px: int
    focal_px: float
    center_x_px: float
    center_y_px: float
    k1: float = 0.0
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0

    @classmethod
    def from_prior(cls, width_px: int, height_px: int, focal_px: float | None) -> Lens:
        """A lens before calibration: centred, undistorted.

        Without a focal length, that of a phone's main camera is taken: 26 mm
        equivalent (common practice, no source).
        """
        if focal_px is None:
            focal_px = 26.0 * float(np.hypot(width_px, height_px)) / DIAGONAL_35_MM
        return cls(
            width_px=width_px,
            height_px=height_px,
            focal_px=float(focal_px),
            center_x_px=(width_px - 1) / 2,
            center_y_px=(height_px - 1) / 2,
        )

    @classmethod
    def from_params(cls, width_px: int, height_px: int, params) -> Lens:
        """From (focal, cx, cy, k1, k2, p1, p2)."""
        focal, cx, cy, k1, k2, p1, p2 = (float(v) for v in params)
        return cls(width_px=width_px, height_px=height_px, focal_px=focal, center_x_px=cx,
                   center_y_px=cy, k1=k1, k2=k2, p1=p1, p2=p2)  # fmt: skip

    @property
    def params(self) -> np.ndarray:
        """(focal, cx, cy, k1, k2, p1, p2), shape (7,)."""
        return np.array([self.focal_px, self.center_x_px, self.center_y_px, self.k1, self.k2, self.p1, self.p2])

    @property
    def matrix(self) -> np.ndarray:
        """The 3x3 camera matrix K."""
        return np.array([[self.focal_px, 0, self.center_x_px], [0, self.focal_px, self.center_y_px], [0, 0, 1.0]])

    @property
    def distortion(self) -> np.ndarray:
        """(k1, k2, p1, p2), as OpenCV orders them."""
        return np.array([self.k1, self.k2, self.p1, self.p2])

    def project(self, points_camera_m: np.ndarray) -> np.ndarray:
        """Pixels of points in front of the camera.

        Parameters
        ----------
        points_camera_m : ndarray of shape (N, 3)
            [m]; points with z <= 0 give NaN.

        Returns
        -------
        ndarray of shape (N, 2)
            [px]
        """
        points = require_shape(points_camera_m, 3, "points_camera_m")
        z = np.where(points[:, 2] > 1e-9, points[:, 2], np.nan)
        xy = points[:, :2] / z[:, None]
        return self.distort(xy) * self.focal_px + (self.center_x_px, self.center_y_px)

    def distort(self, xy: np.ndarray) -> np.ndarray:
        """Ideal to distorted normalised coordinates, shape (N, 2)."""
        x, y = xy[:, 0], xy[:, 1]
        r2 = x * x + y * y
        radial = 1 + r2 * (self.k1 + r2 * self.k2)
        dx = x * radial + 2 * self.p1 * x * y + self.p2 * (r2 + 2 * x * x)
        dy = y * radial + self.p1 * (r2 + 2 * y * y) + 2 * self.p2 * x * y
        return np.stack([dx, dy], axis=1)

    def normalised(self, points_px: np.ndarray) -> np.ndarray:
        """Ideal normalised coordinates of pixels, shape (N, 2)."""
        points = require_shape(points_px, 2, "points_px")
        if not len(points):
            return points
        criteria = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 40, 1e-10)
        out = cv2.undistortPoints(
            np.ascontiguousarray(points[:, None]), self.matrix, self.distortion, None, None, None, criteria
        )
        return out[:, 0]

    def rays(self, points_px: np.ndarray) -> np.ndarray:
        """Unit directions in the camera frame of pixels, shape (N, 3)."""
        xy = self.normalised(points_px)
        rays = np.concatenate([xy, np.ones((len(xy), 1))], axis=1)
        return rays / np.linalg.norm(rays, axis=1, keepdims=True)

    def inside(self, points_px: np.ndarray, margin_px: float = 0.0) -> np.ndarray:
        """Which pixels lie in the picture, at least ``margin_px`` from its edge; shape (N,)."""
        x, y = np.asarray(points_px)[:, 0], np.asarray(points_px)[:, 1]
        low = margin_px - 0.5
        return (x >= low) & (y >= low) & (x <= self.width_px - 1 - low) & (y <= self.height_px - 1 - low)


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """A lens at a place: everything needed to go from the building to pixels and back."""

    lens: Lens
    camera_from_building: Rigid3

    @property
    def center_building_m(self) -> np.ndarray:
        """Where the camera stood, shape (3,) [m]."""
        return self.camera_from_building.origin_m

    def in_front(self, points_building_m: np.ndarray) -> np.ndarray:
        """Which points lie in front of the camera, shape (N,)."""
        return self.camera_from_building.apply(points_building_m)[:, 2] > 1e-9

    def project(self, points_building_m: np.ndarray) -> np.ndarray:
        """Pixels of building points, shape (N, 2); NaN behind the camera or beyond the lens model."""
        points_camera_m = self.camera_from_building.apply(require_shape(points_building_m, 3, "points_building_m"))
        pixels = self.lens.project(points_camera_m)
        return np.where(self.in_view_cone(points_camera_m)[:, None], pixels, np.nan)

    def in_view_cone(self, points_camera_m: np.ndarray) -> np.ndarray:
        """Which camera points lie within 1.3 times the half diagonal, where the lens model holds."""
        half_diagonal = np.hypot(self.lens.width_px, self.lens.height_px) / 2 / self.lens.focal_px
        z = points_camera_m[:, 2]
        return (z > 1e-9) & (np.hypot(points_camera_m[:, 0], points_camera_m[:, 1]) < 1.3 * half_diagonal * z)

    def rays_building(self, points_px: np.ndarray) -> np.ndarray:
        """Unit directions in the building frame of pixels, shape (N, 3)."""
        return self.camera_from_building.inverse().rotate(self.lens.rays(points_px))
