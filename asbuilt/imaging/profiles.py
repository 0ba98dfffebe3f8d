"""Brightness across an upright edge: how far one view shows it beside where another does."""

from __future__ import annotations

import numpy as np

ROUNDS = 6
MOST_STEP_PX, MOST_SHIFT_PX = 1.5, 6.0
SETTLED_PX = 0.05
RIM_PX = 3  # at each end of a profile, so that shifting never reads beyond it
FLAT_LEVELS = 3.0  # less contrast than this, of 255, is no edge
SMOOTHING = np.array([0.06, 0.24, 0.4, 0.24, 0.06])


def standardised(rows: np.ndarray) -> np.ndarray:
    """Profiles (N, n) smoothed, of mean 0 and spread 1; NaN where there is nothing to see an edge by."""
    padded = np.pad(np.asarray(rows, float), ((0, 0), (2, 2)), mode="edge")
    smooth = sum(w * padded[:, k : k + rows.shape[1]] for k, w in enumerate(SMOOTHING))
    spread = smooth.std(axis=1, keepdims=True)
    return (smooth - smooth.mean(axis=1, keepdims=True)) / np.where(spread >= FLAT_LEVELS, spread, np.nan)


def shifts_px(first: np.ndarray, second: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How far profiles show the same edges farther right than others do.

    Least squares on the brightness, half of the shift taken from each, so that neither is the standard.

    Parameters
    ----------
    first, second : ndarray of shape (N, n)
        As :func:`standardised` makes them.

    Returns
    -------
    shift : ndarray of shape (N,)
        ``first(x + shift / 2)`` looks like ``second(x - shift / 2)`` [px]; NaN where it did not settle.
    unlike : ndarray of shape (N,)
        What is left of the difference, 0 for equals.
    """
    at = np.arange(RIM_PX, first.shape[1] - RIM_PX, dtype=float)
    shift = np.zeros(len(first))
    for _ in range(ROUNDS):
        a, b = _read(first, at + shift[:, None] / 2), _read(second, at - shift[:, None] / 2)
        slope, off = np.gradient((a + b) / 2, axis=1), b - a
        step = np.clip((slope * off).sum(axis=1) / ((slope**2).sum(axis=1) + 1e-3), -MOST_STEP_PX, MOST_STEP_PX)
        shift = np.clip(shift + step, -MOST_SHIFT_PX, MOST_SHIFT_PX)
    spread = np.sqrt((a.var(axis=1) + b.var(axis=1)) / 2)
    settled = (np.abs(step) <= SETTLED_PX) & (np.abs(shift) < MOST_SHIFT_PX)
    return np.where(settled, shift, np.nan), off.std(axis=1) / np.maximum(spread, 1e-6)


def _read(profiles: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Profiles at fractions of pixels, each row at its own, mean taken out."""
    at = np.clip(at, 0, profiles.shape[1] - 1.001)
    left = np.floor(at).astype(int)
    share, row = at - left, np.arange(len(profiles))[:, None]
    value = profiles[row, left] * (1 - share) + profiles[row, left + 1] * share
    return value - value.mean(axis=1, keepdims=True)
