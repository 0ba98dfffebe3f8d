"""Upright studs in rectified pictures: pairs of vertical edges that many pictures show in one place.

Only what lies in the plane of the stud faces shows up in the same place in pictures taken from
different spots; edges of what lies behind it are smeared over by the parallax.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from scipy.signal import find_peaks

from asbuilt.imaging.sweep import Rectified

BAND_M = 0.1  # edges are looked for in bands of this height
LEAST_VIEWS = 2
EDGE_CAP = 2.0  # a clean edge reaches this: its mean step against the spread of the steps along it
PEAK_LEAST = 0.15
PAIR_LEAST = 1.25  # of a band in which both edges of a stud are seen; over half a metre nothing else keeps it up
LIKELY_LEAST, LIKELY_M = 0.9, 0.015  # where the layout asks for a stud
BESIDE_LEAST = 1.45  # right beside another stud, whose own edge is half of the evidence
JOINT_LEAST = 0.5  # of the seam between two studs nailed together
LEAST_BANDS = 5
LEAST_SHARE, LEAST_SEEN = 0.4, 3  # of the pictures that show the place have to show both edges
WIDTH_SLACK_M = 0.0055  # planed timber is cut to a millimetre, an edge is rounded
SEARCH_M = 0.008
BRIDGED_BANDS = 6  # a stud behind a sheet of paper is still one stud
LEAST_SPREAD_M, MOST_SPREAD_M = 0.0005, 0.003


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


def edge_bands(view: Rectified, rows: int, band_px: int) -> tuple[np.ndarray, np.ndarray]:
    """How clean an upright edge each column of each band holds.

    Returns
    -------
    strength : ndarray of shape (bands, w)
        Mean horizontal step of the logarithm of brightness over its spread along the band;
        positive towards brighter on the right.
    seen : ndarray of shape (bands, w), bool
    """
    light = cv2.GaussianBlur(np.log(view.colors.astype(np.float32).mean(axis=2) + 4), (0, 0), 1.0)
    step = np.zeros_like(light)
    step[:, 1:-1] = (light[:, 2:] - light[:, :-2]) / 2
    inside = cv2.erode(view.within.astype(np.uint8), np.ones((3, 9), np.uint8), borderValue=0) > 0
    step[~inside] = 0
    bands = rows // band_px
    strength, seen = np.zeros((bands, light.shape[1]), np.float32), np.zeros((bands, light.shape[1]), bool)
    for band in range(bands):
        first = band * band_px - view.row
        if first < 0 or first + band_px > light.shape[0]:
            continue
        part = step[first : first + band_px]
        seen[band] = inside[first : first + band_px].mean(axis=0) > 0.9
        clean = 2 * part.mean(axis=0) / (part.std(axis=0) + 0.01)
        strength[band] = np.clip(clean, -EDGE_CAP, EDGE_CAP) * seen[band]
    return strength, seen


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Edges:
    """Edge strengths of all pictures over a face, band 0 at the top."""

    views: list[tuple[int, np.ndarray, np.ndarray]]  # first column, strength, seen
    mean: np.ndarray  # (bands, cols), magnitude
    count: np.ndarray  # (bands, cols)
    band_m: float


def edges_of(views: Sequence[Rectified], rows: int, cols: int, px_m: float, band_m: float = BAND_M) -> Edges:
    """Edge strengths of some rectified pictures, and their mean magnitude."""
    band_px = round(band_m / px_m)
    total = np.zeros((rows // band_px, cols), np.float32)
    signed, count = np.zeros_like(total), np.zeros_like(total)
    kept = []
    for view in views:
        strength, seen = edge_bands(view, rows, band_px)
        box = np.s_[:, view.col : view.col + strength.shape[1]]
        signed[box] += strength
        total[box] += np.abs(strength)
        count[box] += seen
        kept.append((view.col, strength, seen))
    # A stud's edge steps the same way in most pictures; grain and flakes behind it do not.
    mean = np.where(count >= LEAST_VIEWS, (total + np.abs(signed)) / 2 / np.maximum(count, 1), 0)
    return Edges(views=kept, mean=mean, count=count, band_m=band_px * px_m)


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

    def take(self, candidates: Sequence[_Candidate]) -> None:
        """Keep the strongest that do not overlap."""
        for new in sorted(candidates, key=lambda c: -c.weight):
            middle = (new.left + new.right) / 2
            shares = [
                abs(middle - (c.left + c.right) / 2) * self.px_m / self.width_m
                for _, c in self.found
                if new.first <= c.last and new.last >= c.first
            ]
            if any(s < 0.9 for s in shares) or not self._holds(new, any(s < 1.3 for s in shares)):
                continue
            upright = _measure(self.edges, self.px_m, self.top_m, new)
            if upright is not None and abs(upright.width_m - self.width_m) <= WIDTH_SLACK_M:
                self.found.append((upright, new))


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


def peak_near(strength: np.ndarray, seen: np.ndarray, column: int, px_m: float) -> float | None:
    """The edge of one picture near a column, to a part of a pixel."""
    reach = round(SEARCH_M / px_m)
    if column - reach < 1 or column + reach + 1 >= strength.shape[1]:
        return None
    shown = seen[:, column]
    if shown.sum() < LEAST_BANDS - 1:
        return None
    part = np.abs(strength[shown, column - reach : column + reach + 1]).mean(axis=0)
    at = int(part.argmax())
    if part[at] < JOINT_LEAST or not 0 < at < len(part) - 1:
        return None
    before, here, after = part[at - 1 : at + 2]
    bend = before - 2 * here + after
    return column - reach + at + (0.5 * float(before - after) / float(bend) if bend < 0 else 0.0)
