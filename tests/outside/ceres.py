"""The tracks of a room as a problem of pycolmap, whose bundle adjustment is Ceres Solver's."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pycolmap
from scipy.spatial import procrustes

from asbuilt.geometry.bundle import ROBUST
from asbuilt.geometry.bundle_problem import PixelObservations, Problem, Unknowns
from tests.geometry.joint import centers

TOLERANCE = 1e-9  # relative fall of the cost at which both stop
LENS_HELD = 1e-9  # px and shares: pycolmap's lenses have no prior, so both sides hold them


def tracks_alone(problem: Problem, start: Unknowns, lens: np.ndarray) -> tuple[Problem, Unknowns]:
    """What both can state: pictures and track points; lenses known; no sheets, marks or walls."""
    nothing, none = PixelObservations(), np.zeros(0, dtype=int)
    only = replace(
        problem, lens_prior=lens, lens_sigma=np.full(lens.shape, LENS_HELD), joints=(), held_faces=(),
        corners=nothing, clicks=nothing, marker_face_idx=none, marker_half_m=np.zeros(0),
        marker_prior_m=np.zeros((0, 3)), marker_sigma_m=np.zeros((0, 3)), marker_rotation_prior=np.zeros((0, 3, 3)),
        reference_face_idx=none, reference_prior_m=np.zeros((0, 3)), reference_sigma_m=np.zeros((0, 3)),
    )  # fmt: skip
    cut = replace(
        start, lens=lens, face_rotation=np.zeros((0, 3, 3)), face_translation_m=np.zeros((0, 3)),
        marker_rotation=np.zeros((0, 3, 3)), marker_place_m=np.zeros((0, 3)), marker_log_scale=np.zeros(0),
        reference_place_m=np.zeros((0, 3)),
    )  # fmt: skip
    return only, cut


def reconstruction_of(problem: Problem, start: Unknowns, size_px: tuple[int, int]) -> pycolmap.Reconstruction:
    """The same as a reconstruction; its pixels count from the corner of the picture, ours from a pixel's centre."""
    made = pycolmap.Reconstruction()
    for k, (f, cx, cy, k1, k2, p1, p2, _) in enumerate(start.lens, 1):
        made.add_camera_with_trivial_rig(pycolmap.Camera(
            camera_id=k, model="OPENCV", width=size_px[0], height=size_px[1],
            params=[f, f, cx + 0.5, cy + 0.5, k1, k2, p1, p2]))  # fmt: skip
    tracks = problem.tracks
    slots = np.zeros(len(tracks), dtype=int)
    for k in range(len(start.camera_rotation)):
        rows = np.flatnonzero(tracks.camera_idx == k)
        slots[rows] = np.arange(len(rows))
        pose = pycolmap.Rigid3d(pycolmap.Rotation3d(start.camera_rotation[k]), start.camera_translation_m[k])
        image = pycolmap.Image(name=str(k), camera_id=int(problem.camera_lens_idx[k]) + 1, image_id=k + 1,
                               keypoints=tracks.xy_px[rows] + 0.5)  # fmt: skip
        made.add_image_with_trivial_frame(image, pose)
    order = np.argsort(tracks.thing_idx, kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(tracks.thing_idx[order])) + 1):
        seen = [pycolmap.TrackElement(int(tracks.camera_idx[r]) + 1, int(slots[r])) for r in rows]
        made.add_point3D(start.point_m[tracks.thing_idx[rows[0]]], pycolmap.Track(seen), np.zeros(3, np.uint8))
    return made


@dataclass(frozen=True, slots=True, kw_only=True)
class Adjusted:
    """Poses as Ceres found them."""

    camera_rotation: np.ndarray  # (N, 3, 3), camera_from_building
    camera_translation_m: np.ndarray  # (N, 3)


def adjust(made: pycolmap.Reconstruction, sigma_px: float) -> Adjusted:
    """Adjust by Ceres with the same robust cost: Cauchy's, of both pixel coordinates together."""
    options = pycolmap.BundleAdjustmentOptions()
    options.print_summary = False
    options.refine_focal_length = options.refine_principal_point = options.refine_extra_params = False
    options.ceres.loss_function_type = pycolmap.LossFunctionType.CAUCHY
    options.ceres.loss_function_scale = ROBUST["tracks"] * np.sqrt(2) * sigma_px
    # As packaged it stops at a slope and a count of steps that still leave millimetres to go.
    solver = options.ceres.solver_options
    solver.gradient_tolerance, solver.function_tolerance, solver.max_num_iterations = 1e-10, TOLERANCE, 500
    config = pycolmap.BundleAdjustmentConfig()
    for image_id in range(1, made.num_images() + 1):
        config.add_image(image_id)
    config.fix_gauge(pycolmap.BundleAdjustmentGauge.TWO_CAMS_FROM_WORLD)
    pycolmap.create_default_bundle_adjuster(options, config, made).solve()
    poses = [made.image(k).cam_from_world() for k in range(1, made.num_images() + 1)]
    return Adjusted(camera_rotation=np.array([p.rotation.matrix() for p in poses]),
                    camera_translation_m=np.array([p.translation for p in poses]))  # fmt: skip


def apart_m(ours: Unknowns, theirs: Adjusted) -> np.ndarray:
    """Distance of the camera centres, one of the two laid on the other: tracks fix neither place nor scale."""
    mine = centers(ours)
    size_m = np.linalg.norm(mine - mine.mean(axis=0))
    standard, laid_on, _ = procrustes(mine, centers(theirs))
    return size_m * np.linalg.norm(standard - laid_on, axis=1)
