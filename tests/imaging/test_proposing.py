"""What rectified pictures agree on: drawn studs, a box and a cable, and a wall of nothing but grain."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from asbuilt.imaging.boxes import find_mouths
from asbuilt.imaging.jackets import unlike_wood
from asbuilt.imaging.run_lines import find_runs, without
from asbuilt.imaging.sweep import Rectified
from asbuilt.imaging.uprights import edges_of, find_uprights

PX = 0.0025
ROWS, COLS = 720, 720
TOP_M = ROWS * PX
STUDS_M = (0.35, 0.7564, 1.1628, 1.5692)
CABLE_X_M, CABLE_DEPTH_M = 0.56, 0.05
WOOD, GRAIN = np.array([110, 160, 200]), 26
YELLOW = (20, 190, 215)


def _grain(rng, shape):
    small = rng.normal(0, GRAIN, (shape[0] // 8, shape[1] // 8))
    return cv2.resize(small, shape[::-1], interpolation=cv2.INTER_CUBIC)


def _view(number: int, with_studs: bool, with_cable: bool) -> Rectified:
    """A picture of the wall from (offset, height) in front of it, drawn back to front."""
    rng = np.random.default_rng(5)  # the same wall for all pictures
    foot = np.array([COLS * (0.15 + 0.1 * number), ROWS * (0.4 + 0.06 * (number % 3))])
    distance_m = 2.2
    back = np.clip(WOOD * 0.8 + _grain(rng, (ROWS + 200, COLS + 200))[..., None], 5, 250)

    def laid(depth_m):
        scale = distance_m / (distance_m + depth_m)
        return np.array([[scale, 0, foot[0] * (1 - scale)], [0, scale, foot[1] * (1 - scale)]])

    matrix = laid(0.14) @ np.array([[1, 0, -100], [0, 1, -100], [0, 0, 1]])
    image = cv2.warpAffine(back.astype(np.float32), matrix, (COLS, ROWS), borderMode=cv2.BORDER_REFLECT)
    if with_cable:
        line = np.array([[CABLE_X_M / PX, 60, 1], [CABLE_X_M / PX, 650, 1]]) @ laid(CABLE_DEPTH_M).T
        cv2.line(image, *[tuple(int(round(v)) for v in p) for p in line], YELLOW, 4, cv2.LINE_AA)
    if with_studs:
        face = np.clip(WOOD * 1.12 + 0.3 * _grain(rng, (ROWS, COLS))[..., None], 5, 250)
        for center in STUDS_M:
            a, b = round((center - 0.01905) / PX), round((center + 0.01905) / PX)
            image[:, a:b] = face[:, a:b]
    image += np.random.default_rng(number).normal(0, 3, image.shape)
    return Rectified(
        picture_id=str(number), row=0, col=0, colors=np.clip(image, 0, 255).astype(np.uint8),
        within=np.ones((ROWS, COLS), bool), foot_px=tuple(foot), distance_m=distance_m, sigma_m=0.001,
    )  # fmt: skip


@pytest.fixture(scope="module")
def views():
    return [_view(n, True, True) for n in range(8)]


@pytest.fixture(scope="module")
def bare():
    return [_view(n, False, False) for n in range(8)]


def test_studs_are_found_where_they_stand(views):
    found = find_uprights(edges_of(views, ROWS, COLS, PX), PX, TOP_M, 0.0381)
    assert [u.center_m for u in found] == pytest.approx(STUDS_M, abs=0.003)
    assert all(abs(u.width_m - 0.0381) < 0.004 and u.view_count == 8 for u in found)


def test_grain_alone_makes_no_stud_no_box_and_no_run(bare):
    assert find_uprights(edges_of(bare, ROWS, COLS, PX), PX, TOP_M, 0.0381) == []
    none = np.zeros((ROWS, COLS), bool)
    assert find_mouths(bare, [unlike_wood(v, PX) for v in bare], ROWS, COLS, PX, none, none) == []
    assert find_runs(bare, [v.within for v in bare], none, PX, TOP_M, 0.14) == []


def test_a_cable_is_followed_at_its_place_and_depth_with_its_colour(views):
    px = [(c - 0.01905) / PX - 0.5 for c in STUDS_M]
    shows = [without(v, [(x, -1, x + 0.0381 / PX, ROWS) for x in px], 2) for v in views]
    runs = find_runs(views, shows, np.zeros((ROWS, COLS), bool), PX, TOP_M, 0.14)
    assert len(runs) == 1
    assert runs[0].sheath == "yellow"
    assert np.abs(runs[0].points_m[:, 0] - CABLE_X_M).max() < 0.008
    assert np.ptp(runs[0].points_m[:, 1]) > 1.2
    assert abs(float(np.median(runs[0].points_m[:, 2])) - CABLE_DEPTH_M) < 0.03
