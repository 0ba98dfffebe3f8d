"""Four-cornered patches in a picture of a finished wall: cover plates, panel doors, and what looks like them."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

SIDE_PX = 1800  # pictures are looked at at this size: a cover plate is then some 40 px wide from 8 ft
LEAST_SIDE_PX, MOST_SHARE = 14, 0.35  # of a patch; of the picture's longer side
CANNY = ((6, 15), (12, 30), (30, 80))  # from the edges of white plates on a white wall to strong ones
STRAIGHT_SHARE = 0.05  # of the outline: how far a side may bow
FILLED_SHARE = 0.72  # of the smallest rectangle round it
SAME_SHARE = 0.35  # of its shorter side: patches with centres nearer than this are one


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """One patch: its middle in perspective, its corners from the top left clockwise, its mean sides [px]."""

    center_px: tuple[float, float]
    corners_px: tuple[tuple[float, float], ...]
    width_px: float
    height_px: float


def patches(image: np.ndarray) -> list[Patch]:
    """Every four-cornered patch that stands nearly upright, the largest first.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3)
        BGR uint8, as displayed.
    """
    share = min(SIDE_PX / max(image.shape[:2]), 1.0)
    small = cv2.resize(image, None, fx=share, fy=share, interpolation=cv2.INTER_AREA)
    light = cv2.bilateralFilter(cv2.cvtColor(small, cv2.COLOR_BGR2GRAY), 7, 14, 5)
    light = cv2.createCLAHE(2.0, (6, 6)).apply(light)
    found: list[np.ndarray] = []
    for low, high in CANNY:
        edges = cv2.dilate(cv2.Canny(light, low, high), np.ones((3, 3), np.uint8))
        outlines, _ = cv2.findContours(edges, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
        found += [quad for quad in map(_four_corners, outlines) if quad is not None]
    made = [_patch(quad, share) for quad in found]
    kept: list[Patch] = []
    for patch in sorted(made, key=lambda p: -p.width_px * p.height_px):
        if not any(_same(patch, other) for other in kept):
            kept.append(patch)
    return kept


def _four_corners(outline: np.ndarray) -> np.ndarray | None:
    """The corners of an outline from the top left clockwise, if it is an upright four-cornered one."""
    (_, _), (a, b), _ = cv2.minAreaRect(outline)
    if min(a, b) < LEAST_SIDE_PX or max(a, b) > MOST_SHARE * SIDE_PX or cv2.contourArea(outline) < FILLED_SHARE * a * b:
        return None
    corners = cv2.approxPolyDP(outline, STRAIGHT_SHARE * cv2.arcLength(outline, True), True)[:, 0].astype(float)
    if len(corners) != 4:
        return None
    middle = corners.mean(axis=0)
    turn = np.arctan2(*(corners - middle).T[::-1])
    corners = corners[np.argsort(turn)]  # from the top left clockwise, y being down
    top, right = corners[1] - corners[0], corners[2] - corners[1]
    upright = abs(top[1]) < 0.35 * abs(top[0]) and abs(right[0]) < 0.35 * abs(right[1])
    return corners if upright else None


def _patch(corners: np.ndarray, share: float) -> Patch:
    full = (corners + 0.5) / share - 0.5
    a, b, c, d = full
    across = np.array([c - a, b - d]).T
    middle = a + (c - a) * np.linalg.solve(across, b - a)[0]  # where the diagonals meet
    sides = np.linalg.norm(np.roll(full, -1, axis=0) - full, axis=1)
    return Patch(
        center_px=(float(middle[0]), float(middle[1])),
        corners_px=tuple((float(x), float(y)) for x, y in full),
        width_px=float(sides[[0, 2]].mean()),
        height_px=float(sides[[1, 3]].mean()),
    )


def _same(a: Patch, b: Patch) -> bool:
    near_px = SAME_SHARE * min(a.width_px, a.height_px, b.width_px, b.height_px)
    return bool(np.hypot(*np.subtract(a.center_px, b.center_px)) < near_px)
