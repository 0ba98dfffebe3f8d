"""Where a sighted spot lies on a face, from one ray or several, with everything that is uncertain.

The unknown is one point (offset, depth, height) on a face. Observed are its pixels; their
covariance is the click's, plus what the joint solution leaves uncertain of the cameras, lenses
and the face (first-order propagation, JCGM 100 clause 5.2, correlated inputs), so that errors
shared by several pictures do not average away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asbuilt.errors import FailedEstimate
from asbuilt.geometry.cameras import Camera
from asbuilt.geometry.frames import Rigid3
from asbuilt.geometry.projection import LENS_SIZE, project_with_jacobian, skew

ENOUGH_PARALLAX_RAD = 0.035  # two degrees: below this depth rests mostly on what is usual
OUTLIER_CHI2 = 13.8  # 99.9 % of chi-square with 2 degrees of freedom
MAX_RANGE_M = 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One pixel of a spot: the camera's index in the covariance's order and its lens's.

    ``sigma_px`` is its own error, along the unit direction ``along`` (of a tube that runs
    there) ``sigma_along_px``. A pixel found again from another's goes where that one went
    wrong: ``leader`` is the other's index in the sequence.
    """

    camera: Camera
    camera_slot: int
    lens_slot: int
    xy_px: np.ndarray
    sigma_px: float
    along: np.ndarray | None = None
    sigma_along_px: float = 0.0
    leader: int | None = None

    @property
    def covariance_px(self) -> np.ndarray:
        """Its own error, shape (2, 2) [px^2]."""
        own = self.sigma_px**2 * np.eye(2)
        if self.along is None:
            return own
        return own + (self.sigma_along_px**2 - self.sigma_px**2) * np.outer(self.along, self.along)


@dataclass(frozen=True, slots=True, kw_only=True)
class Intersection:
    """A spot on a face: (offset, depth, height) [m] and its covariance [m^2].

    ``misfit`` is the largest squared Mahalanobis distance of a pixel; ``used`` the share of
    information on depth that came from the pictures rather than from what is usual.
    """

    place_face_m: np.ndarray
    covariance: np.ndarray
    parallax_rad: float
    misfit: float
    worst: int
    depth_share: float


def intersect(
    seen: Sequence[Seen],
    building_from_face: Rigid3,
    joint_covariance: np.ndarray,
    face_column: int,
    usual_depth_m: float,
    sigma_depth_m: float,
) -> Intersection | FailedEstimate:
    """The point that best explains its pixels.

    Parameters
    ----------
    seen : sequence of Seen
        One pixel or more; slots are first columns (camera: 6, lens: 7) in ``joint_covariance``.
    building_from_face : Rigid3
    joint_covariance : ndarray of shape (K, K)
        Of the cameras, lenses and the face involved.
    face_column : int
        First of the face's six columns.
    usual_depth_m, sigma_depth_m : float
        Prior of the depth [m].

    Returns
    -------
    Intersection or FailedEstimate
    """
    rays = np.array([s.camera.rays_building(s.xy_px[None])[0] for s in seen])
    place = _start(seen, rays, building_from_face, usual_depth_m)
    if place is None:
        return FailedEstimate("its picture does not look at this face there")
    covariance = np.eye(3)
    for _ in range(12):
        residual, by_place, by_joint = linearise(seen, building_from_face, place, len(joint_covariance), face_column)
        if residual is None:
            return FailedEstimate("it does not lie in front of the camera")
        spread = by_joint @ joint_covariance @ by_joint.T
        spread += _pixel_covariance(seen, by_place)
        weight = np.linalg.inv(spread)
        pictures = by_place.T @ weight @ by_place
        normal = pictures.copy()
        normal[1, 1] += 1 / sigma_depth_m**2
        pull = by_place.T @ weight @ residual
        pull[1] += (place[1] - usual_depth_m) / sigma_depth_m**2
        covariance = np.linalg.inv(normal)
        step = -covariance @ pull
        place = place + np.clip(step, -0.5, 0.5)
        if np.abs(step).max() < 1e-8:
            break
    pairs = residual.reshape(-1, 2)
    blocks = [spread[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] for k in range(len(seen))]
    misfits = [float(r @ np.linalg.solve(b, r)) for r, b in zip(pairs, blocks, strict=True)]
    return Intersection(
        place_face_m=place,
        covariance=covariance,
        parallax_rad=_parallax(rays),
        misfit=max(misfits),
        worst=int(np.argmax(misfits)),
        depth_share=float(1 - covariance[1, 1] / sigma_depth_m**2),
    )


def _pixel_covariance(seen: Sequence[Seen], by_place: np.ndarray) -> np.ndarray:
    """Covariance of the pixels themselves (2n, 2n): a leader's error moves those that follow it.

    The leader's error moves the spot along the wall at its depth, and with it every pixel.
    """
    spread = np.zeros((2 * len(seen), 2 * len(seen)))
    along_wall = by_place.reshape(-1, 2, 3)[:, :, [0, 2]]
    for k, one in enumerate(seen):
        if one.leader is None:
            group = [k, *(j for j, other in enumerate(seen) if other.leader == k)]
            moved = np.concatenate([along_wall[j] @ np.linalg.inv(along_wall[k]) for j in group])
            rows = np.concatenate([[2 * j, 2 * j + 1] for j in group])
            spread[np.ix_(rows, rows)] += moved @ one.covariance_px @ moved.T
        else:
            spread[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] += one.covariance_px
    return spread


def _start(seen, rays: np.ndarray, building_from_face: Rigid3, depth_m: float) -> np.ndarray | None:
    """Mean of where the rays meet the plane of the usual depth."""
    face_from_building = building_from_face.inverse()
    places = []
    for one, ray in zip(seen, rays, strict=True):
        origin, direction = face_from_building.apply(one.camera.center_building_m), face_from_building.rotate(ray)
        if direction[1] < 0.05:
            continue
        distance = (depth_m - origin[1]) / direction[1]
        if 0.05 < distance < MAX_RANGE_M:
            places.append(origin + distance * direction)
    return np.mean(places, axis=0) if places else None


def linearise(seen, building_from_face: Rigid3, place: np.ndarray, columns: int, face_column: int):
    """Residuals (2n,), derivatives by the place (2n, 3) and by the joint columns (2n, K)."""
    count = len(seen)
    residual, by_place, by_joint = np.zeros(2 * count), np.zeros((2 * count, 3)), np.zeros((2 * count, columns))
    turned_face = building_from_face.rotation @ place
    point = turned_face + building_from_face.translation_m
    by_face = np.concatenate([-skew(turned_face[None])[0], np.eye(3)], axis=1)
    for k, one in enumerate(seen):
        pose = one.camera.camera_from_building
        turned = pose.rotation @ point
        in_camera = turned + pose.translation_m
        if in_camera[2] < 0.05:
            return None, None, None
        pixel, by_point, by_lens = project_with_jacobian(in_camera[None], one.camera.lens.params[None])
        by_building = by_point[0] @ pose.rotation
        rows = slice(2 * k, 2 * k + 2)
        residual[rows] = pixel[0] - one.xy_px
        by_place[rows] = by_building @ building_from_face.rotation
        by_joint[rows, one.camera_slot : one.camera_slot + 3] = -by_point[0] @ skew(turned[None])[0]
        by_joint[rows, one.camera_slot + 3 : one.camera_slot + 6] = by_point[0]
        by_joint[rows, one.lens_slot : one.lens_slot + LENS_SIZE] = by_lens[0]
        by_joint[rows, face_column : face_column + 6] = by_building @ by_face
    return residual, by_place, by_joint


def _parallax(rays: np.ndarray) -> float:
    """Largest angle between two of the rays [rad]."""
    if len(rays) < 2:
        return 0.0
    cosines = np.clip(rays @ rays.T, -1, 1)
    return float(np.arccos(cosines.min()))
