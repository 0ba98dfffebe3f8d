"""The lattice of studs from directions of edges: simulated walls, and edges that are none."""

from __future__ import annotations

import numpy as np
import pytest

from asbuilt.geometry.bay_count import WallPlan, count_bays
from asbuilt.geometry.stud_lattice import INCH_M, fit_lattice
from asbuilt.geometry.studs import OpeningSpan

WIDTH_M = 1.5 * INCH_M


def wall(rng, spacing_m: float, count: int, first_m: float, missing=(), doubled=(), wander_m=0.004) -> np.ndarray:
    """Centres of studs from the foot of the camera [m]."""
    marks = [k for k in range(count) if k not in missing]
    centers = [first_m + k * spacing_m + rng.normal(0, wander_m) for k in marks]
    return np.sort([*centers, *(first_m + k * spacing_m + WIDTH_M for k in doubled)])


def seen(rng, centers: np.ndarray, yaw: float, distance_m: float, strays: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """Azimuths of all edges that a camera 65 degrees wide shows, some lost, some of other things."""
    edges = np.concatenate([centers - WIDTH_M / 2, centers + WIDTH_M / 2])
    azimuth = np.arctan(edges / distance_m) + yaw + rng.normal(0, 0.0003, len(edges))
    azimuth = azimuth[rng.random(len(azimuth)) > 0.08]
    cover = rng.uniform(0.3, 1.0, len(azimuth))
    azimuth = np.concatenate([azimuth, rng.uniform(-0.57, 0.57, strays)])
    cover = np.concatenate([cover, rng.uniform(0.1, 0.3, strays)])
    shown = np.abs(azimuth) < 0.57
    order = np.argsort(azimuth[shown])
    return azimuth[shown][order], cover[shown][order]


@pytest.mark.parametrize("spacing_in", [16, 19.2, 24])
@pytest.mark.parametrize("yaw_deg", [0, 12, -28])
def test_yaw_distance_and_spacing_come_back_within_their_errors(spacing_in, yaw_deg):
    off = []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        yaw, distance = np.deg2rad(yaw_deg), rng.uniform(2.0, 3.2)
        centers = wall(rng, spacing_in * INCH_M, 16, -4.0 + rng.uniform(0, 0.4), doubled=(5,))
        told = yaw + rng.normal(0, np.deg2rad(0.8))
        found = fit_lattice(*seen(rng, centers, yaw, distance, strays=4), yaws_rad=(told,))
        if not found:  # at 24 in few studs are in view
            continue
        assert found.spacing_m == pytest.approx(spacing_in * INCH_M)
        scale = np.log(found.distance_m / distance)
        off.append([(found.yaw_rad - yaw) / found.sigma_yaw_rad, scale / found.sigma_scale])
    assert len(off) >= 6
    assert np.median(np.abs(off), axis=0).max() < 1.3
    assert np.abs(off).max() < 4.5


def test_studs_beside_an_opening_and_doubled_ones_do_not_spoil_it():
    rng = np.random.default_rng(3)
    centers = wall(rng, 16 * INCH_M, 18, -3.4, missing=(9, 10), doubled=(4, 12))
    found = fit_lattice(*seen(rng, centers, 0.1, 2.6), yaws_rad=(0.1,))
    assert found
    near = np.abs(found.centers_m[:, None] - centers).min(axis=1)
    assert np.median(near) < 0.03
    assert not found.on_mark.all()  # the doubled ones are told from those on the layout


def test_edges_strewn_at_random_are_refused():
    wrong = 0
    for seed in range(15):
        rng = np.random.default_rng(seed)
        azimuth = np.sort(rng.uniform(-0.57, 0.57, 24))
        wrong += bool(fit_lattice(azimuth, rng.uniform(0.1, 1.0, 24)))
    assert wrong == 0


def test_regular_lines_without_a_studs_width_are_refused():
    azimuth = np.arctan(np.arange(-1.6, 1.6, 0.2) / 2.5)
    refused = fit_lattice(azimuth, np.ones(len(azimuth)))
    assert not refused
    assert refused.reason


def plan(face_id="north", openings=()) -> WallPlan:
    return WallPlan(face_id=face_id, length_m=4.8, spacing_m=16 * INCH_M, layout_from="left", width_m=WIDTH_M,
                    openings=tuple(OpeningSpan(left_m=a, right_m=b) for a, b in openings))  # fmt: skip


def counted(centers_on_wall: np.ndarray, foot_m: float, walls) -> list:
    rng = np.random.default_rng(1)
    azimuth, cover = seen(rng, centers_on_wall - foot_m, 0.0, 2.4)
    found = fit_lattice(azimuth, cover, yaws_rad=(0.0,))
    assert found
    reach = 2.4 * np.tan(0.57)
    return count_bays(found, walls, -reach, reach)


def test_alike_bays_are_left_open_with_the_right_place_among_them():
    marks = np.arange(1, 12) * 16 * INCH_M
    places = counted(marks, 2.4, [plan()])
    assert len(places) > 1
    assert min(abs(p.foot_m - 2.4) for p in places) < 0.02


def test_corners_at_both_ends_settle_which_stud_is_which():
    room = np.concatenate([[WIDTH_M / 2], np.arange(1, 7) * 16 * INCH_M, [2.9 - WIDTH_M / 2]])
    narrow = WallPlan(face_id="north", length_m=2.9, spacing_m=16 * INCH_M, layout_from="left", width_m=WIDTH_M)
    places = counted(room, 1.45, [narrow])
    assert len(places) == 1
    assert places[0].foot_m == pytest.approx(1.45, abs=0.1)  # a degree of yaw is 0.04 m


def test_a_plan_with_another_spacing_fits_nothing():
    marks = np.arange(1, 12) * 16 * INCH_M
    other = WallPlan(face_id="north", length_m=4.8, spacing_m=24 * INCH_M, layout_from="left", width_m=WIDTH_M)
    assert counted(marks, 2.4, [other]) == []
