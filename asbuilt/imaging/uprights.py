"""Upright studs in rectified pictures: pairs of vertical edges that many pictures show in one place.

Only what lies in the plane of the stud faces shows up in the same place in pictures taken from
different spots; edges of what lies behind it are smeared over by the parallax.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.signal import find_peaks

from asbuilt.imaging.sweep import Rectified

BAND_M = 0.1  # edges are looked for in bands of this height
LEAST_VIEWS = 2
EDGE_CAP = 2.0  # a clean edge reaches this: its mean step against the spread of the steps along it
PEAK_LEAST = 0.15
PAIR_LEAST = 0.95  # of a band in which both edges of a stud are seen; noise seldom reaches 0.9
LEAST_BANDS = 3
WIDTH_SLACK_M = 0.007  # planed timber is cut to a millimetre, an edge is rounded
SEARCH_M = 0.008
BRIDGED_BANDS = 6  # a stud behind a sheet of paper is still one stud
LEAST_SPREAD_M = 0.0005


@dataclass(frozen=True, slots=True, kw_only=True)
class Upright:
    """A stud as measured [m]: centre and how far the pictures scatter about it, extent, and by how many."""

    center_m: float
    scatter_m: float  # one sigma of the mean over the pictures
    width_m: float
    bottom_m: float
    top_m: float
    view_count: int
    strength: float  # 0 to EDGE_CAP


def edge_bands(view: Rectified, rows: int, band_px: int) -> tuple[np.ndarray, np.ndarray]:
    """How clean an upright edge each column of each band holds.

    Returns
    -------
    strength : ndarray of shape (bands, w)
        Mean horizontal step of the logarithm of brightness over its spread along the band;
        positive towards brighter on the right.
    seen : ndarray of shape (bands, w), bool
    """
    light = cv2.GaussianBlur(np.log(view.colors.astype(np.float32).mean(axis=2) + 4), (0, 0), 1.0)
    step = np.zeros_like(light)
    step[:, 1:-1] = (light[:, 2:] - light[:, :-2]) / 2
    inside = cv2.erode(view.within.astype(np.uint8), np.ones((3, 9), np.uint8), borderValue=0) > 0
    step[~inside] = 0
    bands = rows // band_px
    strength, seen = np.zeros((bands, light.shape[1]), np.float32), np.zeros((bands, light.shape[1]), bool)
    for band in range(bands):
        first = band * band_px - view.row
        if first < 0 or first + band_px > light.shape[0]:
            continue
        part = step[first : first + band_px]
        seen[band] = inside[first : first + band_px].mean(axis=0) > 0.9
        clean = 2 * part.mean(axis=0) / (part.std(axis=0) + 0.01)
        strength[band] = np.clip(clean, -EDGE_CAP, EDGE_CAP) * seen[band]
    return strength, seen


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edges:
    """Edge strengths of all pictures over a face, band 0 at the top."""

    views: list[tuple[int, np.ndarray, np.ndarray]]  # first column, strength, seen
    mean: np.ndarray  # (bands, cols), magnitude
    count: np.ndarray  # (bands, cols)


def edges_of(views: Sequence[Rectified], rows: int, cols: int, px_m: float) -> Edges:
    """Edge strengths of some rectified pictures, and their mean magnitude."""
    band_px = round(BAND_M / px_m)
    total = np.zeros((rows // band_px, cols), np.float32)
    count = np.zeros_like(total)
    kept = []
    for view in views:
        strength, seen = edge_bands(view, rows, band_px)
        box = np.s_[:, view.col : view.col + strength.shape[1]]
        total[box] += np.abs(strength)
        count[box] += seen
        kept.append((view.col, strength, seen))
    mean = np.where(count >= LEAST_VIEWS, total / np.maximum(count, 1), 0)
    return Edges(views=kept, mean=mean, count=count)


def find_uprights(
    edges: Edges, px_m: float, top_m: float, width_m: float, barred: np.ndarray | None = None
) -> list[Upright]:
    """Studs of a width, strongest evidence first where they would overlap; from left to right.

    Parameters
    ----------
    px_m : float
        Edge of a pixel [m].
    top_m : float
        Height of the upper rim of the first band [m].
    barred : ndarray of shape (bands, cols), optional
        Where no stud is looked for: openings.
    """
    mean = edges.mean if barred is None else np.where(barred, 0, edges.mean)
    candidates = []
    for left, right in _pairs(mean, px_m, width_m):
        both = np.minimum(_best_near(mean, left), _best_near(mean, right))
        for first, last in _stretches(both > PAIR_LEAST, edges.count[:, (left + right) // 2] < LEAST_VIEWS):
            held = both[first : last + 1]
            held = held[held > PAIR_LEAST]
            if len(held) >= LEAST_BANDS:
                candidates.append((float(held.sum()), left, right, first, last, float(np.median(held))))
    found: list[Upright] = []
    taken: list[tuple[int, int, float]] = []
    for _, left, right, first, last, strength in sorted(candidates, reverse=True):
        middle = (left + right) / 2
        if any(
            abs(middle - m) * px_m < 0.9 * width_m and first <= b and last >= a
            for a, b, m in taken
        ):  # fmt: skip
            continue
        upright = _measure(edges, px_m, top_m, left, right, first, last, strength)
        taken.append((first, last, middle))
        found.append(upright)
    return sorted(found, key=lambda u: u.center_m)


def _pairs(mean: np.ndarray, px_m: float, width_m: float) -> list[tuple[int, int]]:
    """Columns of edges that lie a stud's width apart."""
    peaks: set[int] = set()
    bands = len(mean)
    # Short studs under a window show in few bands, so that bands are looked at in groups, too.
    for first, last in [(0, bands), *((b, b + 6) for b in range(0, max(bands - 3, 1), 3))]:
        part = mean[first:last]
        shown = part.any(axis=1).sum()
        if shown:
            peaks |= set(find_peaks(part.sum(axis=0) / shown, prominence=PEAK_LEAST)[0].tolist())
    columns = sorted(peaks)
    found = []
    for left in columns:
        for right in columns:
            if abs((right - left) * px_m - width_m) <= WIDTH_SLACK_M:
                found.append((left, right))
    return found


def _best_near(mean: np.ndarray, column: int) -> np.ndarray:
    return mean[:, max(column - 1, 0) : column + 2].max(axis=1)


def _stretches(held: np.ndarray, unseen: np.ndarray) -> list[tuple[int, int]]:
    """Runs of bands with evidence; short breaks, and bands no picture shows, do not part them."""
    found: list[tuple[int, int]] = []
    gap = BRIDGED_BANDS + 1
    for band in np.flatnonzero(held):
        if found:
            between = ~unseen[found[-1][1] + 1 : band]
            gap = int(between.sum())
        if found and gap <= BRIDGED_BANDS:
            found[-1] = (found[-1][0], int(band))
        else:
            found.append((int(band), int(band)))
    return found


def _measure(edges: Edges, px_m, top_m, left, right, first, last, strength) -> Upright:
    centers, widths = [], []
    for col, own, seen in edges.views:
        a, b = (_peak(own[first : last + 1], seen[first : last + 1], column - col, px_m) for column in (left, right))
        if a is not None and b is not None:
            centers.append((a + b) / 2 + col)
            widths.append(b - a)
    if len(centers) < LEAST_VIEWS:
        centers, widths = [(left + right) / 2], [right - left]
    middle = float(np.median(centers))
    spread = 1.4826 * float(np.median(np.abs(np.array(centers) - middle))) * px_m
    return Upright(
        center_m=(middle + 0.5) * px_m,
        scatter_m=max(LEAST_SPREAD_M, 1.25 * spread / np.sqrt(len(centers))),
        width_m=float(np.median(widths)) * px_m,
        bottom_m=top_m - (last + 1) * BAND_M,
        top_m=top_m - first * BAND_M,
        view_count=len(centers),
        strength=strength,
    )


def _peak(strength: np.ndarray, seen: np.ndarray, column: int, px_m: float) -> float | None:
    """The edge of one picture near a column, to a part of a pixel."""
    reach = round(SEARCH_M / px_m)
    if column - reach < 1 or column + reach + 1 >= strength.shape[1]:
        return None
    shown = seen[:, column]
    if shown.sum() < LEAST_BANDS - 1:
        return None
    part = np.abs(strength[shown, column - reach : column + reach + 1]).mean(axis=0)
    at = int(part.argmax())
    if part[at] < PAIR_LEAST * 0.8 or not 0 < at < len(part) - 1:
        return None
    before, here, after = part[at - 1 : at + 2]
    bend = before - 2 * here + after
    return column - reach + at + (0.5 * float(before - after) / float(bend) if bend < 0 else 0.0)
