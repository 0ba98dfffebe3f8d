"""What pictures show across a followed line: a cable differs from what lies on both of its sides.

The edge of another room's floor, seen through an open wall, or the rim of a pipe differs from one
side only; the shaded side of a stud is seen beside the stud's face, which hides all beyond it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from asbuilt.imaging.follow_runs import Line
from asbuilt.imaging.jackets import evened
from asbuilt.imaging.sweep import Rectified, scale_at

STEP_M = 0.0025
REACH = 12  # steps to either side
HALF, GAP, SIDE = 1, 4, 5  # steps: half of what counts as the line, from there to its sides, and their width
WANDER = 3  # steps that a picture may lie aside: errors of placing
WANDER_COST = 0.01
LEAST_SHOWN, LEAST_SPOTS = 0.25, 4
# Lightness against what lies around by which neutral sheath is named; between them lie white in shade, grey, and black
# in bright light. Redder than so many times its yellowness are copper and red, and orange in red light.
WHITE_LIGHT, BLACK_LIGHT, RED_SHARE = 0.05, -0.55, 1.2
PLAIN_LIGHT, DARK = 0.05, -0.35  # lighter or darker than around, a neutral line shows by that alone
DARK_SHARE = 0.5  # shade is dark, too


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What pictures show across a line, medians weighted with how much of it each shows.

    ``contrast`` is how much it differs from the side it differs from least, in the way its colour
    differs from wood, a logarithm; where at least two pictures show both sides, theirs if that is
    more. ``light``, ``yellow`` and ``red`` are the line's own, see ``jackets.evened``.
    """

    both: int  # how many pictures show both sides
    contrast: float
    light: float
    yellow: float
    red: float


def proofs(
    views: Sequence[Rectified], shows: Sequence[np.ndarray], named: Sequence[tuple[str, Line]], px_m: float
) -> list[Proof | None]:
    """What is to be seen across each line of a colour; None where no picture shows a side of it."""
    seen: list[list[tuple[float, ...]]] = [[] for _ in named]
    for view, show in zip(views, shows, strict=True):
        tints, shown = np.dstack(evened(view, px_m)).astype(np.float32), show.astype(np.float32)
        for k, (name, line) in enumerate(named):
            found = _across(view, tints, shown, name, line, px_m)
            if found is not None:
                seen[k].append(found)
    return [_proof(np.array(rows)) if rows else None for rows in seen]


def called(name: str, proof: Proof | None) -> str:
    """What a line followed as one of some class of colours is called: white, yellow, orange, black, or unsure."""
    if proof is None:
        return "unsure" if name == "neutral" else name
    if name == "neutral" or (name == "blue" and proof.light < BLACK_LIGHT):
        if proof.light > WHITE_LIGHT:
            return "white"
        return "black" if proof.light < BLACK_LIGHT else "unsure"
    return "unsure" if name == "orange" and proof.red > RED_SHARE * proof.yellow else name


def _proof(rows: np.ndarray) -> Proof:
    sides, contrast, weight = rows[:, 0], rows[:, 1], rows[:, 5]
    two = sides == 2
    most = _median(contrast, weight)
    if two.sum() >= 2:
        most = max(most, _median(contrast[two], weight[two]))
    light, yellow, red = (_median(rows[:, k], weight) for k in (2, 3, 4))
    return Proof(both=int(two.sum()), contrast=most, light=light, yellow=yellow, red=red)


def _across(
    view: Rectified, tints: np.ndarray, shown: np.ndarray, name: str, line: Line, px_m: float
) -> tuple[float, ...] | None:
    """In one picture: sides shown, contrast, light, yellow and red of the line, and how many spots show it."""
    way = np.gradient(line.pixels, axis=0)
    normal = np.stack([-way[:, 1], way[:, 0]], axis=1) / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-9)
    aside = np.arange(-REACH, REACH + 1) * STEP_M / px_m
    spots = line.pixels[:, None] + aside[None, :, None] * normal[:, None]
    scale = np.array([scale_at(view, float(d)) for d in line.depth_m])[:, None, None]
    at = (np.array(view.foot_px) + (spots - view.foot_px) / scale - (view.col, view.row)).astype(np.float32)
    told = cv2.remap(shown, at[..., 0], at[..., 1], cv2.INTER_LINEAR) > 0.99
    count = told.sum(axis=0).astype(float)
    if count[REACH] < LEAST_SPOTS:
        return None
    total = (cv2.remap(tints, at[..., 0], at[..., 1], cv2.INTER_LINEAR) * told[..., None]).sum(axis=0)

    def mean(first: int, last: int) -> np.ndarray | None:
        first, last = max(first, 0), min(last, len(count))
        if count[first:last].sum() < LEAST_SHOWN * count[REACH] * (last - first):
            return None
        return total[first:last].sum(axis=0) / count[first:last].sum()

    def sides(middle: int) -> list[np.ndarray | None]:
        near = HALF + GAP
        return [mean(middle - near - SIDE + 1, middle - near + 1), mean(middle + near, middle + near + SIDE)]

    have = [side is not None for side in sides(REACH)]
    best = None
    for wander in range(-WANDER, WANDER + 1):
        own = mean(REACH + wander - HALF, REACH + wander + HALF + 1)
        beside = [side for side, told_of in zip(sides(REACH + wander), have, strict=True) if told_of]
        if own is None or not beside or any(side is None for side in beside):
            continue
        contrast = min(_apart(name, own, side) for side in beside) - WANDER_COST * abs(wander)
        if best is None or contrast > best[1]:
            best = (float(len(beside)), contrast, *(float(v) for v in own), float(count[REACH]))
    return best


def _apart(name: str, own: np.ndarray, side: np.ndarray) -> float:
    """How much a line's tints differ from those beside it in the way its colour differs from wood."""
    light, yellow, red = (float(v) for v in own - side)
    if name == "neutral":
        plain = light if own[0] > PLAIN_LIGHT else -DARK_SHARE * light if own[0] < DARK else -np.inf
        return max(-yellow, plain)
    if name == "yellow":
        return yellow - 0.7 * red
    if name == "blue":
        return -yellow - 0.5 * red
    return 0.3 * yellow + red


def _median(values: np.ndarray, weight: np.ndarray) -> float:
    order = np.argsort(values)
    below = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(below, below[-1] / 2)])
