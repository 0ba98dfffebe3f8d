"""Blur is told against the clip, not against an ideal."""

from __future__ import annotations

import pytest

from asbuilt.imaging.quality import Quality
from asbuilt.steps.sharpness import SharpnessWatch


def quality(share_x, share_y=None, detail=0.5, light=0.5):
    share_y = share_x if share_y is None else share_y
    return Quality(light=light, detail=detail, share_x=share_x, share_y=share_y, gradient_x=9, gradient_y=5)


def blurred_idx(shares, rate=30):
    watch = SharpnessWatch()
    return [i for i, share in enumerate(shares) if watch.push(i / rate, quality(share))[1]]


def test_a_stretch_far_below_the_rest_is_blurred():
    assert blurred_idx([0.66] * 100 + [0.36] * 60 + [0.66] * 100) == list(range(100, 160))


def test_blur_along_one_direction_is_enough():
    watch = SharpnessWatch()
    for i in range(30):
        watch.push(i / 30, quality(0.66))
    assert watch.push(1.0, quality(0.66, 0.38))[1]
    assert watch.push(1.1, quality(0.38, 0.66))[1]
    assert not watch.push(1.2, quality(0.66, 0.5))[1]


@pytest.mark.parametrize("soft", [0.30, 0.40, 0.50])
def test_a_clip_that_is_soft_throughout_is_not_thrown_away(soft):
    assert blurred_idx([soft] * 900) == []


def test_blur_longer_than_the_memory_is_no_longer_told_from_softness():
    idx = blurred_idx([0.66] * 300 + [0.36] * 900)
    assert idx == list(range(300, 300 + len(idx))) and 5 * 30 < len(idx) < 8 * 30


def test_dark_frames_are_neither_blurred_nor_what_others_are_measured_by():
    watch = SharpnessWatch()
    for i in range(30):
        assert not watch.push(i / 30, quality(0.2, light=0.01))[1]
    assert not watch.push(1.0, quality(0.4))[1]


def test_sharpness_is_the_share_of_the_sharpest_of_two_seconds():
    watch = SharpnessWatch()
    assert watch.push(0.0, quality(0.6, detail=0.4))[0] == 1
    assert watch.push(1.0, quality(0.6, detail=0.3))[0] == pytest.approx(0.75)
    assert watch.push(2.5, quality(0.6, detail=0.2))[0] == pytest.approx(2 / 3)
    assert watch.push(9.0, quality(0.6, detail=0.1))[0] == 1
