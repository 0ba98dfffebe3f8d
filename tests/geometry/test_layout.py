"""Faces of a room where a person would draw them, and the far face of a partition."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from asbuilt.geometry.frames import BUILDING, face_frame
from asbuilt.geometry.layout import FaceLayout, building_from_faces, closure_m, far_face_point

NINETY = np.pi / 2


def wall(name: str, length_m: float, corner_deg: float = 90.0, height_m: float = 2.4) -> FaceLayout:
    return FaceLayout(id=name, kind="wall", length_m=length_m, height_m=height_m, corner_rad=np.radians(corner_deg))


RECTANGLE = [wall("a", 5), wall("b", 3), wall("c", 5), wall("d", 3)]


@pytest.mark.parametrize(
    ("face", "place_face_m", "place_building_m"),
    [
        # Clockwise seen from above, the room on the side of minus y of the first wall.
        ("a", (1, 0.1, 1.5), (1, 0.1, 1.5)),
        ("b", (1, 0.1, 1.5), (5.1, -1, 1.5)),
        ("c", (1, 0.1, 1.5), (4, -3.1, 1.5)),
        ("d", (1, 0.1, 1.5), (-0.1, -2, 1.5)),
        # Ceiling: from the first wall into the room; its depth goes up.
        ("ceiling", (1, 0.1, 0.5), (1, -0.5, 2.5)),
        # Floor: towards the first wall; its depth goes down.
        ("floor", (1, 0.1, 0.5), (1, -2.5, -0.1)),
    ],
)
def test_a_place_on_each_face_of_a_rectangle(face, place_face_m, place_building_m):
    level = [FaceLayout(id=k, kind=k, length_m=5, height_m=3, corner_rad=NINETY) for k in ("ceiling", "floor")]
    placed = building_from_faces(RECTANGLE + level)
    assert (placed[face].target, placed[face].source) == (BUILDING, face_frame(face))
    np.testing.assert_allclose(placed[face].apply(np.array(place_face_m, float)), place_building_m, atol=1e-12)


def test_a_room_can_stand_anywhere_and_any_way_round():
    placed = building_from_faces(RECTANGLE, origin_m=(10, 20, 0.5), turn_rad=NINETY)
    # The first wall now runs along +y, so into it is -x.
    np.testing.assert_allclose(placed["a"].apply(np.array([1.0, 0.1, 1])), [9.9, 21, 1.5], atol=1e-12)
    np.testing.assert_allclose(placed["b"].apply(np.array([1.0, 0.1, 1])), [11, 25.1, 1.5], atol=1e-12)


def test_a_corner_that_is_not_square():
    placed = building_from_faces([wall("a", 2, 135), wall("b", 3)])
    half = np.sqrt(0.5)
    np.testing.assert_allclose(placed["b"].apply(np.array([1.0, 0, 0])), [2 + half, -half, 0], atol=1e-12)
    np.testing.assert_allclose(placed["b"].rotate(np.array([0.0, 1, 0])), [half, half, 0], atol=1e-12)


def test_closure_is_how_far_the_last_wall_misses():
    assert closure_m(RECTANGLE) == pytest.approx(0, abs=1e-12)
    # An L: five corners turn right, one turns back.
    ell = [wall("a", 6), wall("b", 2), wall("c", 2, 270), wall("d", 2), wall("e", 4), wall("f", 4)]
    assert closure_m(ell) == pytest.approx(0, abs=1e-12)
    assert closure_m([wall("a", 5.03), *RECTANGLE[1:3], wall("d", 3.04)]) == pytest.approx(0.05)


@given(
    lengths=st.lists(st.floats(1, 9), min_size=2, max_size=6),
    corners_deg=st.lists(st.floats(60, 300), min_size=6, max_size=6),
)
def test_each_right_end_is_the_next_left_end_at_the_corners_angle(lengths, corners_deg):
    faces = [wall(f"w{k}", length, corners_deg[k]) for k, length in enumerate(lengths)]
    placed = building_from_faces(faces)
    for first, second in zip(faces, faces[1:], strict=False):
        end = placed[first.id].apply(np.array([first.length_m, 0, 0]))
        np.testing.assert_allclose(placed[second.id].translation_m, end, atol=1e-9)
        # The inside angle lies between the wall run backwards and the next run forwards, in the room.
        back, ahead = placed[first.id].rotation @ [-1, 0, 0], placed[second.id].rotation @ [1, 0, 0]
        inside = np.arctan2(np.cross(ahead, back)[2] * -1, ahead @ back) % (2 * np.pi)
        assert inside == pytest.approx(first.corner_rad, abs=1e-9)


def test_the_far_face_of_a_partition_is_seen_mirrored():
    # 5 m of wall, floors of the two rooms 0.1 m apart, 3-1/2 in of cavity.
    near = np.array([[1.0, 0.03, 2.0], [4.0, -0.0127, 0.3]])
    far = far_face_point(near, 5.0, 0.1, 0.0889)
    np.testing.assert_allclose(far, [[4.0, 0.0589, 2.1], [1.0, 0.1016, 0.4]], atol=1e-12)


def test_the_far_face_agrees_with_both_faces_placed_in_the_building():
    near_face = building_from_faces([wall("near", 5)])["near"]
    far_face = building_from_faces([wall("far", 5)], origin_m=(5, 0.0889, -0.1), turn_rad=np.pi)["far"]
    points = np.random.default_rng(1).uniform((0, -0.1, 0), (5, 0.2, 2.4), (30, 3))
    through_building = far_face.inverse().apply(near_face.apply(points))
    np.testing.assert_allclose(far_face_point(points, 5.0, 0.1, 0.0889), through_building, atol=1e-12)


@given(
    point=st.tuples(st.floats(-1, 9), st.floats(-0.2, 0.3), st.floats(-1, 4)),
    offset_sum_m=st.floats(0.5, 12),
    shift_m=st.floats(-1, 1),
    depth_m=st.floats(0.05, 0.3),
)
def test_the_far_face_of_the_far_face_is_the_near_face(point, offset_sum_m, shift_m, depth_m):
    far = far_face_point(np.array([point]), offset_sum_m, shift_m, depth_m)
    back = far_face_point(far, offset_sum_m, -shift_m, depth_m)
    np.testing.assert_allclose(back[0], point, atol=1e-9)
