"""The review page: proposals in walking order, one action each, every one of which can be taken back."""

from __future__ import annotations

import pytest

from asbuilt.record import Item, Placement, Record, Sighting
from asbuilt.record.proposal_row import Proposal
from tests.web.conftest import SCREENS, Visit, needs_browser, token

COMMON = {"sigma_m": 0.003, "sigma_depth_m": 0.01, "strength": 0.6}


@pytest.fixture
def reviewed(own_record_folder):
    """The record with a box and two runs proposed, not in walking order."""
    with Record.open(own_record_folder) as record:
        shown = tuple(p.id for p in record.all(Placement, status="placed"))
        common = COMMON | {"picture_ids": shown}
        record.put(
            Proposal(id="kiln-run-1", face_id="kiln", kind="cable", points_m=((1.0, 1.0, 0.05), (1.4, 1.0, 0.05)),
                     radius_m=0.005, sheath="white", comes_from="open end", goes_to="at a stud", **common),
            Proposal(id="street-run-1", face_id="street", kind="cable", points_m=((1.3, 1.2, 0.05), (1.6, 1.2, 0.05)),
                     radius_m=0.005, sheath="yellow", comes_from="street-box-1", goes_to="open end", **common),
            Proposal(id="street-box-1", face_id="street", kind="device box", points_m=((1.27, 1.2, -0.0127),), gangs=1,
                     width_m=0.057, height_m=0.095, **common),
        )  # fmt: skip
    return own_record_folder


def _post(client, address, **data):
    data = {"csrf_token": token(client)} | data
    return client.post(address, data=data, headers={"Accept": "application/json"})


def test_proposals_come_wall_by_wall_from_left_to_right_and_say_they_do_not_count(own_client, reviewed):
    shown = own_client.get("/review.json").json
    assert [p["id"] for p in shown["waiting"]] == ["street-box-1", "street-run-1", "kiln-run-1"]
    assert shown["waiting"][1]["ends"].startswith("Ends: in the box at ")
    assert "not proof" in shown["waiting"][1]["hint"]
    page = own_client.get("/review").text
    assert "Nothing here counts until you accept it" in page


def test_a_picture_shows_where_it_lies(own_client, reviewed):
    views = own_client.get("/review/street-box-1/views.json").json["views"]
    assert views
    for view in views:
        assert all(0 <= x < view["width_px"] and 0 <= y < view["height_px"] for x, y in view["line_px"])


def test_accepting_makes_an_item_with_sightings_and_taking_back_removes_it(own_client, reviewed):
    answer = _post(own_client, "/review/street-box-1/accept", circuit_id="2")
    assert answer.status_code == 200
    with Record.open(reviewed) as record:
        item = record.get(Item, record.get(Proposal, "street-box-1").item_id)
        assert (item.kind, item.gangs, item.circuit_id, item.face_id) == ("device box", 1, "2", "street")
        assert record.all(Sighting, target_id=item.id)
    assert [p["id"] for p in own_client.get("/review.json").json["waiting"]] == ["street-run-1", "kiln-run-1"]
    undone = _post(own_client, "/review/undo", change=[str(n) for n in answer.json["changes"]])
    assert undone.json["restored"] == ["street-box-1"]
    with Record.open(reviewed) as record:
        assert record.find(Item, item.id) is None


def test_what_was_rejected_leaves_the_list_and_cannot_be_decided_twice(own_client, reviewed):
    assert _post(own_client, "/review/kiln-run-1/reject").status_code == 200
    assert len(own_client.get("/review.json").json["waiting"]) == 2
    again = _post(own_client, "/review/kiln-run-1/accept")
    assert again.status_code == 409 and "rejected already" in again.text


def test_a_drag_in_a_picture_moves_it_along_the_wall(own_client, reviewed):
    view = own_client.get("/review/street-box-1/views.json").json["views"][0]
    x, y = view["line_px"][0]
    fields = {"picture_id": view["picture_id"], "from_x_px": x, "from_y_px": y, "to_x_px": x + 20, "to_y_px": y}
    assert _post(own_client, "/review/street-box-1/move", **fields).status_code == 200
    with Record.open(reviewed) as record:
        offset, height, _ = record.get(Proposal, "street-box-1").points_m[0]
    assert 1.275 < offset < 1.36 and abs(height - 1.2) < 0.02


def test_wrong_requests_are_refused_in_one_line(own_client, reviewed):
    assert _post(own_client, "/review/nothing/accept").status_code == 404
    assert _post(own_client, "/review/street-run-1/paint").status_code == 404
    assert _post(own_client, "/review/street-run-1/join", other="kiln-run-1").status_code == 409
    assert _post(own_client, "/review/street-box-1/move", picture_id="open_01").status_code == 400
    assert _post(own_client, "/review/undo", change=["999999"]).status_code == 409


def test_a_pipes_colour_is_no_hint_at_a_wire(own_client, own_record_folder):
    with Record.open(own_record_folder) as record:
        shown = tuple(p.id for p in record.all(Placement, status="placed"))
        for kind in ("cable", "drain"):
            record.put(Proposal(id=f"street-{kind}", face_id="street", kind=kind, sheath="white", picture_ids=shown,
                                points_m=((1.3, 1.2, 0.05), (1.6, 1.2, 0.05)), radius_m=0.005, **COMMON))  # fmt: skip
    told = {p["kind"]: p["hint"] for p in own_client.get("/review.json").json["waiting"]}
    assert told["cable"]
    assert told["drain"] == ""


def test_a_coil_is_accepted_as_one_thing_at_its_middle(own_client, own_record_folder):
    with Record.open(own_record_folder) as record:
        shown = tuple(p.id for p in record.all(Placement, status="placed"))
        ring = ((1.4, 1.3, -0.04), (1.55, 1.45, -0.04), (1.4, 1.6, -0.04), (1.25, 1.45, -0.04))
        record.put(Proposal(id="street-coil-1", face_id="street", kind="coil", points_m=ring, sheath="orange",
                            picture_ids=shown, **COMMON))  # fmt: skip
    assert _post(own_client, "/review/street-coil-1/accept").status_code == 200
    with Record.open(own_record_folder) as record:
        item = next(i for i in record.all(Item) if i.kind == "coil" and i.note)
        assert item.width_m == pytest.approx(0.3)
        assert {s.place for s in record.all(Sighting, target_id=item.id)} == {f"{item.id}.0"}


@needs_browser
@pytest.mark.parametrize("screen", list(SCREENS))
def test_keys_pressed_one_after_another_all_count(browser, reviewed, own_served, screen):
    visit = Visit(browser, screen, own_served.url)
    page = visit.open("/review")
    page.wait_for_selector("#proposal")
    for left in (2, 1, 0):  # each as soon as the words are there, whether or not the picture is
        page.keyboard.press("x")
        page.wait_for_function(
            "n => document.getElementById('count').textContent.includes(n ? `of ${n} left` : 'All decided')", arg=left
        )
    visit.check()
    visit.context.close()
    with Record.open(reviewed) as record:
        assert {p.state for p in record.all(Proposal)} == {"rejected"}
