"""Transforms: they meet or raise, they invert, and their values are the ones worked out by hand."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from asbuilt.errors import FrameMismatchError, ShapeError
from asbuilt.geometry.frames import BUILDING, Rigid3, camera_frame, face_frame
from asbuilt.geometry.layout import FaceLayout, building_from_faces

NINETY = np.pi / 2
WALLS = (("north", 4.0), ("east", 3.0), ("south", 4.0), ("west", 3.0))
# Camera axes (x right, y down, z forward) of a level camera that looks along +y, in building terms.
LEVEL_ALONG_Y = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])


def room_frames() -> dict[str, Rigid3]:
    """target_from_building of every frame of a 4 m by 3 m room, 2.5 m high, with one camera in it."""
    faces = [FaceLayout(id=i, kind="wall", length_m=x, height_m=2.5, corner_rad=NINETY) for i, x in WALLS]
    faces += [FaceLayout(id=k, kind=k, length_m=4.0, height_m=3.0, corner_rad=NINETY) for k in ("ceiling", "floor")]
    frames = {face_frame(i): pose.inverse() for i, pose in building_from_faces(faces).items()}
    center_m = np.array([1.0, -2.0, 1.5])
    camera = Rigid3(
        target=camera_frame("p1"),
        source=BUILDING,
        rotation=LEVEL_ALONG_Y,
        translation_m=-LEVEL_ALONG_Y @ center_m,
    )
    still = Rigid3(target=BUILDING, source=BUILDING, rotation=np.eye(3), translation_m=np.zeros(3))
    return frames | {camera.target: camera, BUILDING: still}


FRAMES = room_frames()
PAIRS = list(itertools.permutations(FRAMES, 2))
# One spot of the room (2.0, -0.5, 1.0) as each frame should give it, worked out by hand: from the
# left end of a face, into it (minus: in the room), up; right of, below and ahead of the camera.
SPOT_BUILDING_M = np.array([2.0, -0.5, 1.0])
SPOT_M = {
    BUILDING: (2.0, -0.5, 1.0),
    "face:north": (2.0, -0.5, 1.0),
    "face:east": (0.5, -2.0, 1.0),
    "face:south": (2.0, -2.5, 1.0),
    "face:west": (2.5, -2.0, 1.0),
    "face:ceiling": (2.0, -1.5, 0.5),
    "face:floor": (2.0, -1.0, 2.5),
    "camera:p1": (1.0, 0.5, 1.5),
}


def between(target: str, source: str) -> Rigid3:
    return FRAMES[target] @ FRAMES[source].inverse()


@pytest.mark.parametrize("frame", FRAMES)
def test_a_spot_has_its_value_in_every_frame(frame):
    np.testing.assert_allclose(FRAMES[frame].apply(SPOT_BUILDING_M), SPOT_M[frame], atol=1e-12)


@pytest.mark.parametrize(("target", "source"), PAIRS)
def test_every_pair_of_frames_maps_the_spot_and_back(target, source):
    there = between(target, source)
    assert (there.target, there.source) == (target, source)
    np.testing.assert_allclose(there.apply(np.array([SPOT_M[source]])), [SPOT_M[target]], atol=1e-12)
    back = there.inverse()
    assert (back.target, back.source) == (source, target)
    cloud = np.random.default_rng(3).uniform(-8, 8, (40, 3))
    np.testing.assert_allclose(back.apply(there.apply(cloud)), cloud, atol=1e-12)
    np.testing.assert_allclose(back.rotate(there.rotate(cloud)), cloud, atol=1e-12)


@pytest.mark.parametrize("frame", FRAMES)
def test_every_frame_is_right_handed(frame):
    x, y, z = np.eye(3)
    rotation = FRAMES[frame].rotation
    np.testing.assert_allclose(np.cross(rotation @ x, rotation @ y), rotation @ z, atol=1e-12)


@pytest.mark.parametrize(("given", "wanted"), PAIRS)
def test_frames_that_do_not_meet_cannot_be_composed(given, wanted):
    outer, inner = between(BUILDING, wanted), between(given, BUILDING)
    with pytest.raises(FrameMismatchError, match="cannot compose"):
        outer @ inner


def test_the_refusal_names_both_transforms():
    camera, face = FRAMES["camera:p1"], FRAMES["face:east"]
    with pytest.raises(FrameMismatchError, match="camera:p1_from_building .* face:east_from_building.*not face:east"):
        camera @ face


vectors = st.tuples(*[st.floats(-20, 20)] * 3).map(np.array)
turns = st.tuples(*[st.floats(-4, 4)] * 3).map(lambda v: Rotation.from_rotvec(v).as_matrix())


@given(turn=turns, shift=vectors, second_turn=turns, second_shift=vectors, point=vectors)
def test_composition_is_one_after_the_other(turn, shift, second_turn, second_shift, point):
    b_from_a = Rigid3(target="b", source="a", rotation=turn, translation_m=shift)
    c_from_b = Rigid3(target="c", source="b", rotation=second_turn, translation_m=second_shift)
    c_from_a = c_from_b @ b_from_a
    assert (c_from_a.target, c_from_a.source) == ("c", "a")
    by_hand = second_turn @ (turn @ point + shift) + second_shift
    np.testing.assert_allclose(c_from_a.apply(point), by_hand, atol=1e-9)
    np.testing.assert_allclose(c_from_a.inverse().apply(by_hand), point, atol=1e-9)
    np.testing.assert_allclose(b_from_a.apply(b_from_a.origin_m), 0, atol=1e-9)


def test_directions_turn_but_do_not_move():
    there = Rigid3(
        target="b",
        source="a",
        rotation=Rotation.from_euler("z", 90, degrees=True).as_matrix(),
        translation_m=np.array([5.0, 6, 7]),
    )
    np.testing.assert_allclose(there.rotate(np.array([1.0, 0, 2])), [0, 1, 2], atol=1e-12)
    np.testing.assert_allclose(there.apply(np.array([1.0, 0, 2])), [5, 7, 9], atol=1e-12)


@pytest.mark.parametrize(
    ("rotation", "translation_m"),
    [
        (np.eye(3)[:2], np.zeros(3)),
        (np.eye(3), np.zeros(2)),
        (np.diag([1.0, 1, -1]), np.zeros(3)),  # a mirror
        (1.001 * np.eye(3), np.zeros(3)),  # a stretch
    ],
)
def test_what_is_not_a_rigid_motion_is_refused(rotation, translation_m):
    with pytest.raises(ShapeError, match="b_from_a"):
        Rigid3(target="b", source="a", rotation=rotation, translation_m=translation_m)


def test_a_transform_cannot_be_changed_in_place():
    rotation = np.eye(3)
    there = Rigid3(target="b", source="a", rotation=rotation, translation_m=np.zeros(3))
    rotation[0, 0] = 5
    assert there.rotation[0, 0] == 1
    with pytest.raises(ValueError, match="read-only"):
        there.translation_m[0] = 1
