"""Where one camera stood, from points of known place: PnP, refined, with its covariance."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import reduce

import cv2
import numpy as np
from scipy.spatial.transform import Rotation
from scipy.special import expit

from asbuilt.errors import FailedEstimate
from asbuilt.geometry.cameras import Lens, require_shape
from asbuilt.geometry.projection import exp_rotation, project_with_jacobian, skew

MIN_POINTS = 4
FLAT_SHARE = 0.02  # a point set thinner than this share of its size counts as flat
UPRIGHT_COSINE = np.cos(np.radians(35))  # a phone is rolled and tipped less; our choice
DISAGREEING = "its known points do not agree with each other"


@dataclass(frozen=True, slots=True, kw_only=True)
class Resection:
    """A camera pose: ``x_camera = rotation @ x_target + translation_m``.

    ``covariance`` is 6x6 of (rotation vector on the left [rad], translation [m]);
    ``residual_px`` the rms pixel residual; ``used`` a mask of the points it rests on; ``cost``
    the robust cost over all points, which compares poses of the same points.
    """

    rotation: np.ndarray
    translation_m: np.ndarray
    covariance: np.ndarray
    residual_px: float
    used: np.ndarray
    cost: float

    @property
    def center_m(self) -> np.ndarray:
        """Camera centre in the points' frame [m]."""
        return -self.rotation.T @ self.translation_m


def resect(
    lens: Lens,
    points_m: np.ndarray,
    pixels_px: np.ndarray,
    sigma_px: np.ndarray | float,
    sigma_points_m: np.ndarray | float = 0.0,
    keep_side=None,
) -> Resection | FailedEstimate:
    """Place one camera by points whose places are known.

    Parameters
    ----------
    lens : Lens
    points_m : ndarray of shape (N, 3)
        Known places [m].
    pixels_px : ndarray of shape (N, 2)
        Where they were seen.
    sigma_px : float or ndarray of shape (N,)
    sigma_points_m : float or ndarray of shape (N,)
        Uncertainty of the known places; widens each pixel's sigma by its size in the picture.
    keep_side : callable, optional
        Given a camera centre (3,), whether it may stand there (inside the room).

    Returns
    -------
    Resection or FailedEstimate
    """
    points = require_shape(points_m, 3, "points_m")
    pixels = require_shape(pixels_px, 2, "pixels_px")
    if len(points) < MIN_POINTS:
        return FailedEstimate(f"{len(points)} known points, {MIN_POINTS} needed")
    starts = [s for s in _starts(lens, points, pixels) if keep_side is None or keep_side(-s[0].T @ s[1])]
    if not starts:
        return FailedEstimate("the known points do not fit a camera inside the room")
    sigma = np.broadcast_to(np.asarray(sigma_px, float), len(points))
    spread = np.broadcast_to(np.asarray(sigma_points_m, float), len(points))
    solved = [refine(lens, points, pixels, sigma, spread, *start) for start in starts]
    solved = sorted((s for s in solved if s), key=lambda s: s.cost)
    if not solved:
        return FailedEstimate(DISAGREEING)
    return reduce(_covering, solved)


def three_point_poses(
    lens: Lens, points_m: np.ndarray, pixels_px: np.ndarray, keep_side=None
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Every pose that three known points allow, held about upright: up to four, (rotation, translation [m]).

    Parameters
    ----------
    lens : Lens
    points_m : ndarray of shape (3, 3)
        In a frame whose third axis points up.
    pixels_px : ndarray of shape (3, 2)
    keep_side : callable, optional
        As for ``resect``.
    """
    xy = lens.normalised(require_shape(pixels_px, 2, "pixels_px"))
    _, rotvecs, translations = cv2.solveP3P(
        np.ascontiguousarray(points_m, float), xy, np.eye(3), None, flags=cv2.SOLVEPNP_AP3P
    )
    poses = []
    for rotvec, translation in zip(rotvecs, translations, strict=True):
        rotation, offset = cv2.Rodrigues(rotvec)[0], translation.ravel()
        upright = -rotation[1, 2] > UPRIGHT_COSINE
        if upright and (points_m @ rotation.T + offset)[:, 2].min() > 0.05:
            if keep_side is None or keep_side(-rotation.T @ offset):
                poses.append((rotation, offset))
    return poses


def _covering(best: Resection, other: Resection) -> Resection:
    """The better of two poses of the same points, its covariance widened as far as the other may be right.

    A small sheet seen nearly square on fits two poses far apart. The covariance is that of
    both together, each weighted by its likelihood.
    """
    chance = expit((best.cost - other.cost) / 2)
    turn = Rotation.from_matrix(other.rotation @ best.rotation.T).as_rotvec()
    apart = np.concatenate([turn, other.translation_m - best.translation_m])
    together = (1 - chance) * best.covariance + chance * other.covariance + chance * np.outer(apart, apart)
    return replace(best, covariance=together)


def _starts(lens: Lens, points: np.ndarray, pixels: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    """Candidate poses: both of a flat set's, else one."""
    xy = lens.normalised(pixels)
    center = points.mean(axis=0)
    _, sizes, axes = np.linalg.svd(points - center)
    if sizes[1] < FLAT_SHARE * sizes[0] or sizes[0] == 0:
        return []
    if sizes[2] > FLAT_SHARE * sizes[0]:
        ok, rotvec, translation = cv2.solvePnP(points, xy, np.eye(3), None, flags=cv2.SOLVEPNP_SQPNP)
        return [(cv2.Rodrigues(rotvec)[0], translation.ravel())] if ok else []
    axes = axes * np.sign(np.linalg.det(axes))
    flat = (points - center) @ axes.T
    flat[:, 2] = 0
    _, rotvecs, translations, _ = cv2.solvePnPGeneric(flat, xy, np.eye(3), None, flags=cv2.SOLVEPNP_IPPE)
    starts = []
    for rotvec, translation in zip(rotvecs, translations, strict=True):
        rotation = cv2.Rodrigues(rotvec)[0] @ axes
        starts.append((rotation, translation.ravel() - rotation @ center))
    return starts


def refine(lens, points, pixels, sigma, spread, rotation, translation, rounds: int = 25) -> Resection | None:
    """Robust Gauss-Newton from a start; None if it runs behind the points or too few of them fit."""
    lens_params = np.broadcast_to(lens.params, (len(points), 7))
    for _ in range(rounds):
        turned = points @ rotation.T
        in_camera = turned + translation
        if in_camera[:, 2].min() < 0.05:
            return None
        predicted, by_point, _ = project_with_jacobian(in_camera, lens_params)
        jacobian = np.concatenate([-by_point @ skew(turned), by_point], axis=2)
        whole_sigma = np.hypot(sigma, spread * lens.focal_px / in_camera[:, 2])
        residual = predicted - pixels
        squared = np.sum((residual / whole_sigma[:, None]) ** 2, axis=1)
        weight = 1 / (1 + squared / 18.0) / whole_sigma**2  # Cauchy, 3 sigmas in each of two axes
        normal = np.einsum("nki,n,nkj->ij", jacobian, weight, jacobian)
        pull = np.einsum("nki,n,nk->i", jacobian, weight, residual)
        try:
            step = -np.linalg.solve(normal, pull)
        except np.linalg.LinAlgError:
            return None
        rotation = exp_rotation(step[None, :3])[0] @ rotation
        translation = translation + step[3:]
        if np.abs(step).max() < 1e-9:
            break
    used = squared < 18.0
    if used.sum() < MIN_POINTS:  # three fit some camera whatever they are
        return None
    rms = float(np.sqrt(np.mean(np.sum(residual[used] ** 2, axis=1))))
    # The weights hold back good points too, by a tenth on average; what these tell counts in full.
    information = np.einsum("nki,n,nkj->ij", jacobian, used / whole_sigma**2, jacobian)
    # With a redundancy this small the scatter seen may fall short of the sigmas given, never widen below them.
    excess = max(1.0, float(np.sum(squared[used]) / max(2 * used.sum() - 6, 1)))
    return Resection(rotation=rotation, translation_m=translation, covariance=np.linalg.inv(information) * excess,
                     residual_px=rms, used=used, cost=float(18.0 * np.log1p(squared / 18.0).sum()))  # fmt: skip
