"""The joint solution: its algebra against a dense one, its result against the truth, its sigmas against both."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from asbuilt.geometry import bundle_rows
from asbuilt.geometry.bundle import Bundle, cost_of, minimise, normal_equations, solve
from asbuilt.geometry.bundle_problem import FACE, PixelObservations, Problem, Unknowns
from tests.geometry.joint import centers, draw, make_scene, start_of

ROWS = (
    bundle_rows.track_rows,
    bundle_rows.marker_rows,
    bundle_rows.reference_rows,
    bundle_rows.lens_prior_rows,
    bundle_rows.taped_marker_rows,
    bundle_rows.sheet_rows,
    bundle_rows.taped_reference_rows,
    bundle_rows.joint_rows,
    bundle_rows.held_rows,
)


@pytest.fixture(scope="module")
def tiny():
    """A few pictures of two faces, and a state beside the truth."""
    scene = make_scene(3, every=6, at_once=24, pictures_per_reference=8)
    rng = np.random.default_rng(4)
    problem, truth = draw(scene, rng)
    return problem, truth, start_of(problem, truth, rng)


def dense_normal(u: Unknowns, problem: Problem) -> tuple[np.ndarray, np.ndarray]:
    """Normal equations of everything, points included, without a robust weight: (D + 3P square), (D + 3P)."""
    columns, count = int(u.starts[-1]), len(u.point_m)
    matrix, gradient = np.zeros((columns + 3 * count,) * 2), np.zeros(columns + 3 * count)
    for rows_of in ROWS:
        rows = rows_of(u, problem)
        jacobian = np.zeros((rows.residual.size, columns + 3 * count))
        jacobian[:, :columns] = rows.matrix(columns, np.ones(len(rows.residual))).toarray()
        if rows.by_point is not None:
            for k, point in enumerate(problem.tracks.thing_idx):
                jacobian[2 * k : 2 * k + 2, columns + 3 * point : columns + 3 * point + 3] = rows.by_point[k]
        matrix += jacobian.T @ jacobian
        gradient -= jacobian.T @ rows.residual.ravel()
    prior = np.arange(columns, columns + 3 * count)
    matrix[prior, prior] += 1 / problem.point_sigma_m**2
    gradient[columns:] -= ((u.point_m - problem.point_prior_m) / problem.point_sigma_m**2).ravel()
    return matrix, gradient


NOT_ROBUST = 1e6  # robust scales so wide that every weight is one


@pytest.mark.parametrize("damping", [0.0, 0.01])
def test_eliminating_the_points_gives_the_same_step_as_the_dense_equations(tiny, damping):
    problem, _, state = tiny
    matrix, gradient = dense_normal(state, problem)
    matrix[np.diag_indices(len(matrix))] *= 1 + damping
    expected = np.linalg.solve(matrix, gradient)
    normal = normal_equations(state, problem, damping, widen=NOT_ROBUST)
    step = np.linalg.solve(normal.matrix, normal.gradient)
    together = np.concatenate([step, normal.point_step(step).ravel()])
    sigma = np.sqrt(np.diag(np.linalg.inv(matrix)))
    assert np.abs((together - expected) / sigma).max() < 1e-4
    assert np.abs(expected / sigma).max() > 1  # there was something to step


def test_the_covariance_is_the_block_of_the_dense_inverse(tiny):
    problem, _, state = tiny
    matrix, _ = dense_normal(state, problem)
    reduced = np.linalg.inv(normal_equations(state, problem, widen=NOT_ROBUST).matrix)
    whole = np.linalg.inv(matrix)[: len(reduced), : len(reduced)]
    sigma = np.sqrt(np.diag(whole))
    assert np.abs((reduced - whole) / np.outer(sigma, sigma)).max() < 1e-5


def test_the_gradient_is_that_of_the_cost(tiny):
    """Robust weights included: cost falls along the gradient as fast as the gradient says."""
    problem, _, state = tiny
    lens = state.lens.copy()
    lens[:, 7] = 0  # the edge shift's derivatives leave small terms out, and so do the joint's
    state = replace(state, lens=lens)
    normal = normal_equations(state, problem)
    rng = np.random.default_rng(2)
    way = np.zeros(state.starts[-1])
    way[: state.starts[1]] = rng.normal(0, 1e-7, state.starts[1])
    still = np.zeros_like(state.point_m)
    fall = cost_of(state.moved(way, still), problem) - cost_of(state.moved(-way, still), problem)
    # Before the points are eliminated: the reduced gradient has theirs folded in.
    folded = normal.coupling @ np.einsum("pij,pj->pi", normal.point_inverse, normal.point_gradient).ravel()
    assert fall == pytest.approx(-4 * (normal.gradient + folded) @ way, rel=1e-4)


def test_without_noise_the_truth_is_found_exactly():
    scene = make_scene(3, every=6, at_once=24, pictures_per_reference=8)
    problem, truth = draw(scene, None)
    found = solve(start_of(problem, truth, np.random.default_rng(1)), problem, max_iterations=60, tolerance=1e-14)
    assert found
    assert found.cost < 1e-8
    assert np.abs(errors(found.unknowns, truth)).max() < 1e-4  # lens in pixels, the rest in metres and radians


def errors(found: Unknowns, truth: Unknowns) -> np.ndarray:
    """What the solution is off, by column."""

    def turned(a: np.ndarray, b: np.ndarray) -> np.ndarray:
        return Rotation.from_matrix(a @ b.transpose(0, 2, 1)).as_rotvec().reshape(-1, 3)

    def both(rotation, translation_m, *more) -> np.ndarray:
        return np.concatenate([rotation, translation_m, *more], axis=1).ravel()

    camera_m = found.camera_translation_m - truth.camera_translation_m
    face_m = found.face_translation_m - truth.face_translation_m
    scale = (found.marker_log_scale - truth.marker_log_scale)[:, None]
    return np.concatenate(
        [
            both(turned(found.camera_rotation, truth.camera_rotation), camera_m),
            (found.lens - truth.lens).ravel(),
            both(turned(found.face_rotation, truth.face_rotation), face_m),
            both(
                turned(found.marker_rotation, truth.marker_rotation),
                found.marker_place_m - truth.marker_place_m,
                scale,
            ),
            (found.reference_place_m - truth.reference_place_m).ravel(),
        ]
    )


@pytest.fixture(scope="module")
def solutions() -> list[tuple[Bundle, Unknowns]]:
    """Rooms of seeds that nothing was tuned on, solved from rough starts with fresh noise each time."""
    solved = []
    for seed in (101, 102, 103):
        scene = make_scene(seed, every=4, at_once=50)
        rng = np.random.default_rng([seed, 1])
        for _ in range(2):
            problem, truth = draw(scene, rng)
            solved.append((solve(start_of(problem, truth, rng), problem), truth))
    assert all(bundle for bundle, _ in solved)
    return solved


def test_a_room_is_recovered_to_millimetres(solutions):
    for bundle, truth in solutions:
        off_m = np.abs(bundle.unknowns.marker_place_m - truth.marker_place_m)
        assert np.median(off_m) < 0.002  # each sheet was taped to 2 mm
        assert np.median(np.linalg.norm(centers(bundle.unknowns) - centers(truth), axis=1)) < 0.05
        assert abs(bundle.unknowns.lens[0, 0] - truth.lens[0, 0]) < 15  # known to 25 px beforehand


def test_the_stated_covariance_holds_the_truth(solutions):
    """Squared errors over the whole covariance average one for every unknown (chi-square over its dof)."""
    shares, inside = [], []
    for bundle, truth in solutions:
        free = np.ones(truth.starts[-1], bool)
        free[truth.starts[2] : truth.starts[2] + FACE] = False  # held: no error and no sigma to speak of
        off, covariance = errors(bundle.unknowns, truth)[free], bundle.covariance[np.ix_(free, free)]
        shares.append(off @ np.linalg.solve(covariance, off) / free.sum())
        inside.append(np.abs(off) < 1.96 * np.sqrt(np.diag(covariance)))
    # Six draws of some 250 unknowns: the mean of chi-square over dof has a spread of 0.04.
    assert 0.84 < np.mean(shares) < 1.16, shares
    # Within a draw neighbouring cameras err together, so this share scatters far more than 2000 would.
    assert 0.90 < np.concatenate(inside).mean() < 0.99


def test_blunders_are_not_averaged_in():
    """A twentieth of the tracks and one sheet's tape reading are wrong by far; the truth still holds."""
    scene = make_scene(104, every=4, at_once=50)
    rng = np.random.default_rng(9)
    problem, truth = draw(scene, rng)
    pixels, prior = problem.tracks.xy_px.copy(), problem.marker_prior_m.copy()
    wrong = rng.permutation(len(pixels))[: len(pixels) // 20]
    pixels[wrong] += rng.uniform(10, 40, (len(wrong), 2))
    prior[1] += [0.1524, 0, 0]  # six inches
    spoilt = replace(problem, tracks=replace(problem.tracks, xy_px=pixels), marker_prior_m=prior)
    rough = minimise(start_of(spoilt, truth, rng), spoilt, widen=20.0)
    found = solve(rough.unknowns, spoilt)
    off_m = found.unknowns.marker_place_m - truth.marker_place_m
    assert np.abs(off_m[:, [0, 2]]).max() < 0.008
    assert found.residuals["taped markers"][1, 0] < -50  # the reading stands out, 6 in at 2 mm
    others = np.delete(found.residuals["taped markers"], 1, axis=0)
    assert np.abs(others).max() < 4


def test_a_picture_that_shows_nothing_stays_with_an_error_nobody_takes_for_a_place(tiny):
    problem, _, state = tiny
    camera = 2
    blind = replace(
        problem,
        tracks=problem.tracks.only(problem.tracks.camera_idx != camera),
        corners=problem.corners.only(problem.corners.camera_idx != camera),
        clicks=problem.clicks.only(problem.clicks.camera_idx != camera),
    )
    found = solve(state, blind)
    sigma = np.sqrt(np.diag(found.covariance))[: state.starts[1]].reshape(-1, 6)
    assert sigma[camera].min() > 10  # metres and radians
    assert np.delete(sigma, camera, axis=0).max() < 0.5
    np.testing.assert_allclose(centers(found.unknowns)[camera], centers(state)[camera], atol=1e-6)


def test_reference_points_alone_carry_a_picture():
    """No sheets and no tracks: nine clicked marks place one picture."""
    scene = make_scene(105, every=6, at_once=20, references_per_face=12, pictures_per_reference=40)
    problem, truth = draw(scene, np.random.default_rng(0))
    camera = int(np.argmax(np.bincount(problem.clicks.camera_idx)))
    seen = problem.clicks.only(problem.clicks.camera_idx == camera)
    assert len(seen) == 9
    nothing = PixelObservations()
    alone = replace(
        problem,
        camera_lens_idx=np.zeros(1, int),
        tracks=nothing,
        corners=replace(nothing, xy_px=np.zeros((0, 4, 2))),
        clicks=replace(seen, camera_idx=np.zeros(len(seen), int)),
        point_prior_m=np.zeros((0, 3)),
    )
    start = replace(
        start_of(problem, truth, np.random.default_rng(1)),
        camera_rotation=truth.camera_rotation[camera][None],
        camera_translation_m=truth.camera_translation_m[camera][None] + 0.2,
        point_m=np.zeros((0, 3)),
    )
    found = solve(start, alone)
    assert found
    turn = Rotation.from_matrix(found.unknowns.camera_rotation[0] @ truth.camera_rotation[camera].T).as_rotvec()
    off = np.concatenate([turn, found.unknowns.camera_translation_m[0] - truth.camera_translation_m[camera]])
    assert off @ np.linalg.solve(found.covariance[:6, :6], off) < 22.5  # 99.9 % of chi-square with 6 dof
    assert np.linalg.norm(centers(found.unknowns)[0] - centers(truth)[camera]) < 0.1
