"""How heavy and how quick the viewer's pages are, in a real browser.

    python -m tests.benchmarks.viewer [--items 500] [--chromium /usr/bin/chromium]

A face of 24 ft holds ``--items`` things and a wall picture at 20 px to the inch. Told are: bytes
and time of the first page; time until a tap on the face gives an answer; frames a second
while the wall is dragged to and fro with its picture on, at a desk and as on a phone. On a machine
that is busy with other things times say little: beside them stands what the page's own
thread was busy for (below 20 ms a frame it keeps up with 50 a second).
"""

from __future__ import annotations

import argparse
import tempfile
import threading
import time
from pathlib import Path

import cv2
import numpy as np
from playwright.sync_api import sync_playwright
from waitress import create_server

from asbuilt.record import Circuit, Face, Item, Position, Record, Room
from asbuilt.record.elevation_row import Elevation
from asbuilt.record.elevations import FOLDER, TILE_PX, TileWriter, elevation_id
from asbuilt.web import create_app

LENGTH_M, HEIGHT_M, SCALE = 7.3152, 2.7432, 20 / 0.0254
COV = ((3.6e-5, 0.0, 0.0), (0.0, 3.6e-5, 0.0), (0.0, 0.0, 1e-4))
SCREENS = {
    "desk": {"viewport": {"width": 1440, "height": 900}},
    "phone": {
        "viewport": {"width": 390, "height": 780},
        "has_touch": True,
        "is_mobile": True,
        "device_scale_factor": 2,
    },
}
# Bytes that came over the wire, headers included.
WEIGHT = """() => [...performance.getEntriesByType('navigation'), ...performance.getEntriesByType('resource')]
  .reduce((sum, entry) => sum + entry.transferSize, 0)"""
# Counts the frames of two seconds of dragging, one move a frame.
DRAG = """() => new Promise((done) => {
  const board = document.getElementById('board');
  const box = board.getBoundingClientRect();
  const at = (type, x) => board.dispatchEvent(new PointerEvent(type, {
    pointerId: 1, pointerType: 'mouse', clientX: x, clientY: box.top + box.height / 2, bubbles: true, button: 0 }));
  board.setPointerCapture = () => {};
  const middle = box.left + box.width / 2;
  at('pointerdown', middle);
  const times = [];
  const step = (now) => {
    times.push(now);
    at('pointermove', middle + 0.35 * box.width * Math.sin((now - times[0]) / 400));
    if (now - times[0] < 2000) requestAnimationFrame(step);
    else { at('pointerup', middle); done(times); }
  };
  requestAnimationFrame(step);
})"""


def filled(folder: Path, items: int) -> None:
    """One face with boxes, a cable up from each, and a picture of noise."""
    rng = np.random.default_rng(1)
    with Record.create(folder, "Bench") as record:
        record.put(Room(id="room", name="Room"))
        record.put(Face(id="face", room_id="room", title="Face", length_m=LENGTH_M, height_m=HEIGHT_M))
        record.put(*(Circuit(id=f"c{n}", number=str(n + 1), name=f"circuit {n}") for n in range(8)))
        rows: list = []
        for n in range(items // 2):
            x, z = rng.uniform(0.1, LENGTH_M - 0.1), rng.uniform(0.3, 1.6)
            circuit = f"c{n % 8}"
            rows += [Item(id=f"b{n}", kind="device box", label=f"box {n}", face_id="face", circuit_id=circuit)]
            rows += [Item(id=f"r{n}", kind="cable", label=f"run {n}", face_id="face", circuit_id=circuit)]
            rows += [_position(f"b{n}", 0, x, z), _position(f"r{n}", 0, x, z + 0.1), _position(f"r{n}", 1, x, HEIGHT_M)]
        record.put(*rows)
        _picture(record, rng)


def _position(item: str, order: int, x: float, z: float) -> Position:
    return Position(id=f"{item}/{order}", item_id=item, place=str(order), order_idx=order, face_id="face", offset_m=x,
                    height_m=z, depth_m=0.05, covariance=COV, method="intersected", picture_count=2)  # fmt: skip


def _picture(record: Record, rng: np.random.Generator) -> None:
    width, height = round(LENGTH_M * SCALE), round(HEIGHT_M * SCALE)
    coarse = rng.integers(60, 200, (height // 16, width // 16, 3), dtype=np.uint8)
    image = cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC)
    made = Elevation(
        id=elevation_id("face", 0.0), face_id="face", created_at="2026-01-01T00:00:00+00:00", depth_m=0.0,
        scale_px_per_m=SCALE, width_px=width, height_px=height, tile_px=TILE_PX, levels=5,
        folder=str(FOLDER / "face" / "front-1"), seen_share=1.0, cell_m=0.0254, rows=1, cols=1, input_hash="bench",
    )  # fmt: skip
    (record.folder / made.folder).parent.mkdir(parents=True)
    writer = TileWriter(record, made)
    for col in range(0, width, 4 * TILE_PX):
        writer.add(col, image[:, col : col + 4 * TILE_PX])
    writer.finish({})
    record.put(made)


class _BusyThread:
    """How long a page's main thread worked, in its own processor time where the browser tells that."""

    def __init__(self, session) -> None:
        self.session, self.last_s = session, 0.0
        session.send("Performance.setTimeDomain", {"timeDomain": "threadTicks"})
        session.send("Performance.enable")

    def since(self) -> float:
        """Seconds since this was last asked."""
        metrics = {m["name"]: m["value"] for m in self.session.send("Performance.getMetrics")["metrics"]}
        before, self.last_s = self.last_s, metrics["TaskDuration"]
        return max(self.last_s - before, 0.0)


def measure(browser, url: str, screen: str) -> dict[str, float]:
    """The figures of one screen."""
    context = browser.new_context(**SCREENS[screen])
    page = context.new_page()
    busy = _BusyThread(context.new_cdp_session(page))
    start = time.perf_counter()
    page.goto(url + "/", wait_until="load")
    told = {"first page, s": time.perf_counter() - start}
    page.wait_for_load_state("networkidle")
    told["first page, kB"] = page.evaluate(WEIGHT) / 1000
    start, served_s = time.perf_counter(), time.process_time()
    busy.since()
    page.goto(url + "/faces/face", wait_until="load")
    page.wait_for_selector("#holes", state="attached")  # put there by the last thing the script does
    told["face ready to tap, s"] = time.perf_counter() - start
    told["  the page's thread busy, s"] = busy.since()
    told["  this process busy, s"] = time.process_time() - served_s
    start = time.perf_counter()
    page.locator("#board").click()
    page.wait_for_selector(".answer")
    told["tap to answer, s"] = time.perf_counter() - start
    page.get_by_role("button", name="Wall picture").click()
    page.locator('[data-board="in"]').click()
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(1500)
    busy.since()
    gaps = np.diff(page.evaluate(DRAG))
    told["frames a second"] = 1000 / float(np.mean(gaps))
    told["  the page's thread busy, ms a frame"] = 1000 * busy.since() / (len(gaps) + 1)
    told["slowest 5 % of frames, ms"] = float(np.quantile(gaps, 0.95))
    context.close()
    return told


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--items", type=int, default=500)
    options.add_argument("--chromium", default="/usr/bin/chromium")
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        filled(Path(folder) / "record", chosen.items)
        server = create_server(create_app(Path(folder) / "record"), host="127.0.0.1", port=0, threads=8)
        threading.Thread(target=server.run, daemon=True).start()
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=chosen.chromium, args=["--no-sandbox"])
            for screen in SCREENS:
                for name, value in measure(browser, f"http://127.0.0.1:{server.effective_port}", screen).items():
                    print(f"{screen:6} {name:36} {value:8.2f}")
            browser.close()
        server.close()


if __name__ == "__main__":
    main()
