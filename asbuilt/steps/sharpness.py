"""How sharp a frame is for its clip: a soft lens or a smooth wall is no fault of one frame."""

from __future__ import annotations

from collections import deque

import numpy as np

from asbuilt.imaging.quality import Quality

MEMORY_S = 8.0  # long enough to reach back over a stretch of blur
NEIGHBOUR_S = 2.0
# The sharp ones among what was seen lately, by percentile.
USUAL_PERCENTILE = 80
# A frame is blurred when it looks smeared and keeps less than this share of what is usual in
# its clip. On a rendered walk frames smeared over 15 px of 1920 kept at most 0.59.
BLURRED_SHARE = 0.65


class SharpnessWatch:
    """Compares each frame of a clip with those before it."""

    def __init__(self) -> None:
        self.seen: deque[tuple[float, float, float]] = deque()  # time, share_x, share_y
        self.details: deque[tuple[float, float]] = deque()

    def push(self, time_s: float, quality: Quality) -> tuple[float, bool]:
        """Sharpness of the next frame against its neighbours, 0 to 1, and whether it is blurred."""
        _forget(self.details, time_s - NEIGHBOUR_S)
        self.details.append((time_s, quality.detail))
        sharpest = max(detail for _, detail in self.details)
        return quality.detail / sharpest if sharpest > 0 else 0.0, self._blurred(time_s, quality)

    def _blurred(self, time_s: float, quality: Quality) -> bool:
        if quality.dark or quality.plain:
            return False
        _forget(self.seen, time_s - MEMORY_S)
        self.seen.append((time_s, quality.share_x, quality.share_y))
        if not quality.smeared:
            return False
        usual_x, usual_y = np.percentile([(x, y) for _, x, y in self.seen], USUAL_PERCENTILE, axis=0)
        return min(quality.share_x / usual_x, quality.share_y / usual_y) < BLURRED_SHARE


def _forget(entries: deque, before_s: float) -> None:
    while entries and entries[0][0] < before_s:
        entries.popleft()
