"""The simulated rooms are what they say: exact projections, and noise of the size asked for."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from asbuilt.geometry.layout import FaceLayout, building_from_faces
from tests.rooms.building import IN_M, TAPE_SIGMA_M, TAPE_STEP_M
from tests.rooms.evaluate import accuracy, inside_interval_spread
from tests.rooms.observe import look, marker_sigma_px, project, unhidden
from tests.rooms.simulate import Options, simulate

SEEDS = (1, 2, 3, 4, 5)


@pytest.fixture(scope="module")
def rooms():
    return {seed: simulate(seed) for seed in SEEDS}


def matrix(lens):
    return np.array([[lens.focal_px, 0, lens.center_x_px], [0, lens.focal_px, lens.center_y_px], [0, 0, 1]])


@pytest.mark.parametrize("seed", SEEDS)
def test_projection_agrees_with_opencv(rooms, seed):
    room = rooms[seed]
    pictures = room.pictures
    for picture in range(0, len(pictures), 7):
        xy, seen = look(room.faces, pictures, room.lenses, picture, room.items)
        if not seen.any():
            continue
        lens = room.lenses[pictures.lens[picture]]
        turn, _ = cv2.Rodrigues(pictures.rotation[picture])
        expected, _ = cv2.projectPoints(
            room.items.building_m[seen], turn, pictures.translation_m[picture], matrix(lens), lens.distortion
        )
        assert np.abs(expected[:, 0] - xy[seen]).max() < 1e-6


@pytest.mark.parametrize("seed", SEEDS)
def test_cameras_are_proper_and_stand_in_the_room(rooms, seed):
    room = rooms[seed]
    identity = room.pictures.rotation @ room.pictures.rotation.transpose(0, 2, 1)
    assert np.abs(identity - np.eye(3)).max() < 1e-12
    assert np.linalg.det(room.pictures.rotation) == pytest.approx(1)
    for k, face in enumerate(room.faces):
        away = -face.to_face(room.pictures.centers_m[room.pictures.aimed_face == k])[:, 1]
        assert away.min() > 0.8 and away.max() < 4.0


@pytest.mark.parametrize("seed", SEEDS)
def test_faces_follow_the_layout_convention(rooms, seed):
    faces = rooms[seed].faces
    layout = building_from_faces(
        [
            FaceLayout(id=f.name, kind="wall", length_m=f.length_m, height_m=f.height_m, corner_rad=f.corner_rad)
            for f in faces
        ]
    )
    for face in faces:
        assert layout[face.name].translation_m == pytest.approx(face.origin_m, abs=1e-9)
        assert np.abs(layout[face.name].rotation - face.rotation).max() < 1e-9


def test_a_seed_gives_the_same_room_again(rooms):
    again = simulate(1)
    assert np.array_equal(again.tracks.xy_px, rooms[1].tracks.xy_px)
    assert np.array_equal(again.item_clicks.xy_px, rooms[1].item_clicks.xy_px)
    assert not np.array_equal(simulate(1, Options(clips=2)).pictures.time_s, rooms[1].pictures.time_s)


def test_seeds_cover_the_variety():
    rooms = [simulate(s, Options(frames_per_s=1, stills_per_face=0)) for s in range(40)]
    assert {len(r.faces) for r in rooms} == {2, 3, 4, 5}
    assert any(abs(f.nominal_corner_rad - np.pi / 2) > 0.2 for r in rooms for f in r.faces)
    spacings_in = {round(f.spacing_m / IN_M, 1) for r in rooms for f in r.faces}
    assert spacings_in == {16.0, 19.2, 24.0, 15.7, 23.6}
    assert {round(f.stud_depth_m / IN_M, 1) for r in rooms for f in r.faces} == {3.5, 5.5}
    for room in rooms:
        if room.closed:
            assert sum(f.corner_rad for f in room.faces) == pytest.approx((len(room.faces) - 2) * np.pi)


def test_taped_values_carry_the_error_asked_for():
    rooms = [simulate(s, Options(frames_per_s=0.5, stills_per_face=0)) for s in range(100, 160)]
    errors = np.concatenate([(r.markers.taped_xz_m - r.markers.centers_face_m[0][:, [0, 2]]).ravel() for r in rooms])
    expected = np.hypot(TAPE_SIGMA_M, TAPE_STEP_M / np.sqrt(12))
    assert errors.std() == pytest.approx(expected, rel=0.08)
    assert abs(errors.mean()) < 4 * expected / np.sqrt(len(errors))
    steps = rooms[0].markers.taped_xz_m / TAPE_STEP_M
    assert np.abs(steps - np.round(steps)).max() < 1e-6


def track_errors(room):
    """Observed minus true pixels of all track observations, (K, 2)."""
    truth = np.empty_like(room.tracks.xy_px)
    for picture in np.unique(room.tracks.picture):
        rows = room.tracks.picture == picture
        truth[rows] = look(room.faces, room.pictures, room.lenses, picture, room.texture)[0][room.tracks.spot[rows]]
    return room.tracks.xy_px - truth


def test_track_noise_is_white_plus_a_growing_drift_plus_outliers(rooms):
    firsts, steps, later, gross = [], [], [], []
    for room in rooms.values():
        errors, tracks = track_errors(room), room.tracks
        order = np.lexsort((tracks.picture, tracks.track))
        age = np.zeros(len(tracks), dtype=int)
        starts = np.flatnonzero(np.diff(tracks.track[order], prepend=-1))
        age[order] = np.arange(len(order)) - np.repeat(starts, np.diff(np.append(starts, len(order))))
        good = ~tracks.gross
        firsts.append(errors[good & (age == 0)])
        later.append(errors[good & (age >= 12)])
        pairs = np.stack([order[:-1], order[1:]], axis=1)
        same = (np.diff(tracks.track[order]) == 0) & good[pairs].all(axis=1)
        steps.append(errors[pairs[same, 1]] - errors[pairs[same, 0]])
        gross.append(tracks.gross)
    white = np.sqrt((0.3**2 + 0.3 * 0.5 + 0.5**2) / 3)
    first, last = np.concatenate(firsts).std(), np.concatenate(later).std()
    assert first == pytest.approx(white, rel=0.03)
    assert last > 1.15 * first
    assert np.concatenate(steps).std() == pytest.approx(np.sqrt(2) * white, rel=0.05)
    assert 0.02 < np.concatenate(gross).mean() < 0.08


def test_tracks_are_short_and_break_at_gaps(rooms):
    for room in rooms.values():
        tracks, pictures = room.tracks, room.pictures
        assert pictures.usable[tracks.picture].all() and (pictures.clip[tracks.picture] >= 0).all()
        first = np.full(tracks.track.max() + 1, len(pictures))
        last = np.zeros(tracks.track.max() + 1, dtype=int)
        np.minimum.at(first, tracks.track, tracks.picture)
        np.maximum.at(last, tracks.track, tracks.picture)
        assert np.array_equal(last - first + 1, np.bincount(tracks.track))  # no holes within a track
        assert (last - first).max() < 80 and np.median(np.bincount(tracks.picture)) > 100
        assert len(np.unique(np.stack([tracks.picture, tracks.track]), axis=1).T) == len(tracks)
        assert room.pictures.blurred.sum() >= 2 and room.pictures.dark.sum() >= 3


def test_marker_corners_are_noisier_the_smaller_they_look(rooms):
    ratios, sides = [], []
    for room in rooms.values():
        seen, markers = room.marker_sightings, room.markers
        for picture, m, corners, sigma in zip(seen.picture, seen.marker, seen.corners_px, seen.sigma_px, strict=True):
            face = room.faces[markers.face_idx[m]]
            true = project(room.pictures, room.lenses, picture, face.to_building(markers.corners_face_m[0, m]))
            side = np.linalg.norm(true - np.roll(true, 1, axis=0), axis=1).min()
            assert sigma == pytest.approx(float(marker_sigma_px(side)))
            ratios.append((corners - true) / sigma)
            sides.append(side)
    ratios = np.array(ratios)
    assert ratios.std() == pytest.approx(1, rel=0.05) and abs(ratios.mean()) < 0.05
    assert min(sides) >= 28 and marker_sigma_px(30) > 1.5 * marker_sigma_px(100)


def test_marker_corners_spread_alike_within_a_lens(rooms):
    spread = simulate(1, Options(marker_spread_sigma_px=0.5)).marker_sightings
    moved = spread.corners_px - rooms[1].marker_sightings.corners_px
    outward = rooms[1].marker_sightings.corners_px - rooms[1].marker_sightings.corners_px.mean(axis=1, keepdims=True)
    along = (moved * outward).sum(axis=2) / np.linalg.norm(outward, axis=2)
    lens = rooms[1].pictures.lens[spread.picture]
    means = [along[lens == which].mean() for which in np.unique(lens)]
    assert max(np.abs(means)) > 0.05 and abs(means[0] - means[1]) > 0.02
    for which, mean in zip(np.unique(lens), means, strict=True):
        assert np.abs(along[lens == which] - mean).max() < 0.1 * abs(mean) + 1e-3


def test_marker_corners_are_in_the_order_of_the_detector(rooms):
    corners = rooms[1].markers.corners_face_m[0]
    right, up = corners[:, 1] - corners[:, 0], corners[:, 0] - corners[:, 3]
    assert (right[:, 0] > 0.9 * rooms[1].markers.nominal_size_m).all()
    assert (up[:, 2] > 0.9 * rooms[1].markers.nominal_size_m).all()
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)
    assert np.allclose(sides, rooms[1].markers.nominal_size_m)


def test_clicks_are_off_by_as_much_as_asked(rooms):
    errors = []
    for room in rooms.values():
        for clicks, spots in (
            (room.item_clicks, room.items),
            (room.still_item_clicks, room.items),
            (room.reference_clicks, room.references.spots),
        ):
            for picture in np.unique(clicks.picture):
                rows = clicks.picture == picture
                points = spots.building_m[clicks.point[rows]]
                errors.append(clicks.xy_px[rows] - project(room.pictures, room.lenses, picture, points))
    errors = np.concatenate(errors)
    assert len(errors) > 2000
    assert errors.std() == pytest.approx(1.5, rel=0.03)


def test_a_stud_hides_what_stands_behind_it(rooms):
    face = rooms[4].faces[0]
    stud = face.stud_centers_m[len(face.stud_centers_m) // 2]
    camera = np.array([stud - 1.5, -1.5, 1.4])
    deep = np.array([[stud + 0.02 + 0.01, 0.08, 1.4], [stud - 0.12, 0.08, 1.4], [stud, 0.0, 1.4]])
    assert unhidden(face, camera, deep).tolist() == [False, True, True]


def test_blunders_are_planted_as_described():
    options = Options(clips=2, faces=4, blunders=("tape", "swap", "moved", "small print"))
    spoilt, clean = simulate(11, options), simulate(11, replace(options, blunders=()))
    by_kind = {b.kind: b for b in spoilt.blunders}
    assert len({m for b in spoilt.blunders for m in b.markers}) == 5
    change = spoilt.markers.taped_xz_m - clean.markers.taped_xz_m
    assert np.abs(change[by_kind["tape"].markers[0]]).max() == pytest.approx(6 * IN_M)
    a, b = by_kind["swap"].markers
    assert np.array_equal(spoilt.markers.taped_xz_m[a], clean.markers.taped_xz_m[b])
    assert spoilt.markers.taped_face_idx[b] == clean.markers.face_idx[a]
    m = by_kind["moved"].markers[0]
    moved = spoilt.markers.centers_face_m[1, m] - spoilt.markers.centers_face_m[0, m]
    assert 8 * IN_M <= abs(moved[0]) <= 16 * IN_M
    m = by_kind["small print"].markers[0]
    assert spoilt.markers.size_m[m] == pytest.approx(0.97 * clean.markers.size_m[m])
    with pytest.raises(ValueError, match="clips=2"):
        simulate(11, Options(blunders=("moved",)))


def test_accuracy_counts_what_is_inside_the_stated_interval():
    rng = np.random.default_rng(5)
    sigmas = rng.uniform(0.001, 0.003, 20000)
    errors = rng.normal(0, sigmas)
    right, bold = accuracy(errors, sigmas), accuracy(errors, sigmas / 2)
    assert abs(right.inside_95 - 0.95) < 4 * inside_interval_spread(20000)
    assert bold.inside_95 == pytest.approx(0.673, abs=0.02) and bold.chi2_mean == pytest.approx(4, rel=0.05)
    assert right.p95_m == pytest.approx(np.sort(np.abs(errors))[19000], rel=0.01)
    with pytest.raises(ValueError):
        accuracy(np.zeros(0))
