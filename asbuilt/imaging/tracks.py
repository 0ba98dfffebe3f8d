"""Feature tracks through neighbouring pictures of one clip.

Corners are followed from kept frame to kept frame by pyramidal Lucas-Kanade, checked by
following them back and by the epipolar geometry of the pair. A pair that does not tie
(blur, dark, floor) ends every track cleanly.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

WINDOW_PX = 21
BACK_TOLERANCE_PX = 0.5  # a track followed there and back must return to within this
EPIPOLAR_TOLERANCE_PX = 1.5
MIN_TIED = 40  # fewer surviving tracks than this do not tie a pair
MIN_SHARE = 0.25  # of those followed, this share must fit one camera motion
CORNER_SPACING_PX = 16
COARSE = 8  # shrink factor at which the whole picture's shift is found first


@dataclass(frozen=True, slots=True, kw_only=True)
class Tracks:
    """Observations of tracks: picture index, track index, pixel. ``breaks`` lists picture
    indices that could not be tied to the one before."""

    picture_idx: np.ndarray
    track_idx: np.ndarray
    xy_px: np.ndarray
    breaks: tuple[int, ...]

    @property
    def count(self) -> int:
        """Number of tracks."""
        return int(self.track_idx.max()) + 1 if len(self.track_idx) else 0


@dataclass(slots=True)
class TrackBuilder:
    """Follows corners through the pictures given to ``add`` in order; ends in ``finish``.

    Parameters
    ----------
    normalise : callable
        Pixels (N, 2) to ideal normalised coordinates (N, 2) of the lens prior.
    focal_px : float
        Of the lens prior.
    wanted : int
        Tracks kept alive per picture.
    """

    normalise: object
    focal_px: float
    wanted: int = 700
    _gray: np.ndarray | None = None
    _live_xy: np.ndarray = field(default_factory=lambda: np.zeros((0, 2), np.float32))
    _live_id: np.ndarray = field(default_factory=lambda: np.zeros(0, int))
    _next_id: int = 0
    _parts: list = field(default_factory=list)
    _breaks: list = field(default_factory=list)

    def add(self, picture_idx: int, gray: np.ndarray, new_clip: bool = False) -> int:
        """Follow the live tracks into the next picture; returns how many survived."""
        survived = 0
        if self._gray is not None and not new_clip:
            survived = self._follow(gray)
            if not survived:
                self._breaks.append(picture_idx)
        if not survived:
            self._live_xy, self._live_id = np.zeros((0, 2), np.float32), np.zeros(0, int)
        self._top_up(gray)
        self._parts.append((np.full(len(self._live_id), picture_idx), self._live_id.copy(), self._live_xy.copy()))
        self._gray = gray
        return survived

    def finish(self) -> Tracks:
        """Tracks seen in two pictures or more, renumbered."""
        picture = np.concatenate([p[0] for p in self._parts]) if self._parts else np.zeros(0, int)
        track = np.concatenate([p[1] for p in self._parts]) if self._parts else np.zeros(0, int)
        xy = np.concatenate([p[2] for p in self._parts]) if self._parts else np.zeros((0, 2))
        keep = np.bincount(track, minlength=1)[track] >= 2
        _, renumbered = np.unique(track[keep], return_inverse=True)
        return Tracks(picture_idx=picture[keep], track_idx=renumbered, xy_px=xy[keep].astype(float),
                      breaks=tuple(self._breaks))  # fmt: skip

    def _follow(self, gray: np.ndarray) -> int:
        if len(self._live_xy) < MIN_TIED:
            return 0
        there, ok = follow(self._gray, gray, self._live_xy)
        if ok.sum() < MIN_TIED:
            return 0
        keep = np.flatnonzero(ok)
        fits = self._fits_one_motion(self._live_xy[keep], there[keep])
        if fits.sum() < max(MIN_TIED, MIN_SHARE * len(keep)):
            return 0
        keep = keep[fits]
        self._live_xy, self._live_id = there[keep], self._live_id[keep]
        return len(keep)

    def _fits_one_motion(self, before_px: np.ndarray, after_px: np.ndarray) -> np.ndarray:
        a, b = self.normalise(before_px.astype(float)), self.normalise(after_px.astype(float))
        threshold = EPIPOLAR_TOLERANCE_PX / self.focal_px
        cv2.setRNGSeed(1)
        essential, mask = cv2.findEssentialMat(a, b, np.eye(3), cv2.RANSAC, 0.999, threshold, 300)
        return np.zeros(len(a), bool) if essential is None else mask.ravel() > 0

    def _top_up(self, gray: np.ndarray) -> None:
        missing = self.wanted - len(self._live_id)
        if missing <= 0:
            return
        mask = np.full(gray.shape, 255, np.uint8)
        for x, y in self._live_xy:
            cv2.circle(mask, (int(x), int(y)), CORNER_SPACING_PX, 0, -1)
        corners = cv2.goodFeaturesToTrack(gray, missing, 0.003, CORNER_SPACING_PX, mask=mask)
        if corners is None:
            return
        corners = corners.reshape(-1, 2)
        ids = self._next_id + np.arange(len(corners))
        self._next_id += len(corners)
        self._live_xy = np.concatenate([self._live_xy, corners]).astype(np.float32)
        self._live_id = np.concatenate([self._live_id, ids])


def whole_shift_px(before: np.ndarray, after: np.ndarray) -> tuple[float, float]:
    """Shift (x, y) of a whole picture, by phase correlation of small copies."""
    size = (before.shape[1] // COARSE, before.shape[0] // COARSE)
    a, b = (cv2.resize(g, size, interpolation=cv2.INTER_AREA).astype(np.float32) for g in (before, after))
    (dx, dy), _ = cv2.phaseCorrelate(a, b, cv2.createHanningWindow(size, cv2.CV_32F))
    return dx * COARSE, dy * COARSE


def follow(
    before: np.ndarray, after: np.ndarray, xy_px: np.ndarray, guess_px: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Follow points from one picture into the next and back.

    Parameters
    ----------
    before, after : ndarray of shape (H, W), uint8
    xy_px : ndarray of shape (N, 2), float32
    guess_px : ndarray of shape (N, 2), optional
        Where they are expected; without it, moved by the whole picture's shift.

    Returns
    -------
    there : ndarray of shape (N, 2), float32
    ok : ndarray of shape (N,), bool
        Followed both ways and inside the picture.
    """
    start = np.ascontiguousarray(xy_px, np.float32).reshape(-1, 1, 2)
    if guess_px is None:
        guess = start + np.float32(whole_shift_px(before, after))
    else:
        guess = np.ascontiguousarray(guess_px, np.float32).reshape(-1, 1, 2)
    options = {
        "winSize": (WINDOW_PX, WINDOW_PX),
        "maxLevel": 4,
        "criteria": (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 30, 0.01),
        "flags": cv2.OPTFLOW_USE_INITIAL_FLOW,
    }
    there, found, _ = cv2.calcOpticalFlowPyrLK(before, after, start, guess.copy(), **options)
    back, found_back, _ = cv2.calcOpticalFlowPyrLK(after, before, there, start.copy(), **options)
    off = np.abs(back - start).reshape(-1, 2).max(axis=1)
    there = there.reshape(-1, 2)
    height, width = after.shape[:2]
    inside = (there[:, 0] >= 0) & (there[:, 1] >= 0) & (there[:, 0] < width) & (there[:, 1] < height)
    return there, (found.ravel() > 0) & (found_back.ravel() > 0) & (off < BACK_TOLERANCE_PX) & inside
