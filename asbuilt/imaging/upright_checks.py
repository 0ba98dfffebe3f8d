"""Which measured uprights are studs: pieces of one made one, a stud's own side and white pipes left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from asbuilt.imaging.sweep import Rectified
from asbuilt.imaging.uprights import Upright

SAME_M, PARTED_M = 0.010, 1.0  # pieces of one stud, above and below a sheet of paper or a box
BESIDE_M, BESIDE_SHARE = 1.5, 0.45  # widths; of a neighbour's height: jacks reach up to a header at least
ODD_TINT = 0.27  # logarithm of yellowness by which a pipe differs from the studs of its wall
LEAST_TO_COMPARE = 4
ROWS_STEP = 7


def studs_among(uprights: Sequence[Upright], views: Sequence[Rectified], px_m: float, top_m: float) -> list[Upright]:
    """The studs among uprights, from left to right."""
    whole = _merged(uprights)
    real = [u for u in whole if not _side_of_another(u, whole)]
    wood = [_wood_of(view) for view in views]
    odd = _odd(real, [_yellowness(u, views, wood, px_m, top_m) for u in real])
    return [u for u, other in zip(real, odd, strict=True) if not other]


def _merged(uprights: Sequence[Upright]) -> list[Upright]:
    merged: list[Upright] = []
    for one in sorted(uprights, key=lambda u: u.center_m):
        # Cripples above and below an opening stand on one mark, too, and stay two.
        twin = next((m for m in merged if abs(m.center_m - one.center_m) < SAME_M and _gap_m(m, one) < PARTED_M), None)
        if twin is None:
            merged.append(one)
            continue
        merged.remove(twin)
        first, other = sorted((twin, one), key=lambda u: -(u.top_m - u.bottom_m))
        merged.append(replace(
            first, bottom_m=min(first.bottom_m, other.bottom_m), top_m=max(first.top_m, other.top_m),
            scatter_m=max(first.scatter_m, abs(first.center_m - other.center_m) / 2),
        ))  # fmt: skip
    return sorted(merged, key=lambda u: u.center_m)


def _gap_m(one: Upright, other: Upright) -> float:
    return max(one.bottom_m, other.bottom_m) - min(one.top_m, other.top_m)


def _side_of_another(one: Upright, uprights: Sequence[Upright]) -> bool:
    """Whether an upright is but a short strip right beside a longer one: its side, or the shadow of it."""
    for other in uprights:
        apart = abs(one.center_m - other.center_m)
        overlap = min(one.top_m, other.top_m) - max(one.bottom_m, other.bottom_m)
        if other is one or not 0 < apart < BESIDE_M * one.width_m or overlap <= 0:
            continue
        if one.top_m - one.bottom_m < BESIDE_SHARE * (other.top_m - other.bottom_m):
            return True
    return False


def _yellowness(one: Upright, views, wood: Sequence[np.ndarray], px_m: float, top_m: float) -> float:
    """Median over the pictures of the tint of an upright's middle, against each picture's wood."""
    found = []
    col = round(one.center_m / px_m - 0.5)
    first, last = round((top_m - one.top_m) / px_m), round((top_m - one.bottom_m) / px_m)
    for view, own_wood in zip(views, wood, strict=True):
        left = col - view.col - 2
        rows = np.arange(max(first - view.row, 0), min(last - view.row, view.colors.shape[0]), ROWS_STEP)
        if left < 0 or left + 5 > view.colors.shape[1] or len(rows) < 3:
            continue
        rows = rows[view.within[rows, left + 2]]
        if len(rows) >= 3:
            strip = np.log(view.colors[rows, left : left + 5].astype(np.float32) + 4).mean(axis=(0, 1))
            blue, green, red = strip - own_wood
            found.append(float((green + red) / 2 - blue))
    return float(np.median(found)) if found else np.nan


def _wood_of(view: Rectified) -> np.ndarray:
    inside = view.colors[::13, ::17][view.within[::13, ::17]]
    return np.median(np.log(inside.astype(np.float32) + 4), axis=0) if len(inside) else np.zeros(3, np.float32)


def _odd(uprights: Sequence[Upright], yellowness: Sequence[float]) -> list[bool]:
    """Which are much paler than the rest; studs of steel are all alike."""
    known = np.array(yellowness)
    if np.isfinite(known).sum() < LEAST_TO_COMPARE:
        return [False] * len(uprights)
    usual = np.nanmedian(known)
    return [bool(np.isfinite(k) and k < usual - ODD_TINT) for k in known]
