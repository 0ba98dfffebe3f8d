"""How a picture moved against the one before it, from two small luma images.

Lengths are shares of the picture's width; x right, y down: where the content went.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

GRID_COLUMNS, GRID_ROWS = 12, 7
WINDOW_PX = (11, 11)
PYRAMID_LEVELS = 1
ENOUGH = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 10, 0.03)
# Pictures with a mean luma below the first are lifted to the second before they are compared;
# black in video is 16 (ITU-R BT.709-6, 3.4).
DIM_LUMA, EVEN_LUMA, BLACK_LUMA = 60.0, 100.0, np.uint8(16)
# A grid point is followed when its patch comes back within this mean grey difference, and lies
# within this distance of the common movement. Common practice, no source.
MAX_PATCH_DIFFERENCE = 20.0
MAX_STRAY_SHARE = 0.05
# With fewer points followed, the two pictures are not of the same place (a cut, a smear).
MIN_TRACKED = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Movement between two pictures.

    ``shift`` is the common movement (x, y); ``flow`` (N, 2) that at each point of a fixed
    grid, points that were lost taking the common movement; ``tracked`` the share of the
    points that were followed.
    """

    shift: np.ndarray
    flow: np.ndarray
    tracked: float

    @property
    def lost(self) -> bool:
        """The two pictures could not be tied to one another."""
        return self.tracked < MIN_TRACKED


def measure_motion(before: list[np.ndarray], after: list[np.ndarray]) -> Motion:
    """Movement from one picture to the next.

    Parameters
    ----------
    before, after : list of ndarray of shape (H, W)
        The last two levels of each picture (about 240 and 120 px wide), uint8.
    """
    before, after = _lifted(before), _lifted(after)
    # The whole picture's shift, from the coarse level, tells the finer search where to begin.
    coarse, _ = cv2.phaseCorrelate(np.float32(before[1]), np.float32(after[1]), _window(*before[1].shape[::-1]))
    height_px, width_px = before[0].shape
    scale = width_px / before[1].shape[1]
    grid = _grid(width_px, height_px)
    guess = grid + np.float32(coarse) * np.float32(scale)
    found, status, difference = cv2.calcOpticalFlowPyrLK(
        before[0], after[0], grid, guess, None, None, WINDOW_PX, PYRAMID_LEVELS, ENOUGH, cv2.OPTFLOW_USE_INITIAL_FLOW
    )
    flow = (found - grid)[:, 0] / width_px  # (N, 2)
    followed = (status[:, 0] > 0) & (difference[:, 0] < MAX_PATCH_DIFFERENCE)
    if not followed.any():
        shift = np.asarray(coarse) / before[1].shape[1]
        return Motion(shift=shift, flow=np.tile(shift, (len(grid), 1)), tracked=0.0)
    shift = np.median(flow[followed], axis=0)
    followed &= np.hypot(*(flow - shift).T) < MAX_STRAY_SHARE + np.hypot(*shift) / 2
    flow = np.where(followed[:, None], flow, shift)
    return Motion(shift=shift, flow=flow, tracked=float(followed.mean()))


def _lifted(levels: list[np.ndarray]) -> list[np.ndarray]:
    # The same place with the light on and off still has to match, and so has dark with dark.
    mean = cv2.mean(levels[1])[0]
    if mean > DIM_LUMA:
        return levels
    gain = EVEN_LUMA / max(mean - BLACK_LUMA, 1.0)
    return [cv2.convertScaleAbs(np.maximum(level, BLACK_LUMA) - BLACK_LUMA, alpha=gain) for level in levels]


@lru_cache(maxsize=8)
def _window(width_px: int, height_px: int) -> np.ndarray:
    return cv2.createHanningWindow((width_px, height_px), cv2.CV_32F)


@lru_cache(maxsize=8)
def _grid(width_px: int, height_px: int) -> np.ndarray:
    x_px = (np.arange(GRID_COLUMNS) + 0.5) / GRID_COLUMNS * width_px
    y_px = (np.arange(GRID_ROWS) + 0.5) / GRID_ROWS * height_px
    points = np.stack(np.meshgrid(x_px, y_px), axis=-1).reshape(-1, 1, 2)
    return points.astype(np.float32)  # (N, 1, 2)
