"""A building described in the browser, from nothing to walls with openings and circuits."""

from __future__ import annotations

from dataclasses import replace

import pytest

from asbuilt.record import Circuit, Covering, Face, Marker, Opening, Panel, Record, Room
from asbuilt.web import create_app
from tests.web.conftest import Served, Visit, needs_browser, token


@pytest.fixture
def bare(tmp_path):
    Record.create(tmp_path / "record", "House").close()
    return tmp_path / "record"


@pytest.fixture
def client(bare):
    return create_app(bare, author="tester").test_client()


def post(client, address, **data):
    return client.post(address, data={"csrf_token": token(client)} | data)


ROOM = {"room_name": "Workshop", "height": "9 ft", "spacing": "16 in", "stud": "2x6",
        "title": ["North wall", "", "South wall", ""], "length": ["20 ft 6 in", "12 ft", "20 ft 6 in", ""]}  # fmt: skip


def test_room_with_all_its_walls_at_once(client, bare):
    assert post(client, "/building/start", **ROOM).status_code == 303
    with Record.open(bare) as record:
        (room,) = record.all(Room)
        faces = sorted(record.all(Face), key=lambda f: f.order_idx)
    assert room.name == "Workshop"
    assert [f.title for f in faces] == ["North wall", "Workshop wall 2", "South wall"]
    assert [round(f.length_m / 0.0254, 3) for f in faces] == [246, 144, 246]
    assert all(f.height_m == pytest.approx(2.7432) and f.stud_depth_m == pytest.approx(0.1397) for f in faces)


def test_one_wrong_length_leaves_nothing_half_made(client, bare):
    answer = post(client, "/building/start", **ROOM | {"length": ["20 ft", "twelve", "20 ft", ""]})
    assert answer.status_code == 400 and "twelve" in answer.text
    with Record.open(bare) as record:
        assert not record.all(Room) and not record.all(Face)


def test_parts_are_added_changed_and_taken_out(client, bare):
    post(client, "/building/start", **ROOM)
    post(
        client,
        "/building/opening",
        face="north-wall",
        kind="window",
        left="6 ft",
        right="10 ft",
        bottom="3 ft",
        top="7 ft",
    )
    post(client, "/building/marker", id="7", face="north-wall", offset="4 ft", height="5 ft")
    post(client, "/building/covering", face="north-wall", material="gypsum board", thickness="1/2 in")
    post(client, "/building/panel", name="Main panel", face="south-wall", amps="100")
    post(client, "/building/circuit", number="2", name="bench", amps="20", panel="main-panel")
    with Record.open(bare) as record:
        (opening,) = record.all(Opening)
        assert record.get(Marker, 7).offset_m == pytest.approx(1.2192)
        assert record.all(Covering)[0].thickness_m == pytest.approx(0.0127)
        assert record.get(Panel, "main-panel").amps == 100
        assert record.get(Circuit, "2").panel_id == "main-panel"
    post(client, f"/building/opening/{opening.id}", right="11 ft")
    post(client, "/building/marker/7/remove")
    with Record.open(bare) as record:
        assert record.get(Opening, opening.id).right_m == pytest.approx(3.3528)
        assert record.get(Opening, opening.id).left_m == opening.left_m
        assert record.find(Marker, 7) is None
        assert any(h["table_name"] == "markers" and h["action"] == "remove" for h in record.history())


DOOR = {"kind": "door", "left": "1 ft", "right": "4 ft", "bottom": "0", "top": "80 in"}


@pytest.mark.parametrize(
    ("address", "data", "words"),
    [
        ("/building/opening", DOOR | {"face": "attic"}, "attic"),
        ("/building/opening", DOOR | {"face": "north-wall", "right": "6 in"}, "left"),
        ("/building/face", {"room": "workshop", "title": "x", "length": "long", "height": "9 ft"}, "long"),
        ("/building/face/none", {"length": "3 ft"}, "none"),
        ("/building/dragons", {"id": "x"}, "no table"),
        ("/building/room/workshop/remove", {}, "refer"),
    ],
)
def test_nonsense_is_refused_in_one_line(client, address, data, words):
    post(client, "/building/start", **ROOM)
    answer = post(client, address, **data)
    assert answer.status_code in (400, 404) and words in answer.text


def test_forms_stay_on_this_site(client):
    post(client, "/building/start", **ROOM)
    data = DOOR | {"face": "north-wall"}
    away = post(client, "/building/opening", **data, back_to_face="https://evil.example/")
    assert away.status_code == 303 and away.location.startswith("/building/")
    back = post(client, "/building/opening", **data | {"left": "6 ft", "right": "9 ft"}, back_to_face="north-wall")
    assert back.location == "/faces/north-wall"


@needs_browser
@pytest.mark.parametrize("screen", ["desk", "phone"])
def test_building_a_room_and_dragging_a_window_in_the_browser(browser, bare, screen):
    served = Served(bare)
    visit = Visit(browser, screen, served.url)
    page = visit.open("/")
    page.get_by_role("link", name="Describe the rooms").click()
    page.fill("#room_name", "Workshop")
    page.fill("#height", "9 ft")
    for n, (title, length) in enumerate([("North wall", "20 ft"), ("East wall", "12 ft")], start=1):
        page.fill(f"#title{n}", title)
        page.fill(f"#length{n}", length)
    page.get_by_role("button", name="Make the room").click()
    page.wait_for_url("**/building/face")
    page.goto(served.url + "/faces/north-wall")
    page.wait_for_load_state("networkidle")
    page.get_by_role("button", name="Add an opening").click()
    page.locator('[data-board="all"]').click()
    page.wait_for_timeout(300)
    corners = page.evaluate(
        """() => {
          const svg = document.getElementById('elevation');
          const m = svg.getScreenCTM();
          const x = (metres) => m.e + (metres * 1000 - svg.dataset.leftMm) * m.a;
          const y = (metres) => m.f + (svg.dataset.topMm - metres * 1000) * m.d;
          return [[x(2.0), y(2.0)], [x(3.2), y(0.9)]];
        }"""
    )
    if screen == "desk":
        page.mouse.move(*corners[0])
        page.mouse.down()
        page.mouse.move(*corners[1], steps=8)
        page.mouse.up()
    else:
        for name, text in (("left", "2 m"), ("right", "3.2 m"), ("bottom", "0.9 m"), ("top", "2 m")):
            page.fill(f"#opening-{name}", text)
    page.get_by_role("button", name="Add the opening").click()
    page.wait_for_url("**/faces/north-wall")
    with Record.open(bare) as record:
        (opening,) = record.all(Opening)
    found = (opening.left_m, opening.right_m, opening.bottom_m, opening.top_m)
    assert found == pytest.approx((2.0, 3.2, 0.9, 2.0), abs=0.03)
    visit.check()
    visit.context.close()
    served.stop()


def test_saving_a_row_as_it_was_shown_moves_nothing(client, bare):
    """What is shown is rounded to 1/16 in; what was measured finer must not follow it."""
    post(client, "/building/start", room_name="Loft", height="2500 mm", title=["A"], length=["5000.4 mm"])
    with Record.open(bare) as record:
        before = record.get(Face, "a")
    shown = client.get("/building/face.json").json["rows"][0]
    data = {key: value for key, value in shown.items() if key != "id"}
    assert post(client, "/building/face/a", **data).status_code == 303
    with Record.open(bare) as record:
        assert record.get(Face, "a") == before
    post(client, "/building/face/a", **data | {"title": "North"})
    with Record.open(bare) as record:
        assert record.get(Face, "a") == replace(before, title="North")


@needs_browser
@pytest.mark.parametrize("screen", ["desk", "phone"])
def test_panel_and_circuits_in_a_table(browser, bare, screen):
    served = Served(bare)
    visit = Visit(browser, screen, served.url)
    page = visit.open("/building/panel")
    page.fill("#new-name", "Main")
    page.fill("#new-amps", "100")
    page.get_by_role("button", name="Add", exact=True).click()
    page.wait_for_load_state("networkidle")
    for number, name in (("1", "kiln"), ("2", "bench")):
        page.goto(served.url + "/building/circuit")
        page.fill("#new-number", number)
        page.fill("#new-name", name)
        page.select_option("#new-panel", label="Main")
        page.get_by_role("button", name="Add", exact=True).click()
        page.wait_for_load_state("networkidle")
    page.get_by_label("Amps of bench").fill("20")
    page.get_by_label("State of bench").select_option("roughed in")
    page.get_by_role("button", name="Save bench").click()
    page.wait_for_load_state("networkidle")
    assert page.input_value('[aria-label="Amps of bench"]') == "20"
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    with Record.open(bare) as record:
        circuits = {c.name: c for c in record.all(Circuit)}
    assert (circuits["bench"].amps, circuits["bench"].state, circuits["kiln"].amps) == (20, "roughed in", None)
    visit.check()
    visit.context.close()
    served.stop()
