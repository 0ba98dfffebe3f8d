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


def likeness_at(
    views: Sequence[Rectified], shows: Sequence[np.ndarray], rectangle_px: tuple[int, int, int, int],
    depths_m: Sequence[float],
) -> np.ndarray:  # fmt: skip
    """Mean correlation between two pictures of a rectangle (left, top, right, bottom) on planes at some depths.

    Parameters
    ----------
    shows : sequence of ndarray of shape (h, w), bool
        For each picture, which pixels count: no stud, whose edges are the same at its own depth.

    Returns
    -------
    ndarray of shape (len(depths_m),)
        -1 to 1; 0 where too few pictures show most of the rectangle.
    """
    layers = [_grain(view, show) for view, show in zip(views, shows, strict=True)]
    found = np.zeros(len(depths_m))
    for k, depth_m in enumerate(depths_m):
        parts = [part_at(v, layer, depth_m, rectangle_px) for v, layer in zip(views, layers, strict=True)]
        even = [_even(part) for part in parts if (part[..., 1] > SURE).mean() >= LEAST_SHOWN]
        if len(even) < LEAST_VIEWS:
            continue
        values, masks = (np.stack(of) for of in zip(*even, strict=True))
        together = float((values.sum(axis=0) ** 2 - (values**2).sum(axis=0)).sum())
        pairs = float((masks.sum(axis=0) ** 2 - masks.sum(axis=0)).sum())
        found[k] = together / max(pairs, 1.0)
    return found


def _grain(view: Rectified, show: np.ndarray) -> np.ndarray:
    """What is fine in a picture, whatever its light, and where it counts; (h, w, 2)."""
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
