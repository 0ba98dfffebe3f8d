"""The record over a photo of the finished wall, in the viewer and on the command line."""

from __future__ import annotations

import io

import pytest
from click.testing import CliRunner
from PIL import Image
from playwright.sync_api import expect

from asbuilt.cli.overlay import command
from asbuilt.errors import RecordError
from asbuilt.record import Media, Picture, Placement, Record
from tests.truth import truth
from tests.web.conftest import Visit, needs_browser, token

NAME = "closed_03"
PHOTO = next(p for p in truth()["closed_photos"] if p["file"].startswith(NAME))


@pytest.fixture
def today_folder(own_record_folder):
    """A record that was never told where the photos of the finished walls were taken from."""
    with Record.open(own_record_folder) as record:
        for picture in record.all(Picture, stage="covered"):
            record.clear(Placement, id=picture.id)
    return own_record_folder


def mark(client, cover):
    data = {"csrf_token": token(client), "face_id": "kiln", "reference_id": f"plate-{cover['box']}"}
    data |= {"x_px": str(cover["u"]), "y_px": str(cover["v"])}
    return client.post(f"/pictures/{NAME}/known", data=data, headers={"Accept": "application/json"})


def test_nothing_is_drawn_before_enough_is_marked(today_folder, own_client):
    data = own_client.get(f"/pictures/{NAME}/today.json").json
    assert "0 of the 4" in data["refused"] and data["shown"] == []
    assert own_client.get(f"/pictures/{NAME}/today.jpg").status_code == 409
    assert "Nothing is laid over" in own_client.get(f"/pictures/{NAME}/today").text


def test_marked_photo_shows_runs_boxes_and_studs_with_bands(today_folder, own_client):
    for cover in PHOTO["covers_visible"]:
        assert mark(own_client, cover).status_code == 200
    data = own_client.get(f"/pictures/{NAME}/today.json").json
    assert not data["refused"]
    assert {s["status"] for s in data["shown"]} >= {"seen", "stud"}
    assert all(s["band_px"] for s in data["shown"])
    text = own_client.get(f"/pictures/{NAME}/today").text
    assert "Before you drill or cut" in text and "known places; off by" in text


def test_covers_and_corners_of_the_finished_wall_are_offered(today_folder, own_client):
    words = [p["words"] for p in own_client.get(f"/pictures/{NAME}/known.json").json["places"]]
    assert sum("cover of" in w for w in words) == len(PHOTO["covers_visible"])
    open_words = [p["words"] for p in own_client.get("/pictures/open_05/known.json").json["places"]]
    assert not any("cover of" in w for w in open_words)


def test_overlay_command_writes_a_jpeg_or_says_why_not(today_folder, own_client, tmp_path):
    out = tmp_path / "xray.jpg"
    refused = CliRunner().invoke(command, [str(today_folder), f"{NAME}.jpg", str(out)])
    assert isinstance(refused.exception, RecordError) and not out.exists()
    for cover in PHOTO["covers_visible"]:
        mark(own_client, cover)
    done = CliRunner().invoke(command, [str(today_folder), f"{NAME}.jpg", str(out)])
    assert done.exit_code == 0, done.output
    image = Image.open(io.BytesIO(out.read_bytes()))
    assert image.width == 3000 and image.height > 2250
    original = Image.open(today_folder / _path(today_folder))
    assert image.crop((0, 0, 3000, 2250)).tobytes() != original.convert("RGB").tobytes()
    again = CliRunner().invoke(command, [str(today_folder), f"{NAME}.jpg", str(out)])
    assert "--overwrite" in str(again.exception)


def _path(folder) -> str:
    with Record.open(folder) as record:
        return record.get(Media, record.get(Picture, NAME).media_id).path


@needs_browser
@pytest.mark.parametrize("screen", ["desk", "phone"])
def test_marking_covers_and_seeing_through_the_wall(browser, today_folder, own_served, screen):
    visit = Visit(browser, screen, own_served.url)
    page = visit.open(f"/pictures/{NAME}")
    expect(page.locator("#known")).to_be_visible()
    for cover in PHOTO["covers_visible"]:
        page.locator("#board").scroll_into_view_if_needed()
        photo = page.locator("#photo image").bounding_box()
        visit.press(photo["x"] + cover["u"] / 3000 * photo["width"], photo["y"] + cover["v"] / 2250 * photo["height"])
        page.select_option("#reference_id", f"plate-{cover['box']}")
        page.get_by_role("button", name="Mark this place").click()
        expect(page.locator("#known-status")).to_have_text("marked")
        page.evaluate("document.getElementById('known-status').textContent = ''")
    expect(page.locator(".fit")).to_contain_text(f"{len(PHOTO['covers_visible'])} known places")
    page.get_by_role("link", name="What is behind this wall").click()
    page.wait_for_load_state("networkidle")
    assert page.locator(".over-line").count() > 10
    band = page.locator("[data-band]").first
    assert band.is_visible()
    page.get_by_role("button", name="Error bands").click()
    assert not band.is_visible()
    visit.check()
    visit.context.close()


def test_overlay_command_finds_the_cover_plates_itself(today_folder, tmp_path):
    out = tmp_path / "overlay.jpg"
    done = CliRunner().invoke(command, [str(today_folder), f"{NAME}.jpg", str(out), "--propose"])
    assert done.exit_code == 0, done.output
    assert done.output.count("marked: middle of the cover") == len(PHOTO["covers_visible"])
    assert out.stat().st_size > 100_000
    other = CliRunner().invoke(command, [str(today_folder), "closed_01.jpg", str(tmp_path / "b.jpg"), "--propose"])
    assert isinstance(other.exception, RecordError) and "by hand" in str(other.exception)
