"""What one joint solution is about: its unknowns, their priors and the observations.

Unknowns in order: cameras (6 each: rotation vector, translation of ``camera_from_building``),
lenses (8 each: focal, cx, cy, k1, k2, p1, p2, edge shift), faces (6 each,
``building_from_face``), markers (7 each: rotation vector, place on the face, log of the
print scale), reference points (3 each, on the face). Track points are eliminated.
Rotations are perturbed on the left: exp(dw) R.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from asbuilt.geometry.projection import exp_rotation

CAMERA, LENS, FACE, MARKER, REFERENCE = 6, 8, 6, 7, 3
# Corners of a sheet's black square in its own frame, half sizes: x right, y into the wall, z up.
SHEET_CORNERS = np.array([[-1.0, 0, 1], [1, 0, 1], [1, 0, -1], [-1, 0, -1]])


def _empty(*shape: int) -> np.ndarray:
    return np.zeros(shape)


def _no_index() -> np.ndarray:
    return np.zeros(0, dtype=int)


@dataclass(frozen=True, slots=True, kw_only=True)
class PixelObservations:
    """Pixels at which cameras saw things; ``thing_idx`` counts points, reference points or markers.

    ``xy_px`` is (n, 2), or (n, 4, 2) for the corners of markers.
    """

    camera_idx: np.ndarray = field(default_factory=_no_index)
    thing_idx: np.ndarray = field(default_factory=_no_index)
    xy_px: np.ndarray = field(default_factory=lambda: _empty(0, 2))
    sigma_px: np.ndarray = field(default_factory=lambda: _empty(0))

    def __len__(self) -> int:
        return len(self.camera_idx)

    def only(self, keep: np.ndarray) -> PixelObservations:
        """The observations that ``keep`` (mask or indices) selects."""
        return PixelObservations(
            camera_idx=self.camera_idx[keep], thing_idx=self.thing_idx[keep], xy_px=self.xy_px[keep],
            sigma_px=self.sigma_px[keep],
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknowns:
    """Every unknown's value. Shapes: cameras N, lenses G, faces F, markers M, references R, points P."""

    camera_rotation: np.ndarray  # (N, 3, 3)
    camera_translation_m: np.ndarray  # (N, 3)
    lens: np.ndarray  # (G, 8)
    face_rotation: np.ndarray  # (F, 3, 3)
    face_translation_m: np.ndarray  # (F, 3)
    marker_rotation: np.ndarray  # (M, 3, 3)
    marker_place_m: np.ndarray  # (M, 3): offset, depth, height
    marker_log_scale: np.ndarray  # (M,)
    reference_place_m: np.ndarray  # (R, 3)
    point_m: np.ndarray  # (P, 3)

    @property
    def starts(self) -> np.ndarray:
        """First column of cameras, lenses, faces, markers, references, and the column count."""
        sizes = [
            CAMERA * len(self.camera_rotation), LENS * len(self.lens), FACE * len(self.face_rotation),
            MARKER * len(self.marker_rotation), REFERENCE * len(self.reference_place_m),
        ]  # fmt: skip
        return np.concatenate([[0], np.cumsum(sizes)])

    def moved(self, step: np.ndarray, point_step: np.ndarray) -> Unknowns:
        """The unknowns after a step; ``step`` has one entry per column, ``point_step`` shape (P, 3)."""
        s = self.starts
        cameras = step[s[0] : s[1]].reshape(-1, CAMERA)
        faces = step[s[2] : s[3]].reshape(-1, FACE)
        markers = step[s[3] : s[4]].reshape(-1, MARKER)
        return replace(
            self,
            camera_rotation=exp_rotation(cameras[:, :3]) @ self.camera_rotation,
            camera_translation_m=self.camera_translation_m + cameras[:, 3:],
            lens=self.lens + step[s[1] : s[2]].reshape(-1, LENS),
            face_rotation=exp_rotation(faces[:, :3]) @ self.face_rotation,
            face_translation_m=self.face_translation_m + faces[:, 3:],
            marker_rotation=exp_rotation(markers[:, :3]) @ self.marker_rotation,
            marker_place_m=self.marker_place_m + markers[:, 3:6],
            marker_log_scale=self.marker_log_scale + markers[:, 6],
            reference_place_m=self.reference_place_m + step[s[4] : s[5]].reshape(-1, REFERENCE),
            point_m=self.point_m + point_step,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """A corner: the right end of one face meets the left end of the next."""

    face_idx: int
    next_idx: int
    length_m: float  # of the first face
    corner_rad: float
    sigma_length_m: float = 0.0064  # tape along an open wall into a framed corner; 1/4 in, our choice
    sigma_across_m: float = 0.0064
    sigma_turn_rad: float = 0.0175  # framed corners within a degree of the plan, our choice
    sigma_lean_rad: float = 0.0087  # walls plumb within half a degree, our choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Observations, groupings and priors of one joint solution."""

    camera_lens_idx: np.ndarray  # (N,)
    lens_prior: np.ndarray  # (G, 8)
    lens_sigma: np.ndarray  # (G, 8)
    joints: tuple[Joint, ...]
    held_faces: tuple[tuple[int, np.ndarray, np.ndarray], ...]  # index, rotation, translation: the gauge
    marker_face_idx: np.ndarray  # (M,)
    marker_half_m: np.ndarray  # (M,)
    marker_prior_m: np.ndarray  # (M, 3)
    marker_sigma_m: np.ndarray  # (M, 3)
    marker_rotation_prior: np.ndarray  # (M, 3, 3)
    reference_face_idx: np.ndarray  # (R,)
    reference_prior_m: np.ndarray  # (R, 3)
    reference_sigma_m: np.ndarray  # (R, 3)
    tracks: PixelObservations
    corners: PixelObservations
    clicks: PixelObservations
    point_prior_m: np.ndarray  # (P, 3)
    point_sigma_m: float = 20.0  # only keeps a point without parallax from running away
    # turn about the stud's axis and lean: studs twist; in its plane: hung by eye; our choice
    sigma_sheet_rad: tuple[float, float, float] = (0.02, 0.06, 0.02)
    sigma_log_scale: float = 0.003  # a printer's feed, our choice
