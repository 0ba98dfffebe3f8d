"""The colour of what a finger points at in a picture, and whether it is long and thin like a cable."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from asbuilt.errors import FailedEstimate

WINDOW_SHARE = 1 / 28  # of the picture's longer side: about 4 in of wall in a photo taken from 8 ft
NEAR_LAB = 16.0  # pixels this near to the one pointed at belong to it: found on rendered pictures
CORE_PX = 1
AIM = sorted(((v, u) for v in range(-4, 5, 2) for u in range(-4, 5, 2)), key=lambda o: o[0] ** 2 + o[1] ** 2)  # px
LONG_RATIO = 3.0  # a part this many times longer than thick is a run
# Bounds in CIE Lab found on rendered open walls under work lamps: raw wood lies at a chroma of 25 to
# 35 and a hue of 60 to 78 degrees, just between orange and yellow sheath.
APART_LAB = 9.0  # a coloured thing differs at least so much from what lies around it
GREY_CHROMA, STRONG_CHROMA = 19.0, 24.0
WHITE_LIGHTER, BLACK_SHARE, BLACK_CHROMA = 15.0, 0.62, 14.0
HUES_DEG = {"red": (15.0, 45.0), "orange": (45.0, 60.0), "yellow": (80.0, 105.0), "green": (110.0, 180.0),
            "blue": (200.0, 310.0)}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What a spot looks like: a plain colour name, and whether its part is long and thin."""

    colour: str
    is_run: bool


def look_at(image: np.ndarray, x_px: float, y_px: float) -> Look | FailedEstimate:
    """Name the colour of the part of a picture under a point.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3)
        BGR uint8, as displayed.
    x_px, y_px : float
        The point, (0, 0) being the centre of the first pixel.

    Returns
    -------
    Look or FailedEstimate
        Failed where the colour is none that a sheath, box or pipe is told by, such as wood's.
    """
    half_px = max(round(max(image.shape[:2]) * WINDOW_SHARE), 8)
    col, row = round(x_px), round(y_px)
    if not (0 <= col < image.shape[1] and 0 <= row < image.shape[0]):
        return FailedEstimate("the point lies outside the picture")
    top, left = max(row - half_px, 0), max(col - half_px, 0)
    patch = image[top : row + half_px + 1, left : col + half_px + 1]
    lab = cv2.cvtColor(patch.astype(np.float32) / 255, cv2.COLOR_BGR2LAB)
    around = np.median(lab.reshape(-1, 3), axis=0)
    for down, aside in AIM:
        found = _look(lab, row - top + down, col - left + aside, around)
        if found is not None:
            return found
    return FailedEstimate("the colour there is that of wood or of nothing known")


def _look(lab: np.ndarray, row: int, col: int, around: np.ndarray) -> Look | None:
    core = lab[max(row - CORE_PX, 0) : row + CORE_PX + 1, max(col - CORE_PX, 0) : col + CORE_PX + 1]
    if not core.size:
        return None
    color = np.median(core.reshape(-1, 3), axis=0)
    name = _named(color, around)
    if name is None:
        return None
    near = (np.linalg.norm((lab - color) * (0.6, 1.0, 1.0), axis=2) < NEAR_LAB).astype(np.uint8)
    return Look(colour=name, is_run=_is_long(near, row, col))


def _named(color: np.ndarray, around: np.ndarray) -> str | None:
    light, a, b = (float(v) for v in color)
    light_around = float(around[0])
    chroma, hue_deg = float(np.hypot(a, b)), float(np.degrees(np.arctan2(b, a))) % 360
    if chroma < GREY_CHROMA:
        if light > light_around + WHITE_LIGHTER:
            return "white"
        return "black" if light < BLACK_SHARE * light_around and chroma < BLACK_CHROMA else None
    if np.hypot(*(color - around)[1:]) < APART_LAB:
        return None
    if chroma < STRONG_CHROMA and not 200 < hue_deg < 310:
        return None
    return next((name for name, (low, high) in HUES_DEG.items() if low <= hue_deg < high), None)


def _is_long(near: np.ndarray, row: int, col: int) -> bool:
    """Whether the connected part at a pixel is long and thin and leaves the window."""
    row, col = min(max(row, 0), near.shape[0] - 1), min(max(col, 0), near.shape[1] - 1)
    _, labels = cv2.connectedComponents(near, connectivity=8)
    part = labels == labels[row, col]
    leaves = part[0].any() or part[-1].any() or part[:, 0].any() or part[:, -1].any()
    if not near[row, col] or not leaves:
        return False
    thick_px = 2 * float(cv2.distanceTransform(np.pad(part, 1).astype(np.uint8), cv2.DIST_L2, 3).max())
    rows, cols = np.nonzero(part)
    extent_px = float(np.hypot(np.ptp(rows) + 1, np.ptp(cols) + 1))
    return extent_px > LONG_RATIO * thick_px
