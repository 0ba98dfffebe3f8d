"""Studs counted in one picture: drawn where the true camera sees them, kept only with a known place, taken back."""

from __future__ import annotations

import numpy as np
import pytest

from asbuilt.record import Face, Record, ReferencePoint, Sighting, Stud
from asbuilt.record.frames import building_from_faces, cameras
from asbuilt.record.types import STUD_LINE
from tests.web.conftest import needs_browser, token

PICTURE, FACE = "open_02", "street"
NEAR_PX = 25.0  # of 2250 across: two thirds of a stud there


def post(client, address):
    return client.post(address, data={"csrf_token": token(client)}, headers={"Accept": "application/json"})


def stud_columns(folder) -> np.ndarray:
    """Where the true camera sees the middles of the true studs at the height of the eye [px]."""
    with Record.open(folder) as record:
        camera, pose = cameras(record)[PICTURE], building_from_faces(record)[FACE]
        centers = [s.center_m for s in record.all(Stud, face_id=FACE)]
        points = np.array([[c, 0.0, 1.3] for c in centers])
        return camera.project(pose.apply(points))[:, 0]


@pytest.fixture
def marked(own_record_folder):
    """A known place marked in the picture, as its true camera sees it."""
    with Record.open(own_record_folder) as record:
        camera, pose = cameras(record)[PICTURE], building_from_faces(record)[FACE]
        face = record.get(Face, FACE)
        pixel = camera.project(pose.apply(np.array([[face.length_m / 2, 0.0, 1.3]])))[0]
        record.put(
            ReferencePoint(id="cross", face_id=FACE, label="cross", offset_m=face.length_m / 2, height_m=1.3),
            Sighting(id="cross", target="reference", target_id="cross", picture_id=PICTURE,
                     x_px=float(pixel[0]), y_px=float(pixel[1])),
        )  # fmt: skip


def test_lines_drawn_run_down_true_studs_and_nothing_is_kept_by_asking(own_client, own_record_folder, marked):
    found = own_client.get(f"/pictures/{PICTURE}/studs.json").json
    assert found["found"] and found["marked"] == 1 and found["kept"] == 0
    assert "Street face" in found["words"]
    middles = np.array([(x1 + x2) / 2 for x1, _, x2, _ in found["lines_px"]])
    assert len(middles) >= 4
    apart = np.abs(middles[:, None] - stud_columns(own_record_folder)[None])
    assert (np.nanmin(apart, axis=1) < NEAR_PX).mean() >= 0.8
    with Record.open(own_record_folder) as record:
        assert not record.all(ReferencePoint, kind=STUD_LINE)


def test_studs_are_kept_with_a_known_place_and_taken_back(own_client, own_record_folder, marked):
    answer = post(own_client, f"/pictures/{PICTURE}/studs")
    assert answer.status_code == 200 and "Kept for placing" in answer.json["words"]
    shown = own_client.get(f"/pictures/{PICTURE}/studs").text
    assert "Take them back" in shown and "Keep the studs" not in shown
    with Record.open(own_record_folder) as record:
        assert len(record.all(ReferencePoint, kind=STUD_LINE)) >= 8
    assert post(own_client, f"/pictures/{PICTURE}/studs/forget").status_code == 200
    with Record.open(own_record_folder) as record:
        assert not record.all(ReferencePoint, kind=STUD_LINE)
        assert record.find(ReferencePoint, "cross") and record.find(Sighting, "cross")


def test_without_a_known_place_nothing_is_kept_and_why_is_said(own_client):
    assert "first mark one known place" in own_client.get(f"/pictures/{PICTURE}/studs").text
    answer = post(own_client, f"/pictures/{PICTURE}/studs")
    assert answer.status_code == 400 and "mark one known place" in answer.json["error"]["message"]


@needs_browser
def test_the_whole_picture_lies_on_the_page(visit):
    page = visit.open(f"/pictures/{PICTURE}/studs")
    picture = page.locator(".board.still svg image").bounding_box()
    board = page.locator(".board.still").bounding_box()
    assert picture["x"] >= board["x"] - 0.5
    assert picture["x"] + picture["width"] <= board["x"] + board["width"] + 0.5
    assert picture["y"] >= board["y"] - 0.5
    assert picture["y"] + picture["height"] <= board["y"] + board["height"] + 0.5
