"""First poses: rays on walls, and a walk posed from its sheets and tracks, or left out with a reason."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from asbuilt.geometry.bundle_problem import SHEET_CORNERS, PixelObservations
from asbuilt.geometry.cameras import Lens
from asbuilt.geometry.frames import Rigid3
from asbuilt.geometry.initial import Chain, KnownPoints
from asbuilt.geometry.layout import FaceLayout, building_from_faces
from asbuilt.geometry.planes import Plane, on_planes
from tests.rooms.simulate import Options, SimRoom, simulate


def wall_planes() -> list[Plane]:
    """Two walls of a corner: 4 m along +x, then 3 m along -y."""
    walls = [
        FaceLayout(id=i, kind="wall", length_m=x, height_m=2.5, corner_rad=np.pi / 2) for i, x in (("a", 4), ("b", 3))
    ]
    poses = building_from_faces(walls)
    return [
        Plane(building_from_face=poses[w.id], length_m=w.length_m, height_m=w.height_m, depth_m=0.05) for w in walls
    ]


def test_rays_end_on_the_first_wall_they_meet():
    center = np.array([3.0, -2.0, 1.5])
    rays = np.array([[0, 1.0, 0], [1, 0, 0], [0, -1, 0], [1, 1, 0], [-0.6, 0.8, -0.1], [0, 0, 1]])
    found = on_planes(wall_planes(), center, rays / np.linalg.norm(rays, axis=1, keepdims=True))
    # The planes lie 50 mm behind the stud faces.
    np.testing.assert_allclose(found[0], [3, 0.05, 1.5], atol=1e-12)
    np.testing.assert_allclose(found[1], [4.05, -2, 1.5], atol=1e-12)
    assert np.isnan(found[2]).all()  # no wall that way
    np.testing.assert_allclose(found[3], [4.05, -0.95, 1.5], atol=1e-12)
    np.testing.assert_allclose(found[4], [3 - 0.6 * 2.05 / 0.8, 0.05, 1.5 - 0.1 * 2.05 / 0.8], atol=1e-12)
    assert np.isnan(found[5]).all()  # up between the walls


def test_a_wall_is_met_from_the_room_only_and_not_beyond_its_ends():
    outside = np.array([2.0, 1.0, 1.5])
    assert np.isnan(on_planes(wall_planes()[:1], outside, np.array([[0, -1.0, 0]]))).all()
    past = np.array([-1.5, -2.0, 1.5])
    assert np.isnan(on_planes(wall_planes()[:1], past, np.array([[0, 1.0, 0]]))).all()


def as_taped(room: SimRoom) -> list[Rigid3]:
    """The faces by taped lengths and planned corners."""
    return list(
        building_from_faces(
            [
                FaceLayout(
                    id=f.name,
                    kind="wall",
                    length_m=f.taped_length_m,
                    height_m=f.taped_height_m,
                    corner_rad=f.nominal_corner_rad,
                )
                for f in room.faces
            ]
        ).values()
    )


def known_of(room: SimRoom, faces: list[Rigid3], without: tuple[int, ...] = ()) -> list[KnownPoints]:
    """Corners of the sheets in each picture where the tape says they are."""
    half_m = room.markers.nominal_size_m / 2
    seen, found = room.marker_sightings, []
    for picture in range(len(room.pictures)):
        rows = [r for r in np.flatnonzero(seen.picture == picture) if seen.marker[r] not in without]
        points, pixels, sigmas = np.zeros((0, 3)), np.zeros((0, 2)), np.zeros(0)
        for row in rows:
            m = seen.marker[row]
            center = np.array([room.markers.taped_xz_m[m, 0], 0.0, room.markers.taped_xz_m[m, 1]])
            corners = faces[room.markers.taped_face_idx[m]].apply(center + half_m * SHEET_CORNERS)
            points, pixels = np.concatenate([points, corners]), np.concatenate([pixels, seen.corners_px[row]])
            sigmas = np.concatenate([sigmas, np.full(4, seen.sigma_px[row])])
        found.append(
            KnownPoints(
                points_m=points, xy_px=pixels, sigma_px=np.maximum(sigmas, 1.0), sigma_m=np.full(len(sigmas), 0.01)
            )
        )
    return found


def chain_of(room: SimRoom, known: list[KnownPoints], faces: list[Rigid3]) -> Chain:
    lenses = [Lens.from_prior(x.width_px, x.height_px, x.prior_focal_px) for x in room.lenses]
    tracks = room.tracks

    def inside(center_m: np.ndarray) -> bool:
        return 0.5 < center_m[2] < 2.5 and all(f.inverse().apply(center_m)[1] < -0.1 for f in faces)

    return Chain(
        lenses=[lenses[k] for k in room.pictures.lens],
        planes=[
            Plane(building_from_face=p, length_m=f.taped_length_m, height_m=f.taped_height_m, depth_m=0.04)
            for p, f in zip(faces, room.faces, strict=True)
        ],
        known=known,
        tracks=PixelObservations(
            camera_idx=tracks.picture, thing_idx=tracks.track, xy_px=tracks.xy_px, sigma_px=tracks.sigma_px
        ),
        inside=inside,
    )


def off_m(chain: Chain, room: SimRoom) -> np.ndarray:
    """Distance of every posed camera from where it stood."""
    centers = -np.einsum("nji,nj->ni", chain.rotation, chain.translation_m)
    return np.linalg.norm(centers - room.pictures.centers_m, axis=1)[chain.posed]


@pytest.fixture(scope="module")
def room() -> SimRoom:
    """An L of two walls walked past, with blurred and dark stretches."""
    return simulate(301, Options(faces=2, stills_per_face=0))


@pytest.fixture(scope="module")
def posed(room) -> Chain:
    faces = as_taped(room)
    chain = chain_of(room, known_of(room, faces), faces)
    chain.run()
    return chain


def test_a_walk_is_posed_near_enough_for_a_joint_solution_to_start(room, posed):
    assert posed.posed[room.pictures.usable].mean() > 0.9
    off = off_m(posed, room)
    assert np.median(off) < 0.2
    assert off.max() < 0.6


def test_what_shows_nothing_is_left_out_with_the_reason(room, posed):
    spoilt = np.flatnonzero(~room.pictures.usable)
    assert len(spoilt) and not posed.posed[spoilt].any()
    for k in spoilt:
        assert posed.reasons[k] == (
            "no marker sheet or known point in it, and too little in common with its neighbours"
        )
    assert all(reason == "" for reason, ok in zip(posed.reasons, posed.posed, strict=True) if ok)
    assert all(reason != "" for reason, ok in zip(posed.reasons, posed.posed, strict=True) if not ok)


def test_track_points_lie_near_the_texture_they_came_from(room, posed):
    points, usable = posed.points()
    spot = np.zeros(len(points), int)
    spot[room.tracks.track] = room.tracks.spot
    spoilt = np.bincount(room.tracks.track, room.tracks.gross, minlength=len(points)) > 0
    good = usable & ~spoilt
    assert good.mean() > 0.5
    off = np.linalg.norm(points[good] - room.texture.building_m[spot[good]], axis=1)
    assert np.median(off) < 0.1


def test_one_pair_of_sheets_carries_its_whole_stretch(room, posed):
    """All sheets but those of the first face are taken away: the tracks go on without them, or stop."""
    faces = as_taped(room)
    others = tuple(np.flatnonzero(room.markers.face_idx > 0))
    chain = chain_of(room, known_of(room, faces, without=others), faces)
    chain.run()
    bare = np.array([len(k.points_m) == 0 for k in chain.known])
    assert chain.posed[bare].sum() > 10
    off = off_m(chain, room)
    assert np.median(off) < 0.15
    assert chain.posed.sum() <= posed.posed.sum()


def test_a_picture_of_two_sheets_with_swapped_numbers_is_not_posed_by_them(room):
    faces = as_taped(room)
    known = known_of(room, faces)
    two = next(k for k, points in enumerate(known) if len(points.points_m) == 8)
    swapped = replace(known[two], points_m=np.roll(known[two].points_m, 4, axis=0))
    empty = KnownPoints(points_m=np.zeros((0, 3)), xy_px=np.zeros((0, 2)), sigma_px=np.zeros(0), sigma_m=np.zeros(0))
    chain = chain_of(room, [swapped if k == two else empty for k in range(len(known))], faces)
    chain.run()
    assert not chain.posed.any()
    assert "do not agree" in chain.reasons[two] or "inside the room" in chain.reasons[two]


def test_nothing_known_poses_nothing(room):
    faces = as_taped(room)
    chain = chain_of(room, known_of(room, faces, without=tuple(range(len(room.markers.ids)))), faces)
    chain.run()
    assert not chain.posed.any()
    assert all(chain.reasons)
    points, usable = chain.points()
    assert not usable.any() and len(points) == room.tracks.track.max() + 1
