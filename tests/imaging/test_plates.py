"""Cover plates found in photos of finished walls, drawn ones and the sample's."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from asbuilt.imaging.plates import patches
from tests.truth import truth

MEDIA = Path(__file__).parents[2] / "sample_media"


def nearest_px(found, x_px: float, y_px: float) -> float:
    return min((float(np.hypot(p.center_px[0] - x_px, p.center_px[1] - y_px)) for p in found), default=np.inf)


def test_middle_is_the_middle_in_perspective():
    image = np.full((900, 1200, 3), 190, np.uint8)
    corners = np.array([[500, 300], [700, 340], [700, 560], [500, 620]], np.int32)
    cv2.fillConvexPoly(image, corners, (225, 228, 230))
    found = patches(image)
    a, b, c, d = corners.astype(float)
    share = np.linalg.solve(np.array([c - a, b - d]).T, b - a)[0]
    assert nearest_px(found, *(a + share * (c - a))) < 2.0
    assert nearest_px(found, *corners.mean(axis=0)) > 5.0  # the plain mean is not it


def test_bare_wall_has_none():
    rng = np.random.default_rng(1)
    image = np.clip(190 + cv2.GaussianBlur(rng.normal(0, 30, (900, 1200, 3)), (0, 0), 40), 0, 255).astype(np.uint8)
    assert patches(image) == []


def test_most_plates_of_the_sample_are_found_among_few_others():
    covers = hit = count = 0
    for photo in truth()["closed_photos"]:
        found = patches(cv2.imread(str(MEDIA / photo["file"])))
        count += len(found)
        covers += len(photo["covers_visible"])
        hit += sum(nearest_px(found, c["u"], c["v"]) < 10 for c in photo["covers_visible"])
    assert hit >= 0.9 * covers and count <= 2 * covers
