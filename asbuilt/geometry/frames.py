"""Rigid transforms that know which frames they join.

Frames: ``camera`` (x right, y down, z forward), ``building`` (z up) and one
``face:NAME`` per face (x right along the face from its left end, y into the wall
from the stud face, z up). A transform is named ``target_from_source``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from asbuilt.errors import FrameMismatchError, ShapeError

BUILDING = "building"


def face_frame(face_id: str) -> str:
    """Name of the frame of a face."""
    return f"face:{face_id}"


def camera_frame(picture_id: str) -> str:
    """Name of the camera frame of a picture."""
    return f"camera:{picture_id}"


def _read_only(array: np.ndarray) -> np.ndarray:
    array = np.array(array, dtype=float)
    array.setflags(write=False)
    return array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rigid3:
    """A rotation and a translation: ``x_target = rotation @ x_source + translation_m``.

    Parameters
    ----------
    target, source : str
        Frame names.
    rotation : ndarray of shape (3, 3)
        Proper rotation.
    translation_m : ndarray of shape (3,)
        [m]

    Raises
    ------
    ShapeError
        If the arrays have other shapes or the rotation is not orthonormal.
    """

    target: str
    source: str
    rotation: np.ndarray
    translation_m: np.ndarray

    def __post_init__(self) -> None:
        rotation, translation = _read_only(self.rotation), _read_only(self.translation_m)
        if rotation.shape != (3, 3) or translation.shape != (3,):
            raise ShapeError(
                f"{self.target}_from_{self.source}: rotation {rotation.shape}, translation "
                f"{translation.shape}; expected (3, 3) and (3,)"
            )
        if np.abs(rotation @ rotation.T - np.eye(3)).max() > 1e-6 or np.linalg.det(rotation) < 0:
            raise ShapeError(f"{self.target}_from_{self.source}: not a proper rotation")
        object.__setattr__(self, "rotation", rotation)
        object.__setattr__(self, "translation_m", translation)

    def __matmul__(self, other: Rigid3) -> Rigid3:
        if self.source != other.target:
            raise FrameMismatchError(
                f"cannot compose {self.target}_from_{self.source} with "
                f"{other.target}_from_{other.source}: {self.source} is not {other.target}"
            )
        return Rigid3(
            target=self.target,
            source=other.source,
            rotation=self.rotation @ other.rotation,
            translation_m=self.rotation @ other.translation_m + self.translation_m,
        )

    def inverse(self) -> Rigid3:
        """The transform the other way round."""
        return Rigid3(
            target=self.source,
            source=self.target,
            rotation=self.rotation.T,
            translation_m=-self.rotation.T @ self.translation_m,
        )

    def apply(self, points_source_m: np.ndarray) -> np.ndarray:
        """Move points of shape (..., 3) from the source to the target frame [m]."""
        return np.asarray(points_source_m, dtype=float) @ self.rotation.T + self.translation_m

    def rotate(self, directions_source: np.ndarray) -> np.ndarray:
        """Turn directions of shape (..., 3) into the target frame, without moving them."""
        return np.asarray(directions_source, dtype=float) @ self.rotation.T

    @property
    def origin_m(self) -> np.ndarray:
        """The target frame's origin in the source frame [m]: a camera's centre."""
        return -self.rotation.T @ self.translation_m
