"""Where rectified pictures show the colours of cable sheath and pipe, against the wood around them.

Colours are judged against the middle of the picture, which mostly is wood, else against the faces
of the studs: light of any colour falls on both. Brightness is judged against what lies around, for a
lamp lights a wall unevenly.
"""

from __future__ import annotations

import cv2
import numpy as np

from asbuilt.imaging.sweep import Rectified

# Yellowness is the logarithm of half of red and green over blue, redness that of red over green;
# both against wood. The bounds lie between what sheaths and bare wood, flakes and shadow showed in
# rendered rooms. What is neutral, white, grey or black, is one class and named later by its lightness,
# which changes along a cable; steel, concrete and paper are neutral, too, so that proves no cable.
SHEATHS = ("neutral", "yellow", "orange", "blue", "red")
# Before grey things white shows by its lightness only, so likeness tells three ways to be neutral.
LIKE = ("white", "black", "pale", *SHEATHS[1:])
# Studs' faces are lighter and less yellow and red than the middle of most pictures, by so much; where they are off
# that by more than the bounds, the middle is not wood (median of a face in rendered rooms: 0.10 and 0.06 at most, but
# before a green wall 0.21 and 0.13).
FRONT_YELLOW, FRONT_RED, FRONT_ENOUGH_PX = -0.05, -0.035, 1500
CAST_YELLOW, CAST_RED = 0.12, 0.08
AROUND_M = 0.15
BRIGHTEST_AROUND = 0.3
RIDGE_GAIN = 2.2
# Tone curves work on each channel, so wood grows yellower and redder the darker it lies. What it showed in
# rendered rooms, by lightness; each picture's own wood may differ from it by so much, told by so many pixels.
SHADES = np.array([-1.4, -1.05, -0.8, -0.6, -0.4, -0.2, 0.0, 0.2, 0.45])
SHADE_YELLOW = np.array([0.95, 0.59, 0.41, 0.27, 0.165, 0.075, 0.01, -0.035, -0.085])
SHADE_RED = np.array([0.28, 0.20, 0.147, 0.105, 0.065, 0.035, 0.005, -0.025, -0.055])
NEUTRAL_LIGHT, NEUTRAL_YELLOW = (-0.6, -0.2), (-0.30, -0.17)
SHADE_MOST, SHADE_ENOUGH_PX = 0.06, 500


def cast_of(view: Rectified, wood: np.ndarray) -> tuple[float, float, float]:
    """How far a picture's middle is from wood, as logarithms of (B, G, R), where that is far: another room fills it.

    ``wood`` (h, w) bool are pixels of studs' faces. Of a wall closed behind, the middle is usual.
    """
    usual = (0.0, 0.0, 0.0)
    if wood.sum() < FRONT_ENOUGH_PX:
        return usual
    fronts, middle = (
        np.median(np.log(view.colors[mask][::step].astype(np.float32) + 4), axis=0)
        for mask, step in ((wood, 7), (view.within, 37))
    )
    blue, green, red = (fronts - middle).tolist()
    yellow, red = (green + red) / 2 - blue - FRONT_YELLOW, red - green - FRONT_RED
    if abs(yellow) < CAST_YELLOW and abs(red) < CAST_RED:
        return usual
    return -2 * yellow / 3, yellow / 3 - red / 2, yellow / 3 + red / 2


def tints(view: Rectified, px_m: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Lightness against the surroundings, yellowness and redness against wood; each (h, w), logarithms."""
    smooth = np.log(cv2.GaussianBlur(view.colors, (0, 0), 0.7).astype(np.float32) + 4)
    if view.within.any():
        smooth -= np.median(smooth[view.within][::37], axis=0) + np.array(view.cast, np.float32)
    blue, green, red = cv2.split(smooth)
    light = (blue + green + red) / 3
    size = 2 * round(AROUND_M / px_m) + 1
    within = view.within.astype(np.float32)
    share = cv2.blur(within, (size, size), borderType=cv2.BORDER_CONSTANT)
    around = cv2.blur(light * within, (size, size), borderType=cv2.BORDER_CONSTANT) / np.maximum(share, 1e-3)
    return light - np.minimum(around, BRIGHTEST_AROUND), (green + red) / 2 - blue, red - green


def evened(view: Rectified, px_m: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """``tints`` with yellowness and redness against wood as light as the pixel itself, in light or shade."""
    light, yellow, red = tints(view, px_m)
    told = np.s_[::3, ::3]
    within = view.within[told]
    shade = np.digitize(light[told][within], (SHADES[1:] + SHADES[:-1]) / 2)
    found = []
    for tint, usual in ((yellow, SHADE_YELLOW), (red, SHADE_RED)):
        own, some = usual.copy(), tint[told][within]
        for k in range(len(SHADES)):
            of_shade = some[shade == k]
            if len(of_shade):
                off = np.clip(np.median(of_shade) - usual[k], -SHADE_MOST, SHADE_MOST)
                own[k] += off * len(of_shade) / (len(of_shade) + SHADE_ENOUGH_PX)
        found.append(tint - np.interp(light, SHADES, own).astype(np.float32))
    return light, found[0], found[1]


def _above(values: np.ndarray, bound: float, softness: float) -> np.ndarray:
    return 1 / (1 + np.exp(np.clip((bound - values) / softness, -30, 30)))


def _below(values: np.ndarray, bound: float, softness: float) -> np.ndarray:
    return _above(-values, -bound, softness)


def likeness(view: Rectified, px_m: float) -> np.ndarray:
    """How much each pixel looks like each sheath colour; (h, w, len(LIKE)) float32, 0 to 1."""
    light, yellow, red = evened(view, px_m)
    # In bright light even black shines with the colour of the wood around; the darker, the further from it is neutral.
    bound = np.interp(light, NEUTRAL_LIGHT, NEUTRAL_YELLOW).astype(np.float32)
    pale = _below(yellow, bound, 0.045) * _above(yellow, -0.80, 0.04) * _below(red, -0.03, 0.03)
    pale *= _above(red, -0.45, 0.03)
    found = {
        "white": pale * _above(light, 0.12, 0.06),
        "black": _below(light, -0.45, 0.08) * _below(yellow, -0.30, 0.05) * _above(yellow, -1.1, 0.04),
        "pale": pale,
        "yellow": _above(yellow - 1.5 * red, 0.24, 0.05)
        * _below(red, 0.07, 0.03)
        * _above(yellow, 0.05, 0.04)
        * _above(light, -0.8, 0.1),
        "orange": _above(red, 0.11, 0.03)
        * _below(red, 0.40, 0.03)
        * _above(yellow, 0.0, 0.06)
        * _above(light, -0.7, 0.1),
        "blue": _below(yellow, -0.65, 0.06) * _below(red, -0.2, 0.05),
        "red": _above(red, 0.5, 0.06),
    }
    stack = np.stack([found[name] for name in LIKE], axis=-1)
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
