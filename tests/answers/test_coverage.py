"""Coverage against what the renderer says is visible, and the before-cover-up list."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

from asbuilt.answers import wording
from asbuilt.answers.coverage import NOT_RECORDED, WELL, before_cover_up, coverage_of, shortfalls
from asbuilt.answers.text import coverage_text
from asbuilt.record.types import Item, Picture, Placement
from asbuilt.steps import coverage
from tests.truth import truth, truth_record


def _seen_points():
    """Cable spots that the ray-casting renderer saw in one of the open photos, by face."""
    for photo in truth()["photos"]:
        for point in photo["run_points"]:
            yield photo["file"].split(".")[0], point["wall"], point["p_wall"]


def test_cells_where_the_renderer_shows_cable_are_counted_as_seen(dense_record):
    hits, count = 0, 0
    for picture_id, wall, (x, _, z) in _seen_points():
        cover = coverage_of(dense_record, wall)
        if z >= cover.face.face.height_m:
            continue
        rows, cols = cover.window(x - 0.013, z - 0.013, x + 0.013, z + 0.013)
        assert picture_id in cover.picture_ids
        hits += int(cover.layers["count"][rows, cols].max() > 0)
        count += 1
    assert count > 150
    assert hits / count > 0.98


def test_the_part_left_out_on_purpose_is_listed_floor_and_bay(dense_record):
    left_out = truth()["left_out"]
    cover = coverage_of(dense_record, left_out["wall"])
    rows, cols = cover.window(left_out["x0"] + 0.05, left_out["z_from"] + 0.05, left_out["x1"] - 0.02, 2.7)
    assert (cover.classes[rows, cols] == NOT_RECORDED).mean() > 0.97
    found = [s for s in shortfalls(cover) if s.left_m < left_out["x1"] and s.right_m > left_out["x0"] + 0.05
             and s.recorded == wording.UNKNOWN and s.top_m > 2.7]  # fmt: skip
    assert len(found) == 1
    assert found[0].bottom_m <= left_out["z_from"] + 0.05
    # In the frames that this record has, the bay before the last two is in one picture only above 5 ft.
    assert found[0].text.startswith("bays 9 to 11 (9 ft 10 in to 14 ft 0-1/2 in) above 4 ft 8 in")
    assert ": no placed picture shows it; the rest: " in found[0].text


def test_a_well_filmed_part_is_well_recorded(dense_record):
    cover = coverage_of(dense_record, "street")
    rows, cols = cover.window(1.0, 0.6, 6.0, 2.2)
    inside = cover.classes[rows, cols]
    assert (inside[inside != 3] == WELL).mean() > 0.99


def test_a_hole_of_six_inches_is_listed_when_its_pictures_are_taken_away(tmp_path):
    """Without the pictures that see one bay, that bay is listed and the far end of the face is not."""
    with truth_record(tmp_path / "r") as record:
        coverage.run(record)
        before = set(_bays_by_class(record))
        cover = coverage_of(record, "street")
        rows, cols = cover.window(3.3, 1.2, 3.6, 1.5)
        bay = next(b.number for b in cover.face.bays if b.left.center_m < 3.45 < b.right.center_m)
        for picture_id in _seeing(record, cover, rows, cols):
            record.put(Placement(id=picture_id, status="not placed", reason="taken away"))
        coverage.run(record)
        after = set(_bays_by_class(record))
        assert (coverage_of(record, "street").classes[rows, cols] == NOT_RECORDED).all()
    assert (bay, wording.UNKNOWN) in after - {b for b in before if b[0] != bay}


def _bays_by_class(record):
    for s in shortfalls(coverage_of(record, "street")):
        yield from ((bay, s.recorded) for bay in range(s.bay, s.last_bay + 1))


def _seeing(record, cover, rows, cols):
    """Every picture in which the middle of a window is visible, by projecting it."""
    z, x = (rows.start + rows.stop) / 2 * cover.cell_m, (cols.start + cols.stop) / 2 * cover.cell_m
    corners = [(x + dx, 0.05, z + dz) for dx in (-0.2, 0, 0.2) for dz in (-0.2, 0, 0.2)]
    points = cover.face.building_from_face.apply(np.array(corners))
    bank = cover.view.bank
    pixels, _ = bank.project(points)
    return [i for i, p in zip(bank.ids, pixels, strict=True) if np.isfinite(p[:, 0]).any()]


def test_an_unplaced_picture_no_longer_counts_even_before_the_step_runs_again(tmp_path):
    with truth_record(tmp_path / "r", frame_step=30) as record:
        coverage.run(record)
        assert (coverage_of(record, "street").classes == WELL).any()
        for placement in record.all(Placement, status="placed"):
            record.put(Placement(id=placement.id, status="not placed", reason="blurred"))
        assert not (coverage_of(record, "street").classes == WELL).any()


def test_only_changed_faces_are_worked_out_again(tmp_path):
    with truth_record(tmp_path / "r", frame_step=12) as record:
        first = coverage.run(record)
        assert all(f.recomputed for f in first.faces)
        assert not any(f.recomputed for f in coverage.run(record).faces)
        record.put(dataclasses.replace(record.get(Picture, "open_06"), sharpness=0.3))
        again = {f.face_id: f.recomputed for f in coverage.run(record).faces}
        seeing = {i for i in again if "open_06" in coverage_of(record, i).picture_ids}
    assert {i for i, redone in again.items() if redone} == seeing
    assert 0 < len(seeing) < 4


def test_pictures_after_cover_up_or_of_the_finished_wall_do_not_count(tmp_path):
    with truth_record(tmp_path / "r", frame_step=30) as record:
        late = dataclasses.replace(record.get(Picture, "open_01"), taken_at="2026-05-01T09:00:00+00:00")
        record.put(late)
        coverage.run(record)
        ids = coverage_of(record, "street").picture_ids
    assert "open_01" not in ids and "open_02" in ids
    assert not any(i.startswith("closed") for i in ids)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (dict(sharpness=0.1), "blurred"),
        (dict(light=0.05), "dark"),
    ],
)
def test_poor_pictures_give_seen_but_poor_with_the_reason(tmp_path, change, reason):
    with truth_record(tmp_path / "r", frame_step=12) as record:
        for picture in record.all(Picture, stage="open"):
            record.put(dataclasses.replace(picture, **change))
        coverage.run(record)
        cover = coverage_of(record, "street").area(2.9, 1.2, 3.2, 1.5)
    assert cover.state == wording.COVER[1]
    assert reason in cover.reason


def test_where_the_pictures_are_placed_loosely_it_is_seen_but_poor_and_says_how_loosely(tmp_path):
    with truth_record(tmp_path / "r", frame_step=12) as record:
        loose = np.diag([0.001**2] * 3 + [0.015**2] * 3)
        for placement in record.all(Placement, status="placed"):
            record.put(dataclasses.replace(placement, covariance=tuple(map(tuple, loose.tolist()))))
        coverage.run(record)
        cover = coverage_of(record, "street").area(2.9, 1.2, 3.2, 1.5)
    assert cover.state == wording.COVER[1]
    assert cover.reason.startswith("placed only to +/- 1") and "tape a mark" in cover.reason


def test_the_stated_error_is_that_of_the_pose_and_the_click():
    """One camera square-on at 2 m: a click of 1.5 px at 1000 px focal length is 3 mm."""
    from asbuilt.geometry.cameras import Camera, Lens
    from asbuilt.geometry.frames import BUILDING, Rigid3
    from asbuilt.steps.sight import plane_sigma_m

    lens = Lens(width_px=2001, height_px=2001, focal_px=1000, center_x_px=1000, center_y_px=1000)
    into = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    camera = Camera(lens=lens, camera_from_building=Rigid3(target="camera:c", source=BUILDING, rotation=into,
                                                           translation_m=np.array([0, 0, 2.0])))  # fmt: skip
    face = Rigid3(target=BUILDING, source="face:f", rotation=np.eye(3), translation_m=np.zeros(3))
    point = np.zeros((1, 3))
    assert plane_sigma_m(camera, face, point, np.zeros((6, 6)), 1.5)[0] == pytest.approx(0.003, rel=1e-3)
    moved = np.diag([0, 0, 0, 0.004**2, 0.004**2, 0])
    assert plane_sigma_m(camera, face, point, moved, 1.5)[0] == pytest.approx(0.005, rel=1e-3)


def test_the_list_names_loose_ends_and_goes_clockwise(clicked_record):
    answer = before_cover_up(clicked_record)
    assert [f.face_id for f in answer.faces] == ["street", "kiln", "garden", "partition"]
    for face in answer.faces:
        bays = [s.bay for s in face.shortfalls]
        assert bays == sorted(bays)
        assert face.go is (not face.shortfalls)
    text = coverage_text(answer)
    assert re.search(r"- bays \d+ to \d+ \(.*\) above .*: no placed picture shows it", text)
    assert "device box “data box” has no circuit" in text
    assert "ends at no box and no plate" in text
    assert "not placed: walk-0234: the frame is off wall" in text


def test_a_circuit_without_any_item_is_a_loose_end(tmp_path):
    with truth_record(tmp_path / "r", pictures=False, places="clicked") as record:
        assert not [t for t in before_cover_up(record).loose_ends if "7+9" in t]
        for item in record.all(Item, circuit_id="7+9"):
            record.put(dataclasses.replace(item, circuit_id=None))
        assert any("circuit 7+9 compressor: nothing of it was marked" in t for t in before_cover_up(record).loose_ends)
