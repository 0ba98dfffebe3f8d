"""Where rectified pictures show the colours of cable sheath and pipe, against the wood around them.

Colours are judged against the middle of the picture, which is wood: light of any colour falls on
both. Brightness is judged against what lies around, for a lamp lights a wall unevenly.
"""

from __future__ import annotations

import cv2
import numpy as np

from asbuilt.imaging.sweep import Rectified

# Yellowness is the logarithm of half of red and green over blue, redness that of red over green;
# both against wood. The bounds lie between what sheaths and bare wood, flakes and shadow showed in
# rendered rooms; "grey" is also steel and concrete, "white" also paper, so neither proves a cable.
SHEATHS = ("white", "yellow", "orange", "black", "grey", "blue", "red")
AROUND_M = 0.15
BRIGHTEST_AROUND = 0.3
RIDGE_GAIN = 2.2
DEEP, DEEP_SHARE = -0.6, 0.25


def tints(view: Rectified, px_m: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Lightness against the surroundings, yellowness and redness against wood; each (h, w), logarithms."""
    smooth = np.log(cv2.GaussianBlur(view.colors, (0, 0), 0.7).astype(np.float32) + 4)
    if view.within.any():
        smooth -= np.median(smooth[view.within][::37], axis=0)
    blue, green, red = cv2.split(smooth)
    light = (blue + green + red) / 3
    size = 2 * round(AROUND_M / px_m) + 1
    within = view.within.astype(np.float32)
    share = cv2.blur(within, (size, size), borderType=cv2.BORDER_CONSTANT)
    around = cv2.blur(light * within, (size, size), borderType=cv2.BORDER_CONSTANT) / np.maximum(share, 1e-3)
    return light - np.minimum(around, BRIGHTEST_AROUND), (green + red) / 2 - blue, red - green


def _above(values: np.ndarray, bound: float, softness: float) -> np.ndarray:
    return 1 / (1 + np.exp(np.clip((bound - values) / softness, -30, 30)))


def _below(values: np.ndarray, bound: float, softness: float) -> np.ndarray:
    return _above(-values, -bound, softness)


def likeness(view: Rectified, px_m: float) -> np.ndarray:
    """How much each pixel looks like each sheath colour; (h, w, len(SHEATHS)) float32, 0 to 1."""
    light, yellow, red = tints(view, px_m)
    pale = _below(yellow, -0.17, 0.04) * _above(yellow, -0.75, 0.04) * _below(red, -0.03, 0.03)
    # In bright light even black shines with the colour of the wood around; shadow on wood is not as dark.
    deep = DEEP_SHARE * np.clip(DEEP - light, 0, 0.4)
    found = {
        "white": pale * _above(red, -0.4, 0.03) * _above(light, 0.12, 0.06),
        "yellow": _above(yellow - 1.5 * red, 0.27, 0.06) * _below(red, 0.07, 0.03) * _above(yellow, 0.05, 0.04)
        * _above(light, -0.8, 0.1),
        "orange": _above(red, 0.11, 0.03) * _below(red, 0.45, 0.03) * _above(yellow, 0.0, 0.06)
        * _above(light, -0.7, 0.1),
        "black": _below(light, -0.45, 0.08) * _below(yellow - deep, -0.13, 0.04) * _above(yellow, -0.9, 0.04),
        "grey": pale * _above(red, -0.45, 0.03) * _above(light, -0.4, 0.06) * _below(light, 0.12, 0.06),
        "blue": _below(yellow, -0.65, 0.06) * _below(red, -0.2, 0.05),
        "red": _above(red, 0.5, 0.06),
    }  # fmt: skip
    stack = np.stack([found[name] for name in SHEATHS], axis=-1)
    return (stack * view.within[..., None]).astype(np.float32)


def unlike_wood(view: Rectified, px_m: float) -> np.ndarray:
    """How surely each pixel is plastic, steel or a dark hollow, or blue plastic, or dark, rather than wood or paper.

    Returns
    -------
    ndarray of shape (h, w, 3)
        0 to 1, float32.
    """
    light, yellow, red = tints(view, px_m)
    plastic = _below(yellow, -0.20, 0.04) * _below(light, 0.45, 0.1)
    hollow = _below(light, -1.3, 0.1)
    blue = _below(yellow, -0.65, 0.06) * _below(red, -0.2, 0.05)
    dark = _below(light, -0.3, 0.08) * _below(yellow, -0.1, 0.04)
    ways = np.stack([np.maximum(plastic, hollow), blue, dark], axis=-1)
    return (ways * view.within[..., None]).astype(np.float32)


def ridges(layer: np.ndarray, width_px: float) -> np.ndarray:
    """How much each pixel lies on a line of about some width, brighter than both its sides; 0 to 1."""
    sigma = 0.4 * width_px
    smooth = cv2.GaussianBlur(layer, (0, 0), sigma)
    xx = cv2.Sobel(smooth, cv2.CV_32F, 2, 0, ksize=3, scale=0.25)
    yy = cv2.Sobel(smooth, cv2.CV_32F, 0, 2, ksize=3, scale=0.25)
    xy = cv2.Sobel(smooth, cv2.CV_32F, 1, 1, ksize=3, scale=0.25)
    middle, apart = (xx + yy) / 2, np.sqrt(((xx - yy) / 2) ** 2 + xy**2)
    across, along = middle - apart, middle + apart
    return np.clip((-across - np.abs(along)) * sigma**2 * RIDGE_GAIN, 0, 1)
