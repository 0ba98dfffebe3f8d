"""Every block of residuals: nought at the truth, and derivatives that those of differences confirm."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from asbuilt.geometry import bundle_rows
from asbuilt.geometry.bundle_problem import FACE, LENS, MARKER
from tests.geometry.joint import draw, make_scene, start_of

BLOCKS = {
    "tracks": bundle_rows.track_rows,
    "corners": bundle_rows.marker_rows,
    "clicks": bundle_rows.reference_rows,
    "lens prior": bundle_rows.lens_prior_rows,
    "taped markers": bundle_rows.taped_marker_rows,
    "sheets": bundle_rows.sheet_rows,
    "taped references": bundle_rows.taped_reference_rows,
    "joints": bundle_rows.joint_rows,
    "held": bundle_rows.held_rows,
}
STEP = 1e-6  # radians and metres
LENS_STEPS = (1e-3, 1e-3, 1e-3, 1e-6, 1e-6, 1e-6, 1e-6, 1e-4)


@pytest.fixture(scope="module")
def scene():
    return make_scene(3, every=6, at_once=24, pictures_per_reference=8)


@pytest.fixture(scope="module")
def exact(scene):
    return draw(scene, None)


@pytest.fixture(scope="module")
def off(scene):
    """A problem with noise, and a state beside the truth."""
    rng = np.random.default_rng(4)
    problem, truth = draw(scene, rng)
    return problem, replace(start_of(problem, truth, rng), marker_rotation=truth.marker_rotation)


def step_sizes(u) -> np.ndarray:
    sizes = np.full(u.starts[-1], STEP)
    sizes[u.starts[1] : u.starts[2]] = np.tile(LENS_STEPS, len(u.lens))
    return sizes


def by_differences(block, u, problem) -> np.ndarray:
    """Derivatives of a block's residuals by the global columns, (n k, D)."""
    no_points = np.zeros_like(u.point_m)
    columns = []
    for column, size in enumerate(step_sizes(u)):
        step = np.zeros(u.starts[-1])
        step[column] = size
        ahead, behind = (block(u.moved(s, no_points), problem).residual.ravel() for s in (step, -step))
        columns.append((ahead - behind) / (2 * size))
    return np.stack(columns, axis=1)


def analytic(block, u, problem) -> np.ndarray:
    rows = block(u, problem)
    return rows.matrix(int(u.starts[-1]), np.ones(len(rows.residual))).toarray()


def worst_share(found: np.ndarray, expected: np.ndarray, u) -> float:
    """Largest difference as a share of the largest derivative of its kind of column."""
    kinds = np.searchsorted(u.starts, np.arange(u.starts[-1]), side="right")
    lens = kinds == 2
    width = np.where(lens, 10 + np.arange(u.starts[-1]) % LENS, kinds)  # each lens parameter is its own kind
    worst = 0.0
    for kind in np.unique(width):
        mine = width == kind
        largest = np.abs(expected[:, mine]).max()
        if largest > 0:
            worst = max(worst, np.abs(found[:, mine] - expected[:, mine]).max() / largest)
        else:
            assert not found[:, mine].any()
    return worst


@pytest.mark.parametrize("name", BLOCKS)
def test_residuals_vanish_at_the_truth(name, exact):
    """The simulator projects by code of its own, so this also compares the two."""
    problem, truth = exact
    residual = BLOCKS[name](truth, problem).residual
    assert residual.size
    assert np.abs(residual).max() < 1e-6


@pytest.mark.parametrize("name", BLOCKS)
def test_derivatives_at_the_truth(name, exact):
    problem, truth = exact
    expected = by_differences(BLOCKS[name], truth, problem)
    assert expected.any()
    assert worst_share(analytic(BLOCKS[name], truth, problem), expected, truth) < 1e-6


@pytest.mark.parametrize(
    ("name", "share"),
    [
        ("tracks", 1e-6),
        ("clicks", 1e-6),
        ("lens prior", 1e-6),
        ("taped markers", 1e-6),
        ("taped references", 1e-6),
        # The outward direction of the edge shift is taken as fixed: a shift of 0.3 px on sheets of 40 px.
        ("corners", 0.005),
        # The turn of a sheet is differentiated as if small; it hangs within 0.06 rad of its prior.
        ("sheets", 0.06),
        # Terms of the size of the gap and the twist are left out.
        ("joints", 0.01),
    ],
)
def test_derivatives_beside_the_truth(name, share, off):
    problem, state = off
    expected = by_differences(BLOCKS[name], state, problem)
    assert worst_share(analytic(BLOCKS[name], state, problem), expected, state) < share


def test_derivatives_by_the_track_points(off):
    problem, state = off
    rows = bundle_rows.track_rows(state, problem)
    still = np.zeros(state.starts[-1])
    for axis in range(3):
        step = np.zeros_like(state.point_m)
        step[:, axis] = STEP
        ahead, behind = (bundle_rows.track_rows(state.moved(still, s), problem).residual for s in (step, -step))
        difference = (ahead - behind) / (2 * STEP)
        np.testing.assert_allclose(rows.by_point[:, :, axis], difference, atol=1e-5 * np.abs(difference).max())


def test_residuals_are_counted_in_sigmas(exact):
    """By hand: one thing moved by as much as its sigma, and the residual is one."""
    problem, truth = exact
    moved = replace(truth, marker_place_m=truth.marker_place_m + [0.002, 0, -0.004])
    taped = bundle_rows.taped_marker_rows(moved, problem).residual
    np.testing.assert_allclose(taped, np.tile([1.0, 0, -2.0], (len(taped), 1)), atol=1e-9)
    shifted = replace(problem, tracks=replace(problem.tracks, xy_px=problem.tracks.xy_px + [0.5, -1.0]))
    seen = bundle_rows.track_rows(truth, shifted).residual
    np.testing.assert_allclose(seen, np.tile([-1.0, 2.0], (len(seen), 1)), atol=1e-6)
    larger = replace(truth, marker_log_scale=truth.marker_log_scale + 0.003)
    np.testing.assert_allclose(bundle_rows.sheet_rows(larger, problem).residual[:, 3], 1, atol=1e-9)


def test_a_joint_measures_along_across_and_up_in_the_first_face(exact):
    problem, truth = exact
    joint = problem.joints[0]
    first = truth.face_rotation[0]
    step = np.zeros(truth.starts[-1])
    column = truth.starts[2] + FACE * joint.next_idx
    step[column + 3 : column + 6] = first @ [0.0064, -0.0128, 0.0192]
    residual = bundle_rows.joint_rows(truth.moved(step, np.zeros_like(truth.point_m)), problem).residual[0]
    np.testing.assert_allclose(residual, [0, 0, 0, -1, 2, -3], atol=1e-9)
    step[:] = 0
    step[column + 2] = 0.0175  # about the vertical
    residual = bundle_rows.joint_rows(truth.moved(step, np.zeros_like(truth.point_m)), problem).residual[0]
    np.testing.assert_allclose(residual, [0, 0, -1, 0, 0, 0], atol=1e-9)


def test_the_edge_shift_moves_each_corner_outwards_each_way(exact):
    problem, truth = exact
    lens = truth.lens.copy()
    lens[:, 7] = 0.5
    seen, sigma = problem.corners, problem.corners.sigma_px
    moved = bundle_rows.marker_rows(replace(truth, lens=lens), problem).residual.reshape(-1, 4, 2)
    moved = moved * sigma[:, None, None]
    outward = seen.xy_px - seen.xy_px.mean(axis=1, keepdims=True)
    np.testing.assert_allclose(np.linalg.norm(moved, axis=2), 0.5 * np.sqrt(2), atol=1e-6)
    cosine = (moved * outward).sum(axis=2) / np.linalg.norm(moved, axis=2) / np.linalg.norm(outward, axis=2)
    np.testing.assert_allclose(cosine, 1, atol=1e-6)


def test_a_point_behind_a_camera_is_a_residual_and_not_a_crash(exact):
    problem, truth = exact
    camera = problem.tracks.camera_idx[0]
    points = truth.point_m.copy()
    behind = truth.camera_rotation[camera].T @ ([0, 0, -1.0] - truth.camera_translation_m[camera])
    points[problem.tracks.thing_idx[0]] = behind
    residual = bundle_rows.track_rows(replace(truth, point_m=points), problem).residual
    assert np.isfinite(residual).all() and np.abs(residual[0]).max() > 100


def test_columns_count_up_without_gaps(exact):
    _, truth = exact
    sizes = np.diff(truth.starts)
    counts = [len(truth.camera_rotation), len(truth.lens), len(truth.face_rotation), len(truth.marker_rotation)]
    np.testing.assert_array_equal(sizes[:4], np.array([6, LENS, FACE, MARKER]) * counts)
    assert sizes[4] == 3 * len(truth.reference_place_m) and truth.starts[0] == 0
