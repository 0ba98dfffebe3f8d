"""Derivatives of the projection against differences, and rotations against SciPy's."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from asbuilt.geometry.projection import exp_rotation, project_with_jacobian, skew
from tests.geometry.lenses import PHONE, phone_lenses

LENS_STEPS = np.array([1e-2, 1e-2, 1e-2, 1e-5, 1e-5, 1e-5, 1e-5])


@settings(deadline=None)
@given(of=phone_lenses, seed=st.integers(0, 1000))
def test_pixels_are_the_lens_s_and_derivatives_those_of_differences(of, seed):
    points = np.random.default_rng(seed).uniform((-1.5, -1, 1.5), (1.5, 1, 6), (12, 3))
    params = np.broadcast_to(of.params, (12, 7))
    pixels, by_point, by_lens = project_with_jacobian(points, params)
    np.testing.assert_allclose(pixels, of.project(points), atol=1e-9)
    for k in range(3):
        step = 1e-5 * np.eye(3)[k]
        ahead, behind = (project_with_jacobian(points + s, params)[0] for s in (step, -step))
        np.testing.assert_allclose(by_point[:, :, k], (ahead - behind) / 2e-5, rtol=1e-5, atol=1e-4)
    for k, size in enumerate(LENS_STEPS):
        step = size * np.eye(7)[k]
        ahead, behind = (project_with_jacobian(points, params + s)[0] for s in (step, -step))
        np.testing.assert_allclose(by_lens[:, :, k], (ahead - behind) / (2 * size), rtol=1e-6, atol=1e-5)


def test_derivatives_on_the_axis_by_hand():
    _, by_point, by_lens = project_with_jacobian(np.array([[0.0, 0, 2.0]]), PHONE.params[None])
    np.testing.assert_allclose(by_point[0], [[710, 0, 0], [0, 710, 0]], atol=1e-12)
    np.testing.assert_allclose(by_lens[0], [[0, 1, 0, 0, 0, 0, 0], [0, 0, 1, 0, 0, 0, 0]], atol=1e-12)


def test_each_point_has_its_own_lens():
    points = np.array([[0.2, 0.1, 2.0], [0.2, 0.1, 2.0]])
    params = np.array([PHONE.params, [1000, 10, 20, 0, 0, 0, 0]])
    pixels, _, _ = project_with_jacobian(points, params)
    np.testing.assert_allclose(pixels[1], [110, 70], atol=1e-12)
    assert abs(pixels[0] - pixels[1]).min() > 100


@given(vector=st.tuples(*[st.floats(-3.2, 3.2)] * 3), scale=st.sampled_from([1.0, 1e-4, 1e-9, 0.0]))
def test_rotations_agree_with_scipy(vector, scale):
    vectors = scale * np.array([vector])
    np.testing.assert_allclose(exp_rotation(vectors)[0], Rotation.from_rotvec(vectors[0]).as_matrix(), atol=1e-12)


def test_a_quarter_turn_by_hand():
    quarter = exp_rotation(np.array([[0, 0, np.pi / 2]]))[0]
    np.testing.assert_allclose(quarter @ [1, 0, 0], [0, 1, 0], atol=1e-15)


@given(a=st.tuples(*[st.floats(-9, 9)] * 3), b=st.tuples(*[st.floats(-9, 9)] * 3))
def test_the_cross_product_matrix(a, b):
    np.testing.assert_allclose(skew(np.array([a]))[0] @ b, np.cross(a, b), atol=1e-12)
