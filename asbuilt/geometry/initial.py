"""First poses for a joint solution: from known points, then from picture to picture along tracks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from asbuilt.geometry.bundle_problem import PixelObservations
from asbuilt.geometry.cameras import Lens
from asbuilt.geometry.planes import Plane, on_planes
from asbuilt.geometry.resection import DISAGREEING, MIN_POINTS, refine, resect, three_point_poses

MIN_TRACKS = 12  # shared tracks needed to go on from a neighbour
CHAIN_SIGMA_PX = 6.0  # a track point guessed from the wall's plane lands about this far off
GUESS_SIGMA_M = 0.08  # spread of texture about the guessed plane inside a stud wall
RAY_SIGMA = 0.006  # radians: pixel and pose error of a first pose
DISAGREE = 0.012  # of the focal length: an uncalibrated lens and the tape explain no more than this; our choice
BORNE_OUT = 0.02  # of the focal length: about 2 in at the wall, before any adjustment
TRIAL_PICTURES = 20  # how far along the clip a three-point pose is tried
REACH = 12  # pictures posed one from the next before they are straightened
STRONG_POINTS = 8  # known points that place a picture without help: two sheets


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownPoints:
    """Points of known place seen by one camera: building places (n, 3), pixels (n, 2), sigmas (n,)."""

    points_m: np.ndarray
    xy_px: np.ndarray
    sigma_px: np.ndarray
    sigma_m: np.ndarray


@dataclass(slots=True)
class Chain:
    """Builds first poses; ``run`` fills rotation (N, 3, 3), translation_m (N, 3), posed (N,) and point_m."""

    lenses: Sequence[Lens]  # per camera
    planes: Sequence[Plane]
    known: Sequence[KnownPoints]  # per camera
    tracks: PixelObservations
    inside: object  # camera centre (3,) -> may it stand there
    straighten: Callable[[Chain], None] | None = None  # called between rounds of growth; may call ``moved``
    rotation: np.ndarray = field(init=False)
    translation_m: np.ndarray = field(init=False)
    posed: np.ndarray = field(init=False)
    reasons: list = field(init=False)
    _weight: np.ndarray = field(init=False)
    _pull: np.ndarray = field(init=False)
    _started: np.ndarray = field(init=False)
    _by_camera: list = field(init=False)

    def __post_init__(self) -> None:
        n, tracks = len(self.lenses), 0
        if len(self.tracks):
            tracks = int(self.tracks.thing_idx.max()) + 1
        self.rotation = np.tile(np.eye(3), (n, 1, 1))
        self.translation_m = np.zeros((n, 3))
        self.posed = np.zeros(n, bool)
        self.reasons = [""] * n
        self._weight = np.zeros((tracks, 3, 3))
        self._pull = np.zeros((tracks, 3))
        self._started = np.zeros(tracks, bool)
        order = np.argsort(self.tracks.camera_idx, kind="stable")
        bounds = np.searchsorted(self.tracks.camera_idx[order], np.arange(n + 1))
        self._by_camera = [order[a:b] for a, b in zip(bounds, bounds[1:], strict=False)]

    def run(self) -> None:
        """Strong pictures first, then along the tracks both ways, then pictures with one sheet."""
        order = range(len(self.lenses))
        for needed in (STRONG_POINTS, 4):
            for i in order:
                if (
                    not self.posed[i]
                    and len(self.known[i].points_m) >= needed
                    and (needed == STRONG_POINTS or not self._neighbours(i))
                ):
                    self._pose_by_known(i)
            self._grow()
        for i in order:
            if not self.posed[i] and not self.reasons[i] and self._pose_by_three(i):
                self._grow()
        for i in order:
            if not self.posed[i] and not self.reasons[i]:
                self.reasons[i] = self._why_not(i)

    def points(self) -> tuple[np.ndarray, np.ndarray]:
        """Track points (P, 3) and which are usable (P,)."""
        safe = np.where(self._started[:, None, None], self._weight, np.eye(3))
        return np.linalg.solve(safe, self._pull[:, :, None])[:, :, 0], self._started.copy()

    def moved(self, lenses: Sequence[Lens], rotation: np.ndarray, translation_m: np.ndarray) -> None:
        """Take over what a joint solution made of the posed cameras (N, the rest is ignored)."""
        self.lenses = lenses
        for sums in (self._weight, self._pull, self._started):
            sums[:] = 0
        for i in np.flatnonzero(self.posed):
            self._accept(i, rotation[i], translation_m[i])

    def _grow(self) -> None:
        """Pose outwards along the tracks in rounds, straightened between them: a chain drifts."""
        while True:
            posed = np.flatnonzero(self.posed)
            if not len(posed):
                return
            away = np.abs(np.arange(len(self.lenses))[:, None] - posed).min(axis=1)
            for i in np.argsort(away, kind="stable")[len(posed) :]:
                if away[i] <= REACH and self._neighbours(i):
                    self._pose_by_tracks(i)
            left = [i for i in np.flatnonzero(~self.posed) if self._neighbours(i)]
            if self.posed.sum() == len(posed) or not left:
                return
            if self.straighten is not None:
                self.straighten(self)

    def _spread(self, middle: int, reach: int) -> None:
        """Pose along the tracks whatever can be, within ``reach`` pictures of ``middle``."""
        order = range(max(0, middle - reach), min(middle + reach + 1, len(self.lenses)))
        changed = True
        while changed:
            changed = False
            for i in [*order, *reversed(order)]:
                if not self.posed[i] and self._neighbours(i):
                    changed |= self._pose_by_tracks(i)

    def _neighbours(self, i: int) -> bool:
        rows = self._by_camera[i]
        return bool(self._started[self.tracks.thing_idx[rows]].sum() >= MIN_TRACKS)

    def _pose_by_known(self, i: int) -> bool:
        known = self.known[i]
        pose = resect(self.lenses[i], known.points_m, known.xy_px, known.sigma_px, known.sigma_m, self.inside)
        if not pose:
            self.reasons[i] = pose.reason
            return False
        if pose.residual_px > DISAGREE * self.lenses[i].focal_px or not pose.used.all():
            self.reasons[i] = DISAGREEING
            return False
        self._accept(i, pose.rotation, pose.translation_m)
        return True

    def _pose_by_three(self, i: int) -> bool:
        """Try what its three known points allow; keep what the pictures reached from it bear out."""
        known = self.known[i]
        if len(known.points_m) != 3:
            return False
        best, best_score = None, (-1, 0.0)
        for pose in three_point_poses(self.lenses[i], known.points_m, known.xy_px, self.inside):
            trial = self._copy()
            trial._accept(i, *pose)
            trial._spread(i, TRIAL_PICTURES)
            score = trial._borne_out(trial.posed & ~self.posed)
            if score > best_score:
                best, best_score = pose, score
        if best is None or best_score[0] < MIN_POINTS:
            return False
        self._accept(i, *best)
        return True

    def _copy(self) -> Chain:
        """A chain to try things on."""
        other = Chain(
            lenses=self.lenses, planes=self.planes, known=self.known, tracks=self.tracks, inside=self.inside
        )
        for name in ("rotation", "translation_m", "posed", "_weight", "_pull", "_started"):
            setattr(other, name, getattr(self, name).copy())
        other.reasons = list(self.reasons)
        return other

    def _borne_out(self, pictures: np.ndarray) -> tuple[int, float]:
        """How many known points lie where these pictures show them, and by how much less than the limit."""
        count, slack = 0, 0.0
        for i in np.flatnonzero(pictures):
            known, lens = self.known[i], self.lenses[i]
            if len(known.points_m):
                off = lens.project(known.points_m @ self.rotation[i].T + self.translation_m[i]) - known.xy_px
                share = np.linalg.norm(off, axis=1) / (BORNE_OUT * lens.focal_px)
                count += int((share < 1).sum())
                slack += float(np.clip(1 - share, 0, 1)[share < 1].sum())
        return count, slack

    def _pose_by_tracks(self, i: int) -> bool:
        rows = self._by_camera[i]
        rows = rows[self._started[self.tracks.thing_idx[rows]]]
        tracks = self.tracks.thing_idx[rows]
        points = np.linalg.solve(self._weight[tracks], self._pull[tracks][:, :, None])[:, :, 0]
        known = self.known[i]
        everything = np.concatenate([points, known.points_m])
        pixels = np.concatenate([self.tracks.xy_px[rows], known.xy_px])
        sigma = np.concatenate([np.full(len(rows), CHAIN_SIGMA_PX), np.maximum(known.sigma_px, 1.0)])
        for start in self._near_poses(i, rows):
            pose = refine(self.lenses[i], everything, pixels, sigma, np.zeros(len(sigma)), *start)
            if pose and pose.used[: len(rows)].sum() >= max(MIN_TRACKS, 0.5 * len(rows)):
                if self.inside(pose.center_m):
                    self._accept(i, pose.rotation, pose.translation_m)
                    return True
        return False

    def _near_poses(self, i: int, rows: np.ndarray) -> list:
        """Poses of the posed pictures nearest in order, as starts."""
        posed = np.flatnonzero(self.posed)
        near = posed[np.argsort(np.abs(posed - i), kind="stable")[:2]]
        return [(self.rotation[k], self.translation_m[k]) for k in near]

    def _accept(self, i: int, rotation: np.ndarray, translation_m: np.ndarray) -> None:
        self.rotation[i], self.translation_m[i], self.posed[i], self.reasons[i] = rotation, translation_m, True, ""
        rows = self._by_camera[i]
        if not len(rows):
            return
        tracks = self.tracks.thing_idx[rows]
        center = -rotation.T @ translation_m
        rays = self.lenses[i].rays(self.tracks.xy_px[rows]) @ rotation
        guess = on_planes(self.planes, center, rays)
        new = ~self._started[tracks] & np.isfinite(guess[:, 0])
        self._weight[tracks[new]] += np.eye(3) / GUESS_SIGMA_M**2
        self._pull[tracks[new]] += guess[new] / GUESS_SIGMA_M**2
        self._started[tracks[new]] = True
        usable = self._started[tracks]
        across = np.eye(3) - rays[:, :, None] * rays[:, None, :]
        distance = np.where(np.isfinite(guess[:, 0]), np.linalg.norm(guess - center, axis=1), 3.0)
        weight = across / (RAY_SIGMA * distance[:, None, None]) ** 2
        self._weight[tracks[usable]] += weight[usable]
        self._pull[tracks[usable]] += (weight @ center)[usable]

    def _why_not(self, i: int) -> str:
        known, rows = len(self.known[i].points_m), self._by_camera[i]
        if known:
            return "its known points fit no camera inside the room"
        if len(rows) < MIN_TRACKS:
            return "no marker sheet or known point in it, and too little in common with its neighbours"
        return "no marker sheet or known point in it, and none of its neighbours could be placed"
