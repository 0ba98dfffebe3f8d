"""Paint one picture from parts of many: warped, evened, feathered where two meet."""

from __future__ import annotations

import cv2
import numpy as np

LEAST_WEIGHT = 1e-3  # what less than this share of any picture shows counts as not seen


def shrunk(image: np.ndarray, factor: int) -> np.ndarray:
    """An image averaged down by a whole factor; see :func:`shrunk_px` for where its pixels lie."""
    if factor <= 1:
        return image
    rows, cols = image.shape[0] // factor, image.shape[1] // factor
    return cv2.resize(image[: rows * factor, : cols * factor], (cols, rows), interpolation=cv2.INTER_AREA)


def shrunk_px(positions_px: np.ndarray, factor: int) -> np.ndarray:
    """Pixel positions of an image in the one averaged down by a factor."""
    return positions_px if factor <= 1 else (positions_px + 0.5) / np.float32(factor) - np.float32(0.5)


def warp(image: np.ndarray, map_x: np.ndarray, map_y: np.ndarray, sharp: bool = True) -> tuple[np.ndarray, np.ndarray]:
    """Take pixels of an image at positions.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3)
    map_x, map_y : ndarray of shape (h, w)
        float32 [px].
    sharp : bool
        Bicubic instead of bilinear.

    Returns
    -------
    tuple of ndarray
        Colours (h, w, 3) uint8, and (h, w) bool: which positions lie in the image.
    """
    mode = cv2.INTER_CUBIC if sharp else cv2.INTER_LINEAR
    colors = cv2.remap(image, map_x, map_y, mode, borderMode=cv2.BORDER_REPLICATE)
    within = (map_x >= 0) & (map_y >= 0) & (map_x <= image.shape[1] - 1) & (map_y <= image.shape[0] - 1)
    return colors, within


def feather(mask: np.ndarray, width_px: int) -> np.ndarray:
    """A mask (h, w) bool softened over ``width_px`` across its edge; float32, 0 to 1.

    The softened masks of areas that fill a plane add up to 1 everywhere.
    """
    soft = mask.astype(np.float32)
    size = max(1, width_px // 2)
    for _ in range(2):
        soft = cv2.blur(soft, (size, size), borderType=cv2.BORDER_REPLICATE)
    return soft


class Canvas:
    """A weighted sum of pictures of one plane.

    Parameters
    ----------
    rows, cols : int
        Size [px].
    """

    def __init__(self, rows: int, cols: int) -> None:
        self._sum = np.zeros((rows, cols, 3), np.float32)
        self._weight = np.zeros((rows, cols), np.float32)

    def add(self, row: int, col: int, colors: np.ndarray, weight: np.ndarray) -> None:
        """Add colours (h, w, 3) with weights (h, w), the top-left one at (row, col)."""
        box = np.s_[row : row + weight.shape[0], col : col + weight.shape[1]]
        self._sum[box] += colors * weight[..., None]
        self._weight[box] += weight

    def finish(self) -> tuple[np.ndarray, np.ndarray]:
        """The picture (rows, cols, 3) uint8, and which pixels anything was painted on."""
        seen = self._weight > LEAST_WEIGHT
        mean = self._sum / np.where(seen, self._weight, 1.0)[..., None]
        mean[~seen] = 0
        return np.clip(np.rint(mean), 0, 255).astype(np.uint8), seen
