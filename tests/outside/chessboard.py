"""The published chessboard set of OpenCV: 13 photos of one board by one camera, and what was published of it.

Source: OpenCV 5.0.0 (source archive of opencv-python 5.0.0.93), samples/data/left*.jpg and
left_intrinsics.yml. Board of 9 by 6 inner corners, 25 mm apart.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import cv2
import numpy as np

from tests.outside.fetch import unpacked

NAMES = tuple(f"left{k:02d}.jpg" for k in range(1, 15) if k != 10)
SIZE_PX = (640, 480)
SQUARES = np.concatenate([np.indices((9, 6)).T.reshape(-1, 2), np.zeros((54, 1))], axis=1)  # (54, 3)


@cache
def folder() -> Path:
    """Where the photos are."""
    data = "opencv/samples/data"
    return unpacked("opencv-python", "5.0.0.93", *(f"{data}/{n}" for n in (*NAMES, "left_intrinsics.yml"))) / data


@cache
def corners_px(window_px: int) -> np.ndarray:
    """Corners of the board in every photo, (13, 54, 2), refined by OpenCV in a window of this half size."""
    found = []
    for name in NAMES:
        gray = cv2.imread(str(folder() / name), cv2.IMREAD_GRAYSCALE)
        seen, corners = cv2.findChessboardCorners(gray, (9, 6))
        assert seen, name
        criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 30, 0.1)
        found.append(cv2.cornerSubPix(gray, corners, (window_px, window_px), (-1, -1), criteria).reshape(-1, 2))
    return np.array(found, float)


def published(name: str) -> np.ndarray:
    """A matrix of left_intrinsics.yml."""
    store = cv2.FileStorage(str(folder() / "left_intrinsics.yml"), cv2.FILE_STORAGE_READ)
    return store.getNode(name).mat()
