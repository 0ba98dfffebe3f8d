"""Movement from one picture to the next."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from asbuilt.imaging.motion import measure_motion
from asbuilt.imaging.quality import levels_of
from tests.clips import framed_wall

WALL = cv2.cvtColor(framed_wall(2600, 1000, seed=9), cv2.COLOR_BGR2GRAY)


def view(x: int, y: int, gain: float = 1.0) -> list[np.ndarray]:
    window = WALL[y : y + 540, x : x + 960]
    return levels_of(np.clip(window * gain, 0, 255).astype(np.uint8))[2:]


@pytest.mark.parametrize(("dx", "dy"), [(4, 0), (40, 0), (-40, 10), (0, 120), (90, -150), (170, 3), (0, 0)])
def test_shift_is_where_the_content_went(dx, dy):
    motion = measure_motion(view(800, 220), view(800 + dx, 220 + dy))
    # The window moved right by dx: the content went left.
    np.testing.assert_allclose(motion.shift * 960, (-dx, -dy), atol=1.5)
    assert motion.tracked > 0.6 and not motion.lost


def test_flow_at_each_grid_point_shows_a_turn_of_the_picture():
    turn = cv2.getRotationMatrix2D((480, 270), 3, 1)
    image = WALL[200:740, 500:1460]
    motion = measure_motion(levels_of(image)[2:], levels_of(cv2.warpAffine(image, turn, (960, 540)))[2:])
    x = (np.arange(12) + 0.5) / 12 * 960
    y = (np.arange(7) + 0.5) / 7 * 540
    grid = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
    expected = (cv2.transform(grid[None], turn)[0] - grid) / 960
    inner = (np.abs(grid[:, 0] - 480) < 350) & (np.abs(grid[:, 1] - 270) < 170)
    assert np.median(np.hypot(*(motion.flow - expected)[inner].T)) * 960 < 2
    assert np.hypot(*motion.shift) * 960 < 5


def test_pictures_of_different_places_are_not_tied():
    rng = np.random.default_rng(4)
    other = cv2.resize(rng.integers(0, 255, (60, 110), np.uint8), (960, 540), interpolation=cv2.INTER_CUBIC)
    assert measure_motion(view(100, 100), levels_of(other)[2:]).lost


def test_walking_in_the_dark_is_still_followed():
    for gain in (0.15, 0.3):
        motion = measure_motion(view(800, 220, gain), view(830, 220, gain))
        assert motion.shift[0] * 960 == pytest.approx(-30, abs=2)
        assert not motion.lost


def test_a_plain_surface_has_no_movement_and_no_trouble():
    plain = levels_of(np.full((540, 960), 120, np.uint8))[2:]
    motion = measure_motion(plain, plain)
    assert np.isfinite(motion.flow).all() and np.abs(motion.flow).max() < 0.01
