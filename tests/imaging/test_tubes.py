"""Tubes drawn on wood: their middle under a click, and one depth in several drawn pictures."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from asbuilt.geometry.cameras import Camera, Lens
from asbuilt.geometry.epipolar import points_at_depths
from asbuilt.geometry.frames import BUILDING, Rigid3, camera_frame, face_frame
from asbuilt.imaging.tube_sweep import ALONG_PX, Track, crossing_px_m, sweep
from asbuilt.imaging.tubes import find_tube, to_lab

WOOD, SHEATH = np.array([95.0, 150.0, 190.0]), np.array([60.0, 210.0, 235.0])  # BGR
LENS = Lens(width_px=640, height_px=480, focal_px=700, center_x_px=319.5, center_y_px=239.5)
# Looking along y, into the wall: x right, z up.
LOOK = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
FACE = Rigid3(target=BUILDING, source=face_frame("f"), rotation=np.eye(3), translation_m=np.zeros(3))
DEPTHS_M = np.arange(-0.02, 0.12, 0.002)


def picture(line_px, width_px: float, rng: np.random.Generator, tube: bool = True) -> np.ndarray:
    """Grained wood with a straight tube through two pixels, drawn four times finer and taken down."""
    grain = np.repeat(rng.normal(0, 9, (1, 640, 1)), 480, axis=0) + rng.normal(0, 2, (480, 640, 1))
    image = np.clip(WOOD + grain, 0, 255)
    if tube:
        fine = np.zeros((1920, 2560), np.uint8)
        ends = [tuple(int(round(4 * (v + 0.5) - 0.5)) for v in p) for p in line_px]
        cv2.line(fine, *ends, 255, max(1, round(4 * width_px)))
        share = cv2.resize(fine, (640, 480), interpolation=cv2.INTER_AREA)[..., None] / 255
        image = image * (1 - share) + SHEATH * share
    return cv2.GaussianBlur(np.clip(image, 0, 255).astype(np.uint8), (0, 0), 0.7)


@pytest.mark.parametrize("angle_deg", [0, 30, 90, 110, 155])
@pytest.mark.parametrize("width_px", [5.0, 9.0])
def test_the_middle_of_a_tube_is_found_beside_the_click(angle_deg, width_px):
    rng = np.random.default_rng(angle_deg)
    along = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    middle = np.array([320.0, 240.0])
    lab = to_lab(picture([middle - 200 * along, middle + 200 * along], width_px, rng))
    normal = np.array([-along[1], along[0]])
    for off_px in (-2.5, 0, 1.5):
        tube = find_tube(lab, middle + off_px * normal, width_px)
        assert abs((tube.center_px - middle) @ normal) < 0.6
        assert abs(tube.direction @ along) > np.cos(np.radians(12))


def test_bare_wood_and_a_step_are_no_tube():
    rng = np.random.default_rng(1)
    bare = cv2.GaussianBlur(picture([], 6, rng, tube=False), (0, 0), 3)
    assert find_tube(to_lab(bare), np.array([320.0, 240]), 6.0) is None
    step = np.full((480, 640, 3), 200, np.uint8)
    step[:, 320:] = 60
    assert find_tube(to_lab(step), np.array([319.0, 240]), 6.0) is None


def camera(x_m: float, z_m: float = 1.2) -> Camera:
    """A camera two metres before the wall, square on."""
    center = np.array([x_m, -2.0, z_m])
    return Camera(
        lens=LENS,
        camera_from_building=Rigid3(
            target=camera_frame(str(x_m)), source=BUILDING, rotation=LOOK, translation_m=-LOOK @ center
        ),
    )


def seen(depth_m: float, direction_m: np.ndarray, others, rng):
    """The tube in a first camera and its tracks in others, drawn at a depth."""
    spot = np.array([1.0, depth_m, 1.2])
    ends = np.array([spot - direction_m, spot + direction_m])
    first = camera(1.0)
    width_px = 0.012 * LENS.focal_px / (2 + depth_m)
    tube = find_tube(to_lab(picture(first.project(ends), width_px, rng)), first.project(spot[None])[0] + 1.0, width_px)
    points = points_at_depths(first, FACE, tube.center_px + ALONG_PX[:, None] * tube.direction, DEPTHS_M)
    tracks = []
    for other in others:
        image = picture(other.project(ends), width_px, rng)
        pixels = other.project(points.reshape(-1, 3)).reshape(*points.shape[:2], 2)
        tracks.append(Track(lab=to_lab(image), ends_px=pixels))
    return tube, tracks


@pytest.mark.parametrize("depth_m", [0.01, 0.045, 0.088])
def test_pictures_agree_on_the_depth_of_a_tube(depth_m):
    rng = np.random.default_rng(3)
    others = [camera(x) for x in (0.55, 0.7, 0.85, 1.2, 1.35, 1.5)]
    tube, tracks = seen(depth_m, np.array([0, 0, 0.6]), others, rng)
    [found] = sweep([(tube, tracks)], DEPTHS_M, 0.045, 0.03)
    spot = np.array([[1.0, depth_m, 1.2]])
    assert sum(one is not None for one in found) >= 4
    for one, other in zip(found, others, strict=True):
        if one is not None:
            assert abs(one.xy_px[0] - other.project(spot)[0, 0]) < 1.0
            assert abs(one.along[1]) > 0.98


def test_cameras_that_moved_along_the_tube_say_nothing_of_its_depth():
    rng = np.random.default_rng(4)
    tube, tracks = seen(0.045, np.array([0, 0, 0.6]), [camera(1.0, z) for z in (0.9, 1.0, 1.4, 1.5)], rng)
    assert all(crossing_px_m(t.ends_px, DEPTHS_M) < 20 for t in tracks)


def test_no_depth_is_told_where_the_tube_is_in_no_other_picture():
    rng = np.random.default_rng(5)
    others = [camera(x) for x in (0.55, 0.7, 1.3, 1.5)]
    tube, tracks = seen(0.045, np.array([0, 0, 0.6]), others, rng)
    bare = [Track(lab=to_lab(picture([], 4, rng, tube=False)), ends_px=t.ends_px) for t in tracks]
    assert sweep([(tube, bare)], DEPTHS_M, 0.045, 0.03) is None


def _between(other: Camera, ends) -> float:
    """The column half way between two upright tubes."""
    return float(np.mean([other.project(e)[0, 0] for e in ends]))


def _left_first(other: Camera, ends, one, two):
    return (one, two) if other.project(ends[0])[0, 0] < other.project(ends[1])[0, 0] else (two, one)


def test_two_tubes_side_by_side_that_fit_two_depths_are_left_open():
    rng = np.random.default_rng(6)
    others = [camera(x) for x in (0.3, 1.7)] * 2
    tube, tracks = seen(0.02, np.array([0, 0, 0.6]), others, rng)
    doubled = []
    for track, other in zip(tracks, others, strict=True):
        ends = [np.array([[1.0, d, 1.2 + s] for s in (-0.6, 0.6)]) for d in (0.02, 0.07)]
        one, two = (picture(other.project(e), 4, np.random.default_rng(6)) for e in ends)
        image = np.where(np.arange(640)[None, :, None] < _between(other, ends), *_left_first(other, ends, one, two))
        doubled.append(Track(lab=to_lab(image), ends_px=track.ends_px))
    assert sweep([(tube, doubled)], DEPTHS_M, 0.045, 0.05) is None


def test_points_at_depths_project_back_onto_their_pixel():
    pixels = np.array([[100.0, 90.0], [400.0, 300.0]])
    looked = camera(1.3)
    points = points_at_depths(looked, FACE, pixels, DEPTHS_M)
    assert points.shape == (2, len(DEPTHS_M), 3)
    assert np.allclose(points[..., 1], DEPTHS_M)
    for k in range(2):
        assert np.allclose(looked.project(points[k]), pixels[k], atol=1e-6)
    behind = Rigid3(target=BUILDING, source=face_frame("f"), rotation=np.diag([-1.0, -1, 1]), translation_m=np.zeros(3))
    assert points_at_depths(looked, behind, pixels, DEPTHS_M) is None
