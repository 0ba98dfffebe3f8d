"""A plane of a face as a true-scale picture: which pixel of a camera shows each of its pixels.

Pixels of the picture follow the image rule: (0, 0) is the centre of the top-left pixel, x
right along the face, y down. The picture's top-left corner, an edge and not a centre, lies at
(``left_m``, ``top_m``) on the face.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from asbuilt.geometry.cameras import Camera
from asbuilt.geometry.frames import Rigid3
from asbuilt.geometry.planes import Plane

NODE_PX = 16  # the map is worked out at every 16th pixel; between them it is smooth
# Beyond this nothing can be made out (common practice, no source).
OBLIQUITY_LIMIT_RAD = np.deg2rad(75.0)
NEAR_SPOT = 0.98  # a plane met in the last 2 % of the way is the spot's own corner, not in front of it
OUTSIDE_PX = -10_000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """An upright rectangle of pixels on the plane ``depth_m`` behind the stud face of a face."""

    left_m: float
    top_m: float
    depth_m: float = 0.0
    px_m: float  # edge of a pixel on the face
    rows: int
    cols: int

    def part(self, row: int, col: int, rows: int, cols: int) -> Patch:
        """The patch of ``rows`` by ``cols`` pixels whose first pixel is (``row``, ``col``) of this one."""
        left_m, top_m = self.left_m + col * self.px_m, self.top_m - row * self.px_m
        return replace(self, left_m=left_m, top_m=top_m, rows=rows, cols=cols)

    def points_face_m(self, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
        """Face points (offset, depth, height) of a grid of pixel positions.

        Parameters
        ----------
        rows : ndarray of shape (R,)
        cols : ndarray of shape (C,)
            Pixel positions, fractions allowed.

        Returns
        -------
        ndarray of shape (R, C, 3)
            [m]
        """
        x = self.left_m + (np.asarray(cols, float) + 0.5) * self.px_m
        z = self.top_m - (np.asarray(rows, float) + 0.5) * self.px_m
        grid_x, grid_z = np.meshgrid(x, z)
        return np.stack([grid_x, np.full_like(grid_x, self.depth_m), grid_z], axis=-1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """How a camera sees points of a face plane; values are NaN where the way is barred.

    ``slope`` is the tangent of the angle off square-on: a thing ``d`` behind the plane shows
    up about ``d * slope`` beside its true place. ``framed`` says which points lie within the
    rim of the picture; the rest is worked out beyond it as well.
    """

    pixels_px: np.ndarray  # (N, 2)
    slope: np.ndarray  # (N,)
    resolution_px_per_m: np.ndarray  # (N,), in the direction in which the view is most squeezed
    framed: np.ndarray  # (N,)


def center_face_m(camera: Camera, building_from_face: Rigid3) -> np.ndarray:
    """Where a camera stood in the frame of a face, shape (3,) [m]."""
    return building_from_face.inverse().apply(camera.center_building_m[None])[0]


def view_of(camera: Camera, building_from_face: Rigid3, points_face_m: np.ndarray, walls: Sequence[Plane] = ()) -> View:
    """How a camera in front of a face sees points on or behind it.

    Parameters
    ----------
    points_face_m : ndarray of shape (N, 3)
        (offset, depth, height) [m].
    walls : sequence of Plane
        Other faces; what lies beyond one of them is not seen.
    """
    points = np.asarray(points_face_m, dtype=float)
    points_building_m = building_from_face.apply(points)
    pixels = camera.project(points_building_m)
    center = center_face_m(camera, building_from_face)
    ray = points - center
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.hypot(ray[:, 0], ray[:, 2]) / ray[:, 1]
    way = np.isfinite(pixels[:, 0]) & (ray[:, 1] > 0) & (center[1] < 0) & (slope <= np.tan(OBLIQUITY_LIMIT_RAD))
    for wall in walls:
        way &= ~goes_through(wall, camera.center_building_m, points_building_m)
    pixels[~way] = np.nan
    ahead = camera.camera_from_building.apply(points_building_m)[:, 2]
    return View(
        pixels_px=pixels,
        slope=np.where(way, slope, np.nan),
        resolution_px_per_m=camera.lens.focal_px / np.where(way, ahead, np.nan) / np.hypot(1.0, slope),
        framed=camera.lens.inside(np.nan_to_num(pixels, nan=OUTSIDE_PX)),
    )


def goes_through(wall: Plane, start_building_m: np.ndarray, ends_building_m: np.ndarray) -> np.ndarray:
    """Which straight ways from a camera to some points go through a wall face; shape (N,)."""
    face_from_building = wall.building_from_face.inverse()
    start, ends = face_from_building.apply(start_building_m), face_from_building.apply(ends_building_m)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = -start[1] / (ends[:, 1] - start[1])
        met = start + share[:, None] * (ends - start)
    within = (met[:, 0] > 0) & (met[:, 0] < wall.length_m) & (met[:, 2] > 0) & (met[:, 2] < wall.height_m)
    return within & (share > 0) & (share < NEAR_SPOT)


def rectify_map(camera: Camera, building_from_face: Rigid3, patch: Patch) -> tuple[np.ndarray, np.ndarray]:
    """For each pixel of a patch, where it lies in the picture of a camera.

    Returns
    -------
    map_x, map_y : ndarray of shape (rows, cols)
        float32 [px], as ``cv2.remap`` takes them; far outside the picture where the camera
        does not see the spot.
    """
    node_rows, node_cols = -(-patch.rows // NODE_PX), -(-patch.cols // NODE_PX)
    # One node beyond each edge, so that what is cut out below is never extrapolated.
    at_rows = (np.arange(-1, node_rows + 1) + 0.5) * NODE_PX - 0.5
    at_cols = (np.arange(-1, node_cols + 1) + 0.5) * NODE_PX - 0.5
    points = patch.points_face_m(at_rows, at_cols)
    view = view_of(camera, building_from_face, points.reshape(-1, 3))
    nodes = view.pixels_px.reshape(*points.shape[:2], 2).astype(np.float32)
    size = ((node_cols + 2) * NODE_PX, (node_rows + 2) * NODE_PX)
    full = cv2.resize(nodes, size, interpolation=cv2.INTER_LINEAR)
    full = full[NODE_PX : NODE_PX + patch.rows, NODE_PX : NODE_PX + patch.cols]
    full = np.nan_to_num(full, nan=OUTSIDE_PX)
    return np.ascontiguousarray(full[..., 0]), np.ascontiguousarray(full[..., 1])
