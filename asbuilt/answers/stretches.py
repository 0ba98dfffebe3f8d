"""The pieces that the course of a run is made of, and the bends at marks.

Points are (offset, height, depth) [m].
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

EYE = np.eye(3)
SEEN, BETWEEN, BEYOND = "seen", "between sightings", "beyond the last sighting"

# How far a cable strays from its supposed line, as a share of the distance between sightings
# and at least: staples, sag, bends at bored holes (our choice, checked on rendered rooms).
STRAY_SHARE = 0.03
STRAY_LEAST_M = 0.006
# Cable is bent round: where it was marked on a bend, the straight ways to that mark miss the cable
# most this far before and after it (radius of some inches, common practice; checked on rendered rooms).
ROUND_M, ROUND_STRAY_M, ROUND_COSINE = 0.06, 0.02, math.cos(math.radians(35))
PLACES = 5  # along a leg: its start, the bend after it, its middle, the bend before its end, its end


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spot:
    """A place with its covariance: a sighted vertex of a run, or the box it goes into."""

    point_m: np.ndarray
    cov: np.ndarray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stretch:
    """A straight piece of a run with the error of its two ends.

    Stretches of equal ``group`` exclude each other unless they share ``alternative``;
    ``weight`` is the chance that this alternative is the true one; a seldom way past the last
    mark counts for touching, but names no place.
    """

    start_m: np.ndarray  # (3,)
    end_m: np.ndarray  # (3,)
    start_cov: np.ndarray  # (3, 3) [m^2]
    end_cov: np.ndarray
    group: int = 0
    alternative: int = 0
    weight: float = 1.0
    status: str = SEEN
    is_seldom: bool = False


class Leg(NamedTuple):
    """A straight way between two spots, loosest in its middle; group to ``is_seldom`` as of a stretch.

    ``loose_m`` is what its middle strays more than usual, one sigma; ``round_start`` and
    ``round_end`` say at which ends the run is bent round.
    """

    a: Spot
    b: Spot
    group: int = 0
    alternative: int = 0
    weight: float = 1.0
    status: str = SEEN
    is_seldom: bool = False
    loose_m: float = 0.0
    round_start: bool = False
    round_end: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Course(Sequence[Stretch]):
    """All stretches on which a run may lie, as arrays with one row each."""

    starts_m: np.ndarray  # (S, 3)
    ends_m: np.ndarray
    start_covs: np.ndarray  # (S, 3, 3) [m^2]
    end_covs: np.ndarray
    group: np.ndarray  # (S,)
    alternative: np.ndarray
    weight: np.ndarray
    status: np.ndarray
    is_seldom: np.ndarray
    sigma_m: np.ndarray  # (S, 2), the larger of the two ends', offset and height
    reach_m: np.ndarray  # (S,), one sigma of a shift in any direction, at most

    @classmethod
    def of(cls, stretches: Sequence[Stretch]) -> Course:
        """The course made of those stretches."""
        ends = [np.array([getattr(s, name) for s in stretches]).reshape(-1, 3) for name in ("start_m", "end_m")]
        covs = [np.array([getattr(s, name) for s in stretches]).reshape(-1, 3, 3) for name in ("start_cov", "end_cov")]
        return _course(*ends, *covs, [(s.group, s.alternative, s.weight, s.status, s.is_seldom) for s in stretches])

    def part(self, rows: slice | np.ndarray) -> Course:
        """Some of its stretches."""
        return Course(**{name: getattr(self, name)[rows] for name in Course.__slots__})

    def cov_at(self, row: int, share: float) -> np.ndarray:
        """Covariance at a share (0 start, 1 end) of a stretch [m^2]."""
        return (1 - share) * self.start_covs[row] + share * self.end_covs[row]

    def __len__(self) -> int:
        return len(self.starts_m)

    def __getitem__(self, row: int) -> Stretch:
        return Stretch(start_m=self.starts_m[row], end_m=self.ends_m[row], start_cov=self.start_covs[row],
                       end_cov=self.end_covs[row], group=int(self.group[row]), alternative=int(self.alternative[row]),
                       weight=float(self.weight[row]), status=self.status[row],
                       is_seldom=bool(self.is_seldom[row]))  # fmt: skip


def _course(starts_m, ends_m, start_covs, end_covs, marks: Sequence[tuple]) -> Course:
    variances = np.stack([np.einsum("sii->si", covs) for covs in (start_covs, end_covs)])
    numbers = np.array([m[:3] for m in marks]).reshape(-1, 3)
    return Course(
        starts_m=starts_m, ends_m=ends_m, start_covs=start_covs, end_covs=end_covs, group=numbers[:, 0],
        alternative=numbers[:, 1], weight=numbers[:, 2], status=np.array([m[3] for m in marks], object),
        is_seldom=np.array([m[4] for m in marks], bool),
        sigma_m=_root(variances[..., :2].max(axis=0)),
        reach_m=_root(variances.sum(axis=2).max(axis=0)),
    )  # fmt: skip


def _root(variance_m2: np.ndarray) -> np.ndarray:
    return np.sqrt(np.maximum(variance_m2, 0))


def courses(runs: Sequence[Sequence[Leg]]) -> Iterator[Course]:
    """The course of each run from its legs, all runs worked out at once."""
    legs = [leg for run in runs for leg in run]
    if not legs:
        yield from (Course.of(()) for _ in runs)
        return
    has = np.ones((len(legs), PLACES), bool)
    has[:, 1], has[:, 3] = [leg.round_start for leg in legs], [leg.round_end for leg in legs]
    points, covs = _places(legs, has)
    at = np.flatnonzero(has)
    own = at // PLACES
    goes_on = own[1:] == own[:-1]
    start, end, own = at[:-1][goes_on], at[1:][goes_on], own[1:][goes_on]
    whole = _course(points[start], points[end], covs[start], covs[end], [legs[i][2:7] for i in own.tolist()])
    bounds = np.searchsorted(own, np.cumsum([0, *map(len, runs)])).tolist()
    for first, last in zip(bounds, bounds[1:], strict=False):
        yield whole.part(slice(first, last))


def _places(legs: Sequence[Leg], has: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points (5 L, 3) and covariances (5 L, 3, 3) of the places along legs; of bends only where ``has`` (L, 5)."""
    count = len(legs)
    ends = np.concatenate([p for leg in legs for p in (leg.a.point_m, leg.b.point_m)]).reshape(count, 2, 3)
    a, b = ends[:, 0], ends[:, 1]
    cov = np.concatenate([c for leg in legs for c in (leg.a.cov, leg.b.cov)]).reshape(count, 2, 3, 3)
    length_m = np.sqrt(((b - a) ** 2).sum(axis=1))
    loose_m2 = stray_m(length_m) ** 2 + np.array([leg.loose_m for leg in legs]) ** 2
    points, covs = np.empty((count, PLACES, 3)), np.empty((count, PLACES, 3, 3))
    points[:, 0], points[:, 2], points[:, 4] = a, (a + b) / 2, b
    covs[:, 0], covs[:, 4] = cov[:, 0], cov[:, 1]
    covs[:, 2] = (cov[:, 0] + cov[:, 1]) / 2 + loose_m2[:, None, None] * EYE
    for mark, place in ((0, 1), (4, 3)):
        own = np.flatnonzero(has[:, place])
        if not len(own):
            continue
        bend = np.minimum(2 * ROUND_M / np.maximum(length_m[own], 1e-9), 0.5)[:, None]
        points[own, place] = points[own, mark] + bend * (points[own, 2] - points[own, mark])
        bend, round_cov = bend[..., None], EYE * ROUND_STRAY_M**2
        covs[own, place] = (1 - bend) * covs[own, mark] + bend * covs[own, 2] + round_cov
    return points.reshape(-1, 3), covs.reshape(-1, 3, 3)


def stray_m(length_m):
    """How far a cable's middle strays between two spots so far apart, one sigma [m]."""
    return np.maximum(STRAY_LEAST_M, STRAY_SHARE * length_m)


def bends_at(before: Spot, at: Spot, after: Spot) -> bool:
    """Whether a run turns at a mark by more than a little."""
    ways = [q.point_m[:2] - p.point_m[:2] for p, q in ((before, at), (at, after))]
    return float(ways[0] @ ways[1]) < ROUND_COSINE * math.hypot(*ways[0]) * math.hypot(*ways[1])


def rounded(legs: list[Leg], at_start: bool, at_end: bool) -> list[Leg]:
    """A straight way between two marks, loose beside the marks at which the run is bent round."""
    if len(legs) != 1:
        return legs  # alternatives are loose at their corners
    return [legs[0]._replace(round_start=at_start, round_end=at_end)]
