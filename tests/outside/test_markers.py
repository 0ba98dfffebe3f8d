"""Marker squares in real photos whose corners are published.

Sources: ArUco photos of OpenCV's tutorials with the corners of modules/objdetect/test/test_aruco_tutorial.cpp
(OpenCV 5.0.0; whole pixels, bound +-1 px), and photos of AprilTag 36h11 cubes with the detections of the
AprilTag library's own test data (source archive of apriltag-python 3.4.5; quads without edge refinement,
counted from the top-left pixel's corner).
"""

from __future__ import annotations

import re

import cv2
import numpy as np
import pytest

from asbuilt.imaging.markers import detect_markers, refine_corners
from tests.outside.fetch import unpacked

pytestmark = pytest.mark.outside

TUTORIALS = "opencv/doc/tutorials/objdetect"
EXPECTED = "opencv/modules/objdetect/test/test_aruco_tutorial.cpp"
ARUCO = {
    "singlemarkersoriginal": (f"{TUTORIALS}/aruco_detection/images/singlemarkersoriginal.jpg", 6),
    "gboriginal": (f"{TUTORIALS}/aruco_board_detection/images/gboriginal.jpg", 35),
    "choriginal": (f"{TUTORIALS}/charuco_detection/images/choriginal.jpg", 17),
    "chocclusion": (f"{TUTORIALS}/charuco_detection/images/chocclusion_original.jpg", 13),
}
CUBES = "src/apriltag/apriltag/test/data"
CUBE_PHOTOS = {"33369213973_9d9bb4cc96_c": 12, "34085369442_304b6bafd9_c": 25, "34139872896_defdb2f8d9_c": 10}


def outward(found: np.ndarray, published: np.ndarray) -> float:
    """Mean distance each way by which corners lie further out than published [px]."""
    return float(((found - published) * np.sign(published - published.mean(axis=0))).mean())


@pytest.mark.parametrize("name", ARUCO)
def test_refined_corners_stay_with_the_published_ones(name):
    path, count = ARUCO[name]
    folder = unpacked("opencv-python", "5.0.0.93", path, EXPECTED)
    gray = cv2.imread(str(folder / path), cv2.IMREAD_GRAYSCALE)
    test = (folder / EXPECTED).read_text().split(f"can_find_{name})")[1]
    table = re.search(r"goldCorners\[N\]\[8\] = (\{.*?\};)", test, re.DOTALL)[1]
    published = np.array(re.findall(r"\d+", table), float).reshape(-1, 4, 2)
    assert len(published) == count
    found = [refine_corners(gray, corners) for corners in published]
    assert all(found)  # every one of these squares has four straight edges
    off = np.array([f[0] for f in found]) - published
    assert np.abs(off).max() < 2  # their bound and ours
    assert (np.abs(off) < 1).mean() > 0.75
    # Whole pixels lie on the dark side of an edge, the edge itself up to a pixel further out.
    assert 0 < np.mean([outward(f[0], p) for f, p in zip(found, published, strict=True)]) < 0.9
    # So in the middle of each square both agree.
    assert np.abs(off.mean(axis=1)).max() < 1
    assert np.sqrt(np.mean(np.square(off.mean(axis=1)))) < 0.4


def cubes(name: str) -> tuple[np.ndarray, np.ndarray]:
    """A photo (H, W) and its published quads (n, 4, 2) in our pixels."""
    names = (f"{CUBES}/{name}.jpg", f"{CUBES}/{name}.txt")
    folder = unpacked("apriltag-python", "3.4.5", *names)
    gray = cv2.imread(str(folder / names[0]), cv2.IMREAD_GRAYSCALE)
    rows = [re.findall(r"-?[\d.]+", line) for line in (folder / names[1]).read_text().splitlines()]
    assert {row[0] for row in rows} == {"0"}  # every cube carries the tag of id 0
    return gray, np.array([row[1:] for row in rows], float).reshape(-1, 4, 2) - 0.5


def around(gray: np.ndarray, quad: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The part of a photo round a quad, and its first pixel."""
    reach = 0.25 * np.ptp(quad, axis=0).max()
    first = np.maximum(np.floor(quad.min(axis=0) - reach), 0).astype(int)
    last = np.ceil(quad.max(axis=0) + reach).astype(int)
    return np.ascontiguousarray(gray[first[1] : last[1], first[0] : last[0]]), first


@pytest.mark.parametrize("name", CUBE_PHOTOS)
def test_tags_on_real_cubes_are_read_and_placed(name):
    gray, published = cubes(name)
    assert len(published) == CUBE_PHOTOS[name]
    sides = np.linalg.norm(published - np.roll(published, 1, axis=1), axis=2).min(axis=1)
    read, off = np.zeros(len(published), bool), []
    for k, quad in enumerate(published):
        part, first = around(gray, quad)
        seen = detect_markers(part)
        assert [s.id for s in seen] in ([], [0])
        if seen:
            read[k] = True
            off.append(seen[0].corners_px.mean(axis=0) + first - quad.mean(axis=0))
    # From 20 px, two and a half to a module, all are read; of those down to 10 px half or more.
    assert read[sides >= 20].all()
    assert read.mean() > 0.5
    # Published corners are up to 3 px off where a quad was fitted loosely; middles agree.
    assert np.abs(off).max() < 1


@pytest.mark.parametrize("name", CUBE_PHOTOS)
def test_many_tags_of_one_number_are_not_taken_for_a_sheet(name):
    """Which of a dozen tags of the same id a taped sheet is cannot be known."""
    gray, _ = cubes(name)
    assert detect_markers(gray) == []
