"""Swings to the floor and back, told from slow pans and from looking elsewhere."""

from __future__ import annotations

import numpy as np

from asbuilt.imaging.motion import Motion
from asbuilt.imaging.quality import Quality
from asbuilt.steps.choose import Dropped, Kept, Measured
from asbuilt.steps.swings import SwingWatch

RATE, ASPECT = 30, 16 / 9


def watch(tilt, floor=(), lost=()):
    """Run a watch over a tilt (in picture heights) per frame; every third frame is kept."""
    swings, decided, before = SwingWatch(), [], 0.0
    for idx, height in enumerate(tilt):
        on_floor = idx in floor
        quality = Quality(
            light=0.5, detail=0.6, share_x=0.7, share_y=0.7,
            gradient_x=4 if on_floor else 10, gradient_y=4.3 if on_floor else 5.5,
        )  # fmt: skip
        shift = np.array([-0.002, -(height - before) / ASPECT])
        before = height
        tracked = 0.0 if idx in lost else 1.0
        motion = None if idx == 0 else Motion(shift=shift, flow=np.tile(shift, (84, 1)), tracked=tracked)
        frame = Measured(time_s=idx / RATE, quality=quality, motion=motion)
        kept = [Kept(time_s=frame.time_s, sharpness=1, light=0.5)] if idx % 3 == 0 else []
        decided += swings.push(frame, ASPECT, kept)
    decided += swings.finish([])
    kept_idx = {round(d.time_s * RATE): d.flags for d in decided if isinstance(d, Kept)}
    return kept_idx, [d for d in decided if isinstance(d, Dropped)]


def tilt_of(out_frames, stay_frames, back_frames, depth=1.0, before=200, after=200):
    out = np.linspace(0, depth, out_frames + 1)[1:]
    back = np.linspace(depth, 0, back_frames + 1)[1:]
    return np.concatenate([np.zeros(before), out, np.full(stay_frames, depth), back, np.zeros(after)])


def test_a_fast_swing_to_the_floor_and_back_is_dropped():
    tilt = tilt_of(11, 40, 11)
    away = [i for i, t in enumerate(tilt) if t >= 0.5]
    kept, dropped = watch(tilt, floor=away)
    assert not [i for i in kept if tilt[i] >= 0.5]
    assert [i for i in range(0, len(tilt), 3) if tilt[i] < 0.5] == sorted(kept)
    (stretch,) = dropped
    assert (round(stretch.from_s * RATE), round(stretch.to_s * RATE)) == (away[0], away[-1])
    assert (stretch.reason, stretch.frame_count) == ("off wall", len(away))
    assert not any(kept.values())


def test_a_fast_tilt_that_still_shows_studs_is_kept_and_flagged():
    tilt = tilt_of(11, 40, 11)
    kept, dropped = watch(tilt)
    assert dropped == []
    assert sorted(kept) == list(range(0, len(tilt), 3))
    assert all((flags == ("off wall",)) == (tilt[i] >= 0.5) for i, flags in kept.items())


def test_a_slow_pan_down_the_wall_is_neither_dropped_nor_flagged():
    tilt = tilt_of(90, 30, 90)
    kept, dropped = watch(tilt, floor=[i for i, t in enumerate(tilt) if t >= 0.8])
    assert dropped == [] and not any(kept.values()) and len(kept) == len(range(0, len(tilt), 3))


def test_looking_down_for_long_is_kept():
    tilt = tilt_of(10, 400, 10)
    kept, dropped = watch(tilt, floor=[i for i, t in enumerate(tilt) if t >= 0.5])
    assert dropped == [] and len(kept) == len(range(0, len(tilt), 3))
    # Unsure: the first seconds carry a flag, so that a person can look.
    assert any(flags == ("off wall",) for flags in kept.values())


def test_a_clip_that_ends_on_the_floor_keeps_what_it_has():
    tilt = tilt_of(10, 40, 0, after=0)
    kept, dropped = watch(tilt, floor=[i for i, t in enumerate(tilt) if t >= 0.5])
    assert dropped == [] and len(kept) == len(range(0, len(tilt), 3))


def test_a_cut_ends_a_swing_without_a_verdict():
    tilt = tilt_of(11, 40, 11)
    kept, dropped = watch(tilt, floor=[i for i, t in enumerate(tilt) if t >= 0.5], lost=[230])
    assert dropped == [] and len(kept) == len(range(0, len(tilt), 3))


def test_slow_drift_over_a_long_walk_is_no_swing():
    rng = np.random.default_rng(3)
    tilt = np.cumsum(rng.normal(0.0006, 0.01, 6000))
    kept, dropped = watch(tilt)
    assert dropped == [] and not any(kept.values())
    assert np.abs(tilt).max() > 1


def test_frames_come_out_in_order_and_each_once():
    tilt = np.concatenate([tilt_of(11, 40, 11), tilt_of(8, 20, 8, depth=-1.2), np.zeros(300)])
    kept, dropped = watch(tilt, floor=[i for i, t in enumerate(tilt) if abs(t) >= 0.5])
    assert len(dropped) == 2
    assert list(kept) == sorted(kept)
