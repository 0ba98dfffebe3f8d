"""A face, the pictures that may show it, and all that is known of where both are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from asbuilt.geometry.cameras import Camera
from asbuilt.geometry.frames import Rigid3
from asbuilt.geometry.planes import Plane
from asbuilt.geometry.rectify import Patch
from asbuilt.geometry.studs import StudPlace
from asbuilt.record.joint import JointCovariance
from asbuilt.record.types import Face, Picture, Placement
from asbuilt.steps.read_off import read_off_sigma_m

INCH_M = 0.0254
CELL_M = INCH_M / 2  # a stud's face is three cells wide: room for a seam
USUAL_LIGHT, USUAL_SHARPNESS = 0.4, 0.8  # of a picture that was not measured against its neighbours


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Source:
    """A placed picture with its camera."""

    picture: Picture
    placement: Placement
    camera: Camera

    @property
    def light(self) -> float:
        """Mean brightness, 0 to 1."""
        return USUAL_LIGHT if self.picture.light is None else self.picture.light

    @property
    def sharpness(self) -> float:
        """Sharpness, 0 to 1."""
        return USUAL_SHARPNESS if self.picture.sharpness is None else self.picture.sharpness


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Site:
    """A face, where it and its studs stand, and the walls that may stand in the way of a view.

    ``joint`` holds the covariances of the solutions that placed pictures and faces, by id.
    """

    face: Face
    building_from_face: Rigid3
    walls: tuple[Plane, ...]
    studs: tuple[StudPlace, ...] = ()
    depth_m: float = 0.0
    joint: Mapping[str, JointCovariance] = field(default_factory=dict)

    def patch(self, px_m: float) -> Patch:
        """The whole face in pixels of a size, its bottom and left edges exact."""
        rows = int(np.ceil(self.face.height_m / px_m - 1e-6))
        cols = int(np.ceil(self.face.length_m / px_m - 1e-6))
        return Patch(left_m=0.0, top_m=rows * px_m, depth_m=self.depth_m, px_m=px_m, rows=rows, cols=cols)

    def read_off_sigma_m(self, source: Source, points_face_m: np.ndarray, sigma_px: float) -> np.ndarray:
        """Error of places read off a picture, (N,) [m]; see :func:`asbuilt.steps.read_off.read_off_sigma_m`."""
        joint, placement = self.joint.get(source.placement.solution_id), source.placement
        pose = self.building_from_face
        return read_off_sigma_m(joint, placement, source.camera, self.face.id, pose, points_face_m, sigma_px)
