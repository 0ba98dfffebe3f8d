"""Known places marked in a picture, and how well they fit."""

from __future__ import annotations

import numpy as np
import pytest

from asbuilt.record import PLACED, Face, Opening, Picture, Placement, Record, ReferencePoint, Sighting
from asbuilt.record.frames import building_from_faces, cameras
from tests.web.conftest import token

PICTURE = "open_03"


def post(client, address, **data):
    return client.post(address, data={"csrf_token": token(client)} | data, headers={"Accept": "application/json"})


@pytest.fixture
def corners(own_record_folder):
    """The window's corners in a photo, as its true camera sees them: id -> pixel."""
    with Record.open(own_record_folder) as record:
        (window,) = record.all(Opening, face_id="street")
        camera, pose = cameras(record)[PICTURE], building_from_faces(record)["street"]
        picture = record.get(Picture, PICTURE)
        found = {}
        for side, x in (("left", window.left_m), ("right", window.right_m)):
            for end, z in (("bottom", window.bottom_m), ("top", window.top_m)):
                pixel = camera.project(pose.apply(np.array([[x, 0.0, z]])))[0]
                if (pixel > 0).all() and pixel[0] < picture.width_px and pixel[1] < picture.height_px:
                    found[f"{window.id}-{side}-{end}"] = pixel
        found["street-right-floor"] = camera.project(
            pose.apply(np.array([[record.get(Face, "street").length_m, 0, 0]]))
        )[0]
    return {k: v for k, v in found.items() if np.isfinite(v).all()}


def test_corners_of_openings_and_walls_are_offered(own_client):
    data = own_client.get(f"/pictures/{PICTURE}/known.json").json
    words = [p["words"] for p in data["places"]]
    assert any("window, top left corner" in w for w in words)
    assert any("right end of the wall at the floor" in w for w in words)
    assert data["fit"]["count"] == 0 and not data["fit"]["fits"]


def mark_all(client, corners, shift=None):
    for name, (x, y) in corners.items():
        dx, dy = (shift or {}).get(name, (0, 0))
        data = {"face_id": "street", "reference_id": name, "x_px": str(x + dx), "y_px": str(y + dy)}
        answer = post(client, f"/pictures/{PICTURE}/known", **data)
        assert answer.status_code == 200, answer.json
    return answer.json["fit"]


def extra_marks(own_record_folder):
    """Two taped marks away from the window, as the true camera sees them."""
    with Record.open(own_record_folder) as record:
        camera, pose = cameras(record)[PICTURE], building_from_faces(record)["street"]
        places = {(6.4, 0.5): None, (5.8, 2.2): None, (6.6, 2.0): None}
        for place in places:
            places[place] = camera.project(pose.apply(np.array([[place[0], 0.0, place[1]]])))[0]
    return places


def mark_taped(client, places):
    for (offset, height), (x, y) in places.items():
        data = {"face_id": "street", "offset": f"{offset} m", "height": f"{height} m", "label": "cross"}
        answer = post(client, f"/pictures/{PICTURE}/known", **data, x_px=str(x), y_px=str(y))
        assert answer.status_code == 200, answer.json
    return answer.json["fit"]


def test_marks_that_fit_say_so_at_once(own_client, own_record_folder, corners):
    visible = {k: v for k, v in corners.items() if 0 < v[0] < 2250 and 0 < v[1] < 3000}
    mark_taped(own_client, extra_marks(own_record_folder))
    fit = mark_all(own_client, visible)
    assert fit["fits"] and fit["count"] == len(visible) + 3
    assert max(p["miss_px"] for p in fit["points"]) < 1.0
    with Record.open(own_record_folder) as record:
        assert {s.target_id for s in record.all(Sighting, target="reference")} >= set(visible)
        assert all(record.find(ReferencePoint, name) for name in visible)
        assert record.get(Placement, PICTURE).status == PLACED  # the fit itself changes nothing


def test_mark_in_the_wrong_place_is_named(own_client, own_record_folder, corners):
    visible = {k: v for k, v in corners.items() if 0 < v[0] < 2250 and 0 < v[1] < 3000}
    mark_taped(own_client, extra_marks(own_record_folder))
    wrong = next(iter(visible))
    fit = mark_all(own_client, visible, shift={wrong: (180, -120)})
    assert not fit["fits"]
    assert max(fit["points"], key=lambda p: p["miss_px"])["id"] == wrong
    assert "does not fit" in fit["words"]


def test_marking_again_moves_and_removing_keeps_the_place_known(own_client, own_record_folder):
    data = {"face_id": "street", "offset": "6 ft", "height": "4 ft", "label": "cross", "x_px": "100", "y_px": "100"}
    post(own_client, f"/pictures/{PICTURE}/known", **data)
    with Record.open(own_record_folder) as record:
        (point,) = record.all(ReferencePoint)
    again = {"face_id": "street", "reference_id": point.id, "x_px": "150", "y_px": "100"}
    post(own_client, f"/pictures/{PICTURE}/known", **again)
    with Record.open(own_record_folder) as record:
        (sighting,) = record.all(Sighting, target="reference")
        assert sighting.x_px == 150
    post(own_client, f"/pictures/{PICTURE}/known/{point.id}/remove")
    with Record.open(own_record_folder) as record:
        assert not record.all(Sighting, target="reference") and record.find(ReferencePoint, point.id)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"face_id": "street", "offset": "60 ft", "height": "4 ft", "x_px": "1", "y_px": "1"}, "not on this wall"),
        ({"face_id": "street", "x_px": "1", "y_px": "1"}, "where the mark is"),
        ({"face_id": "attic", "x_px": "1", "y_px": "1"}, "no face"),
        ({"face_id": "street", "reference_id": "none", "x_px": "1", "y_px": "1"}, "not one of"),
        ({"face_id": "street", "reference_id": "none"}, "no point"),
    ],
)
def test_nonsense_is_refused(own_client, data, words):
    answer = post(own_client, f"/pictures/{PICTURE}/known", **data)
    assert answer.status_code in (400, 404) and words in answer.json["error"]["message"]
