"""Rows of holes: judged hole by hole, moved by dragging."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from asbuilt.answers.pattern import drill_pattern
from asbuilt.record import Record
from tests.truth import truth
from tests.web.conftest import Visit, needs_browser

BOX = next(b for b in truth()["boxes"] if b["id"] == "street-box02")
ROW = {"at": "5 ft", "height": f"{BOX['z']} m", "count": "4", "step": "8 in", "bit": "1/4 in", "depth": "2 in"}


def test_row_is_judged_as_the_answers_judge_it(client, record_folder):
    data = client.get("/faces/street/pattern.json", query_string=ROW).json["pattern"]
    holes = [(1.524 + n * 0.2032, BOX["z"]) for n in range(4)]
    with Record.open(record_folder) as record:
        found = drill_pattern(record, "street", holes, 0.00635, 0.0508, 0.1524)
    assert [h["outcome"] for h in data["holes"]] == [h.outcome for h in found.holes]
    assert data["outcome"] == found.outcome


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"count": "0"}, "1 to"),
        ({"count": "41"}, "1 to"),
        ({"at": "23 ft"}, "off this wall"),
        ({"height": ""}, "height"),
        ({"bit": "", "depth": ""}, "bit and depth"),
        ({"step": "x"}, "not a length"),
    ],
)
def test_rows_that_make_no_sense_are_refused(client, change, words):
    answer = client.get("/faces/street/pattern.json", query_string=ROW | change)
    assert answer.status_code == 400 and words in answer.json["error"]["message"]


@needs_browser
@pytest.mark.parametrize("screen", ["desk", "phone"])
def test_dragging_a_row_of_holes_over_a_box(browser, served, screen):
    visit = Visit(browser, screen, served.url)
    page = visit.open("/faces/street")
    page.get_by_role("button", name="Row of holes").click()
    expect(page.locator("[data-hole]")).to_have_count(4)
    page.fill("#pattern-count", "1")
    expect(page.locator("[data-hole]")).to_have_count(1)
    page.locator("#board").scroll_into_view_if_needed()
    target = page.locator('[data-key="street-box02"] rect').nth(1).bounding_box()
    x, y = target["x"] + target["width"] / 2, target["y"] + target["height"] / 2
    if screen == "desk":
        page.mouse.move(x - 200, y)
        page.mouse.down()
        page.mouse.move(x, y, steps=10)
        page.mouse.up()
    else:
        visit.press(x, y)
    expect(page.locator("[data-hole=hit]")).to_have_count(1)
    assert page.locator("#holes .hole-cross").count() == 1
    assert page.locator("#answer .answer").count() == 0  # the row was moved, nothing was asked of the place
    visit.check()
    visit.context.close()
