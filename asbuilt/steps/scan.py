"""Looks at one media file after another in a process of its own.

Files come from anywhere; a decoder that crashes, hangs or swallows memory takes only this
process with it. One JSON object a line on standard input is a job, the answers go the same
way to standard output: plain data both ways, so that nothing in them can run.
"""

from __future__ import annotations

import contextlib
import dataclasses
import json
import os
import queue
import signal
import sys
import threading
import time
from collections.abc import Iterator

import av
import cv2
import numpy as np

from asbuilt.errors import MediaError
from asbuilt.imaging.motion import measure_motion
from asbuilt.imaging.quality import levels_of, measure_quality, shrink
from asbuilt.record.facts import photo_facts, video_facts
from asbuilt.record.photos import decode_photo, open_photo
from asbuilt.record.types import DAMAGED
from asbuilt.record.video import Frame, container_format, decode_frames, key_frames_near, open_video, start_of
from asbuilt.steps.choose import BLURRED, DARK, Dropped, FrameChooser, Kept, Measured
from asbuilt.steps.swings import SwingWatch

EVENT_EVERY_S = 0.1  # where a decoder gives up is known that closely
# On going on after a break, this much before the last kept frame is measured again, so that
# sharpness and level have something to compare with.
WARM_UP_S = 8.0
# The first look at a clip: so many key frames, no closer than this, and no longer than it takes a
# person to look up. Chosen by us: the whole scan of a clip takes minutes, clicking can begin before.
FIRST_LOOK_COUNT, FIRST_LOOK_GAP_S, FIRST_LOOK_PATIENCE_S, FIRST_LOOK_EVERY_S = 40, 1.0, 4.0, 0.5
# Packets that cannot be decoded are told of where they leave a gap as long as this. Chosen by us.
DAMAGE_S = 0.5
AHEAD_FRAMES = 4  # decoded while earlier ones are being measured
# A still of the largest size that is opened takes about 1 GiB to decode; more is an attack.
MEMORY_LIMIT_BYTES = 6 << 30


def look(path: str, name: str) -> dict:
    """Kind, facts and first measures of a file; decodes a photo whole, a video's first frame."""
    try:
        is_video = container_format(path) is not None
        if not os.path.getsize(path):
            raise MediaError(f"{name} is empty (0 bytes)")
    except OSError as error:
        raise MediaError(f"{name} cannot be read: {error.strerror}") from error
    return _look_at_video(path, name) if is_video else _look_at_photo(path, name)


def _look_at_photo(path: str, name: str) -> dict:
    image = decode_photo(path, name)
    height_px, width_px = image.shape[:2]
    with open_photo(path, name) as opened:
        facts = photo_facts(opened, width_px, height_px)
    quality = measure_quality(levels_of(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)))
    flags = [flag for flag, holds in ((BLURRED, quality.hopeless), (DARK, quality.dark)) if holds]
    return {"kind": "photo", "facts": dataclasses.asdict(facts), "light": quality.light, "flags": flags}


def _look_at_video(path: str, name: str) -> dict:
    with open_video(path, name) as (container, stream):
        start_s = start_of(container)
        frame = next(decode_frames(container, stream, start_s), None)
        if frame is None:
            raise MediaError(f"{name}: nothing of the video can be decoded")
        facts = video_facts(container, stream, frame.shown_size)
        facts.meta["start_s"] = start_s
        return {"kind": "video", "facts": dataclasses.asdict(facts)}


def first_look(path: str, name: str, start_s: float) -> Iterator[dict]:
    """Usable key frames spread over a video, a few at a time, within a few seconds however long it is."""
    told = time.monotonic()
    until = told + FIRST_LOOK_PATIENCE_S
    with open_video(path, name) as (container, _):
        length_s = container.duration / 1e6 if container.duration else 0.0
    times_s = np.arange(0.0, length_s, max(FIRST_LOOK_GAP_S, length_s / FIRST_LOOK_COUNT))
    # Every fourth first, then what lies between: stopped early, the whole clip is still covered.
    ordered_s = np.concatenate([times_s[first::4] for first in (0, 2, 1, 3)])
    shown = []
    for frame in key_frames_near(path, name, ordered_s.tolist(), start_s):
        quality = measure_quality(levels_of(frame.display.apply(shrink(frame.luma()))), *frame.luma_range)
        if not quality.hopeless:
            flags = [DARK] if quality.dark else []
            shown.append({"time_s": frame.time_s, "sharpness": None, "light": quality.light, "flags": flags})
        if time.monotonic() > until:
            break
        if shown and time.monotonic() - told > FIRST_LOOK_EVERY_S:
            yield {"shown": shown}
            shown, told = [], time.monotonic()
    yield {"shown": shown, "done": True}


def scan_video(
    path: str, name: str, start_s: float, resume_at_s: float | None = None, not_before_s: float | None = None
) -> Iterator[dict]:
    """Every frame of a video measured and chosen from; an event ten times a second and at the end.

    Parameters
    ----------
    resume_at_s : float, optional
        Time of the frame that an earlier run kept last.
    not_before_s : float, optional
        Nothing before the first key frame from here on is decoded.
    """
    frame_count, last_s, decided, told = 0, 0.0, [], time.monotonic()
    chooser, watch, measure = FrameChooser(resume_at_s), SwingWatch(), _Measure()
    with open_video(path, name) as (container, stream):
        length_s = container.duration / 1e6 if container.duration else None
        if not _go_to(container, stream, start_s, resume_at_s, not_before_s):
            yield _event([], 0, 0.0, length_s) | {"done": True}
            return
        for frame in _ahead(decode_frames(container, stream, start_s)):
            measured, aspect = measure(frame)
            if frame.lost_before and frame_count and frame.time_s - last_s > DAMAGE_S:
                decided.append(
                    Dropped(from_s=last_s, to_s=frame.time_s, frame_count=frame.lost_before, reason=DAMAGED)
                )
            decided += watch.push(measured, aspect, chooser.push(measured))
            frame_count, last_s = frame_count + 1, frame.time_s
            if time.monotonic() - told > EVENT_EVERY_S or frame_count == 1:
                yield _event(decided, frame_count, last_s, length_s)
                decided, told = [], time.monotonic()
    decided += watch.finish(chooser.finish())
    yield _event(decided, frame_count, last_s, length_s) | {"done": True}


def _ahead(frames: Iterator[Frame]) -> Iterator[Frame]:
    """The same frames, decoded in a thread of their own that keeps a few ready."""
    ready: queue.Queue = queue.Queue(AHEAD_FRAMES)
    stopped = threading.Event()

    def fill() -> None:
        for frame in frames:
            ready.put(frame)
            if stopped.is_set():
                return
        ready.put(None)

    thread = threading.Thread(target=fill, daemon=True)
    thread.start()
    try:
        while (frame := ready.get()) is not None:
            yield frame
    finally:
        stopped.set()
        while thread.is_alive():
            with contextlib.suppress(queue.Empty):
                ready.get(timeout=0.05)


class _Measure:
    """Measures one frame after another, each against the one before."""

    def __init__(self) -> None:
        self.before = None

    def __call__(self, frame: Frame) -> tuple[Measured, float]:
        # Turned after shrinking: cheaper, and up and down then mean what a person sees.
        levels = levels_of(frame.display.apply(shrink(frame.luma())))
        quality = measure_quality(levels, *frame.luma_range)
        before, self.before = self.before, levels[2:]
        motion = measure_motion(before, levels[2:]) if before and before[0].shape == levels[2].shape else None
        aspect = levels[2].shape[1] / levels[2].shape[0]
        return Measured(time_s=frame.time_s, quality=quality, motion=motion), aspect


def _go_to(container, stream, start_s: float, resume_at_s: float | None, not_before_s: float | None) -> bool:
    """Jump to where scanning begins; False where no key frame follows."""
    warm_up_s = (resume_at_s or 0.0) - WARM_UP_S
    forward = not_before_s is not None and warm_up_s < not_before_s
    from_s = not_before_s if forward else warm_up_s
    if from_s <= 0:
        return True
    try:
        container.seek(int((from_s + start_s) / float(stream.time_base)), stream=stream, backward=not forward)
    except av.error.FFmpegError:
        return not forward  # else everything from the start warms up
    return True


def _event(decided: list, frame_count: int, at_s: float, length_s: float | None) -> dict:
    entries = [{"type": "kept" if isinstance(d, Kept) else "dropped", **dataclasses.asdict(d)} for d in decided]
    return {"decided": entries, "frame_count": frame_count, "at_s": at_s, "length_s": length_s}


def _answers(job: dict) -> Iterator[dict]:
    if job["job"] == "look":
        yield look(job["path"], job["name"]) | {"done": True}
    elif job["job"] == "first look":
        yield from first_look(job["path"], job["name"], job["start_s"])
    else:
        yield from scan_video(job["path"], job["name"], job["start_s"], job["resume_at_s"], job["not_before_s"])


def _limit_memory() -> None:
    try:
        import resource
    except ImportError:  # not on this system
        return
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_LIMIT_BYTES, hard))


def main() -> None:
    """Answer jobs until standard input ends."""
    # A Ctrl-C in the terminal reaches this process too; its parent decides what happens.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    cv2.setNumThreads(1)  # small images: threads would cost more than they bring
    _limit_memory()
    for line in sys.stdin:
        job = json.loads(line)
        try:
            for answer in _answers(job):
                print(json.dumps(answer), flush=True)
        except MediaError as error:
            print(json.dumps({"error": str(error)}), flush=True)
        except (MemoryError, ValueError, ArithmeticError, LookupError, RuntimeError, TypeError) as error:
            # What a decoder or its wrapper makes of a file it was not written for.
            text = f"{job['name']} cannot be used: {type(error).__name__} while decoding"
            print(json.dumps({"error": text}), flush=True)


if __name__ == "__main__":
    main()
