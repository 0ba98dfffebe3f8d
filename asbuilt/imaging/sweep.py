"""Pictures laid on the plane of the stud faces, and what they agree on at any depth behind it.

Between planes parallel to a face a rectified picture is only scaled about the spot straight in
front of its camera. So each picture is rectified once, and what several of them show alike on a
plane is found by scaling and adding.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rectified:
    """Part of a picture laid on the stud faces' plane; pixels count from the face's top left corner.

    ``colors`` (h, w, 3) BGR uint8 and ``within`` (h, w) bool start at (``row``, ``col``);
    ``foot_px`` (x, y) is the spot of the plane straight in front of the camera, which stood
    ``distance_m`` before it. ``sigma_m`` is the error of where the picture lies, one sigma.
    ``cast`` (B, G, R) is how far, as logarithms, the middle of the picture is from wood's colours.
    """

    picture_id: str
    row: int
    col: int
    colors: np.ndarray
    within: np.ndarray
    foot_px: tuple[float, float]
    distance_m: float
    sigma_m: float
    cast: tuple[float, float, float] = (0.0, 0.0, 0.0)


def scale_at(view: Rectified, depth_m: float) -> float:
    """How much larger a picture is on the plane ``depth_m`` behind the stud faces."""
    return (view.distance_m + depth_m) / view.distance_m


def onto_depth(
    view: Rectified, layer: np.ndarray, depth_m: float, rows: int, cols: int
) -> tuple[tuple[slice, slice], np.ndarray] | None:
    """A layer of a rectified picture (h, w) or (h, w, up to 4), on a plane behind the stud faces.

    Returns
    -------
    tuple or None
        Where it lies on a face of ``rows`` by ``cols`` pixels, and the layer there; None beyond it.
    """
    scale, (foot_x, foot_y) = scale_at(view, depth_m), view.foot_px
    height, width = layer.shape[:2]
    left, right = (int(foot_x + (c - foot_x) * scale) for c in (view.col, view.col + width))
    top, bottom = (int(foot_y + (r - foot_y) * scale) for r in (view.row, view.row + height))
    left, right, top, bottom = max(left, 0), min(right + 1, cols), max(top, 0), min(bottom + 1, rows)
    if left >= right or top >= bottom:
        return None
    return (slice(top, bottom), slice(left, right)), part_at(view, layer, depth_m, (left, top, right, bottom))


def layer_from_plane(
    view: Rectified, depth_m: float, corner_px: tuple[int, int], layer_corner_px: tuple[int, int]
) -> np.ndarray:
    """Affine map (2, 3) from pixels of a part of a plane behind the studs' faces to those of a layer on the faces."""
    scale, (foot_x, foot_y) = scale_at(view, depth_m), view.foot_px
    shift_x = foot_x + (corner_px[0] - foot_x) / scale - layer_corner_px[0]
    shift_y = foot_y + (corner_px[1] - foot_y) / scale - layer_corner_px[1]
    return np.array([[1 / scale, 0, shift_x], [0, 1 / scale, shift_y]])


def part_at(view: Rectified, layer: np.ndarray, depth_m: float, rectangle_px: tuple[int, int, int, int]) -> np.ndarray:
    """A layer of a rectified picture inside a rectangle (left, top, right, bottom) of a plane; 0 beyond the picture."""
    left, top, right, bottom = rectangle_px
    matrix = layer_from_plane(view, depth_m, (left, top), (view.col, view.row))
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return cv2.warpAffine(np.ascontiguousarray(layer), matrix, (right - left, bottom - top), flags=flags)


def mean_at(
    views: Sequence[Rectified], layers: Sequence[np.ndarray], depth_m: float, rows: int, cols: int
) -> tuple[np.ndarray, np.ndarray]:
    """Mean of the pictures' layers on a plane, and how many pictures show each pixel.

    Returns
    -------
    mean : ndarray of shape (rows, cols) or (rows, cols, C)
        0 where no picture shows anything.
    count : ndarray of shape (rows, cols)
    """
    total = np.zeros((rows, cols, *layers[0].shape[2:]), np.float32)
    count = np.zeros((rows, cols), np.float32)
    for view, layer in zip(views, layers, strict=True):
        placed = onto_depth(view, layer, depth_m, rows, cols)
        if placed is None:
            continue
        box, moved = placed
        total[box] += moved
        count[box] += onto_depth(view, view.within.astype(np.float32), depth_m, rows, cols)[1]
    divisor = np.maximum(count, 1.0)
    return total / (divisor[..., None] if total.ndim == 3 else divisor), count
