"""Intake of the sample walk against what is true of its frames, and of mixed files."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from asbuilt.record import Face, Media, Picture, Record, Room
from asbuilt.record.pixels import ensure_frame, read_picture
from asbuilt.steps import intake
from tests.clips import framed_wall, walk_along, write_clip

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_media"
TRUTH = json.loads((ROOT / "tests" / "data" / "sample_truth.json").read_text())
FRAMES = TRUTH["video"]["frames"]


@pytest.fixture(scope="module")
def walked(tmp_path_factory):
    folder = tmp_path_factory.mktemp("walk") / "r"
    with Record.create(folder, "Sample") as record:
        report = intake.run(record, [SAMPLE / "walk.mp4"])
        yield record, report


@pytest.fixture
def record(tmp_path):
    with Record.create(tmp_path / "r", "House") as made:
        yield made


def kept_idx(record) -> list[int]:
    times_s = np.array([f["time_s"] for f in FRAMES])
    idx = [int(np.argmin(np.abs(times_s - p.pts_s))) for p in record.all(Picture)]
    np.testing.assert_allclose([p.pts_s for p in record.all(Picture)], times_s[idx], atol=1e-4)
    return idx


def test_no_frame_is_kept_that_is_blurred_or_off_the_wall(walked):
    for idx in kept_idx(walked[0]):
        assert not FRAMES[idx]["flags"]["blurred"] and not FRAMES[idx]["flags"]["off_wall"]


def test_dark_frames_are_kept_with_a_flag_and_no_others(walked):
    pictures = walked[0].all(Picture)
    dark = [idx for idx, p in zip(kept_idx(walked[0]), pictures, strict=True) if "dark" in p.flags]
    assert dark == [idx for idx in kept_idx(walked[0]) if FRAMES[idx]["flags"]["dark"]]
    assert dark


def test_dropped_stretches_are_those_that_are_bad(walked):
    listed = {
        (d.reason, i)
        for d in walked[1].dropped
        for i, f in enumerate(FRAMES)
        if d.from_s - 1e-4 <= f["time_s"] <= d.to_s + 1e-4
    }
    for reason, flag in (("blurred", "blurred"), ("off wall", "off_wall")):
        found = {i for r, i in listed if r == reason}
        true = {i for i, f in enumerate(FRAMES) if f["flags"][flag]}
        assert len(found & true) / len(true) > 0.8
        either = {i for i, f in enumerate(FRAMES) if f["flags"]["blurred"] or f["flags"]["off_wall"]}
        assert len(found - either) <= 2


def test_neighbouring_pictures_overlap(walked):
    """Where frames are good, the wall at the centre of one kept picture is well inside the next."""
    walls = {w["id"]: w for w in TRUTH["walls"]}
    lens = TRUTH["video"]["intrinsics"]
    idx = kept_idx(walked[0])
    good = [not any(f["flags"].values()) for f in FRAMES]
    moved = []
    for i, j in zip(idx, idx[1:], strict=False):
        if all(good[i : j + 1]):
            wall, at = walls[FRAMES[i]["looks_at"]["wall"]], FRAMES[i]["looks_at"]
            point = np.array(wall["origin"]) + at["x"] * np.array(wall["axis_x"]) + at["z"] * np.array(wall["axis_z"])
            seen = []
            for f in (FRAMES[i], FRAMES[j]):
                x, y, z = np.array(f["R"]) @ point + np.array(f["t"])
                seen.append((lens["fx"] * x / z, lens["fx"] * y / z))
            moved.append(np.hypot(*np.subtract(*seen)) / lens["width"])
    assert len(moved) > 100
    assert np.median(moved) < 0.07
    # Where the camera turns fast, even frames in a row lie further apart than that.
    assert np.quantile(moved, 0.9) < 0.085


def test_of_a_shaky_walk_the_sharp_frames_are_kept(record, tmp_path):
    rng = np.random.default_rng(12)
    shake_px = rng.integers(0, 7, 300) * 2 + 1
    views = walk_along(framed_wall(2600), 300, 6)
    clip = write_clip(
        tmp_path / "c.mp4",
        [cv2.blur(v, (int(n), 1)) for v, n in zip(views, shake_px, strict=True)],
        np.arange(300) / 30,
    )
    intake.run(record, [clip])
    kept = shake_px[[round(p.pts_s * 30) for p in record.all(Picture)]]
    assert 300 * 6 / 640 / 0.07 <= len(kept) <= 300 * 6 / 640 / 0.025
    # Each is the best of about four: one of these has one of the two least of seven shakes in
    # 1 - (5/7)^4 = 74 of 100 cases; 66 draws spread that by 5.
    assert np.mean(shake_px <= 3) < 0.35
    assert np.mean(kept <= 3) > 0.6


def test_rows_say_what_was_measured(walked):
    record, report = walked
    (media,) = record.all(Media)
    assert (media.state, media.kind, media.width_px, media.height_px) == ("done", "video", 1920, 1080)
    assert media.taken_at == "2026-03-14T14:13:41+00:00"
    assert media.meta["length_s"] == pytest.approx(FRAMES[-1]["time_s"], abs=1e-3)
    for picture in record.all(Picture):
        assert 0 < picture.sharpness <= 1 and 0 < picture.light < 1
        assert picture.kept_for == "coverage" and picture.stage == "open"
    assert set(report.unfiled_ids) == {p.id for p in record.all(Picture)}
    assert any("not filed under a face" in line for line in report.lines())
    assert json.loads(json.dumps(report.to_json()))["files"][0]["outcome"] == "added"
    assert [r["step"] for r in record.db["step_reports"].rows] == ["intake"]


def test_original_is_unaltered_and_no_frame_is_stored_as_a_file(walked):
    record, _ = walked
    stored = [p for p in record.folder.rglob("*") if p.is_file() and not p.name.startswith("record.db")]
    assert [p.read_bytes() for p in stored] == [(SAMPLE / "walk.mp4").read_bytes()]


def test_photos_of_a_phone_come_in_upright_with_time_device_and_lens(record):
    names = sorted(p.name for p in SAMPLE.glob("open_0*"))
    report = intake.run(record, [SAMPLE / name for name in names])
    assert [(f.name, f.outcome) for f in report.files] == [(name, "added") for name in names]
    truth = {p["file"]: p for p in TRUTH["photos"]}
    for media in record.all(Media):
        (picture,) = record.all(Picture, media_id=media.id)
        size = tuple(truth[media.name]["displayed_size"])
        assert (picture.width_px, picture.height_px) == (media.width_px, media.height_px) == size
        assert read_picture(record, picture).shape == (size[1], size[0], 3)
        assert (media.taken_at is None) == (media.focal_prior_px is None) == (media.name == "open_07.jpg")
        assert not picture.flags and 0.2 < picture.light < 0.8


def test_adding_again_changes_nothing(record, tmp_path):
    renamed = shutil.copy(SAMPLE / "open_01.jpg", tmp_path / "IMG_0001.JPG")
    clip = write_clip(tmp_path / "c.mp4", walk_along(framed_wall(1500), 30, 20), np.arange(30) / 10)
    intake.run(record, [SAMPLE / "open_01.jpg", clip])
    before = (record.all(Media), record.all(Picture))
    report = intake.run(record, [renamed, clip, SAMPLE / "open_01.jpg"])
    assert [f.outcome for f in report.files] == ["known"] * 3
    assert (record.all(Media), record.all(Picture)) == before


def test_the_same_photo_twice_in_one_run_is_one_picture(record, tmp_path):
    other = shutil.copy(SAMPLE / "open_01.jpg", tmp_path / "copy.jpg")
    intake.run(record, [SAMPLE / "open_01.jpg", other, SAMPLE / "open_01.jpg"])
    assert len(record.all(Media)) == len(record.all(Picture)) == 1


def test_wrong_files_give_a_line_each_and_the_rest_goes_on(record, tmp_path):
    (tmp_path / "note.jpg").write_text("not a photo")
    (tmp_path / "empty.jpg").write_bytes(b"")
    (tmp_path / "folder.jpg").mkdir()
    os.mkfifo(tmp_path / "pipe.jpg")
    Image.new("RGB", (40, 30)).save(tmp_path / "icon.png")
    Image.new("L", (400, 300)).save(tmp_path / "anim.gif")
    names = ["note.jpg", "empty.jpg", "folder.jpg", "pipe.jpg", "icon.png", "anim.gif", "gone.jpg"]
    report = intake.run(record, [*(tmp_path / n for n in names), SAMPLE / "open_01.jpg"])
    found = {f.name: f for f in report.files}
    for name in names:
        assert found[name].outcome == "refused" and found[name].text.startswith(name)
    assert "0 bytes" in found["empty.jpg"].text
    assert "folder" in found["folder.jpg"].text
    assert "too small" in found["icon.png"].text
    assert found["open_01.jpg"].outcome == "added"
    assert len(report.refused) == len(names) and len(record.all(Media)) == 1


def test_names_of_any_bytes_are_stored_and_told_on_one_line(record, tmp_path):
    good, bad = tmp_path / os.fsdecode(b"caf\xe9\n1.jpg"), tmp_path / os.fsdecode(b"caf\xe9\n2.jpg")
    shutil.copy(SAMPLE / "open_01.jpg", good)
    bad.write_text("not a photo")
    report = intake.run(record, [good, bad])
    assert [f.name for f in report.files] == ["caf??1.jpg", "caf??2.jpg"]
    assert [f.outcome for f in report.files] == ["added", "refused"]
    assert record.all(Media)[0].name == "caf??1.jpg"
    assert all("\n" not in line for line in report.lines())


def test_a_file_named_as_what_it_is_not_is_told_by_its_content(record, tmp_path):
    clip = write_clip(tmp_path / "c.mp4", walk_along(framed_wall(900), 10, 20), np.arange(10) / 10)
    as_photo, as_video = tmp_path / "clip.jpg", tmp_path / "photo.mp4"
    clip.rename(as_photo)
    shutil.copy(SAMPLE / "open_01.jpg", as_video)
    intake.run(record, [as_photo, as_video])
    assert {m.name: m.kind for m in record.all(Media)} == {"clip.jpg": "video", "photo.mp4": "photo"}


def test_stage_follows_the_dates_or_what_is_asked(record):
    record.put(Room(id="studio", name="Studio"))
    record.put(Face(id="north", room_id="studio", title="N", length_m=4, height_m=2, cover_up_date="2026-04-01"))
    intake.run(record, [SAMPLE / "open_01.jpg", SAMPLE / "closed_01.jpg"])
    stages = {record.get(Media, p.media_id).name: p.stage for p in record.all(Picture)}
    assert stages == {"open_01.jpg": "open", "closed_01.jpg": "covered"}
    intake.run(record, [SAMPLE / "open_02.jpg"], intake.IntakeOptions(stage="covered"))
    assert record.all(Picture)[-1].stage == "covered"


def test_a_frame_kept_for_a_sighting_stays_as_it_is(record):
    report = intake.run(record, [SAMPLE / "walk.mp4"])
    media = record.all(Media)[0]
    count = report.files[0].picture_count
    asked = ensure_frame(record, media, 34.0)  # in the swing to the floor: not kept for coverage
    assert asked.kept_for == "sighting"
    assert ensure_frame(record, media, record.all(Picture)[3].pts_s).kept_for == "coverage"
    record.put(intake_again := Media(**{f: getattr(media, f) for f in media.__slots__} | {"state": "scanning"}))
    assert intake_again.state == "scanning"
    intake.run(record, [])
    assert len(record.all(Picture)) == count + 1
    assert record.get(Picture, asked.id) == asked
