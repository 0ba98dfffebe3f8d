"""How far behind the studs' faces an upright edge lies, by how it wanders from picture to picture.

The front of a stud shows at one place on the plane of the faces in every picture. The far edge of
its side, or a cable stapled to it, shows beside the stud, too, but further aside the more the
camera stood aside.
"""

from __future__ import annotations

import numpy as np

from asbuilt.imaging.edge_bands import LEAST_BANDS, Edges, peak_near

FRONT_M = (0.0, 0.015)  # an edge of a face, with what poses and rounded corners make of it
BEHIND_M = tuple(np.arange(0.045, 0.14, 0.015))  # on the sides of studs of 2x4 and 2x6
NEAR_PX = 1.25
SHIFTS_PX = np.arange(-1.5, 1.6, 0.5)  # the column itself is known to a pixel or so
LEAST_VIEWS = 3


def votes_behind(edges: Edges, px_m: float, column: int, bands: slice) -> tuple[int, int]:
    """By how many pictures more agree on an edge behind the studs' faces than on them, and how many show its place.

    Negative: more agree on the faces. 0 where too few pictures show the place to tell.
    """
    shown = [
        (own[bands], seen[bands], column - first, stood)
        for (first, own, seen), stood in zip(edges.views, edges.stood, strict=True)
        if 0 <= column - first < own.shape[1] and seen[bands, column - first].sum() >= LEAST_BANDS - 1
    ]
    if len(shown) < LEAST_VIEWS:
        return 0, len(shown)
    tilt_px_per_m = np.array([(foot - column) / distance for *_, (foot, distance) in shown])
    at_column = [_offset(own, seen, at, px_m) for own, seen, at, _ in shown]
    near = np.array([offset is not None and abs(offset) <= 2 * NEAR_PX for offset in at_column])
    usual = float(np.median(tilt_px_per_m[near] if near.any() else tilt_px_per_m))
    front, behind = (
        max(_agreeing(shown, tilt_px_per_m - usual, depth, px_m) for depth in depths) for depths in (FRONT_M, BEHIND_M)
    )
    return behind - front, len(shown)


def _agreeing(shown, tilt_px_per_m: np.ndarray, depth_m: float, px_m: float) -> int:
    """How many pictures show an edge where one at a depth would be."""
    offsets = []
    for (own, seen, at, (_, distance_m)), tilt in zip(shown, tilt_px_per_m, strict=True):
        offset = _offset(own, seen, at + tilt * depth_m * distance_m / (distance_m + depth_m), px_m)
        if offset is not None:
            offsets.append(offset)
    apart = np.abs(np.array(offsets)[:, None] - SHIFTS_PX)
    return int((apart < NEAR_PX).sum(axis=0).max()) if offsets else 0


def _offset(own: np.ndarray, seen: np.ndarray, at_px: float, px_m: float) -> float | None:
    peak = peak_near(own, seen, round(at_px), px_m)
    return None if peak is None else peak - at_px
