"""How deep behind the studs' faces lies what is seen inside a rectangle: pictures agree on it at its own depth.

What fills a panel, its breakers, wires and back, lies within its depth. Seen through a wall that is
open behind, the room beyond fills the space between two studs just as well, but the pictures do
not agree on it at any depth that a panel has.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from asbuilt.imaging.sweep import Rectified, part_at

FINE_PX, COARSE_PX = 1.0, 5.0
LEAST_VIEWS, LEAST_SHOWN = 3, 0.5
SURE = 0.99  # of a moved mask
# What is seen inside a panel agrees best within its depth, and clearly better than behind it (rendered panels: at
# least 0.39, and 1.8 times; a room behind a partition: at most 1.4 times).
INSIDE_M, BEHIND_M = (0.0, 0.03, 0.06, 0.09), (0.15, 0.25, 0.4, 0.7, 1.2, 2.0, 3.5)
INSIDE_LEAST, INSIDE_TIMES = 0.3, 1.6


def is_filled(
    views: Sequence[Rectified], grains: Sequence[np.ndarray], rectangle_px: tuple[int, int, int, int]
) -> bool:
    """Whether what is seen inside a panel's mouth lies inside it; not so where too few pictures tell."""
    inside, behind = (likeness_at(views, grains, rectangle_px, depths).max() for depths in (INSIDE_M, BEHIND_M))
    return bool(inside > max(INSIDE_LEAST, INSIDE_TIMES * behind))


def likeness_at(
    views: Sequence[Rectified], grains: Sequence[np.ndarray], rectangle_px: tuple[int, int, int, int],
    depths_m: Sequence[float],
) -> np.ndarray:  # fmt: skip
    """Mean correlation between two pictures of a rectangle (left, top, right, bottom) on planes at some depths.

    Parameters
    ----------
    grains : sequence of ndarray of shape (h, w, 2)
        For each picture, what ``grain`` made of it.

    Returns
    -------
    ndarray of shape (len(depths_m),)
        -1 to 1; 0 where too few pictures show most of the rectangle.
    """
    found = np.zeros(len(depths_m))
    for k, depth_m in enumerate(depths_m):
        parts = [part_at(v, layer, depth_m, rectangle_px) for v, layer in zip(views, grains, strict=True)]
        even = [_even(part) for part in parts if (part[..., 1] > SURE).mean() >= LEAST_SHOWN]
        if len(even) < LEAST_VIEWS:
            continue
        values, masks = (np.stack(of) for of in zip(*even, strict=True))
        together = float((values.sum(axis=0) ** 2 - (values**2).sum(axis=0)).sum())
        pairs = float((masks.sum(axis=0) ** 2 - masks.sum(axis=0)).sum())
        found[k] = together / max(pairs, 1.0)
    return found


def grain(view: Rectified, show: np.ndarray) -> np.ndarray:
    """What is fine in a picture, whatever its light, and where it counts; (h, w, 2).

    ``show`` (h, w) says where: not on a stud, whose edges agree at its own depth.
    """
    light = np.log(view.colors.astype(np.float32).mean(axis=2) + 4)
    fine = cv2.GaussianBlur(light, (0, 0), FINE_PX) - cv2.GaussianBlur(light, (0, 0), COARSE_PX)
    counts = (show & view.within).astype(np.float32)
    return np.dstack([fine * counts, counts])


def _even(part: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Values of mean 0 and deviation 1 where they count, 0 elsewhere; and where they count."""
    mask = part[..., 1] > SURE
    own = part[..., 0][mask]
    values = np.where(mask, (part[..., 0] - own.mean()) / (own.std() + 1e-6), 0)
    return values, mask.astype(np.float32)
