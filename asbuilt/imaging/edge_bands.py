"""How clean an upright edge each column of rectified pictures holds, band by band of height."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from asbuilt.imaging.sweep import Rectified

BAND_M = 0.1  # edges are looked for in bands of this height
LEAST_VIEWS = 2
EDGE_CAP = 2.0  # a clean edge reaches this: its mean step against the spread of the steps along it
JOINT_LEAST = 0.5  # of an edge, and of the seam between two studs nailed together
LEAST_BANDS = 5
SEARCH_M = 0.008


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
    stood: list[tuple[float, float]]  # column straight ahead of each camera, its distance from the faces [m]
    mean: np.ndarray  # (bands, cols), magnitude
    count: np.ndarray  # (bands, cols)
    band_m: float


def edges_of(views: Sequence[Rectified], rows: int, cols: int, px_m: float, band_m: float = BAND_M) -> Edges:
    """Edge strengths of some rectified pictures, and their mean magnitude."""
    band_px = round(band_m / px_m)
    total = np.zeros((rows // band_px, cols), np.float32)
    signed, count = np.zeros_like(total), np.zeros_like(total)
    kept = []
    for view in views:
        strength, seen = edge_bands(view, rows, band_px)
        box = np.s_[:, view.col : view.col + strength.shape[1]]
        signed[box] += strength
        total[box] += np.abs(strength)
        count[box] += seen
        kept.append((view.col, strength, seen))
    # A stud's edge steps the same way in most pictures; grain and flakes behind it do not.
    mean = np.where(count >= LEAST_VIEWS, (total + np.abs(signed)) / 2 / np.maximum(count, 1), 0)
    stood = [(view.foot_px[0], view.distance_m) for view in views]
    return Edges(views=kept, stood=stood, mean=mean, count=count, band_m=band_px * px_m)


def peak_near(strength: np.ndarray, seen: np.ndarray, column: int, px_m: float) -> float | None:
    """The edge of one picture near a column, to a part of a pixel."""
    reach = round(SEARCH_M / px_m)
    if column - reach < 1 or column + reach + 1 >= strength.shape[1]:
        return None
    shown = seen[:, column]
    if shown.sum() < LEAST_BANDS - 1:
        return None
    part = np.abs(strength[shown, column - reach : column + reach + 1]).mean(axis=0)
    at = int(part.argmax())
    last = at + int(np.argmin(np.append(part[at:] >= part[at], False))) - 1
    if part[at] < JOINT_LEAST or at == 0 or last == len(part) - 1:
        return None
    if last > at:  # clean as can be over a few columns
        return column - reach + (at + last) / 2
    before, here, after = part[at - 1 : at + 2]
    bend = before - 2 * here + after
    return column - reach + at + (0.5 * float(before - after) / float(bend) if bend < 0 else 0.0)
