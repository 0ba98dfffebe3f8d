"""Poses and the joint solution against pycolmap, whose solver is Ceres: the same data, another program.

Source: the pycolmap package (J. L. Schoenberger and J.-M. Frahm, "Structure-from-Motion Revisited",
CVPR 2016) and Ceres Solver (S. Agarwal, K. Mierle and others), as packaged.
"""

from __future__ import annotations

import numpy as np
import pycolmap
import pytest
from scipy.spatial.transform import Rotation

from asbuilt.geometry.bundle import minimise
from asbuilt.geometry.resection import resect
from tests.geometry.joint import TRACK_SIGMA_PX, draw, make_scene, start_of
from tests.geometry.lenses import PHONE
from tests.geometry.test_resection import SIGMA_PX, in_room, make_view
from tests.outside.ceres import TOLERANCE, adjust, apart_m, reconstruction_of, tracks_alone


@pytest.mark.parametrize("seed", [1, 2])
def test_the_joint_solution_of_tracks_is_that_of_ceres(seed):
    scene, rng = make_scene(seed), np.random.default_rng(seed)
    problem, truth = draw(scene, rng)
    problem, start = tracks_alone(problem, start_of(problem, truth, rng), truth.lens)
    ours = minimise(start, problem, max_iterations=60, tolerance=TOLERANCE)
    theirs = adjust(reconstruction_of(problem, start, (1920, 1080)), TRACK_SIGMA_PX)
    assert len(start.camera_rotation) >= 12
    assert apart_m(ours.unknowns, theirs).max() < 2e-5  # of centres that err by millimetres


@pytest.mark.parametrize("count", [8, 40])
def test_one_pose_is_that_of_pycolmap_within_a_hundredth_of_its_error(count):
    rng = np.random.default_rng(count)
    alike = pycolmap.AbsolutePoseRefinementOptions()
    alike.loss_function_scale = np.sqrt(18) * SIGMA_PX  # the same robust cost: Cauchy's, 3 sigmas in each of two axes
    alike.gradient_tolerance = 1e-6
    for _ in range(10):
        view = make_view(rng, count, depth_m=0.14)
        pixels = view.pixels + rng.normal(0, SIGMA_PX, (count, 2))
        ours = resect(PHONE, view.points_m, pixels, SIGMA_PX, keep_side=in_room)
        params = [PHONE.focal_px, PHONE.focal_px, PHONE.center_x_px + 0.5, PHONE.center_y_px + 0.5, *PHONE.distortion]
        lens = pycolmap.Camera(model="OPENCV", width=PHONE.width_px, height=PHONE.height_px, params=params)
        theirs = pycolmap.estimate_and_refine_absolute_pose(pixels + 0.5, view.points_m, lens, refinement_options=alike)
        theirs = theirs["cam_from_world"]
        between = Rotation.from_matrix(ours.rotation @ theirs.rotation.matrix().T).as_rotvec()
        difference = np.concatenate([between, ours.translation_m - theirs.translation])
        assert (np.abs(difference) < 0.01 * np.sqrt(np.diag(ours.covariance))).all()
