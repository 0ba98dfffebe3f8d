"""The wall's own picture under its drawing: right tiles, right places."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from asbuilt.record import Face, Record
from asbuilt.record.elevation_row import Elevation
from asbuilt.record.elevations import FOLDER, TILE_PX, TileWriter, elevation_id
from asbuilt.web import create_app
from tests.web.conftest import Served, Visit, needs_browser

SCALE = 300.0  # px per metre
EDGE_M, LEVEL_M = 6 * 0.3048, 4 * 0.3048  # where the colours change


def paint(record, depth_m: float, hue: tuple[int, int, int]) -> Elevation:
    """A picture whose colour changes at 6 ft along and 4 ft up."""
    face = record.get(Face, "kiln")
    height_px, width_px = round(face.height_m * SCALE), round(face.length_m * SCALE)
    image = np.full((height_px, width_px, 3), 40, np.uint8)
    image[:, round(EDGE_M * SCALE) :] = hue
    image[: height_px - round(LEVEL_M * SCALE)] //= 2
    name = elevation_id("kiln", depth_m)
    made = Elevation(
        id=name, face_id="kiln", created_at="2026-03-15T10:00:00+00:00", depth_m=depth_m, scale_px_per_m=SCALE,
        width_px=width_px, height_px=height_px, tile_px=TILE_PX, levels=3, folder=str(FOLDER / "kiln" / f"{name}-abc"),
        seen_share=1.0, cell_m=0.0254, rows=1, cols=1, input_hash=f"{name}0123456789abcdef",
    )  # fmt: skip
    (record.folder / made.folder).parent.mkdir(parents=True, exist_ok=True)
    writer = TileWriter(record, made)
    for col in range(0, width_px, 4 * TILE_PX):
        writer.add(col, image[:, col : col + 4 * TILE_PX])
    writer.finish({})
    record.put(made)
    return made


@pytest.fixture
def pictured(own_record_folder):
    with Record.open(own_record_folder) as record:
        paint(record, 0.0, (60, 60, 220))
        paint(record, 0.05, (220, 60, 60))
    return own_record_folder


def test_tiles_are_sent_and_nothing_else(pictured):
    client = create_app(pictured).test_client()
    with Record.open(pictured) as record:
        (front, back) = sorted(record.all(Elevation), key=lambda e: e.depth_m)
    tile = client.get(f"/faces/kiln/tiles/{front.id}/0/0_0.jpg")
    image = cv2.imdecode(np.frombuffer(tile.data, np.uint8), cv2.IMREAD_COLOR)
    assert tile.mimetype == "image/jpeg" and image.shape == (TILE_PX, TILE_PX, 3)
    assert "immutable" in tile.headers["Cache-Control"]
    for wrong in (
        f"/faces/kiln/tiles/{front.id}/0/99_0.jpg",
        f"/faces/kiln/tiles/{front.id}/7/0_0.jpg",
        f"/faces/kiln/tiles/{front.id}/0/-1_0.jpg",
        f"/faces/street/tiles/{front.id}/0/0_0.jpg",
        "/faces/kiln/tiles/none/0/0_0.jpg",
        f"/faces/kiln/tiles/{front.id}/0/..%2f..%2frecord.db",
    ):
        assert client.get(wrong).status_code == 404, wrong


def edge_px(page, row_share: float) -> float:
    """Where, from the left of the board, grey first turns red, at a height of the board."""
    shot = cv2.imdecode(np.frombuffer(page.locator("#board").screenshot(), np.uint8), cv2.IMREAD_COLOR)
    row = shot[int(row_share * shot.shape[0])].astype(int)
    redness = row[:, 2] - row[:, 0]
    step = np.abs(redness[4:] - redness[:-4])
    return (
        float(np.argmax(step > 0.6 * step.max()) + 2) * page.locator("#board").bounding_box()["width"] / shot.shape[1]
    )


@needs_browser
@pytest.mark.parametrize("screen", ["desk", "phone"])
def test_picture_lies_true_to_scale_under_the_drawing(browser, pictured, screen):
    served = Served(pictured)
    visit = Visit(browser, screen, served.url)
    page = visit.open("/faces/kiln")
    for name in ("power", "studs", "plumbing", "coverage", "outline", "heights", "tape", "special"):
        page.evaluate("(n) => document.querySelectorAll(`[data-layer='${n}']`).forEach((e) => e.remove())", name)
    page.get_by_role("button", name="Wall picture").click()
    for zooms in (0, 2):
        for _ in range(zooms):
            page.locator('[data-board="in"]').click()
        page.locator("#board").focus()
        for _ in range(10):
            if 30 < (at := line_px(page)) < page.locator("#board").bounding_box()["width"] - 30:
                break
            page.keyboard.press("ArrowLeft" if at < 30 else "ArrowRight")
            page.wait_for_timeout(250)
        page.wait_for_timeout(400)
        page.wait_for_load_state("networkidle")
        page.wait_for_timeout(300)
        assert edge_px(page, 0.45) == pytest.approx(line_px(page), abs=3.0)
    visit.check()
    visit.context.close()
    served.stop()


def line_px(page) -> float:
    """Where 6 ft lies on the board by the drawing's own scale."""
    return page.evaluate(
        """(mm) => {
          const svg = document.getElementById('elevation');
          const m = svg.getScreenCTM();
          const left = document.getElementById('board').getBoundingClientRect().left;
          return m.e + (mm - Number(svg.dataset.leftMm)) * m.a - left;
        }""",
        EDGE_M * 1000,
    )


@needs_browser
def test_sliding_from_the_stud_face_into_the_cavity(browser, pictured):
    served = Served(pictured)
    visit = Visit(browser, "desk", served.url)
    page = visit.open("/faces/kiln")
    assert not [u for u in visit.requested if "/tiles/" in u]  # nothing is loaded before it is asked for
    page.get_by_role("button", name="Wall picture").click()
    page.wait_for_load_state("networkidle")
    page.locator("#plane").fill("1")
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(500)
    shot = cv2.imdecode(np.frombuffer(page.locator("#board").screenshot(), np.uint8), cv2.IMREAD_COLOR)
    blue_minus_red = shot[..., 0].astype(int) - shot[..., 2]
    assert (blue_minus_red > 60).mean() > 0.1 and (blue_minus_red < -60).mean() < 0.02
    visit.context.close()
    served.stop()
