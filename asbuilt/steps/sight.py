"""Which cells of a face a camera sees into, how squarely and how finely. Pure: no record, no files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from asbuilt.geometry.cameras import Camera
from asbuilt.geometry.frames import Rigid3
from asbuilt.geometry.planes import Plane
from asbuilt.geometry.rectify import OBLIQUITY_LIMIT_RAD, goes_through
from asbuilt.geometry.studs import StudPlace
from asbuilt.record.types import Face

CELL_M = 0.0254  # 1 in
# Sole plate one board, top plate two (common practice, no source).
SOLE_PLATE_M, TOP_PLATE_M = 0.0381, 0.0762
# A cell between studs is looked for where cable lies, a little behind the middle of the cavity.
CELL_DEPTH_SHARE = 0.6
# Of the picture's width, at its rim, that is not counted: half an inch on the wall, twice the error of placing.
EDGE_SHARE = 0.004


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """The cells of a face, row 0 at the floor; ``points_m`` in the face frame (offset, depth, height).

    A cell on wood is looked at on the stud face; a cell between studs inside the cavity, which
    is seen only through its own clear opening ``clear_m`` (left, right, bottom, top).
    """

    rows: int
    cols: int
    points_m: np.ndarray  # (rows * cols, 3)
    clear_m: np.ndarray  # (rows * cols, 4)
    on_wood: np.ndarray  # (rows * cols,)

    def at_front(self) -> Cells:
        """The spots before all cells on the stud face, which nothing hides."""
        everywhere = np.ones_like(self.on_wood)
        return replace(self, points_m=self.points_m * (1, 0, 1), on_wood=everywhere)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sight:
    """What one camera sees of the cells ``index``."""

    index: np.ndarray
    resolution_px_per_m: np.ndarray  # in the direction in which the view is most squeezed
    obliquity_rad: np.ndarray


def cells_of(face: Face, studs: Sequence[StudPlace]) -> Cells:
    """Lay the grid over a face and say through which opening each cell is seen."""
    rows, cols = int(np.ceil(face.height_m / CELL_M)), int(np.ceil(face.length_m / CELL_M))
    x = (np.arange(cols) + 0.5) * CELL_M
    z = (np.arange(rows) + 0.5) * CELL_M
    clear = np.zeros((rows, cols, 4))
    wood = np.zeros((rows, cols), bool)
    is_wall = face.kind == "wall"  # joists run on to the edges of a ceiling or floor, without plates
    low, high = (SOLE_PLATE_M, face.height_m - TOP_PLATE_M) if is_wall else (0.0, face.height_m)
    clear[:, :, 2], clear[:, :, 3] = low, high
    for row, height in enumerate(z):
        edges = _clear_edges(face, studs, height)
        gap = np.clip(np.searchsorted(edges[:, 0], x, side="right") - 1, 0, len(edges) - 1)
        clear[row, :, :2] = edges[gap]
        wood[row] = (x < edges[gap, 0]) | (x > edges[gap, 1]) | (height < low) | (height > high)
    depth = np.where(wood, 0.0, CELL_DEPTH_SHARE * face.stud_depth_m)
    grid_x, grid_z = np.meshgrid(x, z)
    points = np.stack([grid_x, depth, grid_z], axis=-1).reshape(-1, 3)
    return Cells(rows=rows, cols=cols, points_m=points, clear_m=clear.reshape(-1, 4), on_wood=wood.ravel())


def _clear_edges(face: Face, studs: Sequence[StudPlace], height_m: float) -> np.ndarray:
    """Clear openings (left, right) between the studs that stand at a height, left to right."""
    standing = [s for s in studs if s.bottom_m <= height_m <= (s.top_m if s.top_m is not None else face.height_m)]
    edges, start = [], 0.0
    for stud in sorted(standing, key=lambda s: s.center_m):
        left, right = stud.center_m - stud.width_m / 2, stud.center_m + stud.width_m / 2
        if left > start:
            edges.append((start, left))
        start = max(start, right)
    if start < face.length_m:
        edges.append((start, face.length_m))
    return np.array(edges or [(0.0, face.length_m)])


def may_see(camera: Camera, building_from_face: Rigid3, face: Face) -> bool:
    """Whether any part of a face falls into the picture, on a coarse grid of points 6 in apart."""
    x, z = np.arange(0, face.length_m, 0.15), np.arange(0, face.height_m, 0.15)
    points = np.stack([a.ravel() for a in np.broadcast_arrays(x[:, None], 0.0, z[None, :])], axis=1)
    if not _on_a_seeing_side(camera, building_from_face, face):
        return False
    pixels = camera.project(building_from_face.apply(points))
    return bool(camera.lens.inside(np.nan_to_num(pixels, nan=-1e9)).any())


def _center_face(camera: Camera, building_from_face: Rigid3) -> np.ndarray:
    return building_from_face.inverse().apply(camera.center_building_m[None])[0]


def _on_a_seeing_side(camera: Camera, building_from_face: Rigid3, face: Face) -> bool:
    depth = _center_face(camera, building_from_face)[1]
    return depth < -0.02 or (face.open_behind and depth > face.stud_depth_m + 0.02)


def sight_of(
    camera: Camera, building_from_face: Rigid3, face: Face, cells: Cells, walls: Sequence[Plane] = ()
) -> Sight:
    """The cells that one camera sees, with how finely and how squarely.

    Parameters
    ----------
    walls : sequence of Plane
        The other faces of its room; what lies beyond one of them is not seen.
    """
    center = _center_face(camera, building_from_face)
    from_behind = center[1] > 0
    points = cells.points_m
    if from_behind:
        points = points * (1, -1, 1) + (0, face.stud_depth_m, 0)
    pixels = camera.project(building_from_face.apply(points))
    seen = camera.lens.inside(np.nan_to_num(pixels, nan=-1e9), EDGE_SHARE * camera.lens.width_px)
    index = np.flatnonzero(seen)
    points = points[index]
    ray = points - center
    plane = face.stud_depth_m if from_behind else 0.0
    share = (plane - center[1]) / ray[:, 1]
    through = center[[0, 2]] + share[:, None] * ray[:, [0, 2]]
    clear = cells.clear_m[index]
    open_ = (through[:, 0] >= clear[:, 0]) & (through[:, 0] <= clear[:, 1])
    open_ &= (through[:, 1] >= clear[:, 2]) & (through[:, 1] <= clear[:, 3])
    distance = np.linalg.norm(ray, axis=1)
    cosine = np.abs(ray[:, 1]) / distance
    obliquity = np.arccos(np.clip(cosine, 0, 1))
    ahead = camera.camera_from_building.apply(building_from_face.apply(points))[:, 2]
    resolution = camera.lens.focal_px / ahead * cosine
    kept = (open_ | cells.on_wood[index]) & (obliquity <= OBLIQUITY_LIMIT_RAD)
    for wall in () if from_behind else walls:
        kept &= ~goes_through(wall, camera.center_building_m, building_from_face.apply(points))
    return Sight(index=index[kept], resolution_px_per_m=resolution[kept], obliquity_rad=obliquity[kept])


def plane_sigma_m(
    camera: Camera, building_from_face: Rigid3, points_m: np.ndarray, covariance: np.ndarray, sigma_px: float
) -> np.ndarray:
    """One-sigma error of offset and height of spots sighted in one picture at known depth, shape (N,).

    Parameters
    ----------
    points_m : ndarray of shape (N, 3)
        (offset, depth, height) in the face frame [m].
    covariance : ndarray of shape (6, 6)
        Of the camera's pose, as in a Placement.
    sigma_px : float
        Error of a click [px].
    """
    step = 1e-5
    points = camera.camera_from_building.apply(building_from_face.apply(points_m))
    base = camera.lens.project(points)
    camera_from_face = camera.camera_from_building @ building_from_face
    along = [camera.lens.project(points + step * camera_from_face.rotation[:, k]) - base for k in (0, 2)]
    plane = np.stack(along, axis=-1) / step  # (N, 2, 2)
    rotated = points - camera.camera_from_building.translation_m
    turns = [np.cross(np.eye(3)[k] * step, rotated) for k in range(3)]
    shifts = [np.broadcast_to(np.eye(3)[k] * step, points.shape) for k in range(3)]
    pose = np.stack([camera.lens.project(points + d) - base for d in (*turns, *shifts)], axis=-1) / step
    pixel = pose @ covariance @ np.swapaxes(pose, 1, 2) + np.eye(2) * sigma_px**2
    to_plane = np.linalg.pinv(plane)
    spread = to_plane @ pixel @ np.swapaxes(to_plane, 1, 2)
    return np.sqrt(np.trace(spread, axis1=1, axis2=2) / 2)
