"""Lines of one sheath colour that many pictures show at one depth, followed from end to end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from asbuilt.imaging.sweep import Rectified, onto_depth

STEP_M = 0.015
TURNS = np.deg2rad(np.arange(-50, 51, 10))
TURN_COST = 0.08  # a radian costs this share of the evidence
LEAST_VIEWS = 3
FOLLOWED_LEAST = 0.08  # mean over the pictures of a ridge's strength, along a step
HOP_M, HOP_LEAST = 0.075, 0.14  # over a stud that stands before the run
HOP_SLACK = 0.15
HOP_TURN_RAD = np.deg2rad(25)
TUBE_M = 0.016  # what lies this near to a followed run is the same run, or its shadow at another depth
SMOOTHED = 9
TRIM_WINDOW, TRIM_SHARE = 7, 0.55
# No bend of a cable is tighter than five times its diameter (NEC 334.24), so none doubles back on itself within an inch
# or two: there the line ran on into its own double at another depth.
BEND_M, DOUBLED_M = 0.05, 0.08
MOST_WAVER_RAD = np.deg2rad(20)
FAINT_SHORTEST_M, FAINT_ASIDE_M = 0.5, 0.012
FAINT_GAIN = 2.0
BESIDE_M, FAINT_CONTRAST = 0.035, 12.0
# Where pictures cannot tell the depth, the middle of the wall is the likeliest (common practice, no source).
RIM_WORTH = 0.7
DEPTH_SHARE = 0.85
LEAST_SIGMA_DEPTH_M = 0.006


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """Mean ridge strength of one colour on planes at some depths; the best of them for each pixel."""

    depths_m: np.ndarray  # (K,)
    levels: np.ndarray  # (K, rows, cols), uint8, 255 is 1
    best: np.ndarray  # (rows, cols) float32


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Line:
    """A followed line: pixels (N, 2) x and y, evidence at each, depth and its error [m]; whether it is a faint one."""

    pixels: np.ndarray
    evidence: np.ndarray
    depth_m: np.ndarray
    sigma_depth_m: float
    faint: bool = False


def gather(
    views: Sequence[Rectified], layers: Sequence[np.ndarray], depths_m: np.ndarray, rows: int, cols: int
) -> list[Evidence]:
    """Add up the ridge layers of all pictures at each depth.

    Parameters
    ----------
    layers : sequence of ndarray of shape (h, w, C)
        uint8; C - 1 colours, and last which pixels can show anything inside the wall.

    Returns
    -------
    list of Evidence
        One for each colour.
    """
    colors = layers[0].shape[2] - 1
    levels = np.zeros((colors, len(depths_m), rows, cols), np.uint8)
    for k, depth_m in enumerate(depths_m):
        total = np.zeros((rows, cols, colors + 1), np.float32)
        for view, layer in zip(views, layers, strict=True):
            for first in range(0, colors + 1, 4):
                placed = onto_depth(view, layer[..., first : first + 4], float(depth_m), rows, cols)
                if placed is not None:
                    moved = placed[1] if placed[1].ndim == 3 else placed[1][..., None]
                    total[..., first : first + 4][placed[0]] += moved
        count = total[..., -1]
        seen = count >= 255 * (LEAST_VIEWS - 0.5)
        divisor = np.where(seen, count, np.inf)
        for color in range(colors):
            levels[color, k] = np.clip(total[..., color] * 255 / divisor, 0, 255)
    depths = np.asarray(depths_m, float)
    middle, half = (depths[0] + depths[-1]) / 2, max(float(depths[-1] - depths[0]) / 2, 1e-6)
    worth = 1 - (1 - RIM_WORTH) * ((depths - middle) / half) ** 2
    found = []
    for own in levels:
        likeliest = np.zeros((rows, cols), np.float32)
        for level, factor in zip(own, worth, strict=True):
            np.maximum(likeliest, level * np.float32(factor / 255), out=likeliest)
        found.append(Evidence(depths_m=depths, levels=own, best=cv2.GaussianBlur(likeliest, (0, 0), 0.8)))
    return found


def follow_all(evidence: Evidence, px_m: float, seed_least: float, shortest_m: float, mean_least: float) -> list[Line]:
    """Follow every line from its strongest spot both ways, strongest first."""
    best = evidence.best
    free = np.ones(best.shape, np.uint8)
    lines = []
    for _, x, y in _seeds(best, seed_least):
        if not free[y, x]:
            continue
        path = _both_ways(best, free, float(x), float(y), px_m)
        _take(free, path, px_m)
        length_m = np.linalg.norm(np.diff(path, axis=0), axis=1).sum() * px_m
        path = _trimmed(best, path)
        if _wavering(path) > MOST_WAVER_RAD:
            continue
        line = _with_depth(evidence, path)
        if length_m >= shortest_m and line.evidence.mean() >= mean_least:
            lines.append(line)
    return lines


def _seeds(best: np.ndarray, least: float) -> list[tuple[float, int, int]]:
    """Spots to follow lines from, strongest first."""
    peaks = (best >= cv2.dilate(best, np.ones((9, 9)))) & (best > least)
    return sorted(((float(best[y, x]), x, y) for y, x in zip(*np.nonzero(peaks), strict=True)), reverse=True)


def follow_faint(
    evidence: Evidence, px_m: float, seed_least: float, mean_least: float, known: Sequence[Line]
) -> list[Line]:
    """Faint lines beside those known already: long and straight, with nothing like them beside."""
    best = evidence.best
    free = np.ones(best.shape, np.uint8)
    for line in known:
        _take(free, line.pixels, px_m)
    lines = []
    for _, x, y in _seeds(best, seed_least):
        if not free[y, x]:
            continue
        path = _both_ways(FAINT_GAIN * best, free, float(x), float(y), px_m)
        _take(free, path, px_m)
        path = _trimmed(best, path)
        if not _straight(path, px_m) or _contrast(best, path, px_m) < FAINT_CONTRAST:
            continue
        line = replace(_with_depth(evidence, path), faint=True)
        if line.evidence.mean() >= mean_least:
            lines.append(line)
    return lines


def unfold(line: Line, px_m: float) -> Line:
    """A line that doubles back on itself tighter than a cable bends, cut at its turn: its stronger part."""
    place = line.pixels * px_m
    apart = np.linalg.norm(place[:, None] - place[None], axis=2)
    first, second = np.nonzero(apart < 2 * BEND_M)
    doubled = (second - first) * STEP_M > np.pi * BEND_M + apart[first, second]
    if len(np.unique(first[doubled])) * STEP_M < DOUBLED_M:
        return line
    turn = round(float(np.median((first + second)[doubled] / 2)))
    part = max(slice(0, turn), slice(turn, None), key=lambda s: float(line.evidence[s].sum()))
    return replace(line, pixels=line.pixels[part], evidence=line.evidence[part], depth_m=line.depth_m[part])


def _straight(path: np.ndarray, px_m: float) -> bool:
    way = path[-1] - path[0]
    length = float(np.linalg.norm(way))
    if length * px_m < FAINT_SHORTEST_M:
        return False
    aside = np.abs((path - path[0]) @ np.array([-way[1], way[0]])) / length
    return float(np.percentile(aside, 90)) * px_m < FAINT_ASIDE_M


def _contrast(best: np.ndarray, path: np.ndarray, px_m: float) -> float:
    """How many times stronger a path is than what lies beside it on either side."""
    way = np.gradient(path, axis=0)
    normal = np.stack([-way[:, 1], way[:, 0]], axis=1) / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-9)
    sides = [_sample(best, *(path + side * BESIDE_M / px_m * normal).T) for side in (-1.0, -0.6, 0.6, 1.0)]
    return float(_sample(best, *path.T).mean() / max(float(np.mean(sides)), 0.004))


def _trimmed(best: np.ndarray, path: np.ndarray) -> np.ndarray:
    """A path without ends that are much weaker than its middle: there it ran on into something else."""
    values = _sample(best, path[:, 0], path[:, 1])
    size = min(TRIM_WINDOW, len(values))
    smooth = np.convolve(np.pad(values, size // 2, mode="edge"), np.ones(size) / size, "valid")[: len(values)]
    firm = np.flatnonzero(smooth >= TRIM_SHARE * np.median(values))
    return path[firm[0] : firm[-1] + 1] if len(firm) else path


def _wavering(path: np.ndarray) -> float:
    """How much a path turns to and fro, the mean over its steps [rad]."""
    steps = np.diff(path, axis=0)
    if len(steps) < 4:
        return 0.0
    turns = np.diff(np.unwrap(np.arctan2(steps[:, 1], steps[:, 0])))
    return float(np.abs(np.diff(turns)).mean() / 2)


def _take(free: np.ndarray, path: np.ndarray, px_m: float) -> None:
    points = np.round(path).astype(np.int32).reshape(-1, 1, 2)
    cv2.polylines(free, [points], False, 0, thickness=2 * round(TUBE_M / px_m) + 1)


def _both_ways(best: np.ndarray, free: np.ndarray, x: float, y: float, px_m: float) -> np.ndarray:
    angles = np.arange(0, np.pi, np.pi / 16)
    reach = np.arange(-2, 3)[:, None] * STEP_M / px_m / 2
    along = [_sample(best, x + reach * np.cos(a), y + reach * np.sin(a)).mean() for a in angles]
    angle = float(angles[int(np.argmax(along))])
    ahead = _one_way(best, free, x, y, angle, px_m, [])
    behind = _one_way(best, free, x, y, angle + np.pi, px_m, ahead)
    return np.array([*behind[::-1], (x, y), *ahead])


def _one_way(best, free, x: float, y: float, angle: float, px_m: float, other: list) -> list[tuple[float, float]]:
    """Points of a line from a spot on, until the evidence ends or it meets what was followed before."""
    step = STEP_M / px_m
    path: list[tuple[float, float]] = []
    inside = best.shape[1] - 1, best.shape[0] - 1
    while len(path) < 2000:
        found = _next(best, x, y, angle, step)
        if found is None:
            found = _hop(best, x, y, angle, px_m)
        if found is None:
            break
        x, y, angle = found
        if not (0 <= x <= inside[0] and 0 <= y <= inside[1]) or not free[round(y), round(x)]:
            break
        if _closes(path, other, x, y, step):
            break
        path.append((x, y))
    return path


def _closes(path: list, other: list, x: float, y: float, step: float) -> bool:
    """Whether a line has come back to itself, as in a coil."""
    older = [*path[:-6], *other[6:]]
    return bool(older) and float(np.min(np.hypot(*(np.array(older) - (x, y)).T))) < 0.7 * step


def _next(best, x, y, angle, step):
    angles = angle + TURNS
    shares = np.array([[0.4], [0.7], [1.0]]) * step
    values = _sample(best, x + shares * np.cos(angles), y + shares * np.sin(angles)).mean(axis=0)
    scores = values * (1 - TURN_COST * np.abs(TURNS))
    pick = int(np.argmax(scores))
    if values[pick] < FOLLOWED_LEAST:
        return None
    turned = angle + 0.7 * TURNS[pick]
    return x + step * np.cos(angles[pick]), y + step * np.sin(angles[pick]), turned


def _hop(best, x, y, angle, px_m):
    for reach in np.arange(STEP_M, HOP_M + 1e-6, 2 * px_m) / px_m:
        aside = np.arange(-(2 + HOP_SLACK * reach), 2.1 + HOP_SLACK * reach, 1.0)
        to_x = x + reach * np.cos(angle) - aside * np.sin(angle)
        to_y = y + reach * np.sin(angle) + aside * np.cos(angle)
        values = _sample(best, to_x, to_y)
        pick = int(np.argmax(values))
        if values[pick] < HOP_LEAST:
            continue
        onward = _next(best, to_x[pick], to_y[pick], angle, STEP_M / px_m)
        if onward is not None and abs(onward[2] - angle) <= HOP_TURN_RAD:
            return float(to_x[pick]), float(to_y[pick]), angle
    return None


def _sample(layer: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    shape = np.shape(x)
    at_x, at_y = np.reshape(x, (1, -1)).astype(np.float32), np.reshape(y, (1, -1)).astype(np.float32)
    return cv2.remap(layer, at_x, at_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT).reshape(shape)


def _with_depth(evidence: Evidence, path: np.ndarray) -> Line:
    """Depth along a line: the best plane near each of its points."""
    levels = np.stack([_sample(level.astype(np.float32) / 255, path[:, 0], path[:, 1]) for level in evidence.levels])
    size = min(SMOOTHED, len(path))
    kernel = np.ones(size) / size
    padded = np.pad(levels, ((0, 0), (size // 2, size // 2)), mode="edge")
    smooth = np.stack([np.convolve(row, kernel, "valid")[: len(path)] for row in padded])
    top = smooth.max(axis=0)
    weight = np.where(smooth >= DEPTH_SHARE * np.maximum(top, 1e-6), smooth, 0)
    weight = np.where(top > 0, weight, 1.0)
    depth = (weight * evidence.depths_m[:, None]).sum(axis=0) / weight.sum(axis=0)
    spread = np.sqrt((weight * (evidence.depths_m[:, None] - depth) ** 2).sum(axis=0) / weight.sum(axis=0))
    return Line(
        pixels=path,
        evidence=_sample(evidence.best, path[:, 0], path[:, 1]),
        depth_m=depth,
        sigma_depth_m=max(LEAST_SIGMA_DEPTH_M, float(np.median(spread))),
    )
