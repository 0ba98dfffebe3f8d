"""Where the studs of a face stand, and which bay a place falls into."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

LAYOUT_SIGMA_M = 0.00635  # 1/4 in: real studs wander about their marks (common practice, no source)
SAME_STUD_M = 0.15  # a known stud this near a nominal one is that stud


@dataclass(frozen=True, slots=True, kw_only=True)
class StudPlace:
    """One upright: centre, spread of that centre, and its extent in height."""

    center_m: float
    sigma_m: float
    width_m: float = 0.0381
    bottom_m: float = 0.0
    top_m: float | None = None
    source: str = "layout"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bay:
    """The space between two studs; number 1 is leftmost."""

    number: int
    left: StudPlace
    right: StudPlace

    @property
    def left_edge_m(self) -> float:
        """Clear left edge [m]."""
        return self.left.center_m + self.left.width_m / 2

    @property
    def right_edge_m(self) -> float:
        """Clear right edge [m]."""
        return self.right.center_m - self.right.width_m / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class OpeningSpan:
    """What the stud layout needs of an opening [m]."""

    left_m: float
    right_m: float


def stud_lattice(
    length_m: float,
    spacing_m: float,
    layout_from: str,
    width_m: float = 0.0381,
    openings: Sequence[OpeningSpan] = (),
    known: Sequence[StudPlace] = (),
) -> list[StudPlace]:
    """Full-height studs of a face: the nominal layout, corrected by the known ones.

    Centres fall on whole multiples of the spacing from the layout end (first centre so
    that sheets land on it: common practice, no source), with one stud at each end and a king
    stud outside a jack at each side of an opening. Known studs replace the nominal ones near them.

    Returns
    -------
    list of StudPlace
        From left to right.
    """
    ends = [width_m / 2, length_m - width_m / 2]
    marks = np.arange(1, int(length_m / spacing_m) + 1) * spacing_m
    centers = marks if layout_from == "left" else length_m - marks
    kings = [e for o in openings for e in (o.left_m - 1.5 * width_m, o.right_m + 1.5 * width_m)]
    fixed = ends + [k for k in kings if 0 < k < length_m]
    free = (np.abs(centers[:, None] - fixed) >= 2 * width_m).all(axis=1)
    for o in openings:
        free &= (centers <= o.left_m - width_m) | (centers >= o.right_m + width_m)
    nominal = np.array([*fixed, *centers[free]])
    for k in known:
        nominal = nominal[np.abs(nominal - k.center_m) > SAME_STUD_M]
    kept = [StudPlace(center_m=c, sigma_m=LAYOUT_SIGMA_M, width_m=width_m) for c in nominal.tolist()]
    return sorted([*kept, *known], key=lambda s: s.center_m)


def bays(studs: Sequence[StudPlace]) -> list[Bay]:
    """The bays of a face from left to right, numbered from 1; doubled studs leave no bay between."""
    found: list[Bay] = []
    for left, right in zip(studs, studs[1:], strict=False):
        clear_m = (right.center_m - right.width_m / 2) - (left.center_m + left.width_m / 2)
        if clear_m > 0.01:
            found.append(Bay(number=len(found) + 1, left=left, right=right))
    return found


def bay_at(offset_m: float, studs: Sequence[StudPlace]) -> Bay | None:
    """The bay whose studs' centres enclose an offset, or None beyond the end studs."""
    for bay in bays(studs):
        if bay.left.center_m <= offset_m < bay.right.center_m:
            return bay
    return None
