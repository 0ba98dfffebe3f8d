"""Finding room for words on a drawing: the candidate spot that covers least of what is there."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence

from asbuilt.sheets.drawing import Point

CHARACTER_EM = 0.66  # mean advance of a bold letter in the widest of the fonts named in ``svg``; measured
CELL_M = 0.5

Box = tuple[float, float, float, float]  # left, bottom, right, top [m]


def text_width_m(text: str, size_m: float) -> float:
    """Width a text will about have [m]."""
    return CHARACTER_EM * size_m * len(text)


class LabelSpace:
    """What is already taken on a sheet, in a coarse grid so that many labels stay quick."""

    def __init__(self, bounds: Box) -> None:
        self.bounds = bounds
        self.taken: dict[tuple[int, int], list[Box]] = defaultdict(list)

    def block(self, box: Box) -> None:
        """Take a place."""
        for cell in self._cells(box):
            self.taken[cell].append(box)

    def place(self, centers_m: Sequence[Point], width_m: float, height_m: float) -> Point:
        """Take the best of some places for a label and return its centre [m].

        The first free one wins; if none is free, the one that covers least.
        """
        best, best_cost = centers_m[0], math.inf
        for center in centers_m:
            box = _around(center, width_m, height_m)
            cost = self._cost(box)
            if cost < best_cost:
                best, best_cost = center, cost
            if cost == 0:
                break
        self.block(_around(best, width_m, height_m))
        return best

    def free(self, center_m: Point, width_m: float, height_m: float) -> bool:
        """Whether a label there would cover nothing."""
        return self._cost(_around(center_m, width_m, height_m)) == 0

    def _cost(self, box: Box) -> float:
        near = {other for cell in self._cells(box) for other in self.taken[cell]}
        left, bottom, right, top = self.bounds
        inside = _shared((left, bottom, right, top), box)
        outside = (box[2] - box[0]) * (box[3] - box[1]) - inside
        return sum(_shared(box, other) for other in near) + 10 * max(outside, 0.0) * (outside > 1e-9)

    @staticmethod
    def _cells(box: Box) -> Iterable[tuple[int, int]]:
        left, bottom, right, top = (math.floor(v / CELL_M) for v in box)
        return [(col, row) for col in range(left, right + 1) for row in range(bottom, top + 1)]


def _around(center_m: Point, width_m: float, height_m: float) -> Box:
    x, y = center_m
    return (x - width_m / 2, y - height_m / 2, x + width_m / 2, y + height_m / 2)


def _shared(a: Box, b: Box) -> float:
    width = min(a[2], b[2]) - max(a[0], b[0])
    height = min(a[3], b[3]) - max(a[1], b[1])
    return width * height if width > 0 and height > 0 else 0.0
