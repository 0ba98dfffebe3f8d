"""Studs told by pictures without marks: the count by one known place, and what is left open or refused."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from click.testing import CliRunner

from asbuilt.cli import main
from asbuilt.record import Face, Media, Opening, Picture, Record, ReferencePoint, Room, Sighting
from asbuilt.record.types import STUD_LINE
from asbuilt.steps import intake, lattice, lattice_marks
from tests.steps.conftest import SAMPLE_MEDIA

TRUTH = json.loads((Path(__file__).parents[1] / "data" / "sample_truth.json").read_text("utf-8"))
WALLS = {w["id"]: w for w in TRUTH["walls"]}
PHOTO = "open_05.jpg"  # of the garden face


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The four walls as planned, and two photos of which nothing is known."""
    folder = tmp_path_factory.mktemp("lattice") / "r"
    with Record.create(folder, "Sample") as record:
        record.put(Room(id="studio", name="Studio"))
        for k, w in enumerate(TRUTH["walls"]):
            record.put(Face(
                id=w["id"], room_id="studio", title=w["name"], order_idx=k, length_m=w["length"], height_m=w["height"],
                spacing_m=w["nominal_oc"], layout_from=w["layout_from"], stud_depth_m=w["stud_depth"],
            ))  # fmt: skip
            for o in w["openings"]:
                record.put(Opening(id=o["id"], face_id=w["id"], kind=o["kind"], left_m=o["x0"], right_m=o["x1"],
                                   bottom_m=o["z0"], top_m=o["z1"]))  # fmt: skip
        intake.run(record, [SAMPLE_MEDIA / PHOTO, SAMPLE_MEDIA / "open_01.jpg"])
    return folder


def picture_of(record: Record, name: str) -> Picture:
    media = next(m for m in record.all(Media) if m.name == name)
    return next(p for p in record.all(Picture) if p.media_id == media.id)


def test_alike_bays_are_left_open_and_nothing_is_stored(folder):
    with Record.open(folder) as record:
        told = {p.picture_id: p for p in lattice.run(record).pictures}
        one = told[picture_of(record, PHOTO).id]
        assert one.spacing_m == pytest.approx(0.4064)
        assert one.places > 1
        assert one.centers_m == ()
        assert record.all(Sighting) == []


def test_one_known_place_settles_which_stud_is_which(folder):
    pose = next(p for p in TRUTH["photos"] if p["file"] == PHOTO)
    wall = WALLS["garden"]
    at_m = np.array([1.6256, 0.0, 1.2])  # offset, depth, height of a taped mark
    world = np.array(wall["origin"]) + at_m[0] * np.array(wall["axis_x"]) + at_m[1] * np.array(wall["axis_y"])
    world = world + at_m[2] * np.array(wall["axis_z"])
    seen = np.array(pose["R"]) @ world + pose["t"]
    inner = pose["intrinsics"]
    x_px, y_px = inner["fx"] * seen[0] / seen[2] + inner["cx"], inner["fy"] * seen[1] / seen[2] + inner["cy"]
    with Record.open(folder) as record:
        picture = picture_of(record, PHOTO)
        record.put(ReferencePoint(id="mark", face_id="garden", offset_m=at_m[0], height_m=at_m[2]))
        record.put(Sighting(id="mark@1", target="reference", target_id="mark", picture_id=picture.id, place="mark",
                            x_px=float(x_px), y_px=float(y_px), sigma_px=2.0))  # fmt: skip
        told = lattice.run(record, lattice.LatticeOptions(picture_ids=(picture.id,))).pictures[0]
        record.remove(Sighting, "mark@1")
    assert (told.places, told.face_id) == (1, "garden")
    true = np.array([s["x"] for s in wall["studs"]])
    near = np.array([np.abs(true - c).min() for c in told.centers_m])
    assert np.median(near) < 0.05  # far less than a bay
    assert np.median(near) < 4 * told.sigma_m


def marked_in(record: Record, offset_m: float, told_m: float) -> Picture:
    """The photo with a place at one offset of the garden face marked in it, told to be at another."""
    x_px, y_px = project(np.array([[offset_m, 0.0, 1.2]]))[0]
    picture = picture_of(record, PHOTO)
    record.put(ReferencePoint(id="mark", face_id="garden", offset_m=told_m, height_m=1.2))
    record.put(Sighting(id="mark@1", target="reference", target_id="mark", picture_id=picture.id, place="mark",
                        x_px=float(x_px), y_px=float(y_px), sigma_px=2.0))  # fmt: skip
    return picture


def project(points_face_m: np.ndarray) -> np.ndarray:
    """Pixels of the photo (N, 2) of points on the garden face, by the renderer's camera, lens and all."""
    pose, wall = next(p for p in TRUTH["photos"] if p["file"] == PHOTO), WALLS["garden"]
    world = np.array(wall["origin"]) + points_face_m @ np.array([wall["axis_x"], wall["axis_y"], wall["axis_z"]])
    inner = pose["intrinsics"]
    matrix = np.array([[inner["fx"], 0, inner["cx"]], [0, inner["fy"], inner["cy"]], [0, 0, 1.0]])
    in_camera = world @ np.array(pose["R"]).T + pose["t"]
    return cv2.projectPoints(in_camera, np.zeros(3), np.zeros(3), matrix, np.array(inner["dist"]))[0][:, 0]


def test_studs_counted_by_a_marked_place_are_kept_as_lines_where_the_studs_are(folder):
    with Record.open(folder) as record:
        picture = marked_in(record, 1.6256, 1.6256)
        report = lattice_marks.run(record, lattice_marks.MarksOptions(keep=True))
        lines = record.all(ReferencePoint, kind=STUD_LINE)
        seen = {s.target_id: s for s in record.all(Sighting, picture_id=picture.id)}
        assert lattice_marks.forget(record) == len(lines)
        assert record.all(ReferencePoint) == [record.get(ReferencePoint, "mark")]
        record.remove(Sighting, "mark@1")
    assert [p.face_id for p in report.pictures] == ["garden"]
    assert len(lines) >= 8
    true_m = np.array([s["x"] for s in WALLS["garden"]["studs"]])
    off_m = np.array([np.abs(true_m - p.offset_m).min() for p in lines])
    assert off_m.max() < 0.02  # studs wander by a quarter inch or so, a bay is sixteen
    nearest_m = [true_m[np.abs(true_m - p.offset_m).argmin()] for p in lines]
    shown = project(np.array([[x, 0.0, p.height_m] for x, p in zip(nearest_m, lines, strict=True)]))
    aside_px = np.abs(shown[:, 0] - [seen[p.id].x_px for p in lines])
    assert np.median(aside_px) < 4 * lattice_marks.LINE_SIGMA_PX


def test_a_marked_place_that_does_not_fit_the_layout_keeps_nothing(folder):
    with Record.open(folder) as record:
        marked_in(record, 1.6256, 1.6256 + 0.12)
        report = lattice_marks.run(record, lattice_marks.MarksOptions(keep=True))
        assert record.all(ReferencePoint, kind=STUD_LINE) == []
        record.remove(Sighting, "mark@1")
    assert "do not fit" in report.pictures[0].reason


def test_the_command_says_what_is_open_and_asks_for_one_place(folder):
    shown = CliRunner().invoke(main, ["lattice", str(folder)])
    assert shown.exit_code == 0, shown.output
    assert "16 in on centre" in shown.output or "1 ft 4 in on centre" in shown.output
    assert "mark one known place in the picture" in shown.output


def test_a_record_without_walls_gets_a_reason(tmp_path):
    with Record.create(tmp_path / "r", "House") as record:
        intake.run(record, [SAMPLE_MEDIA / PHOTO])
        assert lattice.run(record).pictures[0].reason == "no wall is described yet"


def test_the_command_keeps_the_studs_of_a_marked_picture_and_takes_them_back(folder):
    assert "mark one in two pictures" in CliRunner().invoke(main, ["lattice", str(folder), "--keep"]).output
    with Record.open(folder) as record:
        marked_in(record, 1.6256, 1.6256)
    kept = CliRunner().invoke(main, ["lattice", str(folder), "--keep"])
    assert kept.exit_code == 0, kept.output
    assert "studs on their marks at" in kept.output
    with Record.open(folder) as record:
        count = len(record.all(ReferencePoint, kind=STUD_LINE))
        record.remove(Sighting, "mark@1")
    assert count >= 8
    assert f"{count} spots on studs taken back" in CliRunner().invoke(main, ["lattice", str(folder), "--forget"]).output
