"""Upright studs in rectified pictures: pairs of vertical edges that many pictures show in one place.

Only what lies in the plane of the stud faces shows up in the same place in pictures taken from
different spots; edges of what lies behind it are smeared over by the parallax.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.signal import find_peaks

from asbuilt.imaging.edge_bands import JOINT_LEAST, LEAST_BANDS, LEAST_VIEWS, Edges, peak_near
from asbuilt.imaging.edge_depth import votes_behind

PEAK_LEAST = 0.15
PAIR_LEAST = 1.25  # of a band in which both edges of a stud are seen; over half a metre nothing else keeps it up
LIKELY_LEAST, LIKELY_M = 0.9, 0.015  # where the layout asks for a stud
BESIDE_LEAST = 1.45  # right beside another stud, whose own edge is half of the evidence
SAME_PLACE, PIECE_GAIN = 0.3, 1.3  # of a stud's width; times the evidence of a piece
LEAST_SHARE, LEAST_SEEN = 0.4, 3  # of the pictures that show the place have to show both edges
WIDTH_SLACK_M = 0.0055  # planed timber is cut to a millimetre, an edge is rounded
BRIDGED_BANDS = 6  # a stud behind a sheet of paper is still one stud
LEAST_SPREAD_M, MOST_SPREAD_M = 0.0005, 0.003
# By so many pictures, and that share of those that show it, more have to agree on an edge behind the faces than on
# them until it is held to lie behind. Beside another stud, whose side is what shows there, as many on both are enough.
BEHIND_LEAST, BEHIND_SHARE = 2, 0.12


@dataclass(frozen=True, slots=True, kw_only=True)
class Upright:
    """A stud as measured [m]: centre and how far the pictures scatter about it, extent, and by how many."""

    center_m: float
    scatter_m: float  # one sigma of the mean over the pictures
    width_m: float
    bottom_m: float
    top_m: float
    view_count: int
    strength: float  # 0 to EDGE_CAP


def find_uprights(
    edges: Edges,
    px_m: float,
    top_m: float,
    width_m: float,
    barred: np.ndarray | None = None,
    likely_m: Sequence[float] = (),
    only_likely: bool = False,
) -> list[Upright]:
    """Studs of a width, strongest evidence first where they would overlap; from left to right.

    Parameters
    ----------
    px_m : float
        Edge of a pixel [m].
    top_m : float
        Height of the upper rim of the first band [m].
    barred : ndarray of shape (bands, cols), optional
        Where no stud is looked for: openings.
    likely_m : sequence of float
        Centres where the layout would have a stud: there weaker edges do.
    only_likely : bool
        Look nowhere else.
    """
    mean = edges.mean if barred is None else np.where(barred, 0, edges.mean)
    search = _Search(edges=edges, mean=mean, px_m=px_m, top_m=top_m, width_m=width_m)
    pairs = _pairs(mean, px_m, width_m)
    if not only_likely:
        search.take([c for pair in pairs for c in search.candidates(pair, nailed=False)])
        # Only then pairs nailed together, whose seam is weak: between two studs that stand free it means nothing.
        search.take([c for pair in pairs for c in search.candidates(pair, nailed=True)])
    search.least = LIKELY_LEAST
    near = [p for p in pairs if any(abs((sum(p) / 2 + 0.5) * px_m - m) < LIKELY_M for m in likely_m)]
    search.take([c for pair in near for c in search.candidates(pair, nailed=False)])
    return sorted((u for u, *_ in search.found), key=lambda u: u.center_m)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Candidate:
    left: int
    right: int
    first: int
    last: int
    strength: float
    weight: float
    nailed: bool


@dataclass(slots=True, kw_only=True, eq=False)
class _Search:
    """The studs taken so far, and what speaks for more."""

    edges: Edges
    mean: np.ndarray
    px_m: float
    top_m: float
    width_m: float
    least: float = PAIR_LEAST
    found: list[tuple[Upright, _Candidate]] = field(default_factory=list)

    def candidates(self, pair: tuple[int, int], nailed: bool) -> list[_Candidate]:
        """Stretches of height over which a pair of edges looks like a stud."""
        left, right = pair
        both = self._nailed(left, right) if nailed else np.minimum(*(_best_near(self.mean, c) for c in pair))
        shown = self.edges.count[:, (left + right) // 2] >= LEAST_VIEWS
        found = []
        for first, last in _stretches(both > self.least, ~shown):
            part = both[first : last + 1][shown[first : last + 1]]
            strength = float(np.median(part))
            if (part > self.least).sum() >= LEAST_BANDS and strength > self.least:
                found.append(_Candidate(left=left, right=right, first=first, last=last, strength=strength,
                                        weight=float(part.sum()), nailed=nailed))  # fmt: skip
        return found

    def _nailed(self, left: int, right: int) -> np.ndarray:
        """Of each band: the weaker of the outer edges of two studs nailed together, where their seam shows at all."""
        one, other = _best_near(self.mean, left), _best_near(self.mean, right)
        wide, slack = round(self.width_m / self.px_m), round(WIDTH_SLACK_M / 2 / self.px_m)
        beyond, before = (_best_near(self.mean, c, slack) for c in (right + wide, left - wide))
        if self._faces(right + wide, -1) or self._faces(left, 1):
            beyond = np.zeros_like(beyond)
        if self._faces(left - wide, 1) or self._faces(right, -1):
            before = np.zeros_like(before)
        rightward = np.where(other > JOINT_LEAST, np.minimum(one, beyond), 0)
        leftward = np.where(one > JOINT_LEAST, np.minimum(before, other), 0)
        return np.maximum(leftward, rightward)

    def _faces(self, column: int, side: int) -> bool:
        """Whether a column is the edge of a stud taken already, on its left (-1) or right (1) side."""
        near = round(WIDTH_SLACK_M / self.px_m)
        return any(abs((c.right if side > 0 else c.left) - column) <= near for _, c in self.found)

    def _holds(self, new: _Candidate, beside: bool) -> bool:
        """Whether a candidate still counts next to what was taken since it was found."""
        if new.nailed and not self.candidates((new.left, new.right), nailed=True):
            return False
        return not beside or new.strength >= BESIDE_LEAST or (new.nailed and self._twin_is_nailed(new))

    def _twin_is_nailed(self, new: _Candidate) -> bool:
        wide = self.width_m / self.px_m
        return any(c.nailed and abs(abs(c.left - new.left) - wide) < 0.3 * wide for _, c in self.found)

    def _in_place_of_a_piece(self, new: _Candidate) -> _Candidate:
        """A candidate nailed to another, with the piece of itself that was found by its own edges taken back."""
        wide = self.width_m / self.px_m
        pieces = [
            f
            for f in self.found
            if abs(f[1].left + f[1].right - new.left - new.right) < 2 * SAME_PLACE * wide
            and f[1].weight * PIECE_GAIN < new.weight
        ]
        if not new.nailed or len(pieces) != 1 or not self.candidates((new.left, new.right), nailed=True):
            return new
        self.found.remove(pieces[0])
        own = pieces[0][1]
        return replace(new, first=min(new.first, own.first), last=max(new.last, own.last))

    def take(self, candidates: Sequence[_Candidate]) -> None:
        """Keep the strongest that do not overlap."""
        for new in sorted(candidates, key=lambda c: -c.weight):
            new = self._in_place_of_a_piece(new)
            middle = (new.left + new.right) / 2
            shares = [
                abs(middle - (c.left + c.right) / 2) * self.px_m / self.width_m
                for _, c in self.found
                if new.first <= c.last and new.last >= c.first
            ]
            if any(s < 0.9 for s in shares) or not self._holds(new, any(s < 1.3 for s in shares)):
                continue
            upright = _measure(self.edges, self.px_m, self.top_m, new)
            if upright is None or abs(upright.width_m - self.width_m) > WIDTH_SLACK_M:
                continue
            if self._in_front(new):
                self.found.append((upright, new))

    def _in_front(self, new: _Candidate) -> bool:
        """Whether both edges lie on the plane of the faces; what a stud taken already vouches for is not asked."""
        band = np.s_[new.first : new.last + 1]
        for column, shared in ((new.left, 1), (new.right, -1)):
            if self._faces(column, shared):
                continue
            beside = self._faces(new.right, -1) if shared == 1 else self._faces(new.left, 1)
            more, shown = votes_behind(self.edges, self.px_m, column, band)
            if more >= (0 if beside else max(BEHIND_LEAST, BEHIND_SHARE * shown)):
                return False
        return True


def _pairs(mean: np.ndarray, px_m: float, width_m: float) -> list[tuple[int, int]]:
    """Columns of edges that lie a stud's width apart."""
    peaks: set[int] = set()
    bands = len(mean)
    # Short studs under a window show in few bands, so that bands are looked at in groups, too.
    for first, last in [(0, bands), *((b, b + 6) for b in range(0, max(bands - 3, 1), 3))]:
        part = mean[first:last]
        shown = part.any(axis=1).sum()
        if shown:
            peaks |= set(find_peaks(part.sum(axis=0) / shown, prominence=PEAK_LEAST)[0].tolist())
    columns = sorted(peaks)
    found = []
    for left in columns:
        for right in columns:
            if abs((right - left) * px_m - width_m) <= WIDTH_SLACK_M:
                found.append((left, right))
    return found


def _best_near(mean: np.ndarray, column: int, reach_px: int = 1) -> np.ndarray:
    part = mean[:, max(column - reach_px, 0) : max(column + reach_px + 1, 0)]
    return part.max(axis=1) if part.shape[1] else np.zeros(len(mean), mean.dtype)


def _stretches(held: np.ndarray, unseen: np.ndarray) -> list[tuple[int, int]]:
    """Runs of bands with evidence; short breaks, and bands no picture shows, do not part them."""
    found: list[tuple[int, int]] = []
    gap = BRIDGED_BANDS + 1
    for band in np.flatnonzero(held):
        if found:
            between = ~unseen[found[-1][1] + 1 : band]
            gap = int(between.sum())
        if found and gap <= BRIDGED_BANDS:
            found[-1] = (found[-1][0], int(band))
        else:
            found.append((int(band), int(band)))
    return found


def _measure(edges: Edges, px_m: float, top_m: float, new: _Candidate) -> Upright | None:
    left, right, first, last = new.left, new.right, new.first, new.last
    centers, widths, shown = [], [], 0
    for col, own, seen in edges.views:
        inside = 0 <= (left + right) // 2 - col < own.shape[1]
        band = np.s_[first : last + 1]
        shown += inside and seen[band, (left + right) // 2 - col].sum() >= LEAST_BANDS - 1
        a, b = (peak_near(own[band], seen[band], column - col, px_m) for column in (left, right))
        if a is not None and b is not None:
            centers.append((a + b) / 2 + col)
            widths.append(b - a)
    if len(centers) < max(LEAST_SEEN, LEAST_SHARE * shown):
        return None
    middle = float(np.median(centers))
    spread = 1.4826 * float(np.median(np.abs(np.array(centers) - middle))) * px_m
    if spread > MOST_SPREAD_M:  # the pictures do not agree, so it does not stand in the studs' plane
        return None
    return Upright(
        center_m=(middle + 0.5) * px_m,
        scatter_m=max(LEAST_SPREAD_M, 1.25 * spread / np.sqrt(len(centers))),
        width_m=float(np.median(widths)) * px_m,
        bottom_m=top_m - (last + 1) * edges.band_m,
        top_m=top_m - first * edges.band_m,
        view_count=len(centers),
        strength=new.strength,
    )
