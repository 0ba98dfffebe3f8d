"""Which frames of a clip to keep: spread along the walk, each the sharpest near its place.

A stream in, a stream out, a few seconds of numbers in between: memory does not grow with the
length of the clip. Lengths are shares of the picture's width.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from asbuilt.imaging.motion import Motion
from asbuilt.imaging.quality import Quality
from asbuilt.steps.sharpness import SharpnessWatch

# Between kept frames the part of the picture that moves most (its 90th percentile: turning may
# cancel walking at the centre, and hide a change of viewpoint) moves this far; then features can
# be followed from one to the next. Chosen by us on a rendered walk: at 8 ft from a wall about
# 5 in of walking.
LEAST_MOVED, ENOUGH_MOVED, MOST_MOVED = 0.025, 0.055, 0.07
MOVED_SHARE = 0.9
# Blurred frames closer than this count as one stretch.
STRETCH_GAP_S = 0.5

BLURRED, DARK, OFF_WALL = "blurred", "dark", "off wall"


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What is known of one decoded frame; ``motion`` is None for the first."""

    time_s: float
    quality: Quality
    motion: Motion | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """A frame to keep."""

    time_s: float
    sharpness: float
    light: float
    flags: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropped:
    """A stretch of frames not kept, and why."""

    from_s: float
    to_s: float
    frame_count: int
    reason: str


class FrameChooser:
    """Takes every frame of a clip in order and says which to keep.

    Parameters
    ----------
    resume_at_s : float, optional
        Time of a frame that an earlier, broken off run kept last: everything up to it only
        warms up, and choosing goes on from it [s].
    """

    def __init__(self, resume_at_s: float | None = None) -> None:
        self.resume_at_s = resume_at_s
        self.moved = np.zeros((1, 2))  # since the clip began, at each grid point
        self.anchor: np.ndarray | None = None  # the same at the frame kept last
        self.candidates: list[tuple[Kept, float, np.ndarray]] = []  # with detail and moved
        self.sharpness = SharpnessWatch()
        self.blurred: Dropped | None = None

    def push(self, frame: Measured) -> list[Kept | Dropped]:
        """The next frame; what is decided now."""
        decided: list[Kept | Dropped] = []
        sharpness, blurred = self.sharpness.push(frame.time_s, frame.quality)
        if frame.motion is not None:
            if frame.motion.lost:  # nothing ties this frame to those before: begin afresh
                decided, self.candidates, self.anchor = self._choose(), [], None
            self.moved = self.moved + frame.motion.flow
        if self.resume_at_s is not None:
            self._warm_up(frame.time_s)
            return []
        if blurred:
            return decided + self._note_blurred(frame.time_s)
        decided += self._end_blurred(frame.time_s)
        decided += self._before_overshoot()
        distance = self._distance(self.moved)
        if distance >= LEAST_MOVED:
            flags = (DARK,) if frame.quality.dark else ()
            kept = Kept(time_s=frame.time_s, sharpness=sharpness, light=frame.quality.light, flags=flags)
            self.candidates.append((kept, frame.quality.detail, self.moved))
        if distance >= ENOUGH_MOVED:
            decided += self._choose()
        return decided

    def finish(self) -> list[Kept | Dropped]:
        """The clip has ended; what is decided last."""
        decided = self._end_blurred(float("inf"))
        while self.candidates:
            decided += self._choose()
        return decided

    def _distance(self, moved: np.ndarray) -> float:
        if self.anchor is None:
            return float("inf")
        lengths = np.hypot(*(moved - self.anchor).T)
        rank = int(MOVED_SHARE * len(lengths))
        return float(np.partition(lengths, rank)[rank])

    def _before_overshoot(self) -> list[Kept]:
        return self._choose() if self._distance(self.moved) > MOST_MOVED else []

    def _choose(self) -> list[Kept]:
        if not self.candidates:
            return []
        kept, _, self.anchor = max(self.candidates, key=lambda c: c[1])
        self.candidates = [
            c for c in self.candidates if c[0].time_s > kept.time_s and self._distance(c[2]) >= LEAST_MOVED
        ]
        return [kept]

    def _warm_up(self, time_s: float) -> None:
        if time_s >= self.resume_at_s:
            self.anchor, self.resume_at_s = self.moved, None

    def _note_blurred(self, time_s: float) -> list[Dropped]:
        ended = self._end_blurred(time_s)
        if self.blurred is None:
            self.blurred = Dropped(from_s=time_s, to_s=time_s, frame_count=1, reason=BLURRED)
        else:
            self.blurred = replace(self.blurred, to_s=time_s, frame_count=self.blurred.frame_count + 1)
        return ended

    def _end_blurred(self, time_s: float) -> list[Dropped]:
        if self.blurred is None or time_s - self.blurred.to_s < STRETCH_GAP_S:
            return []
        ended, self.blurred = self.blurred, None
        return [ended]
