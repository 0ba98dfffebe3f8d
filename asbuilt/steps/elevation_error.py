"""The error of a place read off one picture on a plane of a face."""

from __future__ import annotations

import numpy as np

from asbuilt.geometry.projection import LENS_SIZE, project_with_jacobian, skew
from asbuilt.steps.elevation_site import Site, Source
from asbuilt.steps.sight import plane_sigma_m


def read_off_sigma_m(site: Site, source: Source, points_face_m: np.ndarray, sigma_px: float) -> np.ndarray:
    """One-sigma error of offset and height (their mean square), shape (N,) [m].

    Camera, lens and face were solved together, so most of what is uncertain about a camera is
    shared by the face it looks at and cancels; without a joint solution it is all counted.

    Parameters
    ----------
    points_face_m : ndarray of shape (N, 3)
        (offset, depth, height) [m].
    sigma_px : float
        Error of reading a spot off the picture [px].
    """
    joint = site.joint.get(source.placement.solution_id)
    if joint is None:
        return plane_sigma_m(source.camera, site.building_from_face, points_face_m, source.covariance, sigma_px)
    covariance, (camera,), (lens,), face = joint.block([source.placement], site.face.id)
    by_place, by_joint = _derivatives(site, source, points_face_m, len(covariance), camera, lens, face)
    spread_px = by_joint @ covariance @ np.swapaxes(by_joint, 1, 2) + np.eye(2) * sigma_px**2
    to_plane = np.linalg.pinv(by_place[:, :, [0, 2]])
    spread = to_plane @ spread_px @ np.swapaxes(to_plane, 1, 2)
    return np.sqrt(np.trace(spread, axis1=1, axis2=2) / 2)


def _derivatives(site: Site, source: Source, points: np.ndarray, columns: int, camera: int, lens: int, face: int):
    """Of pixels by the place on the face (N, 2, 3) and by the joint columns (N, 2, K)."""
    building_from_face, pose = site.building_from_face, source.camera.camera_from_building
    turned_face = building_from_face.rotate(points)
    turned = pose.rotate(turned_face + building_from_face.translation_m)
    params = np.repeat(source.camera.lens.params[None], len(points), axis=0)
    _, by_point, by_lens = project_with_jacobian(turned + pose.translation_m, params)
    by_building = by_point @ pose.rotation
    by_joint = np.zeros((len(points), 2, columns))
    by_joint[:, :, camera : camera + 3] = -by_point @ skew(turned)
    by_joint[:, :, camera + 3 : camera + 6] = by_point
    by_joint[:, :, lens : lens + LENS_SIZE] = by_lens
    by_joint[:, :, face : face + 3] = -by_building @ skew(turned_face)
    by_joint[:, :, face + 3 : face + 6] = by_building
    return by_building @ building_from_face.rotation, by_joint
