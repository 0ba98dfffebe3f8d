"""One camera placed by points of known place: exactly, within its stated errors, or not at all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from asbuilt.geometry.cameras import Lens
from asbuilt.geometry.resection import UPRIGHT_COSINE, refine, resect, three_point_poses
from tests.geometry.lenses import PHONE

SIGMA_PX = 0.7
LOOKING_IN = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])  # level, square onto a face


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """A camera some 2.4 m in front of a face, and points of the face."""

    points_m: np.ndarray
    rotation: np.ndarray
    center_m: np.ndarray

    @property
    def translation_m(self) -> np.ndarray:
        return -self.rotation @ self.center_m

    @property
    def pixels(self) -> np.ndarray:
        return PHONE.project(self.points_m @ self.rotation.T + self.translation_m)


def make_view(rng: np.random.Generator, count: int, depth_m: float = 0.0) -> View:
    points = rng.uniform((-1.2, 0, -0.65), (1.2, 1, 0.65), (count, 3)) * [1, depth_m, 1]
    return View(
        points_m=points,
        rotation=Rotation.from_rotvec(rng.normal(0, 0.12, 3)).as_matrix() @ LOOKING_IN,
        center_m=np.array([rng.uniform(-0.3, 0.3), -2.4, rng.uniform(-0.2, 0.2)]),
    )


def in_room(center_m: np.ndarray) -> bool:
    return center_m[1] < 0


def off(found, view: View) -> np.ndarray:
    """(rotation vector on the left, translation): what the pose is off."""
    turn = Rotation.from_matrix(found.rotation @ view.rotation.T).as_rotvec()
    return np.concatenate([turn, found.translation_m - view.translation_m])


@pytest.mark.parametrize("depth_m", [0.0, 0.14])
@pytest.mark.parametrize("count", [4, 6, 30])
def test_exact_pixels_give_the_exact_pose(count, depth_m):
    view = make_view(np.random.default_rng(5), count, depth_m)
    found = resect(PHONE, view.points_m, view.pixels, SIGMA_PX, keep_side=in_room)
    assert found
    np.testing.assert_allclose(found.center_m, view.center_m, atol=1e-6)
    np.testing.assert_allclose(found.rotation, view.rotation, atol=1e-6)
    assert found.residual_px < 1e-4 and found.used.all() and found.cost < 1e-6


@pytest.mark.parametrize(
    ("count", "depth_m", "sigma_points_m"),
    [(8, 0.0, 0.0), (20, 0.14, 0.0), (12, 0.14, 0.002)],
)
def test_the_stated_errors_hold_the_truth_19_times_in_20(count, depth_m, sigma_points_m):
    rng = np.random.default_rng([count, int(1000 * depth_m)])
    ratios = []
    for _ in range(500):
        view = make_view(rng, count, depth_m)
        pixels = view.pixels + rng.normal(0, SIGMA_PX, (count, 2))
        told = view.points_m + rng.normal(0, sigma_points_m, (count, 3)) * [1, 0, 1]  # taped along the face
        found = resect(PHONE, told, pixels, SIGMA_PX, sigma_points_m, keep_side=in_room)
        ratios.append(off(found, view) / np.sqrt(np.diag(found.covariance)))
    assert 0.93 < (np.abs(ratios) < 1.96).mean() < 0.97


def test_the_covariance_knows_what_goes_together():
    """Turns and shifts err together; the correlations stated are those seen over many draws."""
    rng = np.random.default_rng(8)
    view = make_view(rng, 20, 0.14)
    errors, stated = [], []
    for _ in range(300):
        found = resect(PHONE, view.points_m, view.pixels + rng.normal(0, SIGMA_PX, (20, 2)), SIGMA_PX, 0, in_room)
        errors.append(off(found, view))
        stated.append(found.covariance)
    seen, told = np.cov(np.array(errors).T), np.mean(stated, axis=0)
    scale = np.sqrt(np.outer(np.diag(told), np.diag(told)))
    assert np.abs(told / scale)[np.triu_indices(6, 1)].max() > 0.6
    np.testing.assert_allclose(seen / scale, told / scale, atol=0.15)


def test_a_wrong_point_is_left_out_and_named():
    view = make_view(np.random.default_rng(6), 10, 0.14)
    pixels = view.pixels
    pixels[3] += (40, -25)
    found = resect(PHONE, view.points_m, pixels, SIGMA_PX, keep_side=in_room)
    assert found.used.tolist() == [k != 3 for k in range(10)]
    np.testing.assert_allclose(found.center_m, view.center_m, atol=0.01)


def test_noise_larger_than_stated_widens_the_covariance_and_smaller_does_not_narrow_it():
    view = make_view(np.random.default_rng(6), 40, 0.14)
    noise = np.random.default_rng(1).normal(0, 1, (40, 2))

    def sigma_m(noise_px: float) -> float:
        found = resect(PHONE, view.points_m, view.pixels + noise_px * noise, SIGMA_PX, keep_side=in_room)
        return float(np.sqrt(found.covariance[3, 3]))

    # Noise of two sigmas: the scatter seen counts, less the points taken for wrong.
    assert 1.4 < sigma_m(2 * SIGMA_PX) / sigma_m(SIGMA_PX) < 2.6
    assert sigma_m(0) == pytest.approx(sigma_m(SIGMA_PX), rel=0.01)


def test_taped_places_count_by_their_size_in_the_picture():
    view = make_view(np.random.default_rng(6), 12)
    by_pixels = resect(PHONE, view.points_m, view.pixels, 1.18, keep_side=in_room)
    # 2 mm at 2.4 m through 1420 px of focal length is 1.18 px.
    by_places = resect(PHONE, view.points_m, view.pixels, 1e-3, 0.002, keep_side=in_room)
    ratio = np.sqrt(np.diag(by_places.covariance) / np.diag(by_pixels.covariance))
    np.testing.assert_allclose(ratio, 1, atol=0.1)


@pytest.mark.parametrize("count", [0, 1, 3])
def test_too_few_points_fail_with_the_number_needed(count):
    view = make_view(np.random.default_rng(5), 4)
    found = resect(PHONE, view.points_m[:count], view.pixels[:count], SIGMA_PX)
    assert not found
    assert found.reason == f"{count} known points, 4 needed"


def test_points_on_one_line_fix_no_camera():
    view = make_view(np.random.default_rng(5), 6)
    line = View(points_m=view.points_m * [1, 0, 0], rotation=view.rotation, center_m=view.center_m)
    assert not resect(PHONE, line.points_m, line.pixels, SIGMA_PX)


def test_a_camera_outside_the_room_is_refused():
    view = make_view(np.random.default_rng(5), 8)
    found = resect(PHONE, view.points_m, view.pixels, SIGMA_PX, keep_side=lambda center_m: center_m[1] > 0)
    assert not found
    assert "inside the room" in found.reason


def test_a_pose_that_drops_points_never_beats_one_that_explains_them_all():
    """Three points fit some camera whatever they are; a small residual over them means nothing."""
    rng = np.random.default_rng(0)
    found, wrong = 0, 0
    for _ in range(300):
        view = make_view(rng, 5, rng.choice([0.0, 0.14]))
        pose = resect(PHONE, view.points_m, view.pixels + rng.normal(0, SIGMA_PX, (5, 2)), SIGMA_PX, 0, in_room)
        if pose:
            found += 1
            assert pose.used.sum() >= 4
            wrong += np.linalg.norm(pose.center_m - view.center_m) > 0.3
    assert found > 285
    assert wrong <= 6


def test_a_small_sheet_that_fits_two_places_says_so_in_its_error():
    """Seen nearly square on its two poses are metres apart and cannot be told from each other."""
    half_m = 0.0762
    corners = half_m * np.array([[-1, 0, 1], [1, 0, 1], [1, 0, -1], [-1, 0, -1.0]])
    rng = np.random.default_rng(3)
    far, distances, widest = 0, [], 0.0
    for _ in range(300):
        rotation = LOOKING_IN @ Rotation.from_euler("z", rng.uniform(-0.35, 0.35)).as_matrix()
        view = View(points_m=corners, rotation=rotation, center_m=-rotation.T @ [0.1, 0.1, 3.2])
        pose = resect(PHONE, corners, view.pixels + rng.normal(0, 0.3, (4, 2)), 0.3, keep_side=in_room)
        far += np.linalg.norm(pose.center_m - view.center_m) > 0.5
        distances.append(off(pose, view) @ np.linalg.solve(pose.covariance, off(pose, view)))
        widest = max(widest, float(np.sqrt(pose.covariance[1, 1])))
    assert far > 15
    assert widest > 0.2
    # 12.6 and 22.5: 95 % and 99.9 % of chi-square with 6 degrees of freedom.
    assert (np.array(distances) < 12.6).mean() > 0.9
    assert (np.array(distances) < 22.5).mean() > 0.97


def test_refining_a_start_behind_the_points_gives_nothing():
    view = make_view(np.random.default_rng(5), 6)
    sigma = np.full(6, SIGMA_PX)
    assert refine(PHONE, view.points_m, view.pixels, sigma, np.zeros(6), view.rotation, [0, 0, -5.0]) is None


def test_three_known_points_give_the_true_pose_among_few_and_all_stand_upright():
    rng = np.random.default_rng(12)
    lens = Lens(width_px=1920, height_px=1080, focal_px=1400, center_x_px=959.5, center_y_px=539.5)
    look = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    for _ in range(50):
        turn = Rotation.from_rotvec(rng.normal(0, [0.1, 0.25, 0.05])).as_matrix()
        rotation, center = turn @ look, np.array([1.2, -2.2, 1.4]) + rng.normal(0, 0.2, 3)
        points = np.array([[0.4, 0, 0.6], [1.9, 0, 0.9], [1.1, 0.0, 2.0]]) + rng.normal(0, 0.1, (3, 3)) * [1, 0, 1]
        pixels = lens.project((points - center) @ rotation.T)
        poses = three_point_poses(lens, points, pixels)
        assert 1 <= len(poses) <= 4
        assert all(-r[1, 2] > UPRIGHT_COSINE for r, _ in poses)
        assert min(np.linalg.norm(-r.T @ t - center) for r, t in poses) < 1e-6
    assert three_point_poses(lens, points, pixels, keep_side=lambda c: False) == []
