"""Naming what a picture shows, and taking it back."""

from __future__ import annotations

import json
import re
import urllib.parse
import urllib.request
from concurrent.futures import ThreadPoolExecutor

import pytest

from asbuilt.imaging.sheath import Look
from asbuilt.record import Circuit, Item, Picture, Position, Record, Sighting
from asbuilt.web.look import guess
from tests.truth import truth
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


def test_coarse_aim_is_kept_and_widens_the_error(own_client, own_record_folder):
    fine = post(own_client, kind="device box", x_px="900", y_px="800").json["item_id"]
    coarse = post(own_client, kind="device box", x_px="900", y_px="800", sigma_px="25").json["item_id"]
    with Record.open(own_record_folder) as record:
        assert record.all(Sighting, target_id=coarse)[0].sigma_px == 25
        errors = [record.all(Position, item_id=i)[0].covariance[0][0] ** 0.5 for i in (fine, coarse)]
    assert errors[1] > 2 * errors[0]


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


def true_pixel(box_id: str, picture) -> tuple[float, float] | None:
    """Where the truth sees a box in a picture of the truth's record."""
    if picture.kind == "photo":
        source = next(p for p in truth()["photos"] if p["file"].startswith(picture.id))
    else:
        source = next(f for f in truth()["video"]["frames"] if f"walk-{f['index']:04d}" == picture.id)
    return next(((b["u"], b["v"]) for b in source["boxes_visible"] if b["id"] == box_id), None)


def test_pointing_at_a_box_in_a_second_picture_measures_it(own_client, own_record_folder):
    with Record.open(own_record_folder) as record:
        pictures = {p.id: p for p in record.all(Picture)}
    u, v = true_pixel("street-box02", pictures["open_01"])
    item_id = post(own_client, kind="device box", x_px=str(u), y_px=str(v)).json["item_id"]
    (spot,) = own_client.get(f"/things/{item_id}/elsewhere.json").json["spots"]
    offered = [(p, true_pixel("street-box02", pictures[p["picture_id"]])) for p in spot["pictures"]]
    assert len(offered) >= 2 and all(p["picture_id"] != "open_01" for p, _ in offered)
    for other, pixel in offered:
        if pixel is not None:  # the ring is where one sighting and the usual depth put it
            assert abs(other["x_px"] - pixel[0]) < 25 and abs(other["y_px"] - pixel[1]) < 25
    other, pixel = next((o, p) for o, p in offered if p is not None)
    data = {"item_id": item_id, "place": spot["place"], "x_px": str(pixel[0]), "y_px": str(pixel[1])}
    saved = post(own_client, f"/pictures/{other['picture_id']}/sightings", **data).json
    assert "from 2 pictures" in saved["words"][spot["place"]]
    box = next(b for b in truth()["boxes"] if b["id"] == "street-box02")
    with Record.open(own_record_folder) as record:
        (position,) = record.all(Position, item_id=item_id)
    assert position.method == "intersected"
    assert abs(position.offset_m - box["x"]) < 0.005 and abs(position.height_m - box["z"]) < 0.005
    assert abs(position.depth_m - box["y_front"]) < 3 * position.covariance[2][2] ** 0.5


def test_spot_of_another_thing_is_refused(own_client):
    item_id = post(own_client, kind="device box", x_px="500", y_px="500").json["item_id"]
    answer = post(own_client, item_id=item_id, place="nonsense", x_px="1", y_px="1")
    assert answer.status_code == 400


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
        ({"kind": "cable", "x_px": "1", "y_px": "1", "sigma_px": "0"}, "sigma_px"),
        ({"kind": "cable", "x_px": "1", "y_px": "1", "sigma_px": ["2", "3"]}, "sigma_px"),
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


def test_two_people_tagging_at_once_lose_nothing(own_record_folder, own_served):
    """Each with a session of their own, as fast as they can, in the same pictures."""

    def tag(name: str) -> list[str]:
        opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        page = opener.open(own_served.url + "/").read().decode()
        secret = re.search(r'name="csrf" content="([^"]+)"', page)[1]
        made = []
        for n in range(8):
            form = {
                "csrf_token": secret,
                "kind": "device box",
                "label": f"{name} {n}",
                "x_px": 300 + 50 * n,
                "y_px": 700,
            }
            data = urllib.parse.urlencode(form).encode()
            request = urllib.request.Request(f"{own_served.url}/pictures/open_0{1 + n % 2}/sightings", data)
            request.add_header("Accept", "application/json")
            made.append(json.load(opener.open(request, timeout=60))["item_id"])
        return made

    with ThreadPoolExecutor(2) as pool:
        made = [item for items in pool.map(tag, ("left", "right")) for item in items]
    with Record.open(own_record_folder) as record:
        items = record.all(Item, id=made)
        assert len(set(made)) == len(items) == 16
        assert len(record.all(Sighting, target_id=made)) == 16
        assert {p.item_id for p in record.all(Position, item_id=made)} == set(made)
        assert {i.label for i in items} == {f"{name} {n}" for name in ("left", "right") for n in range(8)}


def seen_point(run_colour: str, photo: int = 0) -> dict:
    """Where the truth sees a cable of a colour in a photo."""
    runs = {r["id"]: r for r in truth()["runs"]}
    run_of = {p["id"]: runs[p["run"]] for p in truth()["label_points"]}
    return next(
        p
        for p in truth()["photos"][photo]["label_points_visible"]
        if run_of[p["id"]]["kind"] == "cable" and run_of[p["id"]]["colour"] == run_colour
    )


def test_spot_on_a_cable_fills_in_kind_and_sheath(client):
    point = seen_point("yellow")
    found = client.get(f"/pictures/open_01/look?x_px={point['u']}&y_px={point['v']}").json
    assert (found["kind"], found["cable"]) == ("cable", "yellow")
    assert "commonly 12 AWG" in found["words"] and "not proof" in found["words"]
    assert found["circuit_id"] == ""  # two circuits are wired in it: a person says which


def test_circuit_is_filled_in_where_only_one_has_that_size(record_folder):
    with Record.open(record_folder) as record:
        told = guess(record, Look(colour="orange", is_run=True))
        assert record.get(Circuit, told.circuit_id).name == "compressor"


def test_bare_wood_fills_in_nothing_and_nonsense_is_refused(client):
    assert client.get("/pictures/open_01/look?x_px=1500&y_px=300").json == {
        "kind": "", "cable": "", "circuit_id": "", "words": "",
    }  # fmt: skip
    assert client.get("/pictures/open_01/look?x_px=a").status_code == 400


def test_size_and_colour_of_a_run_are_kept_and_a_box_has_none(own_client, own_record_folder):
    for kind, kept in (("cable", "12/2 yellow"), ("device box", "")):
        data = {"csrf_token": token(own_client), "kind": kind, "cable": "12/2  yellow", "x_px": "900", "y_px": "900"}
        answer = own_client.post("/pictures/open_01/sightings", data=data, headers={"Accept": "application/json"})
        with Record.open(own_record_folder) as record:
            assert record.get(Item, answer.json["item_id"]).cable == kept
        undone = own_client.post(answer.json["undo"], data={"csrf_token": token(own_client)})
        assert undone.status_code == 303
        with Record.open(own_record_folder) as record:
            assert record.find(Item, answer.json["item_id"]) is None
