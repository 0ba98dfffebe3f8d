"""Lenses and cameras: pixel rule, values by hand, agreement with OpenCV, and there-and-back."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from asbuilt.errors import ShapeError
from asbuilt.geometry.cameras import Camera, Lens, require_shape
from asbuilt.geometry.frames import BUILDING, Rigid3, camera_frame
from tests.geometry.lenses import PHONE, phone_lenses


def lens(**changes) -> Lens:
    start = {"width_px": 640, "height_px": 480, "focal_px": 1000.0, "center_x_px": 320.0, "center_y_px": 240.0}
    return Lens(**(start | changes))


def camera_at(center_m, rotation, of=PHONE) -> Camera:
    rotation = np.asarray(rotation, float)
    pose = Rigid3(
        target=camera_frame("p"), source=BUILDING, rotation=rotation, translation_m=-rotation @ np.array(center_m)
    )
    return Camera(lens=of, camera_from_building=pose)


def test_the_pixel_rule_with_an_image_of_one_pixel():
    """(0, 0) is the centre of the one pixel; it reaches half a pixel to every side."""
    one = Lens.from_prior(1, 1, 10.0)
    np.testing.assert_array_equal(one.rays(np.array([[0.0, 0.0]])), [[0, 0, 1]])
    np.testing.assert_array_equal(one.project(np.array([[0.0, 0.0, 3.0]])), [[0, 0]])
    corners = np.array([[-0.5, -0.5], [0.5, 0.5], [-0.51, 0], [0, 0.51], [0.51, 0], [0, -0.51]])
    assert one.inside(corners).tolist() == [True, True, False, False, False, False]
    # The same rule in an image drawn by OpenCV: the pixel lit is the one that the lens points at.
    image = np.zeros((480, 640), np.uint8)
    spot = lens().project(np.array([[0.11, -0.07, 1.0]]))[0]
    np.testing.assert_allclose(spot, (430, 170))
    cv2.circle(image, tuple(spot.round().astype(int).tolist()), 0, 255, -1)
    assert np.argwhere(image).tolist() == [[170, 430]]  # row, column


def test_a_margin_keeps_away_from_the_edge():
    points = np.array([[9.4, 100], [9.6, 100], [629.4, 100], [629.6, 100], [100, 469.4], [100, 469.6]])
    assert lens().inside(points, margin_px=10).tolist() == [False, True, True, False, True, False]


def test_projection_by_hand():
    np.testing.assert_allclose(lens().project(np.array([[0.1, -0.2, 2.0]])), [[370, 140]], atol=1e-12)
    # x .05, y -.1, r2 .0125, radial 1 + .00125 - .0000078125; tangential by Brown's formula.
    bent = lens(k1=0.1, k2=-0.05, p1=0.001, p2=-0.002)
    np.testing.assert_allclose(bent.project(np.array([[0.1, -0.2, 2.0]])), [[370.017109375, 139.92828125]], atol=1e-9)


def test_points_not_in_front_have_no_pixel():
    assert np.isnan(lens().project(np.array([[0.1, 0.2, 0.0], [0.1, 0.2, -1.0]]))).all()


def test_a_phone_without_a_stated_focal_length_is_taken_for_26_mm():
    # 12 megapixels: diagonal 5040 px; film diagonal 43.2666 mm.
    assert Lens.from_prior(4032, 3024, None).focal_px == pytest.approx(26 * 5040 / 43.2666, rel=1e-6)
    taken = Lens.from_prior(4032, 3024, 3100.0)
    np.testing.assert_array_equal(taken.params, [3100, 2015.5, 1511.5, 0, 0, 0, 0])


def test_parameters_there_and_back():
    assert Lens.from_params(1920, 1080, PHONE.params) == PHONE
    np.testing.assert_array_equal(PHONE.matrix, [[1420, 0, 955], [0, 1420, 545], [0, 0, 1]])
    np.testing.assert_array_equal(PHONE.distortion, [0.04, -0.06, 0.0008, -0.0005])


@given(of=phone_lenses, seed=st.integers(0, 1000))
def test_projection_agrees_with_opencv(of, seed):
    points = np.random.default_rng(seed).uniform((-1.2, -0.8, 1.0), (1.2, 0.8, 6.0), (30, 3))
    expected, _ = cv2.projectPoints(points, np.zeros(3), np.zeros(3), of.matrix, of.distortion)
    np.testing.assert_allclose(of.project(points), expected[:, 0], atol=1e-8)


@given(of=phone_lenses)
def test_pixels_become_rays_and_rays_the_same_pixels(of):
    pixels = np.stack(np.meshgrid(np.linspace(0, 1919, 9), np.linspace(0, 1079, 7)), axis=-1).reshape(-1, 2)
    rays = of.rays(pixels)
    np.testing.assert_allclose(np.linalg.norm(rays, axis=1), 1, atol=1e-12)
    np.testing.assert_allclose(of.project(3.7 * rays), pixels, atol=1e-5)
    np.testing.assert_allclose(of.normalised(pixels), rays[:, :2] / rays[:, 2:], atol=1e-12)


def test_no_pixels_give_no_rays():
    assert PHONE.rays(np.zeros((0, 2))).shape == (0, 3)


def test_a_camera_stands_where_it_says_and_looks_where_it_says():
    level_along_y = [[1, 0, 0], [0, 0, -1], [0, 1, 0]]
    camera = camera_at([2.0, -3.0, 1.5], level_along_y, of=lens())
    np.testing.assert_allclose(camera.center_building_m, [2, -3, 1.5])
    # Half a metre right, a quarter up, two ahead: 250 px right of the centre, 125 above it.
    np.testing.assert_allclose(camera.project(np.array([[2.5, -1.0, 1.75]])), [[570, 115]], atol=1e-9)
    np.testing.assert_allclose(camera.rays_building(np.array([[320.0, 240.0]])), [[0, 1, 0]], atol=1e-12)
    assert camera.in_front(np.array([[2.0, 0, 1.5], [2.0, -4.0, 1.5]])).tolist() == [True, False]


@given(
    center=st.tuples(*[st.floats(-10, 10)] * 3),
    turn=st.tuples(*[st.floats(-3, 3)] * 3),
    of=phone_lenses,
    distance_m=st.floats(0.3, 12),
)
def test_a_ray_meets_the_point_that_gave_its_pixel(center, turn, of, distance_m):
    camera = camera_at(center, Rotation.from_rotvec(turn).as_matrix(), of)
    pixels = np.array([[10.0, 20.0], [1900, 1000], [960, 540]])
    points = camera.center_building_m + distance_m * camera.rays_building(pixels)
    np.testing.assert_allclose(camera.project(points), pixels, atol=1e-4)


def test_a_point_far_outside_the_view_is_not_folded_back_into_it():
    barrel = lens(k1=-0.3, focal_px=500.0)
    beyond = np.array([[1.5, 0.0, 1.0]])
    assert barrel.inside(barrel.project(beyond))[0]  # the polynomial has turned round out there
    camera = camera_at([0, 0, 0], np.eye(3), of=barrel)
    assert np.isnan(camera.project(beyond)).all()
    assert np.isfinite(camera.project(np.array([[0.6, 0.45, 1.0]]))).all()  # just outside the picture


@pytest.mark.parametrize("shape", [(3,), (4, 2), (2, 3, 3)])
def test_a_wrong_shape_is_named_with_the_right_one(shape):
    with pytest.raises(ShapeError, match=r"points_camera_m: expected \(N, 3\), got \(" + str(shape[0])):
        PHONE.project(np.zeros(shape))
    with pytest.raises(ShapeError, match="corners"):
        require_shape(np.zeros(shape), 5, "corners")
