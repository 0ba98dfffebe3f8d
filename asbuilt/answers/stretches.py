"""The pieces that the course of a run is made of, and the bends at marks.

Points are (offset, height, depth) [m].
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

EYE = np.eye(3)
SEEN, BETWEEN, BEYOND = "seen", "between sightings", "beyond the last sighting"

# Cable is bent round: where it was marked on a bend, the straight ways to that mark miss the cable
# most this far before and after it (radius of some inches, common practice; checked on rendered rooms).
ROUND_M, ROUND_STRAY_M, ROUND_COSINE = 0.06, 0.02, math.cos(math.radians(35))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretch:
    """A straight piece of a run with the error of its two ends.

    Stretches of equal ``group`` exclude each other unless they share ``alternative``;
    ``weight`` is the chance that this alternative is the true one.
    """

    start_m: np.ndarray  # (3,)
    end_m: np.ndarray  # (3,)
    start_cov: np.ndarray  # (3, 3) [m^2]
    end_cov: np.ndarray
    group: int = 0
    alternative: int = 0
    weight: float = 1.0
    status: str = SEEN


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lines:
    """All stretches of a course as arrays, one row each."""

    starts_m: np.ndarray  # (S, 3)
    ends_m: np.ndarray
    sigma_m: np.ndarray  # (S, 2), the larger of the two ends', offset and height
    reach_m: np.ndarray  # (S,), one sigma of a shift in any direction, at most
    group: np.ndarray
    alternative: np.ndarray
    weight: np.ndarray

    @classmethod
    def of(cls, course: Sequence[Stretch]) -> Lines:
        """The arrays of a course."""
        covs = np.concatenate([c for s in course for c in (s.start_cov, s.end_cov)]).reshape(-1, 2, 9)
        variance = covs[:, :, (0, 4)].max(axis=1)
        total = covs[:, :, (0, 4, 8)].sum(axis=2).max(axis=1)
        ends = np.concatenate([p for s in course for p in (s.start_m, s.end_m)]).reshape(-1, 2, 3)
        marks = np.array([(s.group, s.alternative, s.weight) for s in course])
        return cls(starts_m=ends[:, 0], ends_m=ends[:, 1], sigma_m=np.sqrt(np.maximum(variance, 0)),
                   reach_m=np.sqrt(np.maximum(total, 0)), group=marks[:, 0], alternative=marks[:, 1],
                   weight=marks[:, 2])  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spot:
    """A place with its covariance: a sighted vertex of a run, or the box it goes into."""

    point_m: np.ndarray
    cov: np.ndarray


def bends_at(before: Spot, at: Spot, after: Spot) -> bool:
    """Whether a run turns at a mark by more than a little."""
    ways = [q.point_m[:2] - p.point_m[:2] for p, q in ((before, at), (at, after))]
    return float(ways[0] @ ways[1]) < ROUND_COSINE * math.hypot(*ways[0]) * math.hypot(*ways[1])


def rounded(legs: list[Stretch], at_start: bool, at_end: bool) -> list[Stretch]:
    """A straight way between two marks, loose beside the marks at which the run is bent round."""
    if len(legs) != 2:
        return legs  # alternatives are loose at their corners
    first, last = legs
    return [*(_split(first, ROUND_M) if at_start else [first]), *(_split(last, -ROUND_M) if at_end else [last])]


def _split(half: Stretch, away_m: float) -> tuple[Stretch, Stretch]:
    """Two pieces that meet, loosely, so far from the start (from the end, if negative)."""
    length_m = math.dist(half.start_m, half.end_m)
    share = min(abs(away_m) / max(length_m, 1e-9), 0.5)
    share = share if away_m > 0 else 1 - share
    point_m = half.start_m + share * (half.end_m - half.start_m)
    cov = (1 - share) * half.start_cov + share * half.end_cov + EYE * ROUND_STRAY_M**2
    return replace(half, end_m=point_m, end_cov=cov), replace(half, start_m=point_m, start_cov=cov)
