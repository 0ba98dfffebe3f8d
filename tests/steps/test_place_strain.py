"""A solution that bends a sheet out of its place is told, and no error is less than the bend."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from asbuilt.geometry.bundle_problem import PixelObservations
from asbuilt.record import Face, Record, ReferencePoint, Room
from asbuilt.record.types import STUD_LINE
from asbuilt.steps.place_setup import reference_sigma_m
from asbuilt.steps.place_setup import site_of as place_setup_site
from asbuilt.steps.place_solve import solve_site
from asbuilt.steps.place_strain import (
    REACH_M,
    STUDS_M,
    carried_by_studs,
    strain_blunder,
    strained,
    strained_marks,
    studs_blunder,
    widened,
)
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


@pytest.fixture(scope="module")
def by_marks():
    room = simulate(32, Options(references_per_face=9))
    return solve_site(looked_at(room, markers=False), site_of(room, False, True), marks_in_two_frames(room))


def test_a_walk_that_marks_alone_carry_says_so_and_is_not_strained(by_marks):
    assert (by_marks.camera_of >= 0).mean() > 0.5
    assert by_marks.strain_m == 0
    assert [b.kind for b in by_marks.blunders] == ["marks alone"]


def test_a_walk_carried_by_counted_studs_says_so_and_is_told_from_one_by_taped_marks(by_marks):
    site = by_marks.site
    studs = replace(site, references=[replace(r, kind=STUD_LINE) for r in site.references])
    assert carried_by_studs(by_marks.problem, studs)
    assert not carried_by_studs(by_marks.problem, site)
    assert "placed by studs" in studs_blunder().text
    assert "1/2 in" in studs_blunder().text
    wide, own = widened(by_marks.bundle, STUDS_M), by_marks.bundle.covariance
    assert np.sqrt(np.diag(wide)[3:6]) == pytest.approx(np.sqrt(np.diag(own)[3:6] + STUDS_M**2))


def test_the_height_of_a_stud_line_is_free_and_lines_on_one_stud_share_its_wander(tmp_path):
    with Record.create(tmp_path / "r", name="Shed") as record:
        record.put(
            Room(id="shed", name="Shed"), Face(id="north", room_id="shed", title="N", length_m=4.0, height_m=2.4)
        )
        record.put(*[
            ReferencePoint(id=f"s{k}", face_id="north", kind=STUD_LINE, offset_m=0.8, height_m=0.5 + k, sigma_m=0.00635)
            for k in range(2)
        ])  # fmt: skip
        record.put(ReferencePoint(id="mark", face_id="north", offset_m=0.8, height_m=1.0))
        sigma = {r.id: reference_sigma_m(r) for r in place_setup_site(record).references}
    assert sigma["s0"][0] == pytest.approx(0.00635 * np.sqrt(2))
    assert sigma["s0"][2] > 0.2
    assert sigma["mark"][0] == sigma["mark"][2] < 0.002


def test_a_mark_bent_out_of_its_place_is_named(by_marks):
    k = int(by_marks.problem.clicks.thing_idx[0])
    places = by_marks.bundle.unknowns.reference_place_m.copy()
    places[k, 2] = by_marks.problem.reference_prior_m[k, 2] + 0.08
    bent = replace(by_marks.bundle, unknowns=replace(by_marks.bundle.unknowns, reference_place_m=places))
    found_m, ids = strained_marks(bent, by_marks.problem, by_marks.site)
    assert (found_m, ids) == (pytest.approx(0.08), (by_marks.site.references[k].id,))
    assert f"taped marks {ids[0]} do not fit" in strain_blunder(found_m, (), ids).text


def test_marks_that_lie_elsewhere_in_a_picture_are_named_but_one_slip_of_the_hand_is_not(by_marks):
    clicks, residuals = by_marks.problem.clicks, by_marks.bundle.residuals
    many = np.bincount(clicks.camera_idx)
    own = np.flatnonzero(clicks.camera_idx == np.argmax(many))
    off = residuals["clicks"].copy()
    off[own[0]] = 60.0  # in sigmas of a click
    slipped = replace(by_marks.bundle, residuals=residuals | {"clicks": off})
    assert strained_marks(slipped, by_marks.problem, by_marks.site) == (0.0, ())
    off[own] = 60.0
    found_m, ids = strained_marks(
        replace(by_marks.bundle, residuals=residuals | {"clicks": off}), by_marks.problem, by_marks.site
    )
    assert found_m > 0.025
    assert ids == tuple(sorted(by_marks.site.references[k].id for k in clicks.thing_idx[own]))
