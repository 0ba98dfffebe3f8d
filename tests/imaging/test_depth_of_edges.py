"""A stud's side is not its front, and a room behind a wall is not in it: drawn by the parallax of each depth."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from asbuilt.imaging.edge_bands import edges_of
from asbuilt.imaging.edge_depth import votes_behind
from asbuilt.imaging.inside_depth import grain, is_filled, likeness_at
from asbuilt.imaging.sweep import Rectified
from asbuilt.imaging.uprights import find_uprights

PX, ROWS, COLS, STUD_M = 0.0025, 600, 400, 0.0381
LEFT_M, DEPTH_M, DISTANCE_M = 0.6, 0.0889, 2.6
FEET_M = np.linspace(-0.95, -0.4, 12)  # all cameras stand to the left, and see the left side of every stud


def _view(number: int, image: np.ndarray, foot_px: tuple[float, float], noise: float = 2) -> Rectified:
    speck = np.random.default_rng(number).normal(0, noise, image.shape)
    return Rectified(
        picture_id=str(number), row=0, col=0, colors=np.clip(image + speck, 0, 255).astype(np.uint8),
        within=np.ones(image.shape[:2], bool), foot_px=foot_px, distance_m=DISTANCE_M, sigma_m=0.001,
    )  # fmt: skip


def _column(x_m: float, foot_m: float, depth_m: float) -> float:
    """Where a spot at a depth shows on the studs' faces in a picture taken straight before ``foot_m`` [px]."""
    return (foot_m + (x_m - foot_m) * DISTANCE_M / (DISTANCE_M + depth_m)) / PX - 0.5


@pytest.fixture(scope="module")
def aside():
    """A stud seen from the left: grey behind, its dark side as wide as its face, its bright face."""
    views = []
    for number, foot in enumerate(FEET_M):
        image = np.full((ROWS, COLS, 3), 90.0)
        edges = [_column(LEFT_M, foot, DEPTH_M), LEFT_M / PX - 0.5, (LEFT_M + STUD_M) / PX - 0.5]
        for (start, end), light in zip(zip(edges, edges[1:], strict=False), (60.0, 180.0), strict=True):
            image[:, round(start) : round(end)] = light
        views.append(_view(number, image, (foot / PX - 0.5, ROWS / 2), 20))
    return views


def test_the_far_edge_of_a_side_lies_behind_and_the_edges_of_the_face_do_not(aside):
    edges, bands = edges_of(aside, ROWS, COLS, PX), np.s_[:]
    usual = np.median([_column(LEFT_M, f, DEPTH_M) for f in FEET_M])
    more, shown = votes_behind(edges, PX, round(usual), bands)
    assert shown == len(FEET_M) and more > 0.25 * shown
    for x_m in (LEFT_M, LEFT_M + STUD_M):
        assert votes_behind(edges, PX, round(x_m / PX - 0.5), bands)[0] < 0


def test_a_side_as_wide_as_the_face_is_no_second_stud(aside):
    found = find_uprights(edges_of(aside, ROWS, COLS, PX), PX, ROWS * PX, STUD_M)
    assert [u.center_m for u in found] == pytest.approx([LEFT_M + STUD_M / 2], abs=0.003)


@pytest.mark.parametrize("depth_m", [0.03, 1.2])
def test_what_fills_a_rectangle_is_most_alike_at_its_own_depth(depth_m):
    rng, margin = np.random.default_rng(3), 900
    back = cv2.resize(rng.normal(0, 25, (240, 220)), None, fx=10, fy=10, interpolation=cv2.INTER_CUBIC)
    views, scale = [], DISTANCE_M / (DISTANCE_M + depth_m)
    for number, foot_m in enumerate(np.linspace(0.1, 0.9, 8)):
        foot = np.array([foot_m / PX, ROWS * 0.5])
        matrix = np.column_stack([np.eye(2) * scale, foot * (1 - scale) - scale * margin])
        image = 120 + cv2.warpAffine(back, matrix, (COLS, ROWS), borderMode=cv2.BORDER_REFLECT)
        views.append(_view(number, np.dstack([image] * 3), tuple(foot)))
    grains, depths, inside = [grain(v, v.within) for v in views], (0.03, 0.4, 1.2), (150, 200, 280, 400)
    likeness = likeness_at(views, grains, inside, depths)
    own = depths.index(depth_m)
    assert likeness[own] > 0.8
    assert all(v < 0.3 for k, v in enumerate(likeness) if k != own)
    assert is_filled(views, grains, inside) == (depth_m < 0.1)
    # Fewer than three pictures agree on nothing.
    assert not likeness_at(views[:2], grains[:2], inside, depths).any()
