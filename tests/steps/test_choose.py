"""Which frames are kept, told from made-up measures."""

from __future__ import annotations

import numpy as np
import pytest

from asbuilt.imaging.motion import Motion
from asbuilt.imaging.quality import Quality
from asbuilt.steps.choose import Dropped, FrameChooser, Kept, Measured

GRID = 84


def quality(detail=0.6, light=0.5, blurred=False):
    share = 0.2 if blurred else 0.7
    return Quality(light=light, detail=detail, share_x=share, share_y=share, gradient_x=9, gradient_y=5)


def motion(x=0.0, y=0.0, tracked=1.0):
    return Motion(shift=np.array([x, y]), flow=np.tile([x, y], (GRID, 1)), tracked=tracked)


def frame(idx, rate=30.0, step=0.0051, **kind):
    tracked = kind.pop("tracked", 1.0)
    moved = None if idx == 0 else motion(-step, tracked=tracked)
    return Measured(time_s=idx / rate, quality=quality(**kind), motion=moved)


def choose(frames, chooser=None):
    chooser = chooser or FrameChooser()
    decided = [d for f in frames for d in chooser.push(f)]
    return decided + chooser.finish()


def kept(decided):
    return [round(d.time_s * 30) for d in decided if isinstance(d, Kept)]


def test_kept_frames_lie_evenly_along_the_walk():
    idx = kept(choose(frame(i) for i in range(600)))
    assert idx[0] == 0
    steps = np.diff(idx) * 0.0051
    assert steps.min() >= 0.025 - 1e-9 and steps.max() <= 0.07 + 1e-9
    # The walk's end is not lost.
    assert (599 - idx[-1]) * 0.0051 <= 0.07


@pytest.mark.parametrize("rate_factor", [1, 2, 4])
def test_number_of_pictures_follows_the_walk_not_the_frame_rate(rate_factor):
    count = len(
        kept(choose(frame(i, rate=30 * rate_factor, step=0.01 / rate_factor) for i in range(300 * rate_factor)))
    )
    assert 300 * 0.01 / 0.07 <= count <= 300 * 0.01 / 0.025


def test_standing_still_keeps_one_picture():
    assert len(kept(choose(frame(i, step=0.0) for i in range(900)))) == 1


def test_swaying_on_the_spot_keeps_few():
    steps = np.diff(0.01 * np.sin(np.arange(901) / 5))
    frames = [Measured(time_s=i / 30, quality=quality(), motion=motion(s)) for i, s in enumerate(steps)]
    assert len(kept(choose(frames))) <= 2


def test_the_sharpest_near_its_place_is_kept():
    rng = np.random.default_rng(8)
    details = rng.uniform(0.3, 0.8, 600)
    idx = kept(choose(frame(i, detail=d) for i, d in enumerate(details)))
    assert details[idx].mean() > details.mean() + 0.12
    # None that could have taken its place is sharper: those 5 to 11 frames (0.0255 to 0.0561) on.
    for before, here in zip(idx, idx[1:], strict=False):
        assert details[here] == details[before + 5 : before + 12].max()


def test_fast_walking_keeps_every_frame():
    assert kept(choose(frame(i, step=0.09) for i in range(20))) == list(range(20))


def test_blurred_frames_are_dropped_as_one_stretch():
    decided = choose(frame(i, blurred=100 <= i < 140 and i % 3 != 0) for i in range(300))
    assert not [i for i in kept(decided) if 100 <= i < 140 and i % 3 != 0]
    (stretch,) = [d for d in decided if isinstance(d, Dropped)]
    assert (round(stretch.from_s * 30), round(stretch.to_s * 30)) == (100, 139)
    assert (stretch.reason, stretch.frame_count) == ("blurred", 27)


def test_stretches_far_apart_are_listed_apart_and_the_last_is_not_forgotten():
    decided = choose(frame(i, blurred=i in (60, 61) or i >= 290) for i in range(300))
    assert [(round(d.from_s * 30), d.frame_count) for d in decided if isinstance(d, Dropped)] == [(60, 2), (290, 10)]


def test_dark_frames_are_kept_and_flagged():
    decided = choose(frame(i, light=0.03 if 100 <= i < 200 else 0.5) for i in range(300))
    flagged = [round(d.time_s * 30) for d in decided if isinstance(d, Kept) and d.flags == ("dark",)]
    assert len(flagged) >= 100 * 0.005 / 0.07
    assert all(100 <= i < 200 for i in flagged)


def test_a_cut_begins_afresh_with_the_first_good_frame():
    idx = kept(choose(frame(i, step=0.0, tracked=0.0 if i == 50 else 1.0, blurred=50 <= i < 53) for i in range(100)))
    assert idx == [0, 53]


def test_sharpness_compares_with_the_seconds_before():
    decided = choose(frame(i, detail=0.3 if i >= 150 else 0.6) for i in range(600))
    by_idx = {round(d.time_s * 30): d.sharpness for d in decided if isinstance(d, Kept)}
    assert all(0 <= s <= 1 for s in by_idx.values())
    assert all(s == pytest.approx(1) for i, s in by_idx.items() if i < 150 or i > 215)
    assert all(s == pytest.approx(0.5) for i, s in by_idx.items() if 150 <= i <= 205)


def test_going_on_after_a_break_adds_what_was_missing_and_nothing_twice():
    rng = np.random.default_rng(6)
    frames = [frame(i, detail=d) for i, d in enumerate(rng.uniform(0.3, 0.8, 900))]
    whole = kept(choose(frames))
    for stop in (3, 20, len(whole) - 2):
        last_s = whole[stop] / 30
        again = FrameChooser(resume_at_s=last_s)
        first = max(0, whole[stop] - 90)
        # Warmed up from a few seconds before, as after a jump to a key frame.
        rest = kept(
            choose([Measured(time_s=f.time_s, quality=f.quality, motion=f.motion) for f in frames[first:]], again)
        )
        assert whole[: stop + 1] + rest == whole
