"""What cameras are said to see: not through walls, not into other rooms, ceilings and floors as well."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from asbuilt.answers.coverage import WELL, before_cover_up, coverage_of, shortfalls
from asbuilt.answers.text import coverage_text
from asbuilt.record import Face, Media, Picture, Placement, Record, Room
from asbuilt.record.frames import building_from_faces, cameras, quat_xyzw
from asbuilt.record.joint import JointCovariance
from asbuilt.steps import coverage
from asbuilt.steps.read_off import read_off_sigma_m
from asbuilt.steps.sight import plane_sigma_m

LENS = (1000.0, 959.5, 539.5, 0.0, 0.0, 0.0, 0.0)


def _take(record: Record, name: str, center_m, ahead, up=(0, 0, 1), room_id: str | None = "r") -> None:
    """A placed picture from a spot, looking along ``ahead``."""
    ahead = np.array(ahead, float) / np.linalg.norm(ahead)
    right = np.cross(ahead, up) / np.linalg.norm(np.cross(ahead, up))
    rotation = np.stack([right, np.cross(ahead, right), ahead])
    record.put(
        Picture(id=name, media_id="m", kind="photo", width_px=1920, height_px=1080, room_id=room_id, light=0.5,
                sharpness=0.9),
        Placement(id=name, status="placed", quat_xyzw=quat_xyzw(rotation), lens=LENS, lens_id="l",
                  translation_m=tuple(map(float, -rotation @ np.array(center_m, float))),
                  covariance=tuple(map(tuple, (np.eye(6) * 1e-6).tolist()))),
    )  # fmt: skip


def _faces(record: Record, *walls: tuple[str, float, float], room_id: str = "r") -> None:
    for order, (name, length_m, corner_deg) in enumerate(walls):
        corner_rad = np.deg2rad(corner_deg)
        record.put(Face(id=name, room_id=room_id, title=f"{name} wall", order_idx=order, length_m=length_m,
                        height_m=2.4, corner_rad=corner_rad))  # fmt: skip


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "house", "House") as opened:
        opened.put(Room(id="r", name="Room"), Media(id="m", name="m", kind="photo", byte_count=1, path="media/m"))
        yield opened


def test_a_wall_round_a_corner_is_not_seen_through_the_one_before_it(record):
    """The room turns outwards after its first wall; from beside that the third lies behind it."""
    _faces(record, ("a", 4.0, 270.0), ("b", 3.0, 90.0), ("c", 4.0, 90.0))
    for k in range(2):
        _take(record, f"p{k}", (2.0 + 0.1 * k, -2.0, 1.4), (2.5, 5.0, 0.0))
    coverage.run(record)
    count = coverage_of(record, "c").layers["count"]
    # Past the end of the first wall, seen from (2, -2), the third begins to show 3 m from its left end less 2 m.
    assert not count[:, :30].any()
    _take(record, "q", (5.0, 0.0, 1.4), (0.0, 3.0, 0.0))
    coverage.run(record)
    assert coverage_of(record, "c").layers["count"][:, :30].any()


def test_a_picture_taken_in_another_room_counts_only_for_a_partition_that_is_open_behind(record):
    record.put(Room(id="s", name="Other", order_idx=1))
    _faces(record, ("a", 4.0, 90.0))
    _faces(record, ("far", 4.0, 90.0), room_id="s")
    for k in range(2):
        _take(record, f"p{k}", (2.0 + 0.3 * k, 2.5, 1.2), (0.0, -1.0, 0.0), room_id="s")
        _take(record, f"q{k}", (2.0 + 0.3 * k, -2.5, 1.2), (0.0, 1.0, 0.0), room_id="s")
    coverage.run(record)
    assert coverage_of(record, "a").picture_ids == ()
    face = record.get(Face, "a")
    record.put(replace(face, open_behind=True, far_face_id="far", far_offset_sum_m=4.0))
    coverage.run(record)
    seen = coverage_of(record, "a")
    assert set(seen.picture_ids) == {"p0", "p1", "q0", "q1"}
    assert (seen.classes[40:60, 60:90] == WELL).mean() > 0.9


@pytest.mark.parametrize(("kind", "ahead", "height_m"), [("ceiling", 1.0, 0.4), ("floor", -1.0, 2.2)])
def test_ceilings_and_floors_are_covered_like_walls_and_listed_last(record, kind, ahead, height_m):
    _faces(record, ("a", 4.0, 90.0), ("b", 3.0, 90.0), ("c", 4.0, 90.0), ("d", 3.0, 90.0))
    record.put(Face(id="flat", room_id="r", title=f"The {kind}", kind=kind, order_idx=9, length_m=4.0, height_m=3.0,
                    stud_depth_m=0.184))  # fmt: skip
    for k in range(3):  # the half of it at the left end
        _take(record, f"p{k}", (0.7 + 0.3 * k, -1.5, height_m), (0.0, 0.0, ahead), up=(0.0, 1.0, 0.0))
    coverage.run(record)
    cover = coverage_of(record, "flat")
    middle = cover.classes[45:70, 30:45]
    assert (middle == WELL).mean() > 0.9
    assert not (cover.classes[:, 130:] == WELL).any()
    answer = before_cover_up(record)
    assert [f.face_id for f in answer.faces] == ["a", "b", "c", "d", "flat"]
    assert not answer.faces[-1].go and answer.faces[-1].shortfalls[-1].right_m == pytest.approx(4.0)
    words = coverage_text(answer).partition(f"The {kind}")[2]
    assert "from edge to edge: no placed picture shows it" in words
    assert "floor to top" not in words and " up:" not in words


def test_a_hole_across_a_stud_is_listed_though_neither_bay_has_six_inches_of_it(record):
    _faces(record, ("a", 2.4384, 90.0))
    for k in range(4):
        _take(record, f"p{k}", (0.8 + 0.3 * k, -2.2, 1.2), (0.0, 1.0, 0.0))
    coverage.run(record)
    cover = coverage_of(record, "a")
    stud = cover.face.bays[2].left.center_m
    middle = int(stud / cover.cell_m)
    whole = np.full_like(cover.classes, WELL)
    assert not list(shortfalls(replace(cover, classes=whole)))
    whole[40:46, middle - 3 : middle + 3] = 0
    listed = list(shortfalls(replace(cover, classes=whole)))
    assert [s.bay for s in listed] in ([2], [3], [2, 3])
    assert min(s.left_m for s in listed) < stud - 0.07 and max(s.right_m for s in listed) > stud + 0.07
    whole[40:46, middle - 3] = whole[40:46, middle + 2] = WELL
    assert not list(shortfalls(replace(cover, classes=whole)))


def test_what_is_uncertain_of_camera_and_face_alike_is_no_error_of_a_place(record):
    """Camera and face were found in one solution; that both may be shifted together does not matter."""
    _faces(record, ("a", 4.0, 90.0))
    _take(record, "p", (2.0, -2.0, 1.2), (0.0, 1.0, 0.0))
    placement, camera = record.get(Placement, "p"), cameras(record)["p"]
    pose, spots = building_from_faces(record)["a"], np.array([[2.0, 0.0, 1.2], [1.0, 0.0, 0.5]])
    shift = np.zeros((19, 3))  # six of the camera, seven of the lens, six of the face
    shift[3:6], shift[16:19] = -camera.camera_from_building.rotation, np.eye(3)
    columns = dict(camera_column={"p": 0}, lens_column={"l": 6}, face_column={"a": 13})
    joint = JointCovariance(matrix=shift @ shift.T * 0.05**2, **columns)
    click = plane_sigma_m(camera, pose, spots, np.zeros((6, 6)), 1.5)
    np.testing.assert_allclose(read_off_sigma_m(joint, placement, camera, "a", pose, spots, 1.5), click, rtol=1e-6)
    alone = plane_sigma_m(camera, pose, spots, np.array(placement.covariance), 1.5)
    np.testing.assert_allclose(read_off_sigma_m(None, placement, camera, "a", pose, spots, 1.5), alone)
    assert (alone > 1.001 * click).all()


def test_what_the_rim_of_a_picture_shows_inside_the_wall_but_not_on_its_face_is_not_recorded(record):
    """Square on from 2 m the picture ends at 1.92 m aside on the face, 0.08 m farther out where cable lies."""
    record.put(Face(id="long", room_id="r", title="Long wall", length_m=8.0, height_m=2.4, stud_depth_m=0.1397))
    for k in range(2):
        _take(record, f"p{k}", (4.0, -2.0, 1.2), (0.0, 1.0, 0.0))
    coverage.run(record)
    seen = coverage_of(record, "long")
    middle = (np.arange(seen.classes.shape[1]) + 0.5) * seen.cell_m
    ends_m = 1.92 - 0.004 * 1920 / 1000 * 2.0
    row = seen.layers["count"][47]  # at eye level
    inside_m = 0.96 * (2.0 + 0.6 * 0.1397)
    between = (np.abs(middle - 4.0) > ends_m) & (np.abs(middle - 4.0) < inside_m)
    assert between.sum() >= 5 and not row[between].any()
    within = np.abs(middle - 4.0) < ends_m - 0.03
    assert (row[within] == 2).mean() > 0.8  # the rest lies behind the sides of studs
    assert seen.best[47][between].max() == -1
