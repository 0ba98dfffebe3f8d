"""The regular layout that measured stud centres follow, and which of them stand off it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.errors import FailedEstimate

INCH_M = 0.0254
# Usual distances on centre: 16, 19.2 and 24 in; 400 and 600 mm (common practice, no source).
USUAL_SPACINGS_M = (16 * INCH_M, 19.2 * INCH_M, 24 * INCH_M, 0.4, 0.6)
OFF_LAYOUT_M = 0.0127  # a stud further from its mark than this is worth a word; our choice
ON_MARK_M = 0.019  # real studs wander, and a sheet edge still lands on one this far off
LEAST_STUDS = 4
LEAST_SHARE = 0.6  # of the studs have to follow a layout, or there is none


@dataclass(frozen=True, slots=True, kw_only=True)
class Regular:
    """Marks at ``start_m`` plus whole multiples of ``spacing_m``; ``on_mark`` says which studs follow them."""

    spacing_m: float
    start_m: float
    sigma_start_m: float
    on_mark: tuple[bool, ...]
    number: tuple[int, ...]  # of the mark nearest to each stud
    residual_m: tuple[float, ...]


def fit_regular(
    centers_m: Sequence[float], sigma_m: float = 0.003, spacings_m: Sequence[float] = USUAL_SPACINGS_M
) -> Regular | FailedEstimate:
    """The layout that most of some stud centres follow.

    Doubled studs, kings and jacks, and the odd stud that was added stand between the marks; they
    are left out of the fit. Of two spacings that serve equally the wider is taken.

    Parameters
    ----------
    centers_m : sequence of float
        [m]
    sigma_m : float
        How far a carpenter's stud usually lies from its mark [m].
    spacings_m : sequence of float
        Which spacings may be.
    """
    centers = np.sort(np.asarray(centers_m, dtype=float))
    if len(centers) < LEAST_STUDS:
        return FailedEstimate(f"{len(centers)} studs are too few to tell a layout from")
    best, best_score = None, -np.inf
    for spacing in spacings_m:
        for anchor in centers:
            found = _fit(centers, spacing, anchor)
            if found is None:
                continue
            start, on_mark, residual = found
            marks = len(set(np.rint((centers[on_mark] - start) / spacing).astype(int)))
            span = int(np.ptp(np.rint((centers[on_mark] - start) / spacing))) + 1
            missing = span - marks
            score = marks - 0.1 * missing - float(np.mean((residual[on_mark] / ON_MARK_M) ** 2))
            if score > best_score:
                best, best_score = (spacing, start, on_mark, residual), score
    spacing, start, on_mark, residual = best
    alone = _alone(centers)
    if on_mark[alone].mean() < LEAST_SHARE or on_mark.sum() < LEAST_STUDS:
        return FailedEstimate("the uprights do not follow any usual spacing")
    scatter = max(sigma_m, float(np.std(residual[on_mark])))
    return Regular(
        spacing_m=float(spacing),
        start_m=float(start),
        sigma_start_m=scatter / np.sqrt(on_mark.sum()),
        on_mark=tuple(bool(v) for v in on_mark),
        number=tuple(int(v) for v in np.rint((centers - start) / spacing)),
        residual_m=tuple(float(v) for v in residual),
    )


def _alone(centers: np.ndarray) -> np.ndarray:
    """Studs that are not one of a pair nailed together, the end studs left aside."""
    gaps = np.diff(centers)
    near = np.zeros(len(centers), bool)
    near[1:] |= gaps < 0.12
    near[:-1] |= gaps < 0.12
    near[[0, -1]] = True
    return ~near if (~near).any() else np.ones(len(centers), bool)


def _fit(centers: np.ndarray, spacing: float, anchor: float):
    start = anchor
    for _ in range(3):
        residual = (centers - start + spacing / 2) % spacing - spacing / 2
        on_mark = np.abs(residual) <= ON_MARK_M
        if not on_mark.any():
            return None
        start = start + float(np.median(residual[on_mark]))
    residual = (centers - start + spacing / 2) % spacing - spacing / 2
    on_mark = np.abs(residual) <= ON_MARK_M
    return (start % spacing, on_mark, residual) if on_mark.any() else None
