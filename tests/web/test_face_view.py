"""What the face page can show and hide: circuits, expected routes, the other side; and how well it was placed."""

from __future__ import annotations

from dataclasses import replace

import pytest
from playwright.sync_api import expect

from asbuilt.answers.routes import expected_routes
from asbuilt.answers.view import view_of
from asbuilt.record import Face, Item, Record
from asbuilt.web import create_app
from tests.web.conftest import SCREENS, Served, Visit, needs_browser


@needs_browser
def test_one_circuit_is_hidden_and_shown(visit):
    page = visit.open("/faces/street")
    page.get_by_role("button", name="Layers").click()
    mine, other = page.locator('[data-key="street-box01"]').first, page.locator('[data-key="street-box05"]').first
    assert mine.is_visible() and other.is_visible()
    page.get_by_label("2 wheel bench").uncheck()
    assert not mine.is_visible() and other.is_visible()
    page.get_by_label("2 wheel bench").check()
    assert mine.is_visible()
    visit.check()


@needs_browser
def test_expected_routes_are_off_until_asked_for_and_never_look_recorded(visit, record_folder):
    page = visit.open("/faces/street")
    assert page.locator(".expected").count() == 0
    page.get_by_role("button", name="Layers").click()
    page.get_by_label("what electricians do").check()
    expect(page.get_by_text("Nothing was seen there")).to_be_visible()
    with Record.open(record_folder) as record:
        strips = expected_routes(view_of(record), "street", "practice")
    expect(page.locator(".expected")).to_have_count(len(strips))
    page.get_by_label("zones of BS 7671").check()
    expect(page.locator('[data-layer="expected-bs7671"] rect').first).to_be_visible()
    page.get_by_label("what electricians do").uncheck()
    expect(page.locator('[data-layer="expected-practice"]')).not_to_be_visible()
    visit.check()


def test_unknown_rule_is_refused_in_one_line(client):
    answer = client.get("/faces/street/routes?rule=mine", headers={"Accept": "application/json"})
    assert answer.status_code == 404 and "practice" in answer.json["error"]["message"]


@needs_browser
def test_moving_the_wall_without_dragging(visit):
    page = visit.open("/faces/street")
    for _ in range(2):
        page.locator('[data-board="in"]').click()
    page.wait_for_timeout(300)
    box = page.locator('[data-key="street-box03"] rect').nth(1)
    before = box.bounding_box()["x"]
    page.get_by_role("button", name="Move right").click()
    page.wait_for_timeout(300)
    assert box.bounding_box()["x"] < before - 50
    page.get_by_role("button", name="Move left").click()
    page.wait_for_timeout(300)
    assert box.bounding_box()["x"] == pytest.approx(before, abs=2)


@needs_browser
def test_changing_the_unit_stays_at_the_place_asked_about(visit):
    page = visit.open("/faces/street?at=6ft&height=4ft")
    page.get_by_role("link", name="Show millimetres").click()
    page.wait_for_load_state("networkidle")
    assert "/faces/street" in page.url and page.input_value("#at") == "1829 mm"
    assert "1829 mm from the left end" in page.inner_text(".verdict")
    page.get_by_role("link", name="Show feet and inches").click()
    page.wait_for_load_state("networkidle")
    assert page.input_value("#at") == "6 ft 0 in"


@pytest.mark.parametrize("back", ["//elsewhere.example/", "https://elsewhere.example/", "/\\elsewhere.example", "x"])
def test_unit_never_leads_to_another_site(record_folder, back):
    client = create_app(record_folder).test_client()
    assert client.get("/units/mm", query_string={"back": back}).location == "/"


@pytest.fixture
def partitioned(own_record_folder):
    """The partition described from its other side too, as the glaze room's own wall."""
    with Record.open(own_record_folder) as record:
        wall = record.get(Face, "partition")
        record.put(replace(wall, id="glaze", title="Glaze room side", far_face_id="partition", order_idx=9))
    return own_record_folder


@needs_browser
@pytest.mark.parametrize("screen", SCREENS)
def test_far_face_shows_the_same_things_mirrored_and_leads_to_the_other_side(browser, partitioned, screen):
    served = Served(partitioned)
    visit = Visit(browser, screen, served.url)
    places = {}
    for face in ("partition", "glaze"):
        page = visit.open(f"/faces/{face}")
        page.locator('[data-board="all"]').click()
        page.wait_for_timeout(300)
        places[face] = page.evaluate(
            """() => {
              const svg = document.getElementById('elevation');
              const item = svg.querySelector('[data-key="partition-box01"] rect').getBBox();
              return item.x + item.width / 2 + Number(svg.dataset.leftMm);
            }"""
        )
    with Record.open(partitioned) as record:
        length_mm = 1000 * record.get(Face, "partition").length_m
    assert places["glaze"] == pytest.approx(length_mm - places["partition"], abs=1)
    page.get_by_role("button", name="Layers").click()
    far = page.locator('[data-layer="far side"]').first
    assert far.is_visible()
    page.get_by_label("the other side, mirrored").uncheck()
    assert not far.is_visible()
    page.get_by_role("link", name="Other side: Partition").click()
    page.wait_for_url("**/faces/partition")
    visit.check()
    visit.context.close()
    served.stop()


def test_error_charts_are_shown_after_placing(client, record_folder):
    data = client.get("/placing.json").json
    with Record.open(record_folder) as record:
        walls = {f.id for f in record.all(Face, kind="wall")}
    assert {w["face_id"] for w in data["walls"]} == walls
    assert all("at 95 %" in w["words"] and w["advice"] for w in data["walls"] if w["pictures"])
    assert data["placed"] < data["pictures"] and data["not_placed"]
    text = client.get("/placing").text
    assert text.count('aria-label="Error along') == len(walls) and "+/- 1/4 in" in text


def test_record_that_was_never_placed_says_so(tmp_path):
    with Record.create(tmp_path / "record", "House"):
        pass
    client = create_app(tmp_path / "record").test_client()
    assert "Nothing is placed yet" in client.get("/placing").text


def test_wall_is_drawn_anew_once_somebody_changes_the_record(own_record_folder):
    """The drawing is kept between visits, but never past a change by another process."""
    client = create_app(own_record_folder).test_client()
    first = client.get("/faces/street").text
    assert client.get("/faces/street").text == first
    with Record.open(own_record_folder) as record:
        item = record.get(Item, "street-box02")
        record.put(replace(item, label="moved to the other bench"))
        assert "moved to the other bench" in client.get("/faces/street").text  # while the other has it open
    assert "moved to the other bench" in client.get("/faces/street").text
    assert "mm" in client.get("/faces/street?unit=mm").text
