"""The error of a place on a face that is read off one picture: a spot whose depth is known."""

from __future__ import annotations

import numpy as np

from asbuilt.geometry.cameras import Camera
from asbuilt.geometry.frames import Rigid3
from asbuilt.geometry.projection import LENS_SIZE, project_with_jacobian, skew
from asbuilt.record.joint import JointCovariance
from asbuilt.record.types import Placement
from asbuilt.steps.sight import plane_sigma_m


def read_off_sigma_m(
    joint: JointCovariance | None,
    placement: Placement,
    camera: Camera,
    face_id: str,
    building_from_face: Rigid3,
    points_face_m: np.ndarray,
    sigma_px: float,
) -> np.ndarray:
    """One-sigma error of offset and height (their mean square), shape (N,) [m].

    Camera, lens and face were solved together, so most of what is uncertain about a camera is
    shared by the face it looks at and cancels; without a joint solution it is all counted.

    Parameters
    ----------
    joint : JointCovariance, optional
        Of the solution that placed the picture.
    points_face_m : ndarray of shape (N, 3)
        (offset, depth, height) [m].
    sigma_px : float
        Error of reading a spot off the picture [px].
    """
    if joint is None or face_id not in joint.face_column:
        covariance = np.array(placement.covariance or np.zeros((6, 6)))
        return plane_sigma_m(camera, building_from_face, points_face_m, covariance, sigma_px)
    covariance, (pose,), (lens,), face = joint.block([placement], face_id)
    to_plane, by_joint = by_parameters(camera, building_from_face, points_face_m, len(covariance), pose, lens, face)
    spread_px = by_joint @ covariance @ np.swapaxes(by_joint, 1, 2) + np.eye(2) * sigma_px**2
    spread = to_plane @ spread_px @ np.swapaxes(to_plane, 1, 2)
    return np.sqrt(np.trace(spread, axis1=1, axis2=2) / 2)


def by_parameters(camera: Camera, building_from_face: Rigid3, points, columns: int, pose: int, lens: int, face: int):
    """Derivatives at points of a face: of (offset, height) by pixels (N, 2, 2), of pixels by joint columns (N, 2, K).

    Their product says how far beside its place a spot is read off for a parameter that is too small by one.
    """
    camera_from_building = camera.camera_from_building
    turned_face = building_from_face.rotate(points)
    turned = camera_from_building.rotate(turned_face + building_from_face.translation_m)
    params = np.repeat(camera.lens.params[None], len(points), axis=0)
    _, by_point, by_lens = project_with_jacobian(turned + camera_from_building.translation_m, params)
    by_building = by_point @ camera_from_building.rotation
    by_joint = np.zeros((len(points), 2, columns))
    by_joint[:, :, pose : pose + 3] = -by_point @ skew(turned)
    by_joint[:, :, pose + 3 : pose + 6] = by_point
    by_joint[:, :, lens : lens + LENS_SIZE] = by_lens
    by_joint[:, :, face : face + 3] = -by_building @ skew(turned_face)
    by_joint[:, :, face + 3 : face + 6] = by_building
    by_place = (by_building @ building_from_face.rotation)[:, :, [0, 2]]
    return np.linalg.pinv(by_place), by_joint
