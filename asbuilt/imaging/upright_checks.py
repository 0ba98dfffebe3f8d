"""Which measured uprights are studs: pieces of one made one, a stud's own side and white pipes left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from asbuilt.imaging.sweep import Rectified
from asbuilt.imaging.uprights import Upright

SAME_M, PARTED_M = 0.010, 1.0  # pieces of one stud, above and below a sheet of paper or a box
# What touches a stud is one only if it looks and reaches like its neighbour, or belongs to an opening: else it
# is the neighbour's side, often with a cable along it, or the dark gap to the next.
BESIDE_M, BESIDE_SHARE, ENDS_M = 1.5, 0.45, 0.35  # widths; of a neighbour's height; [m]
OPENING_M, ALIKE_LIGHT = 2.6, 0.3  # widths from an opening's side; logarithm of brightness
ODD_TINT = 0.27  # logarithm of yellowness by which a pipe differs from the studs of its wall
LEAST_TO_COMPARE = 4
ROWS_STEP = 7


def studs_among(
    uprights: Sequence[Upright], views: Sequence[Rectified], px_m: float, top_m: float, sides_m: Sequence[float]
) -> list[Upright]:
    """The studs among uprights, from left to right; ``sides_m`` are the sides of openings."""
    whole = _merged(uprights)
    wood = [_wood_of(view) for view in views]
    tints = [_tint(u, views, wood, px_m, top_m) for u in whole]
    odd = _odd(whole, [yellow for yellow, _ in tints])
    light = {u: own for u, (_, own) in zip(whole, tints, strict=True)}
    beside = {u: any(abs(u.center_m - s) < OPENING_M * u.width_m for s in sides_m) for u in whole}
    held = [u for u, other in zip(whole, odd, strict=True) if not other]
    # Dark gaps first: what stands beside one is not judged by it.
    held = [u for u in held if beside[u] or not any(light[u] < light[o] - ALIKE_LIGHT for o in _touching(u, held))]
    return [u for u in held if not any(_side_of(u, o, beside[u]) for o in _touching(u, held))]


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


def _touching(one: Upright, others: Sequence[Upright]) -> list[Upright]:
    """Which uprights stand right beside one, over some of its height."""
    return [
        o
        for o in others
        if o is not one
        and 0 < abs(one.center_m - o.center_m) < BESIDE_M * one.width_m
        and min(one.top_m, o.top_m) > max(one.bottom_m, o.bottom_m)
    ]


def _side_of(one: Upright, other: Upright, at_opening: bool) -> bool:
    """Whether an upright is but a strip beside a longer one: its side."""
    share = (one.top_m - one.bottom_m) / (other.top_m - other.bottom_m)
    ends = abs(one.top_m - other.top_m), abs(one.bottom_m - other.bottom_m)
    return share < BESIDE_SHARE or (not at_opening and share < 1 and max(ends) > ENDS_M)


def _tint(one: Upright, views, wood: Sequence[np.ndarray], px_m: float, top_m: float) -> tuple[float, float]:
    """Yellowness and brightness of an upright's middle against each picture's wood, medians over the pictures."""
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
            found.append(((green + red) / 2 - blue, (blue + green + red) / 3))
    return tuple(float(v) for v in np.median(found, axis=0)) if found else (np.nan, np.nan)


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
