"""How usable one picture is: light, sharpness and structure, from its luma alone.

Everything works on a small copy, so that a picture of any size costs the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

# Width that pictures are shrunk to before anything is measured; fine enough that a smear of
# a few pixels in a 1080p frame still shows.
ANALYSIS_WIDTH_PX = 960
LEVEL_COUNT = 4  # 960, 480, 240, 120
ENOUGH_ROWS = 200  # for a mean gradient

# A picture with a mean luma below this shows a person next to nothing. Common practice, no source.
DARK_LIGHT = 0.08
# Share of the gradient left at 480 px width, against that at 120 px. Found by smearing sharp
# pictures of framed walls: half of those smeared over 1/128 to 1/96 of the width (15 to 20 px in
# 1080p) fall below, nearly all at 1/64; see tests/imaging/test_quality.py. Smooth walls and soft
# lenses come near it too.
SMEARED_WORST_SHARE = 0.43
SMEARED_BEST_SHARE = 0.55
# Below this even a smooth wall is smeared, over 1/64 of the width or more.
HOPELESS_SHARE = 0.36
# Mean gradient (of 255) at 120 px width below which there is nothing to judge sharpness by.
PLAIN_GRADIENT = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class Quality:
    """What was measured on one picture.

    ``light`` is the mean luma, 0 to 1. ``detail`` is the gradient at fine scale as a share of
    that at coarse scale, a content-independent sharpness that compares neighbours.
    ``share_x`` and ``share_y`` are the same at the scale where smear of a moving camera shows,
    along x and y of the picture. ``gradient_x`` and ``gradient_y`` are mean absolute steps
    (of 255) at 240 px width.
    """

    light: float
    detail: float
    share_x: float
    share_y: float
    gradient_x: float
    gradient_y: float

    @property
    def dark(self) -> bool:
        """Too dark for a person to see anything without brightening."""
        return self.light < DARK_LIGHT

    @property
    def plain(self) -> bool:
        """So little structure that sharpness cannot be judged."""
        return max(self.gradient_x, self.gradient_y) < PLAIN_GRADIENT

    @property
    def smeared(self) -> bool:
        """Seems smeared over more than about 1/100 of the width; noise hides it in the dark."""
        worst, best = sorted((self.share_x, self.share_y))
        return not self.plain and not self.dark and (worst < SMEARED_WORST_SHARE or best < SMEARED_BEST_SHARE)

    @property
    def hopeless(self) -> bool:
        """Smeared beyond doubt, without anything to compare with."""
        return self.smeared and min(self.share_x, self.share_y) < HOPELESS_SHARE


def shrink(luma: np.ndarray) -> np.ndarray:
    """Luma (H, W) uint8 averaged down to at most ``ANALYSIS_WIDTH_PX`` wide."""
    # Halving is many times faster than other factors.
    while luma.shape[1] >= 2 * ANALYSIS_WIDTH_PX:
        luma = _halved(luma)
    if luma.shape[1] > ANALYSIS_WIDTH_PX:
        height_px = max(1, round(luma.shape[0] * ANALYSIS_WIDTH_PX / luma.shape[1]))
        luma = cv2.resize(luma, (ANALYSIS_WIDTH_PX, height_px), interpolation=cv2.INTER_AREA)
    return luma


def levels_of(luma: np.ndarray) -> list[np.ndarray]:
    """The shrunk luma and its halvings, finest first."""
    levels = [shrink(luma)]
    while len(levels) < LEVEL_COUNT:
        levels.append(_halved(levels[-1]))
    return levels


def measure_quality(levels: list[np.ndarray], black: float = 0.0, white: float = 255.0) -> Quality:
    """Quality of a picture from :func:`levels_of` its luma, whose range is ``black`` to ``white``."""
    fine_x, fine_y = _gradient(levels[0])
    smear_x, smear_y = _gradient(levels[1])
    middle_x, middle_y = _gradient(levels[2])
    coarse_x, coarse_y = _gradient(levels[3])
    # One grey step is added below, so that noise on a plain surface does not count as detail.
    return Quality(
        light=min(1.0, max(0.0, (cv2.mean(levels[3])[0] - black) / (white - black))),
        detail=(fine_x / (middle_x + 1) + fine_y / (middle_y + 1)) / 2,
        share_x=smear_x / (coarse_x + 1),
        share_y=smear_y / (coarse_y + 1),
        gradient_x=middle_x,
        gradient_y=middle_y,
    )


def _gradient(luma: np.ndarray) -> tuple[float, float]:
    step = max(1, luma.shape[0] // ENOUGH_ROWS)
    along_x = cv2.absdiff(luma[::step, 2:], luma[::step, :-2])
    along_y = cv2.absdiff(luma[2::step], luma[:-2:step])
    return cv2.mean(along_x)[0], cv2.mean(along_y)[0]


def _halved(luma: np.ndarray) -> np.ndarray:
    height_px, width_px = luma.shape
    return cv2.resize(luma, (max(3, width_px // 2), max(3, height_px // 2)), interpolation=cv2.INTER_AREA)
