"""The whole job in one browser: describe the building, send the clip, tag, ask, look through a finished wall.

Nothing but the pages is used; the plan's figures and the places clicked are the sample's own,
and what comes out is compared with the renderer's truth.
"""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path

import pytest
from playwright.sync_api import expect

from asbuilt.record import Item, Media, Picture, Placement, Position, Record
from tests.truth import truth
from tests.web.conftest import MEDIA, Served, Visit, needs_browser

pytestmark = needs_browser
PLAN = tomllib.loads((MEDIA / "plan.toml").read_text("utf-8"))
PHOTOS = ("open_01.jpg", "open_04.heic")
SLOW_MS, LONG_MS = 30_000, 1_800_000  # placing a clip on a busy machine


def describe(page) -> None:
    """Room and walls by typed lengths, then the rest in the tables."""
    page.get_by_role("link", name="Describe the rooms").click()
    page.fill("#room_name", "Kiln studio")
    page.fill("#height", "9 ft 0-7/8 in")
    for n, face in enumerate(PLAN["face"], start=1):
        page.fill(f"#title{n}", face["title"])
        page.fill(f"#length{n}", face["length"])
    page.get_by_role("button", name="Make the room").click()
    page.wait_for_url("**/building/face")
    title = {face["id"]: face["title"] for face in PLAN["face"]}
    for table, rows in (("marker", PLAN["marker"]), ("panel", PLAN["panel"]), ("circuit", PLAN["circuit"])):
        for row in rows:
            page.goto(f"{page.url.split('/building')[0]}/building/{table}")
            for key, value in row.items():
                field = page.locator(f"#new-{key}")
                if not field.count() or not field.is_visible():
                    continue
                if field.evaluate("e => e.tagName") == "SELECT":
                    label = title.get(str(value)) if key == "face" else None
                    field.select_option(label=label) if label else field.select_option(index=1)
                else:
                    field.fill(str(value))
            page.get_by_role("button", name="Add", exact=True).click()
            page.wait_for_load_state("networkidle")


def send(page, names, stage: str) -> None:
    page.get_by_label(stage).check()
    page.set_input_files("#files", [str(MEDIA / name) for name in names])
    for name in names:
        row = page.locator("#transfers li", has_text=name)
        expect(row.locator("span.soft")).to_have_text("sent", timeout=120_000)


def tap_picture(page, x_px: float, y_px: float) -> None:
    page.locator("#board").scroll_into_view_if_needed()
    size = "(image) => [image.width.baseVal.value, image.height.baseVal.value]"
    width, height = page.locator("#photo image").evaluate(size)
    photo = page.locator("#photo image").bounding_box()
    page.mouse.click(
        photo["x"] + (x_px + 0.5) / width * photo["width"], photo["y"] + (y_px + 0.5) / height * photo["height"]
    )


def picture_ids(folder: Path) -> dict[str, str]:
    with Record.open(folder) as record:
        names = {m.id: m.name for m in record.all(Media)}
        return {names[p.media_id]: p.id for p in record.all(Picture) if p.kind == "photo"}


def tag(page, url: str, folder: Path, thing: str) -> None:
    """A box where the sample's person clicked it, in one photo and by one tap in another picture."""
    clicks = json.loads((MEDIA / "clicks.json").read_text("utf-8"))["clicks"]
    click = next(c for c in clicks if c["thing"] == thing and c.get("file") in PHOTOS)
    page.goto(f"{url}/pictures/{picture_ids(folder)[click['file']]}")
    page.wait_for_load_state("networkidle")
    tap_picture(page, click["u"], click["v"])
    page.get_by_label("device box", exact=True).check()
    page.select_option("#circuit_id", click["circuit"])
    page.fill("#label", click["label"])
    page.get_by_role("button", name="Save").click()
    expect(page.locator("#tag-status")).to_contain_text("saved", timeout=SLOW_MS)
    crop = page.locator(".spot-picture").first
    crop.scroll_into_view_if_needed()
    ring = crop.locator(".predicted").bounding_box()
    page.mouse.click(ring["x"] + ring["width"] / 2, ring["y"] + ring["height"] / 2)
    expect(page.locator(".spot-picture.done")).to_have_count(1, timeout=SLOW_MS)


@pytest.fixture
def bare(tmp_path):
    Record.create(tmp_path / "record", "Quarry Lane Pottery").close()
    return tmp_path / "record"


def test_from_an_empty_record_to_seeing_through_the_wall(browser, bare):
    served = Served(bare)
    visit = Visit(browser, "desk", served.url)
    page = visit.open("/")
    describe(page)
    page.goto(served.url + "/")
    page.get_by_role("link", name="Add photos and video").first.click()
    page.wait_for_selector("#files", state="attached")
    send(page, ("closed_03.jpg",), "the finished wall")
    send(page, ("walk.mp4", *PHOTOS), "open walls")
    page.goto(served.url + "/pictures")  # the rest of the viewer can be used meanwhile
    expect(page.locator("h1")).to_contain_text("Pictures")
    page.goto(served.url + "/add")
    ended = re.compile(r"\d\d+ pictures placed|stopped before")
    expect(page.locator("#work-notes")).to_contain_text(ended, timeout=LONG_MS)
    expect(page.locator("#work-notes")).not_to_contain_text("stopped before")
    expect(page.locator("#work-step")).to_have_text("Nothing is being worked on.", timeout=LONG_MS)
    with Record.open(bare) as record:
        open_ids = [p.id for p in record.all(Picture, stage="open")]
        assert len(record.all(Placement, id=open_ids, status="placed")) > 0.9 * len(open_ids) > 100

    kiln = [c["thing"] for c in truth()["click_places"] if c["wall"] == "kiln" and c["kind"] == "box"]
    for thing in ("t02", *kiln):
        tag(page, served.url, bare, thing)
    _ask_at_the_box(page, served.url, bare)

    page.goto(f"{served.url}/pictures/{picture_ids(bare)['closed_03.jpg']}")
    page.get_by_role("button", name="Find cover plates").click()
    page.get_by_role("button", name="Take all").click()
    expect(page.locator(".fit-good")).to_be_visible(timeout=SLOW_MS)
    page.get_by_role("link", name="What is behind this wall").click()
    page.wait_for_load_state("networkidle")
    assert page.locator('[data-shown="thing"]').count() >= 4 and page.locator('[data-shown="stud"]').count() >= 4
    page.goto(served.url + "/placing")
    expect(page.locator(".chart svg")).to_have_count(len(PLAN["face"]), timeout=SLOW_MS)
    visit.check()
    visit.context.close()
    served.stop()


def _ask_at_the_box(page, url: str, folder: Path) -> None:
    with Record.open(folder) as record:
        (item,) = record.all(Item, label="wheel bench receptacles")
        (position,) = record.all(Position, item_id=item.id)
    true_x, _, true_z = next(c["p_wall"] for c in truth()["click_places"] if c["thing"] == "t02")
    assert abs(position.offset_m - true_x) < 0.02 and abs(position.height_m - true_z) < 0.02
    page.goto(url + "/")
    page.get_by_role("link", name="Street face").click()
    page.fill("#at", "6 ft")
    page.get_by_role("button", name="What is behind?").click()
    expect(page.locator(".verdict")).to_contain_text("Recorded here", timeout=SLOW_MS)
    expect(page.locator(".glance")).to_contain_text("wheel bench receptacles")
    assert page.locator(".answer-pictures .mark-line").count() >= 2
