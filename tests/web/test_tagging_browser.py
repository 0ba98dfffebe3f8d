"""Fast tagging in a real browser: filled in ahead, undone, by two people, with proposed places."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from asbuilt.record import Item, Placement, Record, ReferencePoint, Sighting
from tests.truth import truth
from tests.web.conftest import SCREENS, Visit, needs_browser
from tests.web.test_tags import seen_point

pytestmark = needs_browser


@pytest.fixture(params=list(SCREENS))
def visit(request, browser, own_served):
    visited = Visit(browser, request.param, own_served.url)
    yield visited
    visited.context.close()


def press_picture(visit, x_px: float, y_px: float, width_px: int = 3000, height_px: int = 2250) -> None:
    """A tap where a pixel of the whole picture is shown."""
    photo = visit.page.locator("#photo image").bounding_box()
    visit.press(photo["x"] + (x_px + 0.5) / width_px * photo["width"],
                photo["y"] + (y_px + 0.5) / height_px * photo["height"])  # fmt: skip


def test_tap_on_a_cable_fills_the_form_and_the_hand_has_the_last_word(visit, own_record_folder):
    page = visit.open("/pictures/open_01")
    expect(page.locator("#cable-field")).not_to_be_visible()  # a box has no sheath
    point = seen_point("yellow")
    press_picture(visit, point["u"], point["v"])
    expect(page.locator("#look-words")).to_contain_text("Looks yellow")
    assert page.input_value("#kind") == "cable" and page.input_value("#cable") == "yellow"
    page.fill("#cable", "12/2 yellow")
    page.select_option("#circuit_id", "2")
    page.get_by_role("button", name="Save").click()
    expect(page.locator("#tag-status")).to_contain_text("saved")
    with Record.open(own_record_folder) as record:
        item = record.get(Item, record.all(Sighting)[-1].target_id)
        assert (item.kind, item.cable, item.circuit_id) == ("cable", "12/2 yellow", "2")
    assert page.input_value("#cable") == ""
    page.get_by_label("junction box", exact=True).check()
    press_picture(visit, point["u"], point["v"])
    page.wait_for_load_state("networkidle")
    assert page.input_value("#kind") == "junction box"  # chosen by hand: not overruled
    visit.check()


def test_undo_takes_back_points_then_what_was_saved(visit, own_record_folder):
    page = visit.open("/pictures/open_01")
    with Record.open(own_record_folder) as record:
        before = len(record.all(Sighting))
    press_picture(visit, 1500, 900)
    page.get_by_label("device box", exact=True).check()
    page.get_by_role("button", name="Save").click()
    expect(page.locator("#tag-status")).to_contain_text("saved")
    expect(page.locator("#elsewhere .spot-picture").first).to_be_visible()
    page.locator("#board").scroll_into_view_if_needed()
    press_picture(visit, 1800, 900)
    undo = page.get_by_role("button", name="Undo")
    undo.click()
    expect(page.locator("#tag-status")).to_have_text("")  # the point
    undo.click()
    expect(page.locator("#tag-status")).to_contain_text("taken back: device box")
    with Record.open(own_record_folder) as record:
        assert len(record.all(Sighting)) == before
    undo.click()
    expect(page.locator("#tag-status")).to_have_text("Nothing to undo.")
    visit.check()


def test_undo_by_key_and_known_places_by_key(browser, own_served, own_record_folder):
    visit = Visit(browser, "desk", own_served.url)
    page = visit.open("/pictures/open_01")
    page.locator("#board").focus()
    for key in ("Enter", "1", "s"):
        page.keyboard.press(key)
    expect(page.locator("#tag-status")).to_contain_text("saved")
    with Record.open(own_record_folder) as record:
        made = record.all(Sighting)[-1].target_id
    page.locator("#board").focus()
    page.keyboard.press("z")
    expect(page.locator("#tag-status")).to_contain_text("taken back")
    with Record.open(own_record_folder) as record:
        assert record.find(Item, made) is None
    page.keyboard.press("k")
    expect(page.get_by_role("button", name="Mark this place")).to_be_visible()
    visit.check()
    visit.context.close()


def test_two_people_at_once_see_and_keep_what_both_named(browser, own_served, own_record_folder):
    """One at a desk, one with a phone, in the same picture, turn and turn about without reloading."""
    visits = [Visit(browser, screen, own_served.url) for screen in ("desk", "phone")]
    for visit in visits:
        visit.open("/pictures/open_01")
    for n in range(3):
        for visit in visits:
            visit.page.locator("#board").scroll_into_view_if_needed()
            press_picture(visit, 1300 + 200 * n, 700)
        for visit, name in zip(visits, ("desk", "phone"), strict=True):
            visit.page.fill("#label", f"{name} {n}")
            visit.page.get_by_role("button", name="Save").click(no_wait_after=True)
        for visit in visits:
            expect(visit.page.locator("#tag-status")).to_contain_text("saved")
    names = {f"{name} {n}" for name in ("desk", "phone") for n in range(3)}
    with Record.open(own_record_folder) as record:
        assert names <= {i.label for i in record.all(Item)}
    for visit in visits:
        visit.page.reload()
        for name in names:
            expect(visit.page.locator("#things")).to_contain_text(name)
        visit.check()
        visit.context.close()


@pytest.fixture
def closed_folder(own_record_folder):
    """A record that was never told where the photos of the finished walls were taken from."""
    with Record.open(own_record_folder) as record:
        for photo in truth()["closed_photos"]:
            record.clear(Placement, id=photo["file"].removesuffix(".jpg"))
    return own_record_folder


def test_proposed_cover_plates_are_taken_with_one_tap_and_show_the_fit(visit, closed_folder):
    page = visit.open("/pictures/closed_03")
    page.get_by_role("button", name="Find cover plates").click()
    photo = next(p for p in truth()["closed_photos"] if p["file"] == "closed_03.jpg")
    expect(page.locator("#proposals li")).to_have_count(len(photo["covers_visible"]) + 1)
    with Record.open(closed_folder) as record:
        assert not record.all(Sighting, target="reference", picture_id="closed_03")  # asking marks nothing
    page.get_by_role("button", name="Take all").click()
    expect(page.locator(".fit-good")).to_contain_text(f"{len(photo['covers_visible'])} known places")
    expect(page.locator(".residuals li")).to_have_count(len(photo["covers_visible"]))
    with Record.open(closed_folder) as record:
        marks = {s.target_id: s for s in record.all(Sighting, target="reference", picture_id="closed_03")}
        assert all(record.find(ReferencePoint, name) for name in marks)
    for cover in photo["covers_visible"]:
        mark = marks[f"plate-{cover['box']}"]
        assert abs(mark.x_px - cover["u"]) < 12 and abs(mark.y_px - cover["v"]) < 12
    page.get_by_role("link", name="What is behind this wall").click()
    page.wait_for_load_state("networkidle")
    assert page.locator(".over-line").count() > 10
    visit.check()


def test_photo_with_too_few_plates_is_left_to_the_hand(visit, closed_folder):
    page = visit.open("/pictures/closed_01")
    page.get_by_role("button", name="Find cover plates").click()
    expect(page.locator("#known-status")).to_contain_text("mark the places by hand")
    assert page.locator("#proposals li").count() == 0
    visit.check()
