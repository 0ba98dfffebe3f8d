"""Even out how bright overlapping pictures of one surface are: a gain for each, fall-off for each lens.

Pictures are stored with a tone curve; within the range that is used here it is close enough
to a power law, so that exposure and fall-off multiply the stored values.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix, diags
from scipy.sparse.linalg import spsolve

DARKEST, BRIGHTEST = 4.0, 245.0  # beyond these a value says nothing about the light
FARTHEST_RADIUS2 = 1.2  # the corners are at 1; outside the picture the fall-off means nothing and runs away
BLOWN_FROM = 235.0  # near the top of the scale a value stands for this much light or more
SIGMA_LOG = 0.08  # spread of one block's value between two views: parallax, shadows, shine
GAIN_SIGMA_LOG = 0.7  # automatic exposure stays within a factor of two, mostly
FALL_OFF_SIGMA_LOG = 0.25  # phone lenses lose up to half their light in the corners
ROUNDS = 6
DIM, READABLE, MOST_LIFT = 60.0, 100.0, 16.0  # a surface darker than the first is lifted to the second
# The numbers above are common practice, no source.


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Samples:
    """Mean colours of blocks of the surface as pictures show them, one row for each sight.

    ``radius2`` is the squared distance from the picture's centre as a share of half the diagonal.
    """

    picture: np.ndarray  # (N,) int
    block: np.ndarray  # (N,) int
    color: np.ndarray  # (N, 3) of 255
    radius2: np.ndarray  # (N,)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Exposure:
    """What to divide pictures by.

    ``gain_log`` (P, 3): natural logarithm of how much brighter each channel of a picture is
    than usual. ``fall_off`` (P, 2): logarithm of the light at radius r is a r^2 + b r^4.
    """

    gain_log: np.ndarray
    fall_off: np.ndarray

    def factor(self, picture: int, radius2: np.ndarray) -> np.ndarray:
        """What to multiply pixels of a picture with, shape (..., 3) float32."""
        a, b = self.fall_off[picture]
        radius2 = np.minimum(radius2, FARTHEST_RADIUS2)
        radial = np.exp(-(a + b * radius2) * radius2).astype(np.float32)
        return radial[..., None] * np.exp(-self.gain_log[picture]).astype(np.float32)

    def even(self, picture: int, colors: np.ndarray, radius2: np.ndarray) -> np.ndarray:
        """Pixels of a picture (..., 3) with exposure and fall-off taken out, float32, not clipped.

        What was blown out stays white instead of turning grey.
        """
        factor = self.factor(picture, radius2)
        # Channel by channel: numpy goes along a short last axis ten times slower.
        least = np.minimum(np.minimum(colors[..., :1], colors[..., 1:2]), colors[..., 2:]).astype(np.float32)
        blown = np.clip((least - BLOWN_FROM) / (255 - BLOWN_FROM), 0, 1)
        return colors * (factor + blown * np.maximum(1 - factor, 0))


def solve_exposure(samples: Samples, lens_of: Sequence[int]) -> Exposure:
    """Gains and fall-off that make all sights of each block agree best.

    A surface that is dim in most pictures is lifted, so that a person can see what is on it.

    Parameters
    ----------
    samples : Samples
    lens_of : sequence of int
        Which lens each picture was taken through, from 0.
    """
    lens, count = np.asarray(lens_of, int), len(lens_of)
    usable = np.all((samples.color > DARKEST) & (samples.color < BRIGHTEST), axis=1)
    picture, block, radius2 = samples.picture[usable], samples.block[usable], samples.radius2[usable]
    logs = np.log(samples.color[usable])
    if not len(picture):
        return Exposure(gain_log=np.zeros((count, 3)), fall_off=np.zeros((count, 2)))
    block = np.unique(block, return_inverse=True)[1]
    lenses = int(lens.max()) + 1
    radial = np.stack([radius2, radius2**2], axis=1)
    solved = _solve(logs.mean(axis=1), picture, block, radial, lens, count, lenses)
    fall_off = solved[count : count + 2 * lenses].reshape(lenses, 2)[lens]
    logs = logs - (fall_off[picture] * radial).sum(axis=1)[:, None]
    gains = [_solve(logs[:, k], picture, block, radial[:, :0], lens, count, lenses)[:count] for k in range(3)]
    gain_log = np.stack(gains, axis=1)
    light = np.exp(np.median(logs - gain_log[picture]))
    if light < DIM:
        gain_log -= np.log(min(READABLE / light, MOST_LIFT))
    return Exposure(gain_log=gain_log, fall_off=fall_off)


def _solve(values, picture, block, radial, lens, count: int, lenses: int) -> np.ndarray:
    """Robust least squares for (gains, fall-off of each lens, light of each block)."""
    terms, rows = radial.shape[1], np.arange(len(values))
    first_block = count + terms * lenses
    size = first_block + int(block.max()) + 1
    columns = [picture, first_block + block] + [count + terms * lens[picture] + k for k in range(terms)]
    parts = [np.ones(len(values)), np.ones(len(values))] + [radial[:, k] for k in range(terms)]
    design = coo_matrix(
        (np.concatenate(parts), (np.tile(rows, len(parts)), np.concatenate(columns))), shape=(len(values), size)
    ).tocsr()
    prior = np.full(size, 1e-9)
    prior[:count] = GAIN_SIGMA_LOG**-2
    prior[count:first_block] = FALL_OFF_SIGMA_LOG**-2
    weights = np.full(len(values), SIGMA_LOG**-2)
    for _ in range(ROUNDS):
        weighted = design.T @ diags(weights)
        solved = spsolve((weighted @ design + diags(prior)).tocsc(), weighted @ values)
        off = (values - design @ solved) / SIGMA_LOG
        weights = SIGMA_LOG**-2 / (1 + off**2)  # Cauchy
    return solved
