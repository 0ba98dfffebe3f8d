"""The stud lattice of one unplaced picture: found, left open, or refused with a reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.errors import FailedEstimate
from asbuilt.geometry.stud_lattice import SPACINGS_M, STUD_WIDTH_M, Lattice, fit_lattice
from asbuilt.imaging.upright_edges import UprightEdges, find_upright_edges

USUAL_FOCAL = 0.75  # of the longer side: about what phones have (common practice, no source)
LEAST_SIDE_PX = 600  # of a smaller picture a stud's edges cannot be told apart; our choice
TALLEST_M = 4.0  # no framed wall that this is meant for is taller; our choice
LEAST_TALL_M = 0.6
ENDS_AGREE_M, LEAST_ENDS, RIM = 0.03, 3, 0.03


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PictureLattice:
    """A lattice, the edges it was found in, and the heights [m] from the camera at which its studs end.

    ``sole_m`` is the top of the sole plate, ``plate_m`` the underside of the top plate; None where
    the picture does not show that studs end.
    """

    lattice: Lattice
    edges: UprightEdges
    sole_m: float | None
    plate_m: float | None

    def pixels(self, offset_m: np.ndarray, height_m: np.ndarray) -> np.ndarray:
        """Pixels (N, 2) of points on the plane of the stud faces, counted from the foot and height of the camera."""
        yaw, distance = self.lattice.yaw_rad, self.lattice.distance_m
        offset, height = np.broadcast_arrays(np.asarray(offset_m, float), np.asarray(height_m, float))
        x = np.cos(yaw) * offset + np.sin(yaw) * distance
        z = np.cos(yaw) * distance - np.sin(yaw) * offset
        rays = np.stack([x, -height, z], axis=-1) @ self.edges.level_from_camera
        return rays[..., :2] / rays[..., 2:] * self.edges.focal_px + self.edges.center_px


def find_lattice(
    image: np.ndarray,
    focal_px: float | None = None,
    spacings_m: Sequence[float] = SPACINGS_M,
    stud_width_m: float = STUD_WIDTH_M,
) -> PictureLattice | FailedEstimate:
    """The studs of a wall in one picture without any mark in it.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3)
        BGR uint8, as displayed, held upright.
    focal_px : float, optional
        Of the lens, for this picture's pixels; a usual phone's if it is not known.
    spacings_m : sequence of float
        Distances on centre that may be; one, if it is known. 400 mm and 16 in cannot be told apart.
    stud_width_m : float
        Of the studs' faces; it gives the scale.

    Returns
    -------
    PictureLattice or FailedEstimate
        Failed with its reason where there is no lattice or it could be one of two.
    """
    if min(image.shape[:2]) < LEAST_SIDE_PX:
        return FailedEstimate(f"the picture is smaller than {LEAST_SIDE_PX} pixels, too small to see studs' edges")
    edges = find_upright_edges(image, focal_px or USUAL_FOCAL * max(image.shape[:2]))
    if not edges:
        return edges
    lattice = fit_lattice(edges.azimuth_rad, edges.cover, spacings_m, stud_width_m, edges.wall_yaw_rad)
    if not lattice:
        return lattice
    low, high = _ends(edges, lattice)
    tall = float(np.median(high - low))
    if not LEAST_TALL_M < tall < TALLEST_M:
        return FailedEstimate("uprights as close as those would be too short or too tall for studs")
    return PictureLattice(
        lattice=lattice, edges=edges, sole_m=_agreed(edges, lattice, -low, image.shape, bottom=True),
        plate_m=_agreed(edges, lattice, high, image.shape, bottom=False),
    )  # fmt: skip


def _own(lattice: Lattice) -> np.ndarray:
    """The edges of the studs on their marks."""
    return np.concatenate([lattice.left_idx[lattice.on_mark], lattice.right_idx[lattice.on_mark]])


def _ends(edges: UprightEdges, lattice: Lattice) -> tuple[np.ndarray, np.ndarray]:
    """Heights above the camera [m] between which the edges of studs are seen."""
    own = _own(lattice)
    away = lattice.distance_m / np.cos(edges.azimuth_rad[own] - lattice.yaw_rad)
    return edges.low[own] * away, edges.high[own] * away


def _agreed(edges: UprightEdges, lattice: Lattice, reach: np.ndarray, shape, bottom: bool) -> float | None:
    """Height at which several edges end inside the picture and none goes beyond."""
    own = _own(lattice)
    tangent = edges.low[own] if bottom else edges.high[own]
    azimuth = edges.azimuth_rad[own]
    rays = np.stack([np.sin(azimuth), -tangent, np.cos(azimuth)], axis=1) @ edges.level_from_camera
    row = rays[:, 1] / rays[:, 2] * edges.focal_px + edges.center_px[1]
    inside = (row > RIM * shape[0]) & (row < (1 - RIM) * shape[0])
    farthest = np.sort(reach[inside])[::-1]
    if len(farthest) < LEAST_ENDS or farthest[0] - farthest[LEAST_ENDS - 1] > ENDS_AGREE_M:
        return None
    if (reach[~inside] > farthest[0] + ENDS_AGREE_M).any():
        return None
    height = float(np.median(farthest[farthest > farthest[0] - ENDS_AGREE_M]))
    return -height if bottom else height
