"""True-scale pictures of a plane: where their pixels lie, and where a camera shows them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from asbuilt.geometry.cameras import Camera, Lens
from asbuilt.geometry.frames import BUILDING, Rigid3, camera_frame, face_frame
from asbuilt.geometry.planes import Plane
from asbuilt.geometry.rectify import OUTSIDE_PX, Patch, rectify_map, view_of

FACE = Rigid3(
    target=BUILDING, source=face_frame("f"), rotation=Rotation.from_euler("z", 25, degrees=True).as_matrix(),
    translation_m=np.array([1.0, -2.0, 0.3]),
)  # fmt: skip
LENS = Lens(
    width_px=1600, height_px=1200, focal_px=1200.0, center_x_px=805.0, center_y_px=590.0,
    k1=0.04, k2=-0.03, p1=5e-4, p2=-3e-4,
)  # fmt: skip
SQUARE_ON = np.array([[1, 0, 0], [0, 0, -1], [0, 1, 0]], float)  # camera x along the face, z into it


def _camera(x_m: float, y_m: float, z_m: float, yaw_deg: float = 0.0, lens: Lens = LENS) -> Camera:
    turned = Rotation.from_euler("y", -yaw_deg, degrees=True).as_matrix() @ SQUARE_ON
    camera_from_face = Rigid3(
        target=camera_frame("c"), source=face_frame("f"), rotation=turned,
        translation_m=-turned @ np.array([x_m, y_m, z_m]),
    )  # fmt: skip
    return Camera(lens=lens, camera_from_building=camera_from_face @ FACE.inverse())


def test_pixels_of_a_patch_are_centres_counted_from_its_top_left_corner():
    patch = Patch(left_m=2.0, top_m=3.0, px_m=0.5, depth_m=0.1, rows=2, cols=4)
    points = patch.points_face_m(np.arange(2), np.arange(4))
    assert points.shape == (2, 4, 3)
    np.testing.assert_allclose(points[0, 0], (2.25, 0.1, 2.75))
    np.testing.assert_allclose(points[1, 3], (3.75, 0.1, 2.25))
    part = patch.part(1, 2, 1, 2)
    np.testing.assert_allclose(part.points_face_m(np.arange(1), np.arange(2)), points[1:, 2:])


def test_a_camera_square_on_shows_the_plane_at_its_resolution():
    plain = Lens(width_px=1000, height_px=1000, focal_px=1000.0, center_x_px=499.5, center_y_px=499.5)
    camera = _camera(1.0, -2.0, 1.5, lens=plain)
    patch = Patch(left_m=1.0, top_m=1.5, px_m=0.01, rows=5, cols=5)
    map_x, map_y = rectify_map(camera, FACE, patch)
    # 500 px a metre: 5 px a patch pixel, the first centre half a patch pixel from the middle.
    np.testing.assert_allclose(map_x[2], 499.5 + 2.5 + 5 * np.arange(5), atol=1e-3)
    np.testing.assert_allclose(map_y[:, 2], 499.5 + 2.5 + 5 * np.arange(5), atol=1e-3)
    view = view_of(camera, FACE, np.array([[1.0, 0.0, 1.5], [1.0, 2.0, 1.5], [2.5, 0.0, 1.5]]))
    np.testing.assert_allclose(view.resolution_px_per_m[:2], (500, 250))
    np.testing.assert_allclose(view.slope, (0, 0, 0.75), atol=1e-12)
    assert view.framed.tolist() == [True, True, False]


@pytest.mark.parametrize("yaw_deg", [-35, 0, 35])
def test_the_map_agrees_with_the_full_camera_to_a_twentieth_of_a_pixel(yaw_deg):
    camera = _camera(2.0, -2.2, 1.5, yaw_deg)
    patch = Patch(left_m=0.0, top_m=2.7, depth_m=0.05, px_m=0.0254 / 20, rows=2126, cols=3000)
    map_x, map_y = rectify_map(camera, FACE, patch)
    rng = np.random.default_rng(3)
    rows, cols = rng.integers(0, patch.rows, 4000), rng.integers(0, patch.cols, 4000)
    x = (cols + 0.5) * patch.px_m
    z = patch.top_m - (rows + 0.5) * patch.px_m
    pixels = camera.project(FACE.apply(np.stack([x, np.full_like(x, 0.05), z], axis=1)))
    inside = camera.lens.inside(np.nan_to_num(pixels, nan=OUTSIDE_PX))
    assert inside.sum() > 1000
    mapped = np.stack([map_x[rows, cols], map_y[rows, cols]], axis=1)
    assert np.abs(mapped - pixels)[inside].max() < 0.05


def test_a_slope_says_how_far_a_recessed_thing_shows_beside_its_place():
    camera = _camera(1.0, -2.0, 1.5, yaw_deg=20)
    spot, depth_m = np.array([[2.2, 0.0, 1.5]]), 0.01
    slope = view_of(camera, FACE, spot).slope[0]
    behind = np.array([[2.2, depth_m, 1.5]])
    ray = camera.rays_building(camera.project(FACE.apply(behind)))
    start, ray = FACE.inverse().apply(camera.center_building_m), FACE.inverse().rotate(ray[0])
    shown_x_m = start[0] - start[1] / ray[1] * ray[0]
    assert (2.2 - shown_x_m) == pytest.approx(depth_m * slope, rel=0.02)


def test_nothing_is_seen_from_behind_too_obliquely_or_through_a_wall():
    behind = _camera(1.0, 2.0, 1.5)
    assert np.isnan(view_of(behind, FACE, np.array([[1.0, 0.0, 1.5]])).slope).all()
    near = _camera(0.0, -0.5, 1.5, yaw_deg=60)
    slopes = view_of(near, FACE, np.array([[1.8, 0.0, 1.5], [1.95, 0.0, 1.5]])).slope
    assert np.isfinite(slopes[0]) and np.isnan(slopes[1])  # 75 degrees is at 1.87 m
    # A wall stands across the room at 2 m, from the face 1 m into the room.
    turn = Rotation.from_euler("z", -90, degrees=True).as_matrix()
    across = FACE @ Rigid3(
        target=face_frame("f"), source=face_frame("g"), rotation=turn, translation_m=np.array([2.0, 0, 0])
    )
    wall = Plane(building_from_face=across, length_m=1.0, height_m=2.7, depth_m=0.0)
    camera = _camera(1.0, -0.9, 1.5, yaw_deg=30)
    points = np.array([[1.9, 0.0, 1.5], [2.5, 0.0, 1.5], [2.0, 0.0, 1.5]])
    assert np.isfinite(view_of(camera, FACE, points).slope).all()
    assert np.isfinite(view_of(camera, FACE, points, [wall]).slope).tolist() == [True, False, True]
