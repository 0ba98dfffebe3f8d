"""The repeating lattice of studs in the directions of upright edges that one camera saw.

On a flat wall that is turned by a yaw and stands at a distance, an edge in the direction
``azimuth`` lies at ``distance * tan(azimuth - yaw)`` from the foot of the camera. Every stud has two
edges a stud's width apart, which gives the scale; studs stand on marks a spacing apart, but some
wander, are doubled, or are missing at openings. A lattice counts only if chance would hardly
make it of as many edges.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from asbuilt.errors import FailedEstimate

INCH_M = 0.0254
SPACINGS_M = (16 * INCH_M, 19.2 * INCH_M, 24 * INCH_M)  # usual distances on centre (common practice, no source)
STUD_WIDTH_M = 0.0381
MOST_YAW_RAD, YAW_STEP_RAD = np.deg2rad(60), np.deg2rad(1)
YAW_REACH_RAD, YAW_SIGMA_RAD = np.deg2rad(3), np.deg2rad(1.2)  # of level lines: cables sag, blocking is nailed askew
ALONE_FACTOR = 3.0  # found on rendered pictures
MOST_ASLANT_RAD = np.deg2rad(68)  # flatter, a stud's far side is lost behind its neighbour
NEAREST_M, FARTHEST_M, DISTANCE_STEP = 0.7, 5.0, 1.05
WIDTH_SIGMA_M, EDGE_SIGMA_RAD = 0.0015, 0.0006  # found on rendered pictures of open walls
WIDTH_GATE, MOST_WIDTH_OFF = 2.5, 0.25
WANDER_SIGMA_M, ON_MARK_M = 0.007, 0.016  # real studs stand about 1/4 in off their marks
# Of a mark with a stud, how often pictures show both its edges, or neither (openings stand empty, too).
BOTH_SEEN, NONE_SEEN = 0.75, 0.12
OFF_MARK_COST = 0.15  # of a pair of edges between the marks: kings, jacks and doubled studs stand there
LEAST_MARKS = 4
LEAST_FILLED = 0.62  # of the marks between the first and the last
LEAST_ON_MARK = 0.5  # of all studs
# In powers of ten: rather a lattice than edges strewn at random; more where every yaw was tried.
LEAST_EVIDENCE, LEAST_EVIDENCE_ALONE = 7.5, 8.5
RIVAL = 0.8  # another spacing with this share of the evidence leaves it open


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lattice:
    """A wall's studs as one picture shows them, from left to right.

    Offsets [m] count from the foot of the camera on the plane of the stud faces, and hold as far as
    the studs are as wide as was assumed: ``sigma_scale`` is one sigma of that scale. ``mark``
    (N,) is the number of the layout mark that each stud stands on, counted from an unknown first
    one; ``on_mark`` (N,) says which do.
    """

    spacing_m: float
    start_m: float  # of mark 0, from the foot
    yaw_rad: float
    distance_m: float
    sigma_yaw_rad: float
    sigma_scale: float
    sigma_start_m: float
    centers_m: np.ndarray
    mark: np.ndarray
    on_mark: np.ndarray
    left_idx: np.ndarray  # of the edges
    right_idx: np.ndarray
    worth: np.ndarray  # of each stud's pair of edges as evidence, in powers of ten
    residual_m: float  # root mean square of the studs' distance from their marks
    evidence: float  # in powers of ten, for a lattice rather than edges strewn at random


def fit_lattice(
    azimuth_rad: np.ndarray,
    cover: np.ndarray,
    spacings_m: Sequence[float] = SPACINGS_M,
    stud_width_m: float = STUD_WIDTH_M,
    yaws_rad: Sequence[float] = (),
) -> Lattice | FailedEstimate:
    """The lattice that upright edges follow, if chance would hardly make one.

    Parameters
    ----------
    azimuth_rad : ndarray of shape (N,)
        Directions of upright edges, from left to right.
    cover : ndarray of shape (N,)
        How much of each is seen, 0 to 1.
    spacings_m : sequence of float
        Which spacings may be; one, if it is known.
    yaws_rad : sequence of float
        How walls are turned, as level lines tell; empty where nothing does.
    """
    if len(azimuth_rad) < 2 * LEAST_MARKS:
        return FailedEstimate(f"{len(azimuth_rad)} upright edges are too few for a row of studs")
    best: dict[float, tuple] = {}
    for yaw, told in _yaws(yaws_rad):
        for score, distance, start, spacing in _trials(azimuth_rad, cover, yaw, spacings_m, stud_width_m):
            if spacing not in best or score > best[spacing][0]:
                best[spacing] = score, yaw, distance, start, told
    fits = [_solved(azimuth_rad, cover, place, spacing, stud_width_m) for spacing, (_, *place) in best.items()]
    fits = sorted((f for f in fits if f is not None), key=lambda f: -f.evidence)
    if not fits:
        return FailedEstimate("no edges stand a stud's width apart at regular distances")
    least = LEAST_EVIDENCE if len(yaws_rad) else LEAST_EVIDENCE_ALONE
    sound = _judged(fits[0], least)
    if sound and len(fits) > 1 and fits[1].evidence > RIVAL * fits[0].evidence and _judged(fits[1], least):
        names = " or ".join(f"{f.spacing_m / INCH_M:g}" for f in fits[:2])
        return FailedEstimate(f"the studs could stand {names} in on centre; say which it is")
    return sound


def _yaws(told: Sequence[float]) -> list[tuple[float, float | None]]:
    """Yaws to try, each with the one that level lines told, if any."""
    if len(told) == 0:
        return [(float(y), None) for y in np.arange(-MOST_YAW_RAD, MOST_YAW_RAD + 1e-9, YAW_STEP_RAD)]
    around = np.arange(-YAW_REACH_RAD, YAW_REACH_RAD + 1e-9, YAW_STEP_RAD)
    return [(float(t + a), float(t)) for t in told for a in around]


def _judged(lattice: Lattice, least: float) -> Lattice | FailedEstimate:
    marks = np.unique(lattice.mark[lattice.on_mark])
    if len(marks) < LEAST_MARKS:
        return FailedEstimate(f"only {len(marks)} studs follow one layout")
    if len(marks) / (np.ptp(marks) + 1) < LEAST_FILLED:
        return FailedEstimate("too many marks of the layout stand empty")
    within = (lattice.mark >= marks[0]) & (lattice.mark <= marks[-1])
    if lattice.worth[lattice.on_mark].sum() < LEAST_ON_MARK * lattice.worth[within].sum():
        return FailedEstimate("too many uprights stand between the marks of any layout")
    if lattice.evidence < least:
        return FailedEstimate("the uprights could stand so by chance")
    return lattice


def _offsets(azimuth: np.ndarray, yaw: float) -> np.ndarray:
    """Of unit distance; nan where the wall is seen too flatly."""
    aside = azimuth - yaw
    return np.where(np.abs(aside) < MOST_ASLANT_RAD, np.tan(np.clip(aside, -1.5, 1.5)), np.nan)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pairs:
    """Pairs of edges a stud's width apart at some yaw and distance [m], and what each says for a stud."""

    left: np.ndarray
    right: np.ndarray
    center: np.ndarray
    worth: np.ndarray  # in powers of ten, on the mark
    none: float  # worth of a mark without any


def _pairs(azimuth, cover, at, distance: float, width_m: float) -> _Pairs:
    left, right = np.triu_indices(len(at), 1)
    with np.errstate(invalid="ignore"):
        off_width = distance * (at[right] - at[left]) - width_m
        slack = np.hypot(WIDTH_SIGMA_M, distance * EDGE_SIGMA_RAD * (1 + at[left] ** 2) * np.sqrt(2))
        own = np.abs(off_width) < np.minimum(WIDTH_GATE * slack, MOST_WIDTH_OFF * width_m)
    left, right, slack = left[own], right[own], slack[own]
    seen = np.isfinite(at)
    extent = max(distance * float(np.ptp(at[seen])), 1.0) if seen.any() else 1.0
    least = np.minimum(cover[left], cover[right])
    density = (cover[seen][None] >= least[:, None]).sum(axis=1) / extent
    chance = np.minimum(density**2 * 2 * WIDTH_GATE * slack * 2 * ON_MARK_M, 0.5)
    none = 1 - min(0.5, (seen.sum() / extent) ** 2 * 4 * WIDTH_GATE * WIDTH_SIGMA_M * ON_MARK_M)
    return _Pairs(
        left=left, right=right, center=distance * (at[left] + at[right]) / 2, worth=np.log10(BOTH_SEEN / chance),
        none=float(np.log10(NONE_SEEN / none)),
    )  # fmt: skip


def _trials(azimuth, cover, yaw: float, spacings, width_m: float):
    """Evidence and place of the best layout at every distance and spacing, at a yaw."""
    at = _offsets(azimuth, yaw)
    distance = NEAREST_M
    while distance < FARTHEST_M:
        pairs = _pairs(azimuth, cover, at, distance, width_m)
        if len(pairs.center) >= LEAST_MARKS:
            for spacing in spacings:
                found = _phase(pairs, spacing)
                if found is not None:
                    yield found[0], distance, found[1], spacing
        distance *= DISTANCE_STEP


def _closeness(off: np.ndarray) -> np.ndarray:
    """What standing so far off a mark says for the mark, in powers of ten: 0 or less beyond its reach."""
    peak = np.log10(2 * ON_MARK_M / (np.sqrt(2 * np.pi) * WANDER_SIGMA_M))
    return peak - (off / WANDER_SIGMA_M) ** 2 / (2 * np.log(10))


def _phase(pairs: _Pairs, spacing: float) -> tuple[float, float] | None:
    """The best phase of a layout, and the evidence for it."""
    apart = pairs.center[None] - pairs.center[:, None]
    off = (apart + spacing / 2) % spacing - spacing / 2
    mark = np.rint((apart - off) / spacing).astype(int)
    on = np.abs(off) < ON_MARK_M
    best = None
    for anchor in np.flatnonzero(on.sum(axis=1) >= LEAST_MARKS):
        score = _evidence(pairs, off[anchor], mark[anchor], on[anchor])
        if score is not None and (best is None or score > best[0]):
            best = score, float(pairs.center[anchor])
    return best


def _evidence(pairs: _Pairs, off: np.ndarray, mark: np.ndarray, on: np.ndarray) -> float | None:
    """For a layout over the marks from the first to the last that a stud stands on, in powers of ten."""
    own = mark[on] - mark[on].min()
    filled = np.zeros(int(own.max()) + 1)
    np.maximum.at(filled, own, np.maximum(pairs.worth[on] + _closeness(off[on]), 0.01))
    held = filled > 0
    if held.sum() < LEAST_MARKS:
        return None
    strays = len(np.unique(np.round(pairs.center[~on], 2)))
    return float(filled.sum() + (~held).sum() * pairs.none - OFF_MARK_COST * strays)


def _lattice(azimuth, cover, yaw, distance, start, spacing, width_m) -> Lattice | None:
    """The studs of a lattice of known place: pairs of edges a stud's width apart, likeliest first, none twice."""
    pairs = _pairs(azimuth, cover, _offsets(azimuth, yaw), distance, width_m)
    off = (pairs.center - start + spacing / 2) % spacing - spacing / 2
    on = np.abs(off) < ON_MARK_M
    mark = np.rint((pairs.center - start) / spacing).astype(int)
    evidence = _evidence(pairs, off, mark, on) if on.any() else None
    if evidence is None:
        return None
    kept: list[int] = []
    for k in np.argsort(-(pairs.worth + np.where(on, _closeness(off), -1.0))):
        if all(abs(pairs.center[k] - pairs.center[j]) > 0.8 * width_m for j in kept):
            kept.append(int(k))
    kept = sorted(kept, key=lambda k: pairs.center[k])
    return Lattice(
        spacing_m=float(spacing), start_m=float(start), yaw_rad=yaw, distance_m=distance, sigma_yaw_rad=np.inf,
        sigma_scale=np.inf, sigma_start_m=np.inf, centers_m=pairs.center[kept], mark=mark[kept], on_mark=on[kept],
        left_idx=pairs.left[kept], right_idx=pairs.right[kept], worth=pairs.worth[kept],
        residual_m=float(np.sqrt(np.mean(off[kept][on[kept]] ** 2))) if on[kept].any() else np.inf,
        evidence=evidence,
    )  # fmt: skip


def _solved(azimuth, cover, place: tuple, spacing: float, width_m: float) -> Lattice | None:
    *place, told = place
    lattice = _lattice(azimuth, cover, *place, spacing, width_m)
    for _ in range(3):
        lattice = lattice and _refined(lattice, azimuth, cover, width_m, told)
    return lattice


def _refined(lattice: Lattice, azimuth, cover, width_m: float, told: float | None) -> Lattice | None:
    own = lattice.on_mark
    if own.sum() < LEAST_MARKS:
        return None
    edges = azimuth[lattice.left_idx[own]], azimuth[lattice.right_idx[own]]
    mark = lattice.mark[own]

    def residuals(unknown):
        yaw, log_distance, start = unknown
        left, right = (np.exp(log_distance) * np.tan(e - yaw) for e in edges)
        seen = np.exp(log_distance) * EDGE_SIGMA_RAD / np.cos(edges[0] - yaw) ** 2
        wander = ((left + right) / 2 - start - mark * lattice.spacing_m) / np.hypot(WANDER_SIGMA_M, seen / np.sqrt(2))
        width = (right - left - width_m) / np.hypot(WIDTH_SIGMA_M, seen * np.sqrt(2))
        turned = [] if told is None else [(yaw - told) / YAW_SIGMA_RAD]
        return np.concatenate([wander, width, turned])

    first = [lattice.yaw_rad, np.log(lattice.distance_m), lattice.start_m]
    bounds = ([first[0] - 0.2, first[1] - 0.3, -np.inf], [first[0] + 0.2, first[1] + 0.3, np.inf])
    solved = least_squares(residuals, first, bounds=bounds, loss="soft_l1", x_scale=[0.02, 0.02, 0.01])
    yaw, log_distance, start = (float(v) for v in solved.x)
    if not NEAREST_M < np.exp(log_distance) < FARTHEST_M:
        return None
    found = _lattice(azimuth, cover, yaw, float(np.exp(log_distance)), start, lattice.spacing_m, width_m)
    if found is None:
        return None
    covariance = np.linalg.pinv(solved.jac.T @ solved.jac)
    sigma = np.sqrt(np.maximum(np.diag(covariance), 0))
    if told is None:  # then the studs' own wander passes for yaw, most of it alike in neighbouring studs
        sigma = sigma * ALONE_FACTOR
    return replace(found, sigma_yaw_rad=float(sigma[0]), sigma_scale=float(sigma[1]), sigma_start_m=float(sigma[2]))
