"""Pictures drawn with every edge where it was asked to be, as a camera would average them over its pixels."""

from __future__ import annotations

import cv2
import numpy as np

DICTIONARY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
FINER = 6  # each pixel is averaged over so many by so many
TEXTURE_PX = 480
PAPER, INK, WALL = 0.8, 0.05, 0.35  # share of light


def camera_picture(light: np.ndarray, blur_px: float = 0.0, noise: float = 0.0, seed: int = 0) -> np.ndarray:
    """Grey picture (H, W) uint8 of finely drawn light (FINER H, FINER W): blurred, averaged, display curve."""
    if blur_px:
        light = cv2.GaussianBlur(light, (0, 0), blur_px * FINER)
    height, width = light.shape[0] // FINER, light.shape[1] // FINER
    pixels = light.reshape(height, FINER, width, FINER).mean(axis=(1, 3))
    grey = 255 * np.clip(pixels, 0, 1) ** (1 / 2.2)
    grey = grey + np.random.default_rng(seed).normal(0, noise, grey.shape)
    return np.clip(grey.round(), 0, 255).astype(np.uint8)


def draw_sheet(light: np.ndarray, marker_id: int, corners_px: np.ndarray) -> None:
    """Draw a marker sheet into fine light, its black square's corners at the given pixels of the picture.

    ``corners_px`` (4, 2) run top left, top right, bottom right, bottom left; the paper reaches a
    module and a half beyond.
    """
    square = cv2.aruco.generateImageMarker(DICTIONARY, marker_id, TEXTURE_PX, borderBits=1)
    margin = TEXTURE_PX * 3 // 16
    texture = np.where(cv2.copyMakeBorder(square, *[margin] * 4, cv2.BORDER_CONSTANT, value=255) > 127, PAPER, INK)
    low, high = margin - 0.5, margin + TEXTURE_PX - 0.5
    corners = np.float32([[low, low], [high, low], [high, high], [low, high]])
    fine = np.float32((np.asarray(corners_px) + 0.5) * FINER - 0.5)
    size = light.shape[::-1]
    turn = cv2.getPerspectiveTransform(corners, fine)
    drawn = cv2.warpPerspective(texture, turn, size, flags=cv2.INTER_AREA)
    inside = cv2.warpPerspective(np.ones_like(texture), turn, size, flags=cv2.INTER_NEAREST) > 0.5
    light[inside] = drawn[inside]


def wall(width_px: int, height_px: int) -> np.ndarray:
    """Fine light of a plain wall."""
    return np.full((height_px * FINER, width_px * FINER), WALL)


def boards(width_px: int, height_px: int, seed: int = 1) -> np.ndarray:
    """A grey picture full of rectangles and knots, which corners can be followed on."""
    rng = np.random.default_rng(seed)
    image = np.full((height_px, width_px), 110, np.uint8)
    for _ in range(width_px * height_px // 1500):
        x, y = rng.integers(0, width_px), rng.integers(0, height_px)
        w, h = rng.integers(6, 50, 2)
        cv2.rectangle(image, (int(x), int(y)), (int(x + w), int(y + h)), int(rng.integers(20, 240)), -1)
    return cv2.GaussianBlur(image, (0, 0), 1.0)
