"""Upright edges in one unplaced picture: what is vertical in the room, and in which directions it stands.

All upright lines of a room meet in one vanishing point. It is voted for by pairs of line segments;
turned so that it lies straight up, every upright edge of the picture has one direction, its azimuth.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from asbuilt.errors import FailedEstimate

LONGER_SIDE_PX = 1600
SHORTEST_SHARE = 0.02  # of the picture's longer side
MOST_LEAN_RAD = np.deg2rad(35)  # a phone is held upright within this
VOTES = 400
AGREE_RAD = np.deg2rad(0.7)
LEAST_AGREEING, LEAST_SHARE = 12, 0.45  # of the length of segments that lean no more than 20 degrees from upright
NEARLY_RAD = np.deg2rad(20)
BIN_RAD = np.deg2rad(0.04)
SMOOTH_BINS = 2.0
LEAST_COVER = 0.1  # of the height that the picture shows in that direction
ROOM_BINS = 4  # two edges are at least so far apart
# Level lines (plates, seams, cables) tell how walls are turned; found on rendered pictures of open walls.
LEVEL_WITHIN_RAD, LEVEL_SHORTEST_SHARE = np.deg2rad(40), 0.028
LINE_SIGMA_PX, SAG_RAD, VAGUE_RAD = 1.0, np.deg2rad(1.5), np.deg2rad(6)
LEAST_VOTES, VOTES_SHARE, APART_RAD = 4.0, 0.12, np.deg2rad(8)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class UprightEdges:
    """Upright edges of a picture from left to right.

    ``level_from_camera`` (3, 3) turns camera rays so that y points straight down; azimuths [rad]
    are measured from its z to its x. ``cover`` (N,) is the share of the picture's height that each
    edge is seen over, ``low`` and ``high`` (N,) the tangents of the angles below and above the
    horizon between which it is seen. ``agreeing`` is the share of nearly upright length that
    meets in the one vanishing point. ``wall_yaw_rad`` are the azimuths of walls' normals that level
    lines vote for, the most voted for first; empty where too few do.
    """

    level_from_camera: np.ndarray
    focal_px: float
    center_px: tuple[float, float]
    azimuth_rad: np.ndarray
    cover: np.ndarray
    low: np.ndarray
    high: np.ndarray
    agreeing: float
    wall_yaw_rad: np.ndarray


def segments_of(image: np.ndarray) -> np.ndarray:
    """Straight line segments (N, 4) x, y, x, y of a BGR picture, in its pixels."""
    factor = min(1.0, LONGER_SIDE_PX / max(image.shape[:2]))
    gray = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY) if image.ndim == 3 else image
    small = cv2.resize(gray, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA) if factor < 1 else gray
    if min(small.shape) < 16:
        return np.zeros((0, 4))
    found = cv2.createLineSegmentDetector().detect(small)[0]
    if found is None:
        return np.zeros((0, 4))
    segments = (found.reshape(-1, 4).astype(float) + 0.5) / factor - 0.5
    length = np.hypot(segments[:, 2] - segments[:, 0], segments[:, 3] - segments[:, 1])
    return segments[length >= SHORTEST_SHARE * max(image.shape[:2])]


def find_upright_edges(image: np.ndarray, focal_px: float) -> UprightEdges | FailedEstimate:
    """Upright edges of a picture held upright, seen through a lens of about this focal length.

    Parameters
    ----------
    image : ndarray of shape (H, W, 3)
        BGR uint8, as displayed.
    focal_px : float
        A guess does: without a lens' data, 0.75 of the longer side is usual for a phone.
    """
    center = (image.shape[1] - 1) / 2, (image.shape[0] - 1) / 2
    segments = segments_of(image)
    starts, ends = _rays(segments[:, :2], center, focal_px), _rays(segments[:, 2:], center, focal_px)
    normals = np.cross(starts, ends)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    length = np.linalg.norm(segments[:, 2:] - segments[:, :2], axis=1)
    down = _vanishing(normals, length)
    if down is None:
        return FailedEstimate("no upright lines that meet in one vanishing point")
    agree = np.abs(normals @ down) < np.sin(AGREE_RAD)
    nearly = np.abs(normals @ down) < np.sin(NEARLY_RAD)
    nearly &= _leaning(segments) < MOST_LEAN_RAD
    share = float(length[agree].sum() / max(length[nearly | agree].sum(), 1e-9))
    if agree.sum() < LEAST_AGREEING or share < LEAST_SHARE:
        return FailedEstimate("the lines of the picture do not agree on what is upright")
    level = _level(down)
    azimuth, cover, low, high = _edges(starts[agree] @ level.T, ends[agree] @ level.T, image.shape, center, focal_px)
    return UprightEdges(
        level_from_camera=level, focal_px=focal_px, center_px=center, azimuth_rad=azimuth, cover=cover, low=low,
        high=high, agreeing=share, wall_yaw_rad=_wall_yaws(normals @ level.T, length, max(image.shape[:2])),
    )  # fmt: skip


def _rays(points_px: np.ndarray, center: tuple[float, float], focal_px: float) -> np.ndarray:
    return np.column_stack([(points_px - center) / focal_px, np.ones(len(points_px))])


def _leaning(segments: np.ndarray) -> np.ndarray:
    """How far each segment leans from the picture's upright [rad]."""
    return np.arctan2(np.abs(segments[:, 2] - segments[:, 0]), np.abs(segments[:, 3] - segments[:, 1]))


def _vanishing(normals: np.ndarray, length: np.ndarray) -> np.ndarray | None:
    """Unit direction (camera frame) of straight down that the most length of segments agrees on."""
    upright = np.abs(normals[:, 1]) < np.sin(MOST_LEAN_RAD)
    chosen = np.flatnonzero(upright)
    if len(chosen) < LEAST_AGREEING:
        return None
    rng = np.random.default_rng(0)
    chance = length[chosen] / length[chosen].sum()
    pairs = rng.choice(chosen, size=(VOTES, 2), p=chance)
    trial = np.cross(normals[pairs[:, 0]], normals[pairs[:, 1]])
    size = np.linalg.norm(trial, axis=1)
    trial = trial[size > 0.01] / size[size > 0.01, None]
    trial *= np.sign(trial[:, 1:2])
    trial = trial[trial[:, 1] > np.cos(MOST_LEAN_RAD)]
    if not len(trial):
        return None
    agree = np.abs(trial @ normals[upright].T) < np.sin(AGREE_RAD)
    down = trial[int(np.argmax(agree @ length[upright]))]
    for _ in range(3):
        inside = np.abs(normals @ down) < np.sin(AGREE_RAD)
        inside &= upright
        if inside.sum() < 3:
            return None
        weighted = normals[inside] * np.sqrt(length[inside])[:, None]
        down = np.linalg.svd(weighted, full_matrices=False)[2][-1]
        down *= np.sign(down[1]) or 1.0
    return down


def _level(down: np.ndarray) -> np.ndarray:
    right = np.array([1.0, 0, 0]) - down[0] * down
    right /= np.linalg.norm(right)
    return np.stack([right, down, np.cross(right, down)])


def _wall_yaws(normals: np.ndarray, length_px: np.ndarray, longer_px: int) -> np.ndarray:
    """How walls are turned, by the level lines among segments (normals of their planes, level frame)."""
    aside = np.hypot(normals[:, 0], normals[:, 2])
    own = (aside < np.sin(np.pi / 2 - LEVEL_WITHIN_RAD)) & (length_px > LEVEL_SHORTEST_SHARE * longer_px)
    # A line at the height of the camera is seen level whatever its wall's yaw.
    sigma = np.hypot(SAG_RAD, LINE_SIGMA_PX / length_px / np.maximum(aside, 1e-6))
    own &= sigma < VAGUE_RAD
    grid = np.deg2rad(np.arange(-75.0, 75.1, 0.5))
    yaw = np.arctan(normals[own, 0] / np.where(normals[own, 2] == 0, 1e-9, normals[own, 2]))
    near = np.exp(-0.5 * ((grid[:, None] - yaw) / sigma[own]) ** 2)
    votes = near @ (length_px[own] / sigma[own]) / longer_px
    found: list[int] = []
    for k in np.argsort(-votes):
        if votes[k] < max(LEAST_VOTES, VOTES_SHARE * votes.max()):
            break
        if all(abs(grid[k] - grid[j]) > APART_RAD for j in found):
            found.append(int(k))
    return grid[found]


def _edges(starts: np.ndarray, ends: np.ndarray, shape, center, focal_px: float) -> tuple[np.ndarray, ...]:
    """Azimuths at which segments stand above each other, the share of the height they cover, and their ends."""
    azimuth = np.arctan2((starts[:, 0] + ends[:, 0]) / 2, (starts[:, 2] + ends[:, 2]) / 2)
    up = np.stack([-v[:, 1] / np.hypot(v[:, 0], v[:, 2]) for v in (starts, ends)], axis=1)
    low, high = up.min(axis=1), up.max(axis=1)
    half = np.arctan2(max(center), focal_px) + 0.1
    bins = int(np.ceil(2 * half / BIN_RAD))
    place = np.clip(((azimuth + half) / BIN_RAD).astype(int), 0, bins - 1)
    votes = np.bincount(place, weights=high - low, minlength=bins).astype(np.float32)
    smooth = cv2.GaussianBlur(votes[None], (0, 0), SMOOTH_BINS, borderType=cv2.BORDER_CONSTANT)[0]
    tall = shape[0] / focal_px
    found = []
    for peak in np.argsort(-smooth):
        if smooth[peak] <= 0 or len(found) > 120:
            break
        at = (peak + 0.5) * BIN_RAD - half
        if any(abs(at - f[0]) < ROOM_BINS * BIN_RAD for f in found):
            continue
        own = np.abs(azimuth - at) < 2.5 * BIN_RAD
        if not own.any():
            continue
        weight = high[own] - low[own]
        cover = _covered(low[own], high[own]) / (tall / np.cos(at))
        if cover >= LEAST_COVER:
            found.append((float(np.average(azimuth[own], weights=weight)), cover, low[own].min(), high[own].max()))
    found.sort()
    return tuple(np.array(column) for column in zip(*found, strict=True)) if found else (np.zeros(0),) * 4


def _covered(low: np.ndarray, high: np.ndarray) -> float:
    """Length of the union of intervals."""
    total, reached = 0.0, -np.inf
    for a, b in sorted(zip(low, high, strict=True)):
        total += max(0.0, b - max(a, reached))
        reached = max(reached, b)
    return total
