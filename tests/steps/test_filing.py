"""Filing pictures under faces."""

from __future__ import annotations

import pytest

from asbuilt.errors import NotInRecordError, RecordError
from asbuilt.record import Covering, Face, Media, Picture, Record, Room
from asbuilt.steps.filing import covered_on, file_by_hand, file_by_order, stage_at, unfiled_ids


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "r", "House") as made:
        made.put(Room(id="studio", name="Studio"))
        for name in ("north", "east"):
            made.put(Face(id=name, room_id="studio", title=name, length_m=4, height_m=2.7))
        made.put(Media(id="a" * 64, name="walk.mp4", kind="video", byte_count=1, path="media/aa/a.mp4"))
        made.put(Media(id="b" * 64, name="photo.jpg", kind="photo", byte_count=1, path="media/bb/b.jpg"))
        yield made


def put_frames(record, faces: str):
    """Frames a second apart; a letter is the face filed by marker, a dot: not filed."""
    names = {"n": "north", "e": "east", ".": None}
    for idx, letter in enumerate(faces):
        face = names[letter]
        record.put(
            Picture(
                id=f"f{idx:02}", media_id="a" * 64, kind="frame", pts_s=float(idx), width_px=100, height_px=50,
                taken_at="2026-03-14T10:00:00+00:00", face_id=face, room_id="studio" if face else None,
                filed_by="marker" if face else "",
            )
        )  # fmt: skip


def faces_of(record) -> str:
    frames = sorted(record.all(Picture, kind="frame"), key=lambda p: p.pts_s)
    return "".join("." if p.face_id is None else p.face_id[0] for p in frames)


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("n...n..e.e", "nnnnn..eee"),
        ("..n.n..", "..nnn.."),
        ("n.e.n", "n.e.n"),
        (".....", "....."),
        ("nn.ee", "nn.ee"),
    ],
)
def test_frames_between_two_of_one_face_are_of_that_face_and_corners_stay_open(record, before, after):
    put_frames(record, before)
    assert file_by_order(record) == sum(a != b for a, b in zip(before, after, strict=True))
    assert faces_of(record) == after
    for picture in record.all(Picture):
        was = before[round(picture.pts_s)]
        now_filed = picture.face_id is not None
        assert picture.filed_by == ("marker" if was != "." else "order" if now_filed else "")
        assert (picture.room_id == "studio") == now_filed
    assert file_by_order(record) == 0


def test_order_says_nothing_across_clips(record):
    put_frames(record, "n.")
    record.put(Media(id="c" * 64, name="next.mp4", kind="video", byte_count=1, path="media/cc/c.mp4"))
    record.put(
        Picture(id="z", media_id="c" * 64, kind="frame", pts_s=5, width_px=9, height_px=9, face_id="north",
                room_id="studio", filed_by="marker")
    )  # fmt: skip
    assert file_by_order(record) == 0


def test_by_hand_takes_ids_files_and_stretches_of_a_clip(record):
    put_frames(record, "......")
    record.put(Picture(id="p", media_id="b" * 64, kind="photo", width_px=100, height_px=50))
    assert [p.id for p in file_by_hand(record, ["walk.mp4"], "east", from_s=1.5, to_s=3)] == ["f02", "f03"]
    assert faces_of(record) == "..ee.."
    file_by_hand(record, ["photo.jpg", "f05"], "north")
    assert record.get(Picture, "p").face_id == "north" and record.get(Picture, "p").filed_by == "hand"
    assert faces_of(record) == "..ee.n"
    assert unfiled_ids(record) == ["f00", "f01", "f04"]


def test_by_hand_refuses_what_is_not_there(record):
    put_frames(record, "..")
    with pytest.raises(NotInRecordError, match="no face 'west'.*known: east, north|no face 'west'.*known: north, east"):
        file_by_hand(record, ["f00"], "west")
    with pytest.raises(NotInRecordError, match="no picture and no file called 'f77'"):
        file_by_hand(record, ["f00", "f77"], "north")
    with pytest.raises(NotInRecordError, match="between those times"):
        file_by_hand(record, ["walk.mp4"], "north", from_s=50)
    with pytest.raises(RecordError, match="neither open nor covered"):
        file_by_hand(record, ["f00"], "north", stage="half")
    assert faces_of(record) == ".."


def test_a_face_is_covered_from_its_first_dated_layer_on(record):
    north = record.get(Face, "north")
    assert covered_on(record, north) is None
    record.put(Covering(id="c2", face_id="north", order_idx=1, material="tile", thickness_m=0.01, date="2026-06-01"))
    record.put(Covering(id="c1", face_id="north", material="board", thickness_m=0.0127, date="2026-04-01"))
    record.put(Covering(id="c3", face_id="north", order_idx=2, material="paint", thickness_m=0.001))
    assert covered_on(record, north) == "2026-04-01"
    assert stage_at(record, "2026-04-01T09:00:00", north) == "open"
    assert stage_at(record, "2026-04-02T09:00:00", north) == "covered"
    # Of the building not every wall is dated: nothing is concluded.
    assert stage_at(record, "2026-04-02T09:00:00") == "open"
    record.put(Covering(id="c4", face_id="east", material="board", thickness_m=0.0127, date="2026-05-01"))
    assert stage_at(record, "2026-04-02T09:00:00") == "open"
    assert stage_at(record, "2026-05-02T09:00:00") == "covered"
    assert stage_at(record, None) == "open"


def test_filing_corrects_the_stage_where_the_face_is_dated(record):
    put_frames(record, "..")
    record.put(Covering(id="c1", face_id="north", material="board", thickness_m=0.0127, date="2026-03-01"))
    (on_north,) = file_by_hand(record, ["f00"], "north")
    (on_east,) = file_by_hand(record, ["f01"], "east")
    assert (on_north.stage, on_east.stage) == ("covered", "open")
    (said,) = file_by_hand(record, ["f00"], "north", stage="open")
    assert said.stage == "open"
