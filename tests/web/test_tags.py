"""Naming what a picture shows, and taking it back."""

from __future__ import annotations

import pytest

from asbuilt.record import Item, Position, Record, Sighting
from tests.web.conftest import token


def post(client, address="/pictures/open_01/sightings", **data):
    data = {"csrf_token": token(client)} | data
    return client.post(address, data=data, headers={"Accept": "application/json"})


def test_tagging_a_box_adds_item_sighting_and_a_position(own_client, own_record_folder):
    answer = post(own_client, kind="device box", circuit_id="2", label="  new   box ", x_px="1000.5", y_px="800")
    assert answer.status_code == 201
    with Record.open(own_record_folder) as record:
        item = record.get(Item, answer.json["item_id"])
        (sighting,) = record.all(Sighting, target_id=item.id)
        (position,) = record.all(Position, item_id=item.id)
    assert (item.kind, item.circuit_id, item.label, item.face_id) == ("device box", "2", "new box", "street")
    assert (sighting.picture_id, sighting.x_px, sighting.y_px, sighting.author) == ("open_01", 1000.5, 800, "tester")
    assert position.face_id == "street" and position.method == "usual depth"


def test_run_keeps_the_order_of_its_points(own_client, own_record_folder):
    answer = post(own_client, kind="cable", x_px=["600", "700", "800"], y_px=["900", "910", "905"])
    with Record.open(own_record_folder) as record:
        spots = sorted(record.all(Sighting, target_id=answer.json["item_id"]), key=lambda s: s.order_idx)
    assert [s.x_px for s in spots] == [600, 700, 800]
    assert len({s.place for s in spots}) == 3


def test_what_was_tagged_shows_on_the_picture_page_and_can_be_taken_back(own_client, own_record_folder):
    item_id = post(own_client, kind="pipe", label="supply", x_px="500", y_px="500").json["item_id"]
    assert "supply" in own_client.get("/pictures/open_01").text
    gone = post(own_client, f"/pictures/open_01/things/{item_id}/remove")
    assert gone.status_code == 200
    with Record.open(own_record_folder) as record:
        assert record.find(Item, item_id) is None
        assert not record.all(Sighting, target_id=item_id) and not record.all(Position, item_id=item_id)
        assert any(h["row_id"] == item_id and h["action"] == "remove" for h in record.history())


def test_taking_back_one_picture_keeps_the_thing_seen_in_others(own_client, own_record_folder):
    with Record.open(own_record_folder) as record:
        by_item: dict[str, set] = {}
        for s in record.all(Sighting):
            by_item.setdefault(s.target_id, set()).add(s.picture_id)
    item_id, pictures = next((i, p) for i, p in by_item.items() if len(p) > 1)
    picture = sorted(pictures)[0]
    assert post(own_client, f"/pictures/{picture}/things/{item_id}/remove").status_code == 200
    with Record.open(own_record_folder) as record:
        assert record.find(Item, item_id) is not None
        assert {s.picture_id for s in record.all(Sighting, target_id=item_id)} == pictures - {picture}


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"kind": "cable"}, "tap the place"),
        ({"kind": "dragon", "x_px": "1", "y_px": "1"}, "choose what it is"),
        ({"kind": "cable", "x_px": "1", "y_px": "nan"}, "outside the picture"),
        ({"kind": "cable", "x_px": "1e9", "y_px": "1"}, "outside the picture"),
        ({"kind": "cable", "x_px": "left", "y_px": "1"}, "two numbers"),
        ({"kind": "cable", "x_px": ["1", "2"], "y_px": "1"}, "no point"),
        ({"kind": "cable", "x_px": "1", "y_px": "1", "circuit_id": "99"}, "circuit"),
        ({"item_id": "nothing", "x_px": "1", "y_px": "1"}, "no item"),
    ],
)
def test_nonsense_is_refused_and_changes_nothing(own_client, own_record_folder, data, words):
    with Record.open(own_record_folder) as record:
        before = (len(record.all(Item)), len(record.all(Sighting)))
    answer = post(own_client, **data)
    assert answer.status_code in (400, 404) and words in answer.json["error"]["message"]
    with Record.open(own_record_folder) as record:
        assert (len(record.all(Item)), len(record.all(Sighting))) == before
