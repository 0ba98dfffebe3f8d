"""Marker sheets drawn with known corners: found, told apart, and measured to a tenth of a pixel."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from asbuilt.imaging.markers import detect_markers, refine_corners
from tests.imaging.drawn import FINER, INK, PAPER, camera_picture, draw_sheet, wall


def sheet_corners(center_px, side_px: float, turn_rad: float = 0.0, squeeze: float = 0.0) -> np.ndarray:
    """Corners (4, 2) of a sheet turned in the picture and squeezed from left to right, its right side nearer."""
    flat = side_px / 2 * np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]])
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    turned = flat @ np.array([[cos, sin], [-sin, cos]]) * [1 - squeeze, 1]
    turned[1:3] *= 1 + 0.1 * squeeze
    return turned + center_px


def picture_of(sheets: dict[int, np.ndarray], width_px=400, height_px=300, blur_px=0.7, noise=1.0, seed=0):
    light = wall(width_px, height_px)
    for marker_id, corners in sheets.items():
        draw_sheet(light, marker_id % 1000, corners)
    return camera_picture(light, blur_px, noise, seed)


def test_pixels_are_counted_from_the_centre_of_the_first():
    """A black square over the pixels 20 to 79 and 30 to 89 ends half a pixel beyond them."""
    gray = np.full((120, 110), 230, np.uint8)
    gray[30:90, 20:80] = 15
    found, _ = refine_corners(gray, np.array([[20.4, 29.0], [80, 29.5], [79, 90], [19, 90.2]]))
    np.testing.assert_allclose(found, [[19.5, 29.5], [79.5, 29.5], [79.5, 89.5], [19.5, 89.5]], atol=0.02)


def test_corners_run_from_the_sheet_s_own_top_left():
    upright = sheet_corners((75, 75), 60)
    for quarter in range(4):
        turned = sheet_corners((75, 75), 60, quarter * np.pi / 2)
        (seen,) = detect_markers(picture_of({42: turned}, 150, 150))
        assert seen.id == 42
        np.testing.assert_allclose(seen.corners_px, turned, atol=0.15)
        np.testing.assert_allclose(turned, np.roll(upright, -quarter, axis=0), atol=1e-9)


def test_edges_that_coding_smoothed_are_met_in_code_values():
    """A dark picture whose code values were smoothed: in light the square looks too large, in codes it does not."""
    corners = sheet_corners((110.3, 109.6), 88, 0.1)
    dark = picture_of({17: corners}, 220, 220, 0.2, noise=0.0).astype(float) * 0.14
    gray = cv2.convertScaleAbs(cv2.GaussianBlur(dark, (0, 0), 2.2).round(), alpha=6)
    bigger = []
    for smoothed in (False, True):
        (seen,) = detect_markers(gray, smoothed_in_code=smoothed)
        bigger.append(np.linalg.norm(np.diff(seen.corners_px, axis=0), axis=1).mean() - 88)
    assert bigger[0] > 1.2
    assert abs(bigger[1]) < 0.3  # what the lens and the pixels themselves smoothed


@pytest.mark.parametrize("blur_px", [0.5, 1.0])
@pytest.mark.parametrize("side_px", [36, 60, 100])
def test_corners_are_right_to_a_tenth_of_a_pixel_and_say_so(side_px, blur_px):
    rng = np.random.default_rng(side_px)
    errors, sigmas = [], []
    for k in range(8):
        center = (1.2 * side_px, 1.2 * side_px) + rng.uniform(-1, 1, 2)
        corners = sheet_corners(center, side_px, rng.uniform(-0.3, 0.3), rng.uniform(0, 0.35))
        size = round(2.4 * side_px)
        seen = detect_markers(picture_of({17: corners}, size, size, blur_px, seed=k))
        if seen:  # small ones that are squeezed as well may be missed
            errors.append(seen[0].corners_px - corners)
            sigmas.append(seen[0].sigma_px)
    assert len(errors) >= 6
    assert np.sqrt(np.mean(np.square(errors))) < 0.08
    assert np.abs(np.mean(errors, axis=(0, 1))).max() < 0.03  # no drift to one side
    assert np.sqrt(np.mean(np.square(errors))) < 1.1 * np.mean(sigmas)
    assert 0.1 <= min(sigmas) and max(sigmas) < 0.2


def test_a_sheet_seen_from_the_side_is_not_measured_at_its_own_pattern():
    """Squeezed to half its width, the black rim is 3 px wide: what lies inside it must stay out of the profile."""
    corners = sheet_corners((80, 80), 56, 0.1, 0.5)
    (seen,) = detect_markers(picture_of({17: corners}, 160, 160, 0.5))
    np.testing.assert_allclose(seen.corners_px, corners, atol=0.25)


def test_blur_and_exposure_leave_the_edge_where_it_was():
    """In code values a blurred edge creeps into the dark; in light it does not."""
    corners = sheet_corners((100, 100), 90, 0.1)
    for blur_px in (0.5, 1.5, 2.5):
        (seen,) = detect_markers(picture_of({8: corners}, 200, 200, blur_px))
        outward = (seen.corners_px - corners) * np.sign(corners - 100)
        assert abs(outward.mean()) < 0.06


def test_sheets_come_in_the_order_of_their_ids_and_repeated_ids_not_at_all():
    places = {30: (80, 80), 4: (220, 80), 1030: (80, 220), 7: (220, 220)}  # 1030: the id 30 once more
    sheets = {marker: sheet_corners(place, 80) for marker, place in places.items()}
    assert [seen.id for seen in detect_markers(picture_of(sheets, 300, 300))] == [4, 7]
    del sheets[1030]
    assert [seen.id for seen in detect_markers(picture_of(sheets, 300, 300))] == [4, 7, 30]


def test_a_covered_corner_or_a_bare_wall_gives_nothing():
    corners = sheet_corners((100, 100), 90)
    light = wall(200, 200)
    draw_sheet(light, 5, corners)
    covered = light.copy()
    cv2.circle(covered, (60 * FINER, 60 * FINER), 30 * FINER, PAPER, -1)
    assert [s.id for s in detect_markers(camera_picture(light))] == [5]
    assert detect_markers(camera_picture(covered)) == []
    assert detect_markers(camera_picture(wall(200, 200), noise=3)) == []


def test_another_dictionary_s_squares_are_not_taken_for_sheets():
    gray = np.full((240, 240), 220, np.uint8)
    other = cv2.aruco.generateImageMarker(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_6X6_250), 23, 120)
    gray[60:180, 60:180] = other
    assert detect_markers(gray) == []


def test_an_edge_that_is_not_straight_is_refused_or_trusted_less():
    light = wall(200, 200)
    light[40 * FINER : 160 * FINER, 40 * FINER : 160 * FINER] = PAPER
    rows = np.arange(60 * FINER, 140 * FINER)
    for row in rows:  # the left edge bulges by 3 px
        bulge = 3 * np.sin(np.pi * (row - rows[0]) / len(rows))
        light[row, round((60 - bulge) * FINER) : 140 * FINER] = INK
    found = refine_corners(camera_picture(light), np.array([[60.0, 60], [139, 60], [139, 139], [60, 139]]))
    assert found is None or found[1] > 0.3


def test_no_edge_no_corners():
    flat = np.full((100, 100), 128, np.uint8)
    assert refine_corners(flat, np.array([[20.0, 20], [80, 20], [80, 80], [20, 80]])) is None
    tiny = np.full((100, 100), 230, np.uint8)
    tiny[50:55, 50:55] = 10
    assert refine_corners(tiny, np.array([[49.5, 49.5], [54.5, 49.5], [54.5, 54.5], [49.5, 54.5]])) is None


def test_a_sheet_at_the_rim_of_the_picture_does_not_crash():
    corners = sheet_corners((48, 150), 90)  # its left edge 3 px from the rim, hardly any paper beyond
    for seen in detect_markers(picture_of({3: corners}, 300, 300)):
        np.testing.assert_allclose(seen.corners_px, corners, atol=0.3)
