"""Light, sharpness and blur of single pictures."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from asbuilt.imaging.quality import levels_of, measure_quality, shrink
from asbuilt.record.video import decode_frames, open_video
from tests.clips import framed_wall

WALK = Path(__file__).parents[2] / "sample_media" / "walk.mp4"


def quality(image: np.ndarray, **limits):
    return measure_quality(levels_of(image), **limits)


def smeared(image: np.ndarray, length_px: int, upright: bool = False) -> np.ndarray:
    size = (1, length_px) if upright else (length_px, 1)
    return cv2.blur(image, size, borderType=cv2.BORDER_REPLICATE)


@pytest.fixture(scope="module")
def sharp_frames():
    """Every eighth of the first frames of the sample walk: rendered, smeared by 4 px at most."""
    with open_video(WALK, WALK.name) as (container, stream):
        frames = (frame.luma().copy() for frame in decode_frames(container, stream, 0.0))
        return [frame for idx, frame in zip(range(57), frames, strict=False) if idx % 8 == 0]


@pytest.fixture(scope="module")
def wall():
    return cv2.cvtColor(framed_wall(1920, 1080), cv2.COLOR_BGR2GRAY)


@pytest.mark.parametrize("upright", [False, True])
def test_smear_of_a_hundredth_of_the_width_is_where_blur_begins(sharp_frames, upright):
    share = {
        length: np.mean([quality(smeared(f, length, upright)).smeared for f in sharp_frames]) for length in (1, 5, 61)
    }
    assert share[1] == share[5] == 0
    assert share[61] == 1
    # In between it rises with the length.
    steps = [np.mean([quality(smeared(f, n, upright)).smeared for f in sharp_frames]) for n in (9, 15, 21, 31)]
    assert steps == sorted(steps)
    assert steps[-1] >= 0.7


def test_of_neighbours_the_sharper_one_has_more_detail(sharp_frames):
    for frame in sharp_frames:
        details = [quality(smeared(smeared(frame, n), n, upright=True)).detail for n in (1, 3, 5, 9, 15)]
        assert details == sorted(details, reverse=True)
        assert details[0] > 1.15 * details[2]


def test_light_is_the_mean_between_black_and_white():
    assert quality(np.full((540, 960), 126, np.uint8)).light == pytest.approx(126 / 255)
    assert quality(np.full((540, 960), 126, np.uint8), black=16, white=235).light == pytest.approx(110 / 219)
    assert quality(np.full((540, 960), 10, np.uint8), black=16, white=235).light == 0
    assert quality(np.full((540, 960), 255, np.uint8), black=16, white=235).light == 1


def test_a_picture_without_structure_is_not_called_blurred():
    plain = quality(np.full((1080, 1920), 140, np.uint8))
    assert plain.plain and not plain.smeared and not plain.hopeless and not plain.dark


def test_a_dark_picture_is_dark_not_blurred(wall):
    rng = np.random.default_rng(1)
    dark = np.clip(wall * 0.05 + rng.normal(0, 2, wall.shape), 0, 255).astype(np.uint8)
    assert quality(dark).dark and not quality(dark).smeared
    assert not quality(wall).dark


def test_size_of_the_picture_does_not_matter(wall):
    double = cv2.resize(wall, (3840, 2160), interpolation=cv2.INTER_LINEAR)
    for field in ("light", "share_x", "share_y", "gradient_x", "gradient_y"):
        assert getattr(quality(double), field) == pytest.approx(getattr(quality(wall), field), rel=0.12)


@pytest.mark.parametrize(
    "size", [(1920, 1080), (3840, 2160), (1280, 720), (1080, 1920), (960, 540), (320, 240), (64, 64)]
)
def test_the_small_copy_keeps_the_proportions(size):
    small = shrink(np.zeros(size[::-1], np.uint8))
    assert small.shape[1] <= 960
    assert small.shape[1] / small.shape[0] == pytest.approx(size[0] / size[1], rel=0.01)
    assert [level.shape[1] for level in levels_of(np.zeros(size[::-1], np.uint8))] == [
        small.shape[1] // n for n in (1, 2, 4, 8)
    ]
