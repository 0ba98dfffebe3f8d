"""Every page and its JSON twin, errors in one shape, and what an answer must say."""

from __future__ import annotations

import re

import pytest

from asbuilt.record import Circuit, Coverage, Face, Item, Picture, Placement, Record
from asbuilt.web import create_app
from tests.truth import truth, truth_record

PAGES = ("/", "/faces/street", "/faces/street/answer?at=6ft", "/wall", "/wall/kiln", "/pictures", "/pictures/open_01",
         "/circuits", "/plan", "/gaps", "/building", "/building/face", "/add", "/share")  # fmt: skip
FORBIDDEN = re.compile(r"\bsafe\b|clear to drill", re.IGNORECASE)


@pytest.mark.parametrize("address", PAGES)
def test_page_and_its_json_twin(client, address):
    page = client.get(address)
    assert page.status_code == 200 and page.mimetype == "text/html"
    path, _, query = address.partition("?")
    twin = client.get(("/index" if path == "/" else path) + ".json" + ("?" + query if query else ""))
    assert twin.status_code == 200 and isinstance(twin.json, dict)
    assert client.get(address + ("&" if "?" in address else "?") + "json").json == twin.json


@pytest.mark.parametrize("address", PAGES)
def test_no_page_promises_anything(client, address):
    assert not FORBIDDEN.search(client.get(address).text)


def test_every_page_has_its_language_one_heading_and_labels_for_its_fields(client):
    for address in PAGES:
        if "answer" in address:
            continue
        text = client.get(address).text
        assert '<html lang="en">' in text
        assert len(re.findall(r"<h1[ >]", text)) == 1, address
        fields = re.findall(r'<(?:input|select)(?![^>]*type="(?:hidden|checkbox|radio)")[^>]*\bid="([^"]+)"', text)
        assert all(f'for="{field}"' in text for field in fields), address


def test_pages_hold_no_inline_script_or_style(client):
    for address in PAGES:
        text = client.get(address).text
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=\"|<script(?![^>]*\bsrc=)", text), address


def test_answer_names_things_circuits_pictures_and_cautions(client):
    answer = client.get("/faces/street/answer.json?at=6ft&height=4ft").json["answer"]
    assert answer["outcome"] == "recorded here"
    assert answer["asked"]["offset_m"] == pytest.approx(1.8288)
    assert any("wheel bench" in c["text"] for c in answer["circuits_off"])
    assert len(answer["cautions"]) >= 4
    assert any(p["spot_px"] for p in answer["pictures"])
    page = client.get("/faces/street/answer?at=6ft&height=4ft").text
    assert "Before you drill or cut" in page and "wheel bench receptacles" in page


def test_place_is_marked_in_the_picture_where_the_camera_saw_it(client):
    """The truth's own projection of a box is where the viewer marks its place."""
    box = next(b for b in truth()["boxes"] if b["id"] == "street-box02")
    address = f"/faces/street/answer.json?at={box['x']}m&height={box['z']}m"
    shown = {p["picture_id"]: p for p in client.get(address).json["answer"]["pictures"]}
    photo = next(p for p in truth()["photos"] if p["file"] == "open_01.jpg")
    true = next(b for b in photo["boxes_visible"] if b["id"] == "street-box02")
    at = shown["open_01"]["spot_px"]
    # The box stands 18 mm proud of the stud face that the mark lies on.
    assert abs(at[0] - true["u"]) < 20 and abs(at[1] - true["v"]) < 20


@pytest.mark.parametrize("text", ["6ft", "6 ft", "72", "6'", "1828.8 mm", "1.8288m"])
def test_offset_is_read_as_people_write_it(client, text):
    answer = client.get("/faces/street/answer.json", query_string={"at": text}).json["answer"]
    assert answer["asked"]["offset_m"] == pytest.approx(1.8288)
    assert answer["asked"]["at_text"] == "6 ft 0 in"


def test_steps_along_the_wall_stop_at_its_ends(client):
    query = {"at": "2 in", "move_at": "-1 ft"}
    assert client.get("/faces/street/answer.json", query_string=query).json["answer"]["asked"]["offset_m"] == 0
    query = {"at": "6ft", "move_at": "4 in", "move_height": "1 in"}
    asked = client.get("/faces/street/answer.json", query_string=query).json["answer"]["asked"]
    assert asked["at_text"] == "6 ft 4 in" and asked["height_m"] is not None


def test_unit_of_the_request(client):
    answer = client.get("/faces/street/answer.json?at=1900&unit=mm").json["answer"]
    assert answer["asked"]["at_text"] == "1900 mm"
    assert "mm" in client.get("/faces/street?unit=mm").text


def test_unit_of_the_browser_is_remembered(record_folder):
    client = create_app(record_folder).test_client()
    assert "Show millimetres" in client.get("/").text
    client.get("/units/mm")
    assert "7306 mm" in client.get("/").text and "Show feet and inches" in client.get("/").text
    assert client.get("/faces/street/answer.json?at=1900").json["answer"]["asked"]["at_text"] == "1900 mm"
    assert client.get("/units/furlong").status_code == 404


@pytest.mark.parametrize(
    ("address", "status", "words"),
    [
        ("/faces/attic", 404, "no face"),
        ("/pictures/none", 404, "no picture"),
        ("/nowhere", 404, ""),
        ("/faces/street/answer?at=40ft", 400, "not on this wall"),
        ("/faces/street/answer?at=six", 400, "not a length"),
        ("/faces/street/answer", 400, "from the left end"),
        ("/pictures/open_01/image.jpg?size=17", 400, "size must be"),
    ],
)
def test_errors_have_one_shape(client, address, status, words):
    page = client.get(address)
    assert page.status_code == status and words in page.text
    twin = client.get(address, headers={"Accept": "application/json"})
    assert twin.status_code == status
    assert set(twin.json) == {"error"} and twin.json["error"]["status"] == status
    assert words in twin.json["error"]["message"]
    part = client.get(address, headers={"X-Part": "1"})
    assert "<html" not in part.text and words in part.text


def test_errors_do_not_tell_where_the_record_lies(client, record_folder):
    for address in ("/faces/attic", "/pictures/none", "/faces/street/answer?at=six"):
        assert str(record_folder) not in client.get(address).text


def test_home_says_what_to_do_next(tmp_path):
    with Record.create(tmp_path / "r", "House") as record:
        pass
    client = create_app(tmp_path / "r").test_client()
    assert client.get("/?json").json["next"]["title"] == "Describe the rooms"
    with truth_record(tmp_path / "t", pictures=False) as record:
        record.clear(Coverage)
    assert create_app(tmp_path / "t").test_client().get("/?json").json["next"]["title"] == "Add photos and video"


def test_home_counts_agree_with_the_record(client, record_folder):
    data = client.get("/?json").json
    with Record.open(record_folder) as record:
        assert data["counts"]["pictures"] == len(record.all(Picture))
        assert data["counts"]["placed"] == len(record.all(Placement, status="placed"))
        assert data["counts"]["items"] == len(record.all(Item))
        faces = [f for room in data["rooms"] for f in room["faces"]]
        assert [f["id"] for f in faces] == [f.id for f in sorted(record.all(Face), key=lambda f: f.order_idx)]
    assert all(0 < f["not_recorded_share"] < 0.5 for f in faces)


def test_schedule_pairs_odd_and_even_positions_and_repeats_two_poles(client, record_folder):
    (panel,) = client.get("/circuits.json").json["panels"]
    with Record.open(record_folder) as record:
        assert {b["circuit_id"] for b in panel["breakers"]} == {c.id for c in record.all(Circuit)}
    assert all(left["position"] % 2 == 1 and right["position"] == left["position"] + 1 for left, right in panel["rows"])
    kiln = [side for row in panel["rows"] for side in row if side["circuit_id"] == "1+3"]
    assert [(k["position"], k["continued"]) for k in kiln] == [(1, False), (3, True)]


def test_picture_page_lists_its_sightings(client, record_folder):
    data = client.get("/pictures/open_01.json").json
    assert data["picture"]["status"] == "placed"
    assert {t["label"] for t in data["things"]} >= {"wheel bench receptacles"}


def test_picture_is_sent_as_jpeg_in_the_size_asked_for(client):
    response = client.get("/pictures/open_01/image.jpg?size=320")
    assert response.mimetype == "image/jpeg" and response.data[:3] == b"\xff\xd8\xff"
    assert len(response.data) < 60_000


def test_first_page_is_light(client):
    weight = (
        len(client.get("/").data) + len(client.get("/static/app.css").data) + len(client.get("/static/icon.svg").data)
    )
    assert weight < 200_000


def test_elevation_sheet_by_itself(client):
    response = client.get("/faces/kiln/elevation.svg")
    assert response.mimetype == "image/svg+xml" and "Kiln face" in response.text


def test_glance_names_each_thing_once_nearest_first(client):
    answer = client.get("/faces/street/answer.json?at=6ft").json["answer"]
    names = [g["words"] for g in answer["glance"]]
    assert len(names) == len(set(names)) > 2
    assert "crosses here" in answer["glance"][0]["where"]
    listed = {t["item_id"] for bay in answer["bays"] for t in bay["things"]}
    assert len(names) == len(listed)
    assert {g["text"] for g in answer["gaps"]} == {g["text"] for bay in answer["bays"] for g in bay["gaps"]}


def test_hole_into_a_box_is_expected_to_hit(client):
    box = next(b for b in truth()["boxes"] if b["id"] == "street-box02")
    query = {"at": f"{box['x']} m", "height": f"{box['z']} m", "bit": "1/4 in", "depth": "2-1/2 in"}
    answer = client.get("/faces/street/answer.json", query_string=query).json["answer"]
    assert answer["drill"]["outcome"] == "hit expected"
    page = client.get("/faces/street/answer", query_string=query).text
    assert page.index("Hit expected") < page.index("Recorded here")
    assert "verdict-hit" in page and "Before you drill or cut" in page


def test_the_four_outcomes_look_different(client):
    looks = {}
    for x, z in ((1.9635, 1.1238), (2.02, 1.1238), (4.0, 1.6), (7.2, 2.7)):
        query = {"at": f"{x} m", "height": f"{z} m", "bit": "1/4 in", "depth": "2 in"}
        page = client.get("/faces/street/answer", query_string=query).text
        outcome = client.get("/faces/street/answer.json", query_string=query).json["answer"]["drill"]["outcome"]
        looks[outcome] = re.search(r'class="verdict (verdict-[a-z]+)"', page)[1]
    assert {"hit expected", "nothing recorded here", "not recorded"} <= set(looks)
    assert len(set(looks.values())) == len(looks)


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"bit": "1/4 in"}, "both"),
        ({"bit": "1/4 in", "depth": "2 in"}, "height"),
        ({"bit": "a", "depth": "2 in", "height": "4 ft"}, "not a length"),
        ({"bit": "40 ft", "depth": "2 in", "height": "4 ft"}, ""),
    ],
)
def test_hole_that_makes_no_sense_is_refused(client, query, words):
    answer = client.get("/faces/street/answer.json", query_string={"at": "6 ft"} | query)
    assert answer.status_code in (400, 404) and words in answer.json["error"]["message"]


def test_gaps_are_listed_wall_by_wall_with_a_reason(client, record_folder):
    data = client.get("/gaps.json").json
    assert [f["face_id"] for f in data["faces"]] == ["street", "kiln", "garden", "partition"]
    text = client.get("/gaps").text
    for face in data["faces"]:
        assert face["go"] == (not face["shortfalls"])
        for shortfall in face["shortfalls"]:
            assert shortfall["text"][1:20].replace("'", "&#39;") in text
