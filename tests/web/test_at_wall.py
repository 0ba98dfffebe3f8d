"""At the wall: found by what a phone photographs, swept with the tape, read without the viewer."""

from __future__ import annotations

import io
import re

import cv2
import numpy as np
import pytest
import segno
from PIL import Image
from playwright.sync_api import expect

from asbuilt.record import Face, Record
from asbuilt.web import create_app
from tests.truth import truth
from tests.web.conftest import MEDIA, Served, Visit, needs_browser, token


def scan(client, data: bytes):
    headers = {"X-Csrf-Token": token(client), "Accept": "application/json"}
    return client.post("/wall/scan", data=data, headers=headers)


def qr_photo(text: str) -> bytes:
    """A label as a phone sees it: somewhere in the picture, a little turned."""
    made = io.BytesIO()
    segno.make_qr(text, error="m").save(made, kind="png", scale=8, border=4)
    label = Image.open(made).convert("L")
    photo = Image.new("L", (1400, 1000), 150)
    photo.paste(label.rotate(7, expand=True, fillcolor=150), (500, 300))
    out = io.BytesIO()
    photo.save(out, "JPEG", quality=85)
    return out.getvalue()


@pytest.mark.parametrize("text", ["http://192.168.1.20:8340/wall/kiln", "/wall/kiln", "http://10.9.9.9:1/wall/kiln"])
def test_label_leads_to_its_wall_whatever_the_address_was(client, text):
    answer = scan(client, qr_photo(text))
    assert answer.status_code == 200 and answer.json["url"] == "/wall/kiln"


def test_marker_sheet_leads_to_its_wall_and_its_place(client, record_folder):
    seen = truth()["photos"][0]["markers_visible"]
    answer = scan(client, (MEDIA / "open_01.jpg").read_bytes())
    assert answer.status_code == 200 and answer.json["url"].startswith("/wall/street?at=")
    assert any(f"marker sheet {m['id']}" in answer.json["words"] for m in seen)
    page = client.get(answer.json["url"])
    assert page.status_code == 200 and "from the left end" in page.text


@pytest.mark.parametrize(
    ("data", "status", "words"),
    [
        (b"", 400, "no picture"),
        (b"GIF89a" + b"0" * 100, 400, "no picture"),
        (b"\xff\xd8\xff\xe0 and then nothing of the kind", 400, "no picture"),
        (qr_photo("/wall/nowhere"), 404, "go closer"),
        (qr_photo("/wall/../../etc/passwd"), 404, "go closer"),
        (qr_photo("https://elsewhere.example/"), 404, "go closer"),
    ],
)
def test_what_shows_no_wall_is_told_in_one_line(client, data, status, words):
    answer = scan(client, data)
    assert answer.status_code == status and words in answer.json["error"]["message"]


def test_picture_that_would_unpack_to_gigabytes_is_refused_unread(client):
    out = io.BytesIO()
    Image.new("1", (20_000, 20_000)).save(out, "PNG")
    assert scan(client, out.getvalue()).status_code == 400


def test_too_many_bytes_are_refused(client):
    assert scan(client, b"0" * (9 * 1024 * 1024)).status_code == 413


def test_every_wall_has_a_label_that_holds_its_address(record_folder):
    app = create_app(record_folder, access_code="ABC234", lan_address="192.168.7.9")
    app.config["PORT"] = 8340
    text = app.test_client().get("/wall/labels").text
    with Record.open(record_folder) as record:
        assert all(face.title in text for face in record.all(Face))
    with app.test_request_context("/", base_url="http://127.0.0.1:8340"):
        from asbuilt.web.scan import label_text

        assert label_text("kiln") == "http://192.168.7.9:8340/wall/kiln"


@needs_browser
def test_photographing_a_label_opens_the_wall(visit):
    page = visit.open("/wall")
    photo = {"name": "IMG_1.jpg", "mimeType": "image/jpeg", "buffer": qr_photo("/wall/garden")}
    page.locator("#scan").set_input_files(photo)
    page.wait_for_url("**/wall/garden")
    visit.check()


@needs_browser
def test_labels_on_the_page_can_be_read_by_a_camera(visit):
    page = visit.open("/wall/labels")
    shot = page.locator(".wall-label", has_text="Kiln face").locator(".qr").screenshot()
    image = cv2.imdecode(np.frombuffer(shot, np.uint8), cv2.IMREAD_COLOR)
    image = cv2.copyMakeBorder(image, 40, 40, 40, 40, cv2.BORDER_CONSTANT, value=(255, 255, 255))
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(
        cv2.resize(image, None, fx=3, fy=3, interpolation=cv2.INTER_CUBIC)
    )
    assert text == "/wall/kiln"
    visit.check()


@needs_browser
def test_sweeping_with_the_tape_moves_the_place_asked_about(visit):
    page = visit.open("/wall/street?at=6ft")
    box = page.locator("#tape").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 96, y, steps=8)  # the tape to the left: the needle comes to the right
    page.mouse.up()
    moved_m = 96 / 640
    expect(page.locator(".answer")).to_have_attribute("data-offset-m", f"{1.8288 + moved_m:.4f}"[:6].rstrip("0"))
    assert page.input_value("#at").startswith("6 ft ") and page.input_value("#at") != "6 ft 0 in"
    assert page.get_attribute("#tape", "aria-valuetext") == page.input_value("#at")
    visit.check()


@needs_browser
def test_tape_by_keys_stops_at_the_ends_of_the_wall(browser, served):
    visit = Visit(browser, "desk", served.url)
    page = visit.open("/wall/street?at=6ft")
    page.locator("#tape").focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("#at")).to_have_value("6 ft 1 in")
    page.keyboard.press("End")
    expect(page.locator("#at")).to_have_value("23 ft 11-5/8 in")
    page.keyboard.press("Home")
    expect(page.locator("#at")).to_have_value(re.compile(r"^0 (ft 0 )?in$"))
    visit.check()
    visit.context.close()


@needs_browser
def test_page_at_the_wall_and_its_pictures_outlive_the_viewer(browser, record_folder):
    served = Served(record_folder)
    visit = Visit(browser, "phone", served.url)
    visit.open("/wall/kiln?at=4ft&height=4ft")
    visit.wait_for_keeper()
    page = visit.open("/wall/street?at=6ft&height=4ft")
    page.wait_for_load_state("networkidle")
    served.stop()
    page.reload()
    page.wait_for_selector(".problem")
    assert "6 ft 0 in from the left end" in page.inner_text(".verdict")
    loaded = page.evaluate(
        """async () => {
          const href = document.querySelector('.answer-pictures image').href.baseVal;
          const answer = await fetch(href);
          return [answer.ok, (await answer.blob()).type];
        }"""
    )
    assert loaded == [True, "image/jpeg"]
    page.get_by_role("button", name="Move right").click()
    page.wait_for_selector("#answer .problem")
    assert "Nothing is known about this place" in page.inner_text("#answer")
    visit.context.close()
