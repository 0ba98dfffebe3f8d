"""Device boxes and panels in rectified pictures: hollows of plastic or steel proud of the studs.

On the plane of a box's rim every picture shows its mouth in one place, while what sticks back from
the rim shows beside it, on the side away from the camera. What each picture should show of a box
of a size follows from where it was taken; the box that explains them best is taken.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from asbuilt.imaging.sweep import Rectified, layer_from_plane, mean_at

# Outer sizes of device boxes (common practice, no source).
BOX_HEIGHT_M, BOX_BACK_M = 0.095, 0.076
BACKS_M = (0.030, 0.055, BOX_BACK_M)  # how much of its depth shows: a light side is not told from wood
GANG_WIDTHS_M = {1: 0.057, 2: 0.102, 3: 0.148, 4: 0.194}
RIM_DEPTH_M = -0.018  # set proud for board and a little more (common practice, no source)
PANEL_LEAST_M, PANEL_MOST_M = (0.25, 0.40), (0.50, 1.1)
HOLE_M = (0.19, 0.09)
MOUTH_LEAST, PARTED_LEAST = 0.6, 0.5  # share of the pictures that show no wood there
FILLED_LEAST, ROUND_LEAST, ASLANT_LEAST = 0.72, 0.85, 0.58  # of the upright rectangle, or of the hull and it
MISFIT_MOST = 0.75  # of a box of one gang
LEAST_VIEWS = 2
STEP_PX = 2
PANEL_ROUNDS = 8
PANEL_FLUSH_M = 0.045  # a panel this near to a stud's side is nailed to it; the stud hides its rim


@dataclass(frozen=True, slots=True, kw_only=True)
class Mouth:
    """A box's mouth on the plane of its rim [m]: middle from the left and top of the face, size."""

    x_m: float
    y_m: float
    width_m: float
    height_m: float
    gangs: int | None  # None: a panel
    misfit: float  # mean difference from what the pictures should show, 0 to 1
    view_count: int
    picture_ids: tuple[str, ...]


def find_mouths(
    views: Sequence[Rectified],
    layers: Sequence[np.ndarray],
    rows: int,
    cols: int,
    px_m: float,
    barred: np.ndarray,
    wood: np.ndarray,
    settle: Callable[[Mouth], Mouth | None],
) -> list[Mouth]:
    """Boxes on a face.

    Parameters
    ----------
    layers : sequence of ndarray of shape (h, w, C)
        For each picture, how surely each pixel is no wood, in ways that are tried in turn: what
        lies behind a box may be grey, too.
    barred : ndarray of shape (rows, cols), bool
        Where no box is looked for: openings, paper.
    wood : ndarray of shape (rows, cols), bool
        Faces of studs: they hide what of a box lies behind them.
    settle : callable
        Sets a box against its stud; None where it is none. Of those that overlap the best explained is kept.
    """
    means, count = mean_at(views, layers, RIM_DEPTH_M, rows, cols)
    means[(count < LEAST_VIEWS) | barred] = 0
    fits = [
        _fit(views, mean, count >= LEAST_VIEWS, wood, box, px_m)
        for mean in np.moveaxis(means, 2, 0)
        for box in _blobs(mean, px_m)
    ]
    settled = [m for f in fits if f is not None and (m := settle(f)) is not None]
    found: list[Mouth] = []
    for mouth in sorted(settled, key=lambda m: m.misfit):
        if not any(_overlap(mouth, f) for f in found):
            found.append(mouth)
    return found


def _overlap(one: Mouth, other: Mouth) -> bool:
    wide, high = (one.width_m + other.width_m) / 2, (one.height_m + other.height_m) / 2
    return abs(one.x_m - other.x_m) < wide and abs(one.y_m - other.y_m) < high


def _blobs(mean: np.ndarray, px_m: float) -> list[tuple[int, int, int, int]]:
    """Left, top, width and height of filled, upright patches of the size of a box or a panel."""
    size = round(0.022 / px_m)
    found = []
    # A box before something grey is one patch with it at a low level, and apart at a high one.
    # A cable that comes down before its mouth parts it, and the last closes that.
    for level, gap_m in ((MOUTH_LEAST, 0.012), (0.75, 0.012), (0.88, 0.012), (PARTED_LEAST, 0.032)):
        joined = np.ones((round(gap_m / px_m),) * 2, np.uint8)
        solid = cv2.morphologyEx((mean > level).astype(np.uint8), cv2.MORPH_CLOSE, joined)
        solid = cv2.morphologyEx(_filled(solid, px_m), cv2.MORPH_OPEN, np.ones((size, size), np.uint8))
        _, labels, stats, _ = cv2.connectedComponentsWithStats(solid)
        for k, (left, top, width, height, area) in enumerate(stats[1:], 1):
            wide, high = width * px_m, height * px_m
            boxlike = 0.045 < wide < 0.26 and 0.06 < high < 0.16
            panellike = PANEL_LEAST_M[0] < wide < PANEL_LEAST_M[1] and PANEL_MOST_M[0] < high < PANEL_MOST_M[1]
            if not (boxlike or panellike):
                continue
            own = labels[top : top + height, left : left + width] == k
            if area > FILLED_LEAST * width * height or (boxlike and _aslant(own)):
                found.append((int(left), int(top), int(width), int(height)))
    return _apart(found)


def _filled(solid: np.ndarray, px_m: float) -> np.ndarray:
    """A mask without holes smaller than a box: wires in a box are bright, and a cable may cross its mouth."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(1 - solid, connectivity=4)
    small = (stats[:, cv2.CC_STAT_WIDTH] * px_m < HOLE_M[0]) & (stats[:, cv2.CC_STAT_HEIGHT] * px_m < HOLE_M[1])
    small[0] = False
    return solid | small[labels].astype(np.uint8)


def _aslant(own: np.ndarray) -> bool:
    """Whether a patch is as compact as a box that every picture shows from the same side, one of its sides with it."""
    outline = max(cv2.findContours(own.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[0], key=len)
    hull = float(cv2.contourArea(cv2.convexHull(outline)))
    return own.sum() > max(ROUND_LEAST * hull, ASLANT_LEAST * own.size)


def _apart(found: list[tuple[int, int, int, int]]) -> list[tuple[int, int, int, int]]:
    kept: list[tuple[int, int, int, int]] = []
    for box in found:
        middle = box[0] + box[2] / 2, box[1] + box[3] / 2
        if not any(
            k[0] <= middle[0] <= k[0] + k[2] and k[1] <= middle[1] <= k[1] + k[3] for k in kept
        ):  # fmt: skip
            kept.append(box)
    return kept


def _fit(views, mean, seen, wood, box, px_m: float) -> Mouth | None:
    left, top, width, height = box
    middle = left + width / 2 - 0.5, top + height / 2 - 0.5
    shown = [v for v in views if _shows(v, middle)]
    if len(shown) < LEAST_VIEWS:
        return None
    ids = tuple(v.picture_id for v in sorted(shown, key=lambda v: _aside(v, middle))[:6])
    if width * px_m >= PANEL_LEAST_M[0]:
        sides = _panel_sides(shown, mean, seen, wood, box, px_m)
        return Mouth(
            x_m=(sides[0] + sides[2] + 1) / 2 * px_m, y_m=(sides[1] + sides[3] + 1) / 2 * px_m,
            width_m=(sides[2] - sides[0]) * px_m, height_m=(sides[3] - sides[1]) * px_m, gangs=None, misfit=0.0,
            view_count=len(shown), picture_ids=ids,
        )  # fmt: skip
    margin = round(0.05 / px_m)
    window = np.s_[
        max(top - margin, 0) : top + height + margin, max(left - margin, 0) : left + width + margin
    ]  # fmt: skip
    target, seen, free = mean[window], seen[window], seen[window] & ~wood[window]
    origin = window[1].start, window[0].start
    hidden = [_hidden(view, wood, origin, target.shape) for view in shown]
    best = None
    for gangs, wide_m in GANG_WIDTHS_M.items():
        if wide_m / px_m > width + 6:
            continue
        size = wide_m / px_m, BOX_HEIGHT_M / px_m
        trial = _search(shown, hidden, target, seen, origin, size, box, px_m, (BOX_BACK_M,))
        if best is None or trial[0] < best[0]:
            best = (*trial, gangs, wide_m)
    if best is None:
        return None
    *_, gangs, wide_m = best
    size = wide_m / px_m, BOX_HEIGHT_M / px_m
    # A stud's face in half shade looks like no wood, which would push the box aside.
    misfit, x, y = _search(shown, hidden, target, free, origin, size, box, px_m, BACKS_M)
    # Outlines err along their length: of a wide box that is a smaller share.
    if misfit > MISFIT_MOST * (1 / wide_m + 1 / BOX_HEIGHT_M) / (1 / GANG_WIDTHS_M[1] + 1 / BOX_HEIGHT_M):
        return None
    return Mouth(x_m=(x + 0.5) * px_m, y_m=(y + 0.5) * px_m, width_m=wide_m, height_m=BOX_HEIGHT_M, gangs=gangs,
                 misfit=misfit, view_count=len(shown), picture_ids=ids)  # fmt: skip


def _panel_sides(shown, mean, seen, wood, box, px_m: float) -> list[float]:
    """Left, top, right and bottom [px] of a panel's mouth: moved in where a patch shows the panel's side, too.

    Not so beside a stud, to which it is nailed and which hides its side.
    """
    left, top, width, height = box
    beside, middle = round(PANEL_FLUSH_M / px_m), top + height // 2
    by_wood = [wood[middle, max(c - beside, 0) : c + beside].any() for c in (left, left + width)]
    free = [k for k, held in zip((0, 2), by_wood, strict=True) if not held]
    margin = round(0.05 / px_m)
    window = np.s_[max(top - margin, 0) : top + height + margin, max(left - margin, 0) : left + width + margin]
    origin, best = (window[1].start, window[0].start), None
    for back_m in BACKS_M:
        sides = [left - 0.5, top - 0.5, left + width - 0.5, top + height - 0.5]
        for step in (4.0, 2.0, 1.0):
            for _ in range(PANEL_ROUNDS):
                trials = [sides] + [
                    [v + step * turn * (j == k) for j, v in enumerate(sides)] for k in free for turn in (-1, 1)
                ]
                worth = [_misfit_of_sides(shown, mean[window], seen[window], origin, t, px_m, back_m) for t in trials]
                sides = trials[int(np.argmin(worth))]
        found = (min(worth), sides)
        best = found if best is None or found < best else best
    return best[1]


def _misfit_of_sides(shown, target, seen, origin, sides, px_m: float, back_m: float) -> float:
    size = sides[2] - sides[0], sides[3] - sides[1]
    middle = (sides[0] + sides[2]) / 2, (sides[1] + sides[3]) / 2
    nothing = [None] * len(shown)  # a panel's sides beside studs are not moved
    return _misfit(shown, nothing, target, seen, origin, middle, size, px_m, back_m) * size[0] * size[1]


def _shows(view: Rectified, middle: tuple[float, float]) -> bool:
    row, col = round(middle[1]) - view.row, round(middle[0]) - view.col
    return 0 <= row < view.within.shape[0] and 0 <= col < view.within.shape[1] and bool(view.within[row, col])


def _aside(view: Rectified, middle: tuple[float, float]) -> float:
    """How far from square-on a picture shows a place."""
    return float(np.hypot(middle[0] - view.foot_px[0], middle[1] - view.foot_px[1]))


def _hidden(view: Rectified, wood: np.ndarray, origin: tuple[int, int], shape: tuple[int, int]) -> np.ndarray:
    """Where, on the plane of the rim, a picture shows the face of a stud, which hides the sides of a box beside it."""
    matrix = layer_from_plane(view, RIM_DEPTH_M, origin, (0, 0))
    flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    return cv2.warpAffine(wood.astype(np.uint8), matrix, shape[::-1], flags=flags) > 0


def _search(
    shown, hidden, target, seen, origin, size, box, px_m: float, backs_m: Sequence[float]
) -> tuple[float, float, float]:
    """Where a mouth of a size explains the pictures best: misfit, and its middle [px]."""
    left, top, width, height = box
    low_x, high_x = left + size[0] / 2 - 4, left + width - size[0] / 2 + 4
    low_y, high_y = top + size[1] / 2 - 4, top + height - size[1] / 2 + 4
    grid = [
        (_misfit(shown, hidden, target, seen, origin, (x, y), size, px_m, back), x, y, back)
        for back in backs_m
        for x in np.arange(low_x, max(high_x, low_x) + 0.1, 2 * STEP_PX)
        for y in np.arange(low_y, max(high_y, low_y) + 0.1, 2 * STEP_PX)
    ]
    best = min(grid)
    back = best[3]
    for step in (STEP_PX, 1.0):
        around = [(best[1] + i * step, best[2] + j * step) for i in (-1, 0, 1) for j in (-1, 0, 1)]
        trials = [(_misfit(shown, hidden, target, seen, origin, p, size, px_m, back), *p, back) for p in around]
        best = min([best, *trials])
    return best[:3]


def _misfit(shown, hidden, target, seen, origin, middle, size, px_m: float, back_m: float) -> float:
    """Mean difference of what the pictures show and what they should, as a share of the mouth."""
    corners = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]]) * size + middle
    mouth = np.round((corners - origin) * 16).astype(np.int32)
    model = np.zeros(target.shape, np.float32)
    for view, behind_stud in zip(shown, hidden, strict=True):
        rim, back = view.distance_m + RIM_DEPTH_M, view.distance_m + RIM_DEPTH_M + back_m
        # Feet are given on the stud plane; a spot straight ahead is the same on every plane.
        behind = np.array(view.foot_px) + (corners - view.foot_px) * rim / back
        outline = cv2.convexHull(np.concatenate([corners, behind]).astype(np.float32)) - np.array(origin)
        one = np.zeros(target.shape, np.float32)
        cv2.fillConvexPoly(one, np.round(outline * 16).astype(np.int32), 1.0, lineType=cv2.LINE_8, shift=4)
        if behind_stud is not None:
            one[behind_stud] = 0
            cv2.fillConvexPoly(one, mouth, 1.0, lineType=cv2.LINE_8, shift=4)
        model += one
    model /= len(shown)
    return float(np.abs(model - target)[seen].sum() / (size[0] * size[1]))
