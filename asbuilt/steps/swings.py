"""Swings of the camera to the floor or the ceiling, told from wall by how the picture moved.

A swing leaves the level the camera was held at, fast, and comes back soon, fast. A slow pan up
or down a wall does not, and stays. Heights are shares of the picture's height.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from asbuilt.steps.choose import OFF_WALL, Dropped, Kept, Measured

# All chosen by us on rendered walks, no source. At 8 ft from a 9 ft wall a phone held level shows
# about two thirds of its height, so half a picture of tilt puts the wall's foot at the centre.
LEAVES, AWAY, BACK = 0.35, 0.5, 0.35
FAST_PER_S = 0.6
LONGEST_S = 6.0
LEVEL_MEMORY_S = 4.0
SPEED_MEMORY_S = 1.0
# Upright edges (studs) against level ones, as a share of what the walk showed before; and all
# edges as a share of before. Both fall on a floor; neither does on a wall's foot or head.
OTHER_DIRECTION, OTHER_STRENGTH = 0.7, 0.5


class SwingWatch:
    """Holds kept frames back until it is known whether they belong to a swing."""

    def __init__(self) -> None:
        self.height = 0.0  # of the picture's content, since the clip began; down is positive
        self.level: float | None = None
        self.direction: float | None = None
        self.strength: float | None = None
        self.last_s: float | None = None
        self.away: list[tuple[float, float, bool]] = []  # time, distance from level, looks other
        self.recent_speed = 0.0
        self.left_speed = 0.0
        self.verdicts: dict[float, bool] = {}  # time -> True: drop, False: keep and flag
        self.held: list[Kept | Dropped] = []

    def push(self, frame: Measured, aspect: float, decided: Iterable[Kept | Dropped]) -> list[Kept | Dropped]:
        """The next frame, and what the chooser decided on it; what is final now.

        Parameters
        ----------
        aspect : float
            Width of the picture over its height.
        """
        self.held += decided
        step_s = frame.time_s - self.last_s if self.last_s is not None else 0.0
        self.last_s = frame.time_s
        found: list[Dropped] = []
        if frame.motion is None or frame.motion.lost or self.level is None:
            self._restart(frame)
        else:
            self._follow(frame, float(frame.motion.shift[1]) * aspect, step_s)
            found = self._judge(frame)
        return self._release(found)

    def finish(self, decided: Iterable[Kept | Dropped]) -> list[Kept | Dropped]:
        """The clip has ended: a swing that never came back is kept."""
        self.held += decided
        self._flag_away()
        return self._release([])

    def _restart(self, frame: Measured) -> None:
        self._flag_away()
        self.height, self.level, self.recent_speed = 0.0, 0.0, 0.0
        if self.direction is None:
            self.direction, self.strength = _structure(frame)

    def _follow(self, frame: Measured, step: float, step_s: float) -> None:
        self.height += step
        fade = math.exp(-step_s / SPEED_MEMORY_S)
        self.recent_speed = max(abs(step) / step_s, self.recent_speed * fade)
        if abs(self.height - self.level) >= LEAVES:
            return
        if not frame.quality.smeared and not self.away:
            share = 1 - math.exp(-step_s / LEVEL_MEMORY_S)
            direction, strength = _structure(frame)
            self.level += share * (self.height - self.level)
            self.direction += share * (direction - self.direction)
            self.strength += share * (strength - self.strength)

    def _judge(self, frame: Measured) -> list[Dropped]:
        distance = abs(self.height - self.level)
        if distance >= LEAVES:
            if not self.away:
                self.left_speed = self.recent_speed
            self.left_speed = max(self.left_speed, self.recent_speed) if distance < AWAY else self.left_speed
            direction, strength = _structure(frame)
            other = direction < OTHER_DIRECTION * self.direction or strength < OTHER_STRENGTH * self.strength
            self.away.append((frame.time_s, distance, other))
            if frame.time_s - self.away[0][0] > LONGEST_S:
                self._flag_away()
                self.level = self.height
            return []
        if self.away and distance < BACK:
            return self._came_back()
        return []

    def _came_back(self) -> list[Dropped]:
        swung = [entry for entry in self.away if entry[1] >= AWAY]
        fast = self.left_speed >= FAST_PER_S and self.recent_speed >= FAST_PER_S
        sure = [time_s for time_s, _, other in swung if other]
        self.away = []
        if not fast or not swung:
            return []
        self.verdicts |= {time_s: other for time_s, _, other in swung}
        if not sure:
            return []
        return [Dropped(from_s=sure[0], to_s=sure[-1], frame_count=len(sure), reason=OFF_WALL)]

    def _flag_away(self) -> None:
        if self.left_speed >= FAST_PER_S:
            self.verdicts |= {time_s: False for time_s, distance, other in self.away if other and distance >= AWAY}
        self.away = []

    def _release(self, found: list[Dropped]) -> list[Kept | Dropped]:
        open_from_s = self.away[0][0] if self.away else float("inf")
        final, held = list(found), []
        for entry in self.held:
            if isinstance(entry, Dropped):
                final.append(entry)
            elif entry.time_s >= open_from_s:
                held.append(entry)
            elif not self.verdicts.get(entry.time_s, False):
                flags = entry.flags + ((OFF_WALL,) if entry.time_s in self.verdicts else ())
                final.append(replace(entry, flags=flags))
        self.held = held
        if not held:
            self.verdicts = {t: v for t, v in self.verdicts.items() if t > self.last_s - LONGEST_S}
        return final


def _structure(frame: Measured) -> tuple[float, float]:
    quality = frame.quality
    return quality.gradient_x / (quality.gradient_y + 0.1), quality.gradient_x + quality.gradient_y
