"""A solution that bends a sheet out of its place is told, and no error is less than the bend."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from asbuilt.geometry.bundle_problem import PixelObservations
from asbuilt.steps.place_solve import solve_site
from asbuilt.steps.place_strain import MARKS_ALONE_M, REACH_M, strain_blunder, strained, widened
from tests.rooms.adapt import looked_at, marks_in_two_frames, site_of
from tests.rooms.simulate import Options, simulate


@pytest.fixture(scope="module")
def solved():
    room = simulate(5, Options(faces=2))
    return solve_site(looked_at(room), site_of(room), PixelObservations())


def test_a_room_without_blunders_is_not_strained(solved):
    assert solved.strain_m == 0
    assert strained(solved.bundle.unknowns, solved.problem, solved.site) == (0.0, ())
    np.testing.assert_array_equal(widened(solved.bundle, 0.0), solved.bundle.covariance)


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_a_sheet_bent_along_the_wall_into_it_or_up_is_named(solved, axis):
    k = int(solved.problem.corners.thing_idx[0])
    places = solved.bundle.unknowns.marker_place_m.copy()
    places[k, axis] = solved.problem.marker_prior_m[k, axis] + 0.10
    found_m, ids = strained(replace(solved.bundle.unknowns, marker_place_m=places), solved.problem, solved.site)
    assert found_m == pytest.approx(0.10)
    assert ids == (solved.site.markers[k].id,)
    assert f"marker sheets {ids[0]} do not fit" in strain_blunder(found_m, ids).text


def test_a_sheet_of_another_size_is_named_and_one_already_doubted_is_not(solved):
    k = int(solved.problem.corners.thing_idx[0])
    scales = solved.bundle.unknowns.marker_log_scale.copy()
    scales[k] = np.log(1.02)
    found_m, ids = strained(replace(solved.bundle.unknowns, marker_log_scale=scales), solved.problem, solved.site)
    assert (found_m, ids) == (pytest.approx(0.02 * REACH_M), (solved.site.markers[k].id,))
    places = solved.bundle.unknowns.marker_place_m.copy()
    places[k, 0] += 0.10
    doubted = solved.problem.marker_sigma_m.copy()
    doubted[k] = 0.15
    bent = replace(solved.bundle.unknowns, marker_place_m=places)
    assert strained(bent, replace(solved.problem, marker_sigma_m=doubted), solved.site) == (0.0, ())


def test_widening_holds_for_every_camera_and_shifts_all_faces_together(solved):
    wide, narrow = widened(solved.bundle, 0.1), solved.bundle.covariance
    starts = solved.bundle.unknowns.starts
    added = np.diag(wide - narrow)
    assert np.allclose(added[3:6], 0.01) and np.allclose(added[:3], 0)
    first, second = int(starts[2]) + 3, int(starts[2]) + 9
    assert (wide - narrow)[first, second] == pytest.approx(0.01)
    np.linalg.cholesky(wide + 1e-12 * np.eye(len(wide)))  # still a covariance


def test_a_walk_that_marks_alone_carry_is_told_to_be_less_sure():
    room = simulate(32, Options(references_per_face=9))
    found = solve_site(looked_at(room, markers=False), site_of(room, False, True), marks_in_two_frames(room))
    assert (found.camera_of >= 0).mean() > 0.5
    assert found.strain_m >= MARKS_ALONE_M
    assert any("taped marks alone" in b.text for b in found.blunders)
