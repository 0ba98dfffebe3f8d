"""The viewer in a real browser, at a desk and on a phone, with the network watched."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from asbuilt.record import Item, Record, Sighting
from tests.truth import truth
from tests.web.conftest import SCREENS, Served, Visit, needs_browser

pytestmark = needs_browser


@pytest.fixture(params=list(SCREENS))
def own_visit(request, browser, own_served):
    visited = Visit(browser, request.param, own_served.url)
    yield visited
    visited.context.close()


def test_typing_a_distance_gives_the_answer_and_marks_it(visit):
    page = visit.open("/faces/street")
    page.fill("#at", "6 ft")
    page.get_by_role("button", name="What is behind?").click()
    page.wait_for_selector(".answer")
    assert page.input_value("#at") == "6 ft 0 in"
    assert "6 ft 0 in from the left end" in page.inner_text(".verdict")
    assert page.locator(".cautions li").count() >= 4
    assert page.locator("#question").count() == 1
    marked = page.locator(".answer-pictures .mark-line")
    assert marked.count() >= 2 and marked.first.bounding_box()["height"] > 20
    page.wait_for_load_state("networkidle")
    assert page.url.endswith("?at=6+ft+0+in")
    visit.check()


def middle(locator) -> tuple[float, float]:
    box = locator.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


def box_in_truth(box_id: str) -> dict:
    return next(b for b in truth()["boxes"] if b["id"] == box_id)


def test_tapping_the_wall_asks_for_that_place(visit):
    page = visit.open("/faces/street")
    visit.press(*middle(page.locator('[data-key="street-box02"] rect').nth(1)))
    page.wait_for_selector(".answer")
    answer, box = page.locator(".answer"), box_in_truth("street-box02")
    pixel_m = 0.01 if visit.is_phone else 0.006
    assert float(answer.get_attribute("data-offset-m")) == pytest.approx(box["x"], abs=0.018 + pixel_m)
    assert float(answer.get_attribute("data-height-m")) == pytest.approx(box["z"], abs=0.018 + pixel_m)
    assert "wheel bench receptacles" in answer.inner_text()
    assert page.locator(".answer-pictures .mark-spot").count() >= 1
    visit.check()


def test_tap_is_right_after_zooming_and_moving(visit):
    page = visit.open("/faces/street")
    page.locator('[data-board="in"]').click()
    page.locator('[data-board="in"]').click()
    page.locator("#board").focus()
    page.keyboard.press("ArrowLeft")
    page.wait_for_timeout(100)
    target = page.locator('[data-key="street-box01"] rect').nth(1)
    for _ in range(12):
        x, y = middle(target)
        board = page.locator("#board").bounding_box()
        if board["x"] < x < board["x"] + board["width"] and board["y"] < y < board["y"] + board["height"]:
            break
        page.keyboard.press(
            "ArrowLeft" if x < board["x"] else "ArrowRight" if x > board["x"] + board["width"] else "ArrowDown"
        )
        page.wait_for_timeout(50)
    visit.press(*middle(target))
    page.wait_for_selector(".answer")
    offset = float(page.locator(".answer").get_attribute("data-offset-m"))
    assert offset == pytest.approx(box_in_truth("street-box01")["x"], abs=0.018 + 0.005)


def left_mm(page) -> tuple[float, float]:
    """Which millimetre of the drawing lies at the left of the board, and pixels per millimetre."""
    return page.evaluate(
        """() => {
          const matrix = document.getElementById('elevation').getScreenCTM();
          return [(document.getElementById('board').getBoundingClientRect().left - matrix.e) / matrix.a, matrix.a];
        }"""
    )


def test_dragging_moves_the_wall_and_does_not_ask(browser, served):
    visit = Visit(browser, "desk", served.url)
    page = visit.open("/faces/street")
    page.locator('[data-board="in"]').click()
    page.wait_for_timeout(300)
    before, scale = left_mm(page)
    x, y = middle(page.locator("#board"))
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 120, y, steps=6)
    page.mouse.up()
    page.wait_for_timeout(50)
    assert left_mm(page)[0] - before == pytest.approx(120 / scale, rel=0.02)  # while the hand has just stopped
    page.wait_for_timeout(300)
    assert left_mm(page)[0] - before == pytest.approx(120 / scale, rel=0.02)  # and once it is drawn anew
    assert page.locator(".answer").count() == 0
    page.mouse.wheel(0, -400)
    page.wait_for_timeout(300)
    assert left_mm(page)[1] > 1.4 * scale
    visit.context.close()


def test_layers_can_be_hidden(visit):
    page = visit.open("/faces/garden")
    cable = page.locator('[data-layer="power"]').first
    assert cable.is_visible()
    page.get_by_role("button", name="Layers").click()
    page.get_by_label("power", exact=True).uncheck()
    assert not cable.is_visible()
    visit.check()


PAGES = ("/", "/faces/street?at=6ft&height=4ft", "/faces/partition", "/wall", "/wall/street?at=6ft", "/pictures",
         "/pictures/open_01", "/pictures/closed_03", "/circuits", "/plan", "/gaps", "/placing", "/wall/labels", "/add",
         "/building/circuit", "/nowhere")  # fmt: skip


# Everything that is pressed, checkboxes and files by their label: at least 44 by 44 CSS px.
SMALL_TARGETS = """() => {
  const pressed = 'button, .button, select, nav a, input:not([type=hidden]):not(.hidden-file), .face-card, .thumb';
  return [...document.querySelectorAll(pressed)]
    .map((e) => e.closest('label.check') ?? e)
    .filter((e) => e.checkVisibility())
    .map((e) => ({ words: e.outerHTML.slice(0, 80), box: e.getBoundingClientRect() }))
    .filter(({ box }) => box.width && (box.height < 44 || box.width < 44))
    .map(({ words, box }) => `${box.width} x ${box.height}: ${words}`);
}"""


@pytest.mark.parametrize("path", PAGES)
def test_page_fits_its_screen_and_its_targets_fit_a_thumb(visit, path):
    page = visit.open(path)
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    small = page.evaluate(SMALL_TARGETS)
    assert not small
    if path != "/nowhere":
        visit.check()


def test_naming_a_thing_in_a_picture(own_visit, own_record_folder):
    page = own_visit.open("/pictures/open_01")
    photo = page.locator("#photo image").bounding_box()
    x, y = photo["x"] + 0.7 * photo["width"], photo["y"] + 0.4 * photo["height"]
    own_visit.press(x, y)
    assert page.inner_text("#tag-status") == "1 point"
    page.select_option("#kind", "junction box")
    page.select_option("#circuit_id", "4")
    page.fill("#label", "over the window <b>")
    page.get_by_role("button", name="Save").click()
    expect(page.locator(".things")).to_contain_text("over the window <b>")
    with Record.open(own_record_folder) as record:
        item = next(i for i in record.all(Item) if i.label == "over the window <b>")
        (sighting,) = record.all(Sighting, target_id=item.id)
    assert (item.kind, item.circuit_id) == ("junction box", "4")
    screen_px = 3000 / photo["width"]
    assert sighting.x_px == pytest.approx(0.7 * 3000 - 0.5, abs=1.5 * screen_px)
    assert sighting.y_px == pytest.approx(0.4 * 2250 - 0.5, abs=1.5 * screen_px)
    page.locator(".things li", has_text="over the window").get_by_role("button", name="Remove here").click()
    page.wait_for_load_state("networkidle")
    with Record.open(own_record_folder) as record:
        assert record.find(Item, item.id) is None
    own_visit.check()


def test_pointing_at_the_same_box_in_another_picture(own_visit, own_record_folder):
    """Marked where the truth sees it in one photo, then in a crop of another picture."""
    page = own_visit.open("/pictures/open_01")
    photo = page.locator("#photo image").bounding_box()
    true = next(b for b in truth()["photos"][0]["boxes_visible"] if b["id"] == "street-box02")
    own_visit.press(photo["x"] + true["u"] / 3000 * photo["width"], photo["y"] + true["v"] / 2250 * photo["height"])
    page.get_by_label("device box", exact=True).check()
    page.fill("#label", "again")
    page.get_by_role("button", name="Save").click()
    expect(page.locator("#elsewhere")).to_be_visible()
    assert "from 1 picture" in page.inner_text(".spot-words")
    crop = page.locator(".spot-picture").first
    crop.scroll_into_view_if_needed()
    ring = crop.locator(".predicted").bounding_box()
    own_visit.press(ring["x"] + ring["width"] / 2 + 3, ring["y"] + ring["height"] / 2)
    expect(page.locator(".spot-picture.done")).to_have_count(1)
    expect(page.locator(".spot-words")).to_contain_text("from 2 pictures")
    with Record.open(own_record_folder) as record:
        item = next(i for i in record.all(Item) if i.label == "again")
        sightings = record.all(Sighting, target_id=item.id)
    assert len(sightings) == 2 and len({s.place for s in sightings}) == 1
    predicted = page.locator(".spot-picture svg").first.evaluate(
        "(e) => [Number(e.dataset.xPx), Number(e.dataset.yPx)]"
    )
    pixel = page.locator(".spot-picture svg").first.evaluate("(e) => 1 / e.getScreenCTM().a")
    assert sightings[1].x_px == pytest.approx(predicted[0] + 3 * pixel, abs=1.5 * pixel)
    assert sightings[1].y_px == pytest.approx(predicted[1], abs=1.5 * pixel)
    own_visit.check()


def test_tagging_with_the_keyboard_alone(browser, own_served, own_record_folder):
    visit = Visit(browser, "desk", own_served.url)
    page = visit.open("/pictures/open_01")
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "board":
            break
    page.keyboard.press("+")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    page.keyboard.press("Backspace")
    assert page.inner_text("#tag-status") == "1 point"
    page.keyboard.press("3")
    assert page.input_value("#kind") == "junction box"
    page.keyboard.press("c")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Shift+Tab")
    page.locator("#board").focus()
    page.keyboard.press("s")
    expect(page.locator("#tag-status")).to_contain_text("saved")
    with Record.open(own_record_folder) as record:
        newest = record.all(Sighting)[-1]
        item = record.get(Item, newest.target_id)
    assert item.kind == "junction box" and item.circuit_id == "1+3"
    page.locator("#board").focus()
    page.keyboard.press("n")
    page.wait_for_url(lambda url: "open_01" not in url)
    assert page.input_value("#kind") == "junction box"  # the next is likely to be the same
    visit.check()
    visit.context.close()


def test_saving_without_a_point_says_what_to_do(visit):
    page = visit.open("/pictures/open_01")
    page.get_by_role("button", name="Save").click()
    assert "Tap the place" in page.inner_text("#tag-status")
    visit.check()


def test_at_the_wall_stepping_along_with_one_thumb(visit):
    page = visit.open("/wall")
    page.get_by_role("link", name="Street face").click()
    page.fill("#at", "5 ft 11")
    page.get_by_role("button", name="Ask").click()
    page.wait_for_selector(".answer")
    page.get_by_role("button", name="Move right").click()
    expect(page.locator("#at")).to_have_value("6 ft 0 in")
    page.get_by_label("4 in", exact=True).check()
    page.get_by_role("button", name="Move left").click()
    expect(page.locator("#at")).to_have_value("5 ft 8 in")
    assert "5 ft 8 in from the left end" in page.inner_text(".verdict")
    verdict, pad = page.locator(".verdict").bounding_box(), page.locator(".thumb-pad").bounding_box()
    assert verdict["y"] >= 0 and pad["y"] + pad["height"] <= page.viewport_size["height"]  # both seen at a glance
    assert verdict["y"] + verdict["height"] < pad["y"] or verdict["x"] > pad["x"] + pad["width"]
    visit.check()


def test_going_to_a_wall_from_above(visit):
    page = visit.open("/plan")
    arrow = page.locator('[data-layer="faces"] [data-key="kiln"] path').first.bounding_box()
    visit.press(arrow["x"] + arrow["width"] / 2, arrow["y"] + arrow["height"] / 2)
    page.wait_for_url("**/faces/kiln")
    page.wait_for_load_state("networkidle")
    visit.check()


def test_place_off_the_wall_is_explained_where_the_answer_would_be(visit):
    page = visit.open("/faces/street")
    page.fill("#at", "40 ft")
    page.get_by_role("button", name="What is behind?").click()
    page.wait_for_selector("#answer .problem")
    assert "not on this wall" in page.inner_text("#answer")
    assert not [u for u in visit.requested if not u.startswith(visit.url + "/")]


def test_asking_works_without_scripts(browser, served):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(served.url + "/faces/street")
    page.fill("#at", "6 ft")
    page.get_by_role("button", name="What is behind?").click()
    page.wait_for_selector(".answer")
    assert "6 ft 0 in from the left end" in page.inner_text(".verdict")
    context.close()


def test_asking_with_the_keyboard_alone(browser, served):
    visit = Visit(browser, "desk", served.url)
    page = visit.open("/")
    reached = []
    for _ in range(30):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.textContent.trim()"))
        if "Street face" in reached[-1]:
            page.keyboard.press("Enter")
            break
    page.wait_for_url("**/faces/street")
    page.wait_for_load_state("networkidle")
    for _ in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "at":
            break
    page.keyboard.type("6ft")
    page.keyboard.press("Enter")
    page.wait_for_selector(".answer")
    assert "6 ft 0 in" in page.inner_text(".verdict")
    visit.check()
    visit.context.close()


def test_last_wall_can_be_read_when_the_viewer_is_gone(browser, record_folder):
    served = Served(record_folder)
    visit = Visit(browser, "phone", served.url)
    page = visit.open("/faces/kiln?at=6ft")
    visit.wait_for_keeper()
    page = visit.open("/faces/street?at=6ft")
    page.wait_for_load_state("networkidle")
    served.stop()
    page.reload()
    page.wait_for_selector(".problem")
    assert "cannot be reached" in page.inner_text(".problem")
    assert "6 ft 0 in from the left end" in page.inner_text(".verdict")
    assert page.locator('[data-key="street-box02"]').first.is_visible()
    page.locator('[data-board="in"]').click()  # the script was kept too
    page.fill("#at", "9 ft")
    page.get_by_role("button", name="What is behind?").click()
    page.wait_for_selector("#answer .problem")
    assert "Nothing is known about this place" in page.inner_text("#answer")
    with pytest.raises(Exception, match="ERR_"):
        page.goto(served.url + "/faces/kiln")  # only the last one is kept
    visit.context.close()
