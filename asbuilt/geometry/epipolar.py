"""Where a pixel may lie in space, depth by depth behind the studs of a face."""

from __future__ import annotations

import numpy as np

from asbuilt.geometry.cameras import Camera
from asbuilt.geometry.frames import Rigid3

LEAST_INWARD = 0.1  # of the ray's length: flatter looks along the wall say nothing of depth


def points_at_depths(
    camera: Camera, building_from_face: Rigid3, points_px: np.ndarray, depths_m: np.ndarray
) -> np.ndarray | None:
    """Building points on the rays of pixels at depths behind a face's studs.

    Parameters
    ----------
    camera : Camera
    building_from_face : Rigid3
    points_px : ndarray of shape (T, 2)
    depths_m : ndarray of shape (J,)
        From the stud face, into the wall [m].

    Returns
    -------
    ndarray of shape (T, J, 3) or None
        [m]; None if a ray does not look at the face from its room.
    """
    face_from_building = building_from_face.inverse()
    origin = face_from_building.apply(camera.center_building_m)
    rays = camera.rays_building(points_px) @ face_from_building.rotation.T
    if (rays[:, 1] < LEAST_INWARD).any() or origin[1] >= depths_m.min():
        return None
    distance = (depths_m[None, :] - origin[1]) / rays[:, 1:2]
    points = origin + distance[..., None] * rays[:, None, :]
    return points @ building_from_face.rotation.T + building_from_face.translation_m
