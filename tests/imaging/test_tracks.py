"""Corners followed through pictures of a drawn wall, whose every pixel's place on it is known."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from asbuilt.geometry.cameras import Lens
from asbuilt.imaging.tracks import CORNER_SPACING_PX, MIN_TIED, TrackBuilder, follow, whole_shift_px
from tests.imaging.drawn import boards

WIDTH_PX, HEIGHT_PX = 640, 400
LENS = Lens.from_prior(WIDTH_PX, HEIGHT_PX, 480.0)
WALL = boards(1800, 700)


def wall_from_view(x: float, y: float, turn_rad: float = 0.0, tilt: float = 0.0) -> np.ndarray:
    """Homography from pixels of a view to those of the drawn wall; its top-left pixel shows (x, y)."""
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    return np.array([[cos, -sin, x], [sin, cos, y], [tilt, 0, 1]])


def view(wall_from_pixels: np.ndarray, of: np.ndarray = WALL) -> np.ndarray:
    return cv2.warpPerspective(
        of, wall_from_pixels, (WIDTH_PX, HEIGHT_PX), flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    )


def on_wall(wall_from_pixels: np.ndarray, xy_px: np.ndarray) -> np.ndarray:
    return cv2.perspectiveTransform(np.asarray(xy_px, float)[None], wall_from_pixels)[0]


def corners_of(gray: np.ndarray, count: int = 200) -> np.ndarray:
    return cv2.goodFeaturesToTrack(gray, count, 0.01, 12).reshape(-1, 2)


@pytest.mark.parametrize(("dx", "dy"), [(5.3, -2.7), (0.0, 0.0), (90.0, 8.0), (-150.5, 30.25)])
def test_points_are_followed_to_a_fraction_of_a_pixel(dx, dy):
    before, after = view(wall_from_view(500, 150)), view(wall_from_view(500 + dx, 150 + dy))
    start = corners_of(before)
    there, ok = follow(before, after, start)
    expected = start - (dx, dy)  # the view moved, so what it shows went the other way
    inside = (expected > 12).all(axis=1) & (expected < (WIDTH_PX - 12, HEIGHT_PX - 12)).all(axis=1)
    assert ok[inside].mean() > 0.85
    off = np.linalg.norm(there[ok & inside] - expected[ok & inside], axis=1)
    assert np.median(off) < 0.1
    assert (off < 0.5).mean() > 0.97


def test_a_point_that_left_the_picture_is_not_followed():
    before, after = view(wall_from_view(500, 150)), view(wall_from_view(560, 150))
    start = corners_of(before)
    _, ok = follow(before, after, start)
    gone = start[:, 0] < 50
    assert gone.sum() > 10
    assert not ok[gone].any()


def test_a_guess_leads_where_the_whole_picture_s_shift_does_not():
    """Half the picture moves 60 px one way, half the other: no single shift fits both."""
    before = view(wall_from_view(500, 150))
    half = WIDTH_PX // 2
    after = np.hstack([view(wall_from_view(560, 150))[:, :half], view(wall_from_view(440, 150))[:, half:]])
    start = corners_of(before)
    start = start[np.abs(start[:, 0] - half) > 80]
    start = start[(start[:, 0] > 75) & (start[:, 0] < WIDTH_PX - 75)]
    expected = start + np.where(start[:, :1] < half, -60, 60) * [1, 0]
    alone, ok_alone = follow(before, after, start)
    led, ok_led = follow(before, after, start, expected + 3)

    def right(there, ok) -> float:
        return float((ok & (np.linalg.norm(there - expected, axis=1) < 1)).mean())

    assert right(led, ok_led) > 0.85
    assert right(alone, ok_alone) < right(led, ok_led)


def test_the_shift_of_a_whole_picture_has_the_content_s_direction():
    shift = whole_shift_px(view(wall_from_view(500, 150)), view(wall_from_view(580, 134)))
    np.testing.assert_allclose(shift, (-80, 16), atol=4)


def walked(steps, wanted: int = 250) -> tuple[TrackBuilder, list[int]]:
    """A builder fed with views; a step is a homography, or a picture to show as it is."""
    builder = TrackBuilder(normalise=LENS.normalised, focal_px=LENS.focal_px, wanted=wanted)
    survived = []
    for k, step in enumerate(steps):
        survived.append(builder.add(k, step if step.dtype == np.uint8 else view(step)))
    return builder, survived


@pytest.fixture(scope="module")
def walk():
    """Ten views past the wall, turning and tilting a little."""
    return [wall_from_view(200 + 60 * k, 120 + 4 * k, 0.01 * np.sin(k), 1e-5 * k) for k in range(10)]


@pytest.fixture(scope="module")
def tracks(walk):
    return walked(walk)[0].finish()


def test_a_track_stays_on_its_spot_of_the_wall(walk, tracks):
    wall_px = np.zeros_like(tracks.xy_px)
    for k, step in enumerate(walk):
        rows = tracks.picture_idx == k
        wall_px[rows] = on_wall(step, tracks.xy_px[rows])
    counts = np.bincount(tracks.track_idx)
    centers = np.stack([np.bincount(tracks.track_idx, wall_px[:, i]) / counts for i in range(2)], axis=1)
    off = np.linalg.norm(wall_px - centers[tracks.track_idx], axis=1)
    assert np.median(off) < 0.1
    assert (off < 1).mean() > 0.98


def test_tracks_go_through_many_pictures_and_fill_every_one(tracks):
    assert tracks.breaks == ()
    lengths = np.bincount(tracks.track_idx)
    assert lengths.min() >= 2 and np.median(lengths) >= 4
    per_picture = np.bincount(tracks.picture_idx)
    assert len(per_picture) == 10 and per_picture.min() > 150
    assert tracks.count == len(lengths) == len(np.unique(tracks.track_idx))
    pairs = set(zip(tracks.picture_idx, tracks.track_idx, strict=True))
    assert len(pairs) == len(tracks.track_idx)  # once per picture


def test_the_first_corners_keep_their_distance(tracks):
    xy = tracks.xy_px[tracks.picture_idx == 0]
    apart = np.linalg.norm(xy[:, None] - xy, axis=2) + 1e9 * np.eye(len(xy))
    assert apart.min() >= CORNER_SPACING_PX - 1


def test_the_same_pictures_give_the_same_tracks(walk, tracks):
    again = walked(walk)[0].finish()
    np.testing.assert_array_equal(again.xy_px, tracks.xy_px)
    np.testing.assert_array_equal(again.track_idx, tracks.track_idx)


@pytest.mark.parametrize("spoilt", ["dark", "smeared", "elsewhere"])
def test_a_picture_that_does_not_tie_ends_every_track(walk, spoilt):
    picture = {
        "dark": np.full((HEIGHT_PX, WIDTH_PX), 4, np.uint8),
        "smeared": cv2.blur(view(walk[4]), (121, 1)),
        "elsewhere": boards(WIDTH_PX, HEIGHT_PX, seed=77),
    }[spoilt]
    builder, survived = walked([*walk[:4], picture, *walk[5:8]])
    found = builder.finish()
    assert 4 in found.breaks
    assert survived[4] == 0 and min(survived[k] for k in (1, 2, 3, 6, 7)) >= MIN_TIED
    before = set(found.track_idx[found.picture_idx < 4])
    after = set(found.track_idx[found.picture_idx > 4])
    assert before and after and not before & after


def test_a_new_clip_is_no_break_but_nothing_goes_across(walk):
    builder = TrackBuilder(normalise=LENS.normalised, focal_px=LENS.focal_px, wanted=250)
    for k in range(6):
        builder.add(k, view(walk[k]), new_clip=k == 3)
    found = builder.finish()
    assert found.breaks == ()
    assert not set(found.track_idx[found.picture_idx < 3]) & set(found.track_idx[found.picture_idx >= 3])


def test_what_moves_by_itself_is_dropped(walk):
    """A patch that slides upwards while the camera walks by does not fit its motion."""
    pictures = [view(step) for step in walk[:4]]
    other = boards(200, 1000, seed=5)
    for k, picture in enumerate(pictures):
        picture[100:300, 400:560] = other[200 + 14 * k : 400 + 14 * k, :160]
    found = walked(pictures)[0].finish()
    rows = found.picture_idx == 3
    x, y = found.xy_px[rows].T
    on_patch = (x > 410) & (x < 550) & (y > 110) & (y < 290)
    came_along = np.isin(found.track_idx[rows], found.track_idx[found.picture_idx == 1])
    assert (came_along & ~on_patch).sum() > 80
    assert (came_along & on_patch).sum() <= 4


def test_without_pictures_or_corners_there_are_no_tracks():
    nothing = TrackBuilder(normalise=LENS.normalised, focal_px=LENS.focal_px).finish()
    assert nothing.count == 0 and nothing.xy_px.shape == (0, 2)
    plain = [np.full((HEIGHT_PX, WIDTH_PX), 90, np.uint8)] * 2
    found = walked(plain)[0].finish()
    assert found.count == 0 and found.breaks == (1,)
