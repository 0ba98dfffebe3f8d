"""Tubes in one picture: the middle line of the cable, conduit or pipe under a finger.

A tube is a narrow band that differs from what lies on *both* sides of it. One-sided steps
(edges of studs, shadows) and flat places answer nothing. Its colour and its width then find
it again in another picture, along the line on which it must lie there.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

# Share of lightness and of the two colour axes of CIELAB in a difference: light changes from
# picture to picture more than colour does. Chosen on rendered rooms.
LAB_WEIGHT = np.array([0.6, 1.0, 1.0], np.float32)
LAB_NOISE = 1.5
LEAST_CONTRAST = 2.0  # times the noise; below this a band is no tube
DIRECTIONS = 16
REACH_PX = 4.0  # how far from a click its tube may lie
CLICK_PX = 2.0
HALF_LENGTH_PX = 6.0
WIDTH_SHARES = (0.55, 0.7, 0.85, 1.0, 1.2, 1.45)  # of the usual width of its kind
STEP_PX = 0.5
ENOUGH_CONTRAST = 8.0  # more says little more


@dataclass(frozen=True, slots=True, kw_only=True)
class Tube:
    """A piece of a tube: middle [px], unit direction, width [px], CIELAB colour, contrast over noise."""

    center_px: np.ndarray
    direction: np.ndarray
    width_px: float
    lab: np.ndarray
    contrast: float


def to_lab(bgr: np.ndarray) -> np.ndarray:
    """CIELAB (float32, L 0 to 100) of a BGR picture (uint8)."""
    return cv2.cvtColor(bgr.astype(np.float32) / 255, cv2.COLOR_BGR2Lab)


def sample(lab: np.ndarray, points_px: np.ndarray) -> np.ndarray:
    """Bilinear colours (..., 3) at pixels (..., 2) of a picture."""
    flat = points_px.reshape(len(points_px), -1, 2).astype(np.float32)
    found = cv2.remap(lab, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return found.reshape(*points_px.shape[:-1], 3)


class Profile:
    """Colours across a tube: means along it, at steps of ``STEP_PX`` from ``start_px``."""

    def __init__(self, start_px: float, colors: np.ndarray):
        """Take colours of shape (along, across, 3)."""
        self.start_px = start_px
        self.mean = colors.mean(axis=0)
        spread = (colors * LAB_WEIGHT).var(axis=0).sum(axis=-1)
        weighted = ((self.mean * LAB_WEIGHT) ** 2).sum(axis=-1)
        self._sums = np.concatenate(
            [np.zeros((1, 5)), np.cumsum(np.column_stack([self.mean, spread, weighted]), axis=0)]
        )

    def _between(self, low_px: np.ndarray, high_px: np.ndarray) -> np.ndarray:
        """Means over stretches: colour (3), spread along, mean square."""
        count = len(self.mean)
        low = np.clip(np.rint((low_px - self.start_px) / STEP_PX).astype(int), 0, count - 1)
        high = np.clip(np.rint((high_px - self.start_px) / STEP_PX).astype(int) + 1, low + 1, count)
        return (self._sums[high] - self._sums[low]) / (high - low)[:, None]

    def contrast(self, at_px: np.ndarray, width_px: float) -> tuple[np.ndarray, np.ndarray]:
        """How much bands of a width differ from both their sides, over noise (N,), and their colours (N, 3)."""
        half, gap, margin = width_px / 2, max(0.5, 0.15 * width_px), max(1.5, 0.5 * width_px)
        inside = self._between(at_px - half + gap, at_px + half - gap)
        left = self._between(at_px - half - gap - margin, at_px - half - gap)
        right = self._between(at_px + half + gap, at_px + half + gap + margin)
        color = inside[:, :3]
        across = np.maximum(inside[:, 4] - ((color * LAB_WEIGHT) ** 2).sum(axis=1), 0)
        differ = [np.linalg.norm((color - side[:, :3]) * LAB_WEIGHT, axis=1) for side in (left, right)]
        return np.minimum(*differ) / np.sqrt(LAB_NOISE**2 + inside[:, 3] + across), color

    def middle_px(self, at_px: float, width_px: float) -> float:
        """The middle between the two edges of a band, to a part of a pixel."""
        steps = np.linalg.norm(np.gradient(self.mean, axis=0) * LAB_WEIGHT, axis=1) ** 2
        place = self.start_px + STEP_PX * np.arange(len(steps))

        def edge(near_px: float) -> float:
            close = np.abs(place - near_px) <= max(1.0, 0.35 * width_px)
            total = steps[close].sum()
            return float((place[close] * steps[close]).sum() / total) if total > 0 else near_px

        return (edge(at_px - width_px / 2) + edge(at_px + width_px / 2)) / 2


def find_tube(lab: np.ndarray, xy_px: np.ndarray, usual_width_px: float) -> Tube | None:
    """The tube under a click, if a band there differs from both its sides.

    Parameters
    ----------
    lab : ndarray of shape (H, W, 3)
        From ``to_lab``; at least three widths of it around the click.
    xy_px : ndarray of shape (2,)
    usual_width_px : float
        What its kind would measure there.

    Returns
    -------
    Tube or None
    """
    widths = [max(2.5, share * usual_width_px) for share in WIDTH_SHARES]
    half = REACH_PX + 1.65 * widths[-1] + 3
    across = np.arange(-half, half + STEP_PX / 2, STEP_PX)
    along = np.arange(-HALF_LENGTH_PX, HALF_LENGTH_PX + 0.1, 1.5)
    places = np.arange(-REACH_PX, REACH_PX + 0.1, STEP_PX)
    best = None
    for angle in np.arange(DIRECTIONS) * np.pi / DIRECTIONS:
        direction = np.array([np.cos(angle), np.sin(angle)])
        normal = np.array([-direction[1], direction[0]])
        grid = xy_px + along[:, None, None] * direction + across[None, :, None] * normal
        profile = Profile(-half, sample(lab, grid))
        for width in widths:
            contrast, color = profile.contrast(places, width)
            score = ENOUGH_CONTRAST * (1 - np.exp(-contrast / ENOUGH_CONTRAST)) * (0.75 + 0.25 * min(1.0, width / 6))
            score = score - 0.5 * (places / CLICK_PX) ** 2
            k = int(np.argmax(score))
            if best is None or score[k] > best[0]:
                best = (score[k], contrast[k], direction, normal, width, places[k], color[k], profile)
    _, contrast, direction, normal, width, place, color, profile = best
    if contrast < LEAST_CONTRAST:
        return None
    center = xy_px + profile.middle_px(place, width) * normal
    return Tube(center_px=center, direction=direction, width_px=width, lab=color, contrast=float(contrast))
