"""Which followed lines are cable or pipe: what stands before the wall is masked, doubles are dropped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.spatial import cKDTree

from asbuilt.imaging.follow_runs import STEP_M, Evidence, Line, follow_all, follow_faint, gather, unfold
from asbuilt.imaging.jackets import LIKE, SHEATHS, likeness, ridges
from asbuilt.imaging.line_proofs import Proof, called, proofs
from asbuilt.imaging.sweep import Rectified, onto_depth

CABLE_M, CONDUIT_M = 0.010, 0.0225  # widths that ridges are looked for at
DRAIN, DRAIN_M = "drain", 0.058  # outside of a usual drain pipe, white or grey (common practice, no source)
THICK = ("black", "pale", "blue", "red")  # comes as heavy cable, conduit and pipe, too
DEPTH_STEP_M, NEAREST_M = 0.019, 0.012
SHORTEST_M = 0.15
# Strength of the strongest spot and mean along a line: below it what is followed in rendered rooms is mostly noise.
LEAST = {"neutral": (0.12, 0.12), "yellow": (0.10, 0.13), "orange": (0.12, 0.16),
         "blue": (0.20, 0.15), "red": (0.35, 0.28), DRAIN: (0.40, 0.34)}  # fmt: skip
USUAL = {"neutral": 0.19, "yellow": 0.15, "orange": 0.22, "blue": 0.28, "red": 0.28, DRAIN: 0.34}  # to compare by
# How much a line differs from both its sides (``line_proofs``). Where pictures show but one of them, as beside a
# stud, the line itself must be firmer. Away from studs less contrast will do for colours that wood there never has,
# and even beside them for what is neutral: wood is not, in any light.
CONTRAST = {"neutral": 0.17, "yellow": 0.12, "orange": 0.10, "blue": 0.25}
ONE_SIDED = {"neutral": 0.20, "yellow": 0.24, "orange": 0.24, "blue": 0.25}
FREE = {"yellow": 0.13, "orange": 0.18}
NEUTRAL_BY_WOOD = 0.04
FAINT_COLORS = ("yellow",)  # edges of wood look orange, shadows and far walls neutral
FAINT_STRAIGHT = 0.6  # times both, for what runs straight on by itself, as along a stud, and shows both sides
DRAIN_SHORTEST_M, DRAIN_SIDE_M = 0.4, 0.055  # its rims look like cables
AT_RIM_SHARE, AT_RIM_FIRM = 0.5, 0.35  # a line that fits best on the first or last plane lies outside the wall
IN_WOOD_SHARE = 0.6
BY_WOOD_M = 0.014
DOUBLE_M, DOUBLE_SHARE = 0.018, 0.5
GHOST_M, GHOST_SHARE, GHOST_DEPTH_M = 0.04, 0.8, 0.012  # a weaker double at a wrong depth
LEAST_BOTH = 2
THIN_COST = 1.5  # a white cable is a faint wide line, too, but a clear thin one
THIN_SHARE = 0.6  # of a wide line's evidence; drains of rendered rooms stay below 0.3
DRAIN_UPRIGHT, DRAIN_LONG_M = 0.8, 1.2  # a short pale bar across is a rung or a shelf
FLOOR_M, TOP_PLATES_M = 0.13, 0.07  # lines no higher belong to the floor and the sole plate, no lower to top plates
# What runs on before a stud's face stands in the room: a ladder, a board leant on the wall.
BEFORE_DEPTH_M, BEFORE_REACH_M, BEFORE_SHARE, BEFORE_LEAST = -0.02, 0.08, 0.5, 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Run:
    """A run on a face: (offset, height, depth) of its points (N, 3) [m], colour or unsure, strength 0 to 1."""

    points_m: np.ndarray
    sheath: str
    strength: float
    sigma_depth_m: float
    radius_m: float


def find_runs(
    views: Sequence[Rectified], ridged: Sequence[np.ndarray], shows: Sequence[np.ndarray], wood: np.ndarray,
    px_m: float, top_m: float, stud_depth_m: float,
) -> list[Run]:  # fmt: skip
    """Runs inside a wall.

    Parameters
    ----------
    ridged : sequence of ndarray of shape (h, w, len(SHEATHS) + 1)
        For each picture, what ``ridge_layers`` made of it.
    shows : sequence of ndarray of shape (h, w), bool
        For each picture, which pixels can show something inside the wall: no stud, paper, box or opening.
    wood : ndarray of shape (rows, cols), bool
        Where studs stand: a run crosses one, but does not run on inside it.
    """
    layers = [np.dstack([ridge * s[..., None], s * np.uint8(255)]) for ridge, s in zip(ridged, shows, strict=True)]
    last_m = stud_depth_m - NEAREST_M
    depths = np.linspace(NEAREST_M, last_m, max(3, round((last_m - NEAREST_M) / DEPTH_STEP_M) + 1))
    before = _on_faces(views, ridged, wood.shape)
    reach = 2 * round(BY_WOOD_M / px_m) + 1
    by_wood = cv2.dilate(wood.astype(np.uint8), np.ones((1, reach), np.uint8)) > 0
    every = dict(zip((*SHEATHS, DRAIN), gather(views, layers, depths, *wood.shape), strict=True))
    followed = [
        (name, line)
        for name, evidence in every.items()
        for line in _followed(name, evidence, px_m)
        if _inside(line, evidence.depths_m) and not _in_wood(line, wood)
        and not (name == DRAIN and _thin(line, every["neutral"].best))  # a cable
    ]  # fmt: skip
    found = []
    for (name, line), proof in zip(followed, proofs(views, shows, followed, px_m), strict=True):
        beside = _in_wood(line, by_wood)
        if name in CONTRAST and not (proof and proven(name, line, proof, beside)):
            continue
        if beside or not _before_wood(line, before[..., (*SHEATHS, DRAIN).index(name)], wood, px_m):
            sheath = "white" if name == DRAIN else called(name, proof)
            found.append((float(line.evidence.mean()) / USUAL[name], name, sheath, line))
    return [_run(name, sheath, line, px_m, top_m) for _, name, sheath, line in _single(found, px_m, top_m)]


def _followed(name: str, evidence: Evidence, px_m: float) -> list[Line]:
    """Lines of one colour, strongest first; the faint ones last."""
    seed, mean = LEAST[name]
    shortest_m = DRAIN_SHORTEST_M if name == DRAIN else SHORTEST_M
    lines = follow_all(evidence, px_m, seed, shortest_m, mean)
    if name in FAINT_COLORS:
        lines += follow_faint(evidence, px_m, FAINT_STRAIGHT * seed, FAINT_STRAIGHT * mean, lines)
    unfolded = [line if name == DRAIN else unfold(line, px_m) for line in lines]
    return [line for line in unfolded if len(line.pixels) * STEP_M >= shortest_m]


def proven(name: str, line: Line, proof: Proof, beside: bool) -> bool:
    """Whether pictures show a line as something of its colour between its two sides."""
    evidence = float(line.evidence.mean())
    if line.faint:
        return proof.both >= LEAST_BOTH and proof.contrast >= CONTRAST[name]
    least = LEAST[name][1] if proof.both >= LEAST_BOTH else ONE_SIDED[name]
    if proof.contrast >= CONTRAST[name] and evidence >= least:
        return True
    if beside:
        return name == "neutral" and proof.contrast >= NEUTRAL_BY_WOOD
    return proof.contrast >= 0 and evidence >= FREE.get(name, np.inf)


def _thin(line: Line, pale: np.ndarray) -> bool:
    """Whether a wide pale line shows as a thin one along its middle, too: a drain is five times as wide as a cable."""
    col, row = (np.clip(np.rint(v).astype(int), 0, n - 1) for v, n in zip(line.pixels.T, pale.shape[::-1], strict=True))
    middle = cv2.dilate(pale, np.ones((5, 5)))[row, col]
    return float(middle.mean()) > THIN_SHARE * float(line.evidence.mean())


def _on_faces(views: Sequence[Rectified], ridged: Sequence[np.ndarray], shape: tuple[int, int]) -> np.ndarray:
    """Mean of the ridges just before the studs' faces, nothing masked; (rows, cols, colours) float32, 0 to 1."""
    colors = ridged[0].shape[2]
    total, count = np.zeros((*shape, colors), np.float32), np.zeros(shape, np.float32)
    for view, ridge in zip(views, ridged, strict=True):
        for first in range(0, colors, 4):
            placed = onto_depth(view, ridge[..., first : first + 4], BEFORE_DEPTH_M, *shape)
            if placed is not None:
                total[..., first : first + 4][placed[0]] += placed[1]
        placed = onto_depth(view, view.within.astype(np.float32), BEFORE_DEPTH_M, *shape)
        if placed is not None:
            count[placed[0]] += placed[1]
    return total / (255 * np.maximum(count, 1))[..., None]


def _before_wood(line: Line, before: np.ndarray, wood: np.ndarray, px_m: float) -> bool:
    """Whether a line, carried on straight beyond its ends, goes on before the face of a stud."""
    steps = np.arange(1, BEFORE_REACH_M / STEP_M * 2) * STEP_M / 2 / px_m
    spots = [line.pixels]
    for end, tail in ((line.pixels[0], line.pixels[:5]), (line.pixels[-1], line.pixels[-5:][::-1])):
        way = end - tail[-1] if len(tail) > 1 else np.zeros(2)
        spots.append(end + steps[:, None] * way / max(float(np.linalg.norm(way)), 1e-9))
    spots = np.rint(np.concatenate(spots)).astype(int)
    inside = (spots >= 0).all(axis=1) & (spots < np.array(wood.shape[::-1])).all(axis=1)
    col, row = spots[inside].T
    crossed = wood[row, col]
    if crossed.sum() < BEFORE_LEAST:
        return False
    around = cv2.dilate(before, np.ones((7, 7)))[row[crossed], col[crossed]]
    return float(np.median(around)) > BEFORE_SHARE * float(line.evidence.mean())


def ridge_layers(view: Rectified, px_m: float) -> np.ndarray:
    """How much each pixel lies on a line of each sheath colour, and on a drain; (h, w, len(SHEATHS) + 1) uint8."""
    found = dict(zip(LIKE, np.moveaxis(likeness(view, px_m), 2, 0), strict=True))
    ridge = {name: ridges(layer, CABLE_M / px_m) for name, layer in found.items()}
    for name in THICK:
        ridge[name] = np.maximum(ridge[name], ridges(found[name], CONDUIT_M / px_m))
    layers = [np.maximum.reduce([ridge["white"], ridge["black"], ridge["pale"]])]
    layers += [ridge[name] for name in SHEATHS[1:]]
    thin = cv2.GaussianBlur(np.maximum(ridge["white"], ridge["pale"]), (0, 0), DRAIN_M / 4 / px_m)
    wide = ridges(np.maximum(found["white"], found["pale"]), DRAIN_M / px_m)
    layers.append(np.clip(wide - THIN_COST * thin, 0, 1))
    return np.clip(np.dstack(layers) * 255, 0, 255).astype(np.uint8)


def _inside(line: Line, depths_m: np.ndarray) -> bool:
    near = (depths_m[1] - depths_m[0]) / 4
    if (line.depth_m > depths_m[-1] - near).mean() > AT_RIM_SHARE:  # a seam of the sheathing
        return False
    return (line.depth_m < depths_m[0] + near).mean() < AT_RIM_SHARE or float(line.evidence.mean()) > AT_RIM_FIRM


def _in_wood(line: Line, wood: np.ndarray) -> bool:
    col, row = (np.clip(np.rint(v).astype(int), 0, n - 1) for v, n in zip(line.pixels.T, wood.shape[::-1], strict=True))
    return wood[row, col].mean() > IN_WOOD_SHARE


def _single(found: list[tuple[float, str, str, Line]], px_m: float, top_m: float) -> list[tuple[float, str, str, Line]]:
    """Of lines that lie on one another, the clearest; none along the floor or on the top plates."""
    kept: list[tuple[float, str, str, Line]] = []
    taken, clear, beside, depth = np.zeros((0, 2)), np.zeros(0), np.zeros(0), np.zeros(0)
    for share, name, sheath, line in sorted(found, key=lambda f: (f[1] != DRAIN, -f[0] * len(f[3].pixels) ** 0.5)):
        height_m = top_m - line.pixels[:, 1] * px_m
        if height_m.max() < FLOOR_M or height_m.min() > top_m - TOP_PLATES_M:
            continue
        if len(taken):
            apart, nearest = cKDTree(taken).query(line.pixels)
            weaker = line.evidence.mean() < GHOST_SHARE * clear[nearest]
            ghost = (apart * px_m < GHOST_M) & weaker & (np.abs(line.depth_m - depth[nearest]) > GHOST_DEPTH_M)
            if (ghost | (apart * px_m < beside[nearest])).mean() > DOUBLE_SHARE:
                continue
        if name == DRAIN and not _like_a_drain(line, len(line.pixels) * STEP_M):
            continue
        kept.append((share, name, sheath, line))
        spots = np.ones(len(line.pixels))
        taken, depth = np.concatenate([taken, line.pixels]), np.concatenate([depth, line.depth_m])
        clear = np.concatenate([clear, spots * (0.0 if name == DRAIN else line.evidence.mean())])
        beside = np.concatenate([beside, spots * (DRAIN_SIDE_M if name == DRAIN else DOUBLE_M)])
    return kept


def _like_a_drain(line: Line, length_m: float) -> bool:
    way = np.abs(line.pixels[-1] - line.pixels[0])
    return length_m >= DRAIN_LONG_M or float(way[1]) > DRAIN_UPRIGHT * float(np.linalg.norm(way))


def _run(name: str, sheath: str, line: Line, px_m: float, top_m: float) -> Run:
    offset, height = (line.pixels[:, 0] + 0.5) * px_m, top_m - (line.pixels[:, 1] + 0.5) * px_m
    return Run(
        points_m=np.stack([offset, height, line.depth_m], axis=1),
        sheath=sheath,
        strength=min(1.0, float(line.evidence.mean())),
        sigma_depth_m=line.sigma_depth_m,
        radius_m=(DRAIN_M if name == DRAIN else CABLE_M) / 2,
    )


def without(
    view: Rectified, rectangles_px: Sequence[tuple[float, float, float, float]], margin_px: float
) -> np.ndarray:
    """Which pixels of a picture lie in none of some rectangles (left, top, right, bottom) on the stud plane."""
    show = np.ones(view.within.shape, np.uint8)
    for left, top, right, bottom in rectangles_px:
        first = round(left - margin_px) - view.col, round(top - margin_px) - view.row
        last = round(right + margin_px) - view.col, round(bottom + margin_px) - view.row
        cv2.rectangle(show, first, last, 0, -1)
    return show > 0


def hide_hollows(
    view: Rectified, show: np.ndarray, mouths_px: Sequence[tuple[float, float, float, float]],
    depths_m: tuple[float, float], margin_px: float,
) -> None:  # fmt: skip
    """Take out of ``show`` what boxes (left, top, right, bottom at their place) between two depths stand before."""
    foot = np.array(view.foot_px)
    for left, top, right, bottom in mouths_px:
        corners = np.array(
            [[left - margin_px, top - margin_px], [right + margin_px, top - margin_px],
             [right + margin_px, bottom + margin_px], [left - margin_px, bottom + margin_px]]
        )  # fmt: skip
        seen = [foot + (corners - foot) * view.distance_m / (view.distance_m + d) for d in depths_m]
        hull = cv2.convexHull(np.concatenate(seen).astype(np.float32)) - np.array([view.col, view.row])
        mask = show.astype(np.uint8)
        cv2.fillConvexPoly(mask, np.round(hull).astype(np.int32), 0)
        show[:] = mask > 0
