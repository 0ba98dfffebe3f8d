"""Spots on a face from one sighting or several: places by hand, errors by hand, by differences and by draws."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.stats import chi2

from asbuilt.geometry.cameras import Camera, Lens
from asbuilt.geometry.frames import BUILDING, Rigid3, camera_frame, face_frame
from asbuilt.geometry.intersect import Seen, intersect
from asbuilt.geometry.projection import exp_rotation
from tests.geometry.lenses import PHONE

LOOKING_IN = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
PLAIN = Lens(width_px=2000, height_px=1200, focal_px=1000.0, center_x_px=1000.0, center_y_px=600.0)
LENS_COLUMN, FACE_COLUMN = 18, 25  # after three cameras of six; seven of the one lens, six of the face
COLUMNS = 31
SIGMA_PX = 1.0


def frame(target: str, source: str, rotation, translation_m) -> Rigid3:
    return Rigid3(target=target, source=source, rotation=np.asarray(rotation), translation_m=np.asarray(translation_m))


STILL_FACE = frame(BUILDING, face_frame("f"), np.eye(3), np.zeros(3))


def camera_at(center_m, rotation=LOOKING_IN, lens=PLAIN) -> Camera:
    pose = frame(camera_frame("p"), BUILDING, rotation, -rotation @ np.asarray(center_m, float))
    return Camera(lens=lens, camera_from_building=pose)


def seen_at(camera: Camera, place_building_m, slot: int = 0, sigma_px: float = SIGMA_PX) -> Seen:
    xy_px = camera.project(np.array([place_building_m], float))[0]
    return Seen(camera=camera, camera_slot=6 * slot, lens_slot=LENS_COLUMN, xy_px=xy_px, sigma_px=sigma_px)


def sure() -> np.ndarray:
    return np.zeros((COLUMNS, COLUMNS))


def sigmas(found) -> np.ndarray:
    return np.sqrt(np.diag(found.covariance))


def test_one_sighting_lies_where_its_ray_meets_the_usual_depth():
    place = np.array([0.8, 0.04, 1.2])
    found = intersect([seen_at(camera_at([0, -2, 1.5]), place)], STILL_FACE, sure(), FACE_COLUMN, 0.04, 0.01)
    np.testing.assert_allclose(found.place_face_m, place, atol=1e-9)
    assert (found.parallax_rad, found.misfit) == (0, pytest.approx(0, abs=1e-12))
    assert found.depth_share == pytest.approx(0, abs=1e-6)


def test_its_errors_by_hand():
    # Straight ahead at 2 m and 1000 px of focal length a pixel is 2 mm, and depth does not matter.
    ahead = intersect([seen_at(camera_at([0, -2, 1]), [0, 0, 1])], STILL_FACE, sure(), FACE_COLUMN, 0.0, 0.03)
    np.testing.assert_allclose(sigmas(ahead), [0.002, 0.03, 0.002], rtol=1e-6)
    # At 45 degrees to the side, depth off by 30 mm is offset off by 30 mm; the pixel's 2 mm add in square.
    aside = intersect([seen_at(camera_at([0, -2, 1]), [2, 0, 1])], STILL_FACE, sure(), FACE_COLUMN, 0.0, 0.03)
    np.testing.assert_allclose(sigmas(aside), [np.hypot(0.002, 0.03), 0.03, 0.002], rtol=1e-6)
    assert aside.covariance[0, 1] == pytest.approx(0.03**2, rel=1e-6)


def test_two_sightings_find_the_depth_without_being_told():
    place = np.array([0.3, 0.09, 1.1])
    cameras = [camera_at([-0.8, -2, 1.5]), camera_at([0.9, -2, 1.4])]
    seen = [seen_at(c, place, k) for k, c in enumerate(cameras)]
    found = intersect(seen, STILL_FACE, sure(), FACE_COLUMN, 0.0, 1.0)
    np.testing.assert_allclose(found.place_face_m, place, atol=1e-5)
    assert found.depth_share > 0.9999
    arms = [place - c.center_building_m for c in cameras]
    cosine = arms[0] @ arms[1] / np.linalg.norm(arms[0]) / np.linalg.norm(arms[1])
    assert found.parallax_rad == pytest.approx(np.arccos(cosine), abs=1e-9)


def test_the_depth_of_two_sightings_by_hand():
    """Base b square on at distance z: sigma of depth is sqrt(2) z^2 / (b f) pixels."""
    place = np.array([0.0, 0.0, 1.0])
    seen = [seen_at(camera_at([x, -2, 1]), place, k) for k, x in enumerate((-0.05, 0.05))]
    found = intersect(seen, STILL_FACE, sure(), FACE_COLUMN, 0.0, 10.0)
    assert sigmas(found)[1] == pytest.approx(np.sqrt(2) * 2**2 / (0.1 * 1000), rel=2e-3)
    assert sigmas(found)[0] == pytest.approx(0.002 / np.sqrt(2), rel=2e-3)


def test_an_error_that_pictures_share_does_not_average_away():
    place = np.array([0.0, 0.0, 1.0])
    seen = [seen_at(camera_at([0, -2, 1]), place, k, sigma_px=0.01) for k in range(2)]
    own, shared = sure(), sure()
    along = np.array([3, 9])  # both cameras' translation along the face
    own[along, along] = shared[along, along] = 0.01**2
    shared[np.ix_(along, along)] = 0.01**2
    apart = intersect(seen, STILL_FACE, own, FACE_COLUMN, 0.0, 0.001)
    together = intersect(seen, STILL_FACE, shared, FACE_COLUMN, 0.0, 0.001)
    assert sigmas(apart)[0] == pytest.approx(0.01 / np.sqrt(2), rel=1e-3)
    assert sigmas(together)[0] == pytest.approx(0.01, rel=1e-3)


def test_a_face_that_is_uncertain_moves_its_spots():
    """Only where the face stands against the camera counts: 5 mm across, and 10 mrad of turn at 2 m offset."""
    uncertain = sure()
    uncertain[FACE_COLUMN + 3, FACE_COLUMN + 3] = 0.005**2
    uncertain[FACE_COLUMN + 2, FACE_COLUMN + 2] = 0.01**2
    seen = [seen_at(camera_at([2, -2, 1]), [2, 0, 1], sigma_px=1e-3)]
    found = intersect(seen, STILL_FACE, uncertain, FACE_COLUMN, 0.0, 0.01)
    assert sigmas(found)[0] == pytest.approx(0.005, rel=1e-3)  # straight ahead, the turn moves the face away
    seen = [seen_at(camera_at([0, -2, 1]), [2, 0, 1], sigma_px=1e-3)]
    found = intersect(seen, STILL_FACE, uncertain, FACE_COLUMN, 0.0, 1e-4)
    assert sigmas(found)[0] == pytest.approx(np.hypot(0.005, 0.02), rel=1e-3)  # at 45 degrees, 20 mm aside


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """Three cameras, their lens and a face as they are; ``drawn`` as a solution believes they are."""

    cameras: tuple[Camera, ...]
    face: Rigid3

    def drawn(self, off: np.ndarray) -> Truth:
        """The same, off by (6 per camera, 7 of the lens, 6 of the face), rotations on the left."""
        lens = Lens.from_params(
            PHONE.width_px, PHONE.height_px, self.cameras[0].lens.params + off[LENS_COLUMN:FACE_COLUMN]
        )
        cameras = tuple(
            Camera(lens=lens, camera_from_building=moved(c.camera_from_building, off[6 * k : 6 * k + 6]))
            for k, c in enumerate(self.cameras)
        )
        return Truth(cameras=cameras, face=moved(self.face, off[FACE_COLUMN:]))


def moved(pose: Rigid3, off: np.ndarray) -> Rigid3:
    rotation = exp_rotation(off[None, :3])[0] @ pose.rotation
    return frame(pose.target, pose.source, rotation, pose.translation_m + off[3:])


FACE_TURN = exp_rotation(np.array([[0.01, -0.02, 0.7]]))[0]
TRUTH = Truth(
    cameras=tuple(
        camera_at(c, exp_rotation(np.array([w]))[0] @ LOOKING_IN @ FACE_TURN.T, PHONE)
        for c, w in (
            (FACE_TURN @ [0.2, -2.2, 1.5], (0.05, 0.2, 0.01)),
            (FACE_TURN @ [0.9, -2.0, 1.4], (0.1, -0.02, 0.03)),
            (FACE_TURN @ [1.5, -2.4, 1.5], (0.08, -0.25, -0.02)),
        )
    ),
    face=frame(BUILDING, face_frame("f"), FACE_TURN, np.zeros(3)),
)
SCALES = np.concatenate(
    [
        np.tile([0.0015] * 3 + [0.004] * 3, 3),
        [6, 3, 3, 0.004, 0.004, 0.0002, 0.0002],
        [0.001] * 3 + [0.003] * 3,
    ]
)


def correlated(rng: np.random.Generator) -> np.ndarray:
    """A covariance of sensible size in which everything depends on everything."""
    mix = rng.normal(size=(COLUMNS, COLUMNS)) + 2 * np.eye(COLUMNS)
    covariance = mix @ mix.T
    scale = SCALES / np.sqrt(np.diag(covariance))
    return covariance * np.outer(scale, scale)


def closed_form(off: np.ndarray, xy_px: np.ndarray, depth_m: float, camera: int) -> np.ndarray:
    """Where a ray meets a depth of the face, with cameras, lens and face off by so much."""
    believed = TRUTH.drawn(off)
    face_from_building = believed.face.inverse()
    start = face_from_building.apply(believed.cameras[camera].center_building_m)
    ray = face_from_building.rotate(believed.cameras[camera].rays_building(xy_px[None])[0])
    return start + (depth_m - start[1]) / ray[1] * ray


@pytest.mark.parametrize("camera", [0, 1, 2])
def test_one_sighting_s_covariance_is_that_of_differences(camera):
    """The law of propagation with correlated inputs, JCGM 100:2008 (GUM) 5.2.2, equation (13)."""
    covariance = correlated(np.random.default_rng(camera))
    place = np.array([0.9, 0.05, 1.2])
    xy_px = TRUTH.cameras[camera].project(TRUTH.face.apply(place[None]))[0]
    one = Seen(camera=TRUTH.cameras[camera], camera_slot=6 * camera, lens_slot=LENS_COLUMN, xy_px=xy_px, sigma_px=1.3)
    found = intersect([one], TRUTH.face, covariance, FACE_COLUMN, 0.05, 0.02)
    inputs = np.zeros(COLUMNS + 3)
    steps = np.concatenate([SCALES * 1e-3, [1e-3, 1e-3, 1e-6]])

    def output(v: np.ndarray) -> np.ndarray:
        return closed_form(v[:COLUMNS], xy_px + v[COLUMNS : COLUMNS + 2], 0.05 + v[-1], camera)

    sensitivity = np.stack([(output(inputs + s) - output(inputs - s)) / (2 * s.sum()) for s in np.diag(steps)], axis=1)
    inputs_covariance = np.zeros((COLUMNS + 3,) * 2)
    inputs_covariance[:COLUMNS, :COLUMNS] = covariance
    inputs_covariance[[-3, -2, -1], [-3, -2, -1]] = (1.3**2, 1.3**2, 0.02**2)
    expected = sensitivity @ inputs_covariance @ sensitivity.T
    np.testing.assert_allclose(found.place_face_m, place, atol=1e-6)
    scale = np.sqrt(np.outer(np.diag(expected), np.diag(expected)))
    np.testing.assert_allclose(found.covariance / scale, expected / scale, atol=1e-4)


@pytest.mark.parametrize("pictures", [1, 2, 3])
def test_the_stated_95_percent_holds_the_truth(pictures):
    """Everything that is said to be uncertain is drawn, all of it correlated."""
    rng = np.random.default_rng(pictures)
    covariance = correlated(np.random.default_rng(7))
    root = np.linalg.cholesky(covariance)
    ratios, distances = [], []
    for _ in range(1000):
        place = np.array([rng.uniform(0.3, 1.4), rng.normal(0.045, 0.02), rng.uniform(0.9, 1.7)])
        believed = TRUTH.drawn(root @ rng.normal(size=COLUMNS))
        seen = []
        for k in range(pictures):
            xy_px = TRUTH.cameras[k].project(TRUTH.face.apply(place[None]))[0] + rng.normal(0, SIGMA_PX, 2)
            camera, slots = believed.cameras[k], {"camera_slot": 6 * k, "lens_slot": LENS_COLUMN}
            seen.append(Seen(camera=camera, xy_px=xy_px, sigma_px=SIGMA_PX, **slots))
        found = intersect(seen, believed.face, covariance, FACE_COLUMN, 0.045, 0.02)
        off = found.place_face_m - place
        ratios.append(off / sigmas(found))
        distances.append(off @ np.linalg.solve(found.covariance, off))
    inside = (np.abs(ratios) < 1.96).mean(axis=0)
    assert (inside > 0.93).all() and (inside < 0.97).all(), inside
    assert 0.93 < (np.array(distances) < chi2.ppf(0.95, 3)).mean() < 0.97


def test_a_sighting_of_something_else_stands_out():
    place = np.array([0.6, 0.05, 1.2])
    seen = [seen_at(camera_at([x, -2, 1.5]), place, k) for k, x in enumerate((0.0, 0.7, 1.4))]
    good = intersect(seen, STILL_FACE, sure(), FACE_COLUMN, 0.05, 0.02)
    assert good.misfit < 1e-6
    wrong = Seen(camera=seen[1].camera, camera_slot=6, lens_slot=LENS_COLUMN, xy_px=seen[1].xy_px + (0, 30), sigma_px=1)
    found = intersect([seen[0], wrong, seen[2]], STILL_FACE, sure(), FACE_COLUMN, 0.05, 0.02)
    assert found.worst == 1
    assert found.misfit > 100


def test_with_little_parallax_depth_stays_what_is_usual_and_says_so():
    place = np.array([0.0, 0.09, 1.0])
    seen = [seen_at(camera_at([x, -2, 1]), place, k) for k, x in enumerate((0.0, 0.005))]
    found = intersect(seen, STILL_FACE, sure(), FACE_COLUMN, 0.03, 0.01)
    assert found.parallax_rad < 0.003
    assert found.depth_share < 0.01
    assert found.place_face_m[1] == pytest.approx(0.03, abs=0.001)
    assert sigmas(found)[1] == pytest.approx(0.01, rel=0.01)


def test_a_picture_that_looks_the_other_way_gives_a_reason():
    away = camera_at([0, -2, 1], LOOKING_IN @ np.diag([-1.0, -1, 1]))
    one = Seen(camera=away, camera_slot=0, lens_slot=LENS_COLUMN, xy_px=np.array([1000.0, 600]), sigma_px=1)
    found = intersect([one], STILL_FACE, sure(), FACE_COLUMN, 0.0, 0.01)
    assert not found
    assert "does not look at this face" in found.reason


def test_a_pixel_found_again_from_a_click_tells_depth_and_goes_where_the_click_went_wrong():
    cameras = [camera_at([0.6, -2, 1.5]), camera_at([1.3, -2, 1.4])]
    place = np.array([1.1, 0.05, 1.2])
    clicked = seen_at(cameras[0], place, 0, sigma_px=1.5)
    again = replace(seen_at(cameras[1], place, 1, sigma_px=0.5), leader=0)

    def told(*seen):
        return intersect(list(seen), STILL_FACE, sure(), FACE_COLUMN, 0.05, 0.5)

    # The click's error drops out of the parallax: depth is better than from two clicks.
    assert sigmas(told(clicked, again))[1] < 0.5 * sigmas(told(clicked, replace(again, leader=None, sigma_px=1.5)))[1]
    rng = np.random.default_rng(4)
    errors = []
    for _ in range(600):
        shift = rng.normal(0, 1.5, 2)
        ray = cameras[0].rays_building((clicked.xy_px + shift)[None])[0]
        center = cameras[0].center_building_m
        meant = center + (place[1] - center[1]) / ray[1] * ray  # the spot of the wall under the wrong click
        found_px = cameras[1].project(meant[None])[0] + rng.normal(0, 0.5, 2)
        pixels = [replace(clicked, xy_px=clicked.xy_px + shift), replace(again, xy_px=found_px)]
        errors.append(told(*pixels).place_face_m - place)
    np.testing.assert_allclose(np.std(errors, axis=0), sigmas(told(clicked, again)), rtol=0.1)


def test_along_a_tube_a_pixel_may_be_less_sure_than_across():
    straight = replace(
        seen_at(camera_at([0, -2, 1]), [0, 0, 1]), along=np.array([0.0, 1.0]), sigma_px=0.5, sigma_along_px=3.0
    )
    found = intersect([straight], STILL_FACE, sure(), FACE_COLUMN, 0.0, 0.001)
    np.testing.assert_allclose(sigmas(found)[[0, 2]], [0.001, 0.006], rtol=1e-4)
