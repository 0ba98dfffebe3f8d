"""How long going through the proposals of a face keeps a person waiting, in a real browser.

    python -m tests.benchmarks.review RECORD FACE [--chromium /usr/bin/chromium]

RECORD is a placed record with proposals on FACE; a copy of it is used. Every proposal is accepted
with one key. Told are the proposals, keys, and from each key until the next proposal stands
drawn over its picture; and what three minutes for a face leave a person to look at each. How long a person
looks is not measured: nobody sits before it.
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
from playwright.sync_api import sync_playwright
from waitress import create_server

from asbuilt.record import Face, Record
from asbuilt.record.proposal_row import PROPOSED, Proposal
from asbuilt.web import create_app
from tests.benchmarks.viewer import SCREENS

GIVEN_S = 180.0
# The next proposal is there when its line is drawn and its picture is decoded.
DRAWN = """async (before) => {
  const shown = document.getElementById('photo').dataset.shows;
  if (!shown || shown === before) return null;
  if (shown === 'none') return shown;
  const probe = new Image();
  probe.src = document.querySelector('#photo image').getAttribute('href');
  await probe.decode();
  return shown;
}"""


def only_face(folder: Path, face_id: str) -> tuple[int, float]:
    """Leave the proposals of one face; how many there are, and how long the face is [m]."""
    with Record.open(folder) as record:
        for proposal in record.all(Proposal, state=PROPOSED):
            if proposal.face_id != face_id:
                record.remove(Proposal, proposal.id)
        return len(record.all(Proposal, state=PROPOSED)), record.get(Face, face_id).length_m


def go_through(page, url: str, count: int) -> tuple[float, list[float]]:
    """Seconds until the first proposal is drawn, and from each key to the next one."""
    start = time.perf_counter()
    page.goto(url + "/review", wait_until="load")
    shown, waits = _drawn(page, ""), []
    first_s = time.perf_counter() - start
    for _ in range(count):
        start = time.perf_counter()
        page.keyboard.press("a")
        shown = _drawn(page, shown)
        waits.append(time.perf_counter() - start)
    return first_s, waits


def _drawn(page, before: str) -> str:
    for _ in range(3000):
        text = page.evaluate(DRAWN, before)
        if text:
            return text
        time.sleep(0.01)
    said = page.evaluate("document.getElementById('problem').textContent")
    raise TimeoutError(f"the next proposal did not come within 30 s; the page says: {said}")


def main() -> None:
    """Measure and print."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("record")
    options.add_argument("face")
    options.add_argument("--chromium", default="/usr/bin/chromium")
    chosen = options.parse_args()
    for screen in SCREENS:
        with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
            copy = Path(shutil.copytree(chosen.record, Path(folder) / "record"))
            count, length_m = only_face(copy, chosen.face)
            server = create_server(create_app(copy), host="127.0.0.1", port=0, threads=8)
            threading.Thread(target=server.run, daemon=True).start()
            browser = playwright.chromium.launch(executable_path=chosen.chromium, args=["--no-sandbox"])
            page = browser.new_context(**SCREENS[screen]).new_page()
            first_s, waits = go_through(page, f"http://127.0.0.1:{server.effective_port}", count)
            total_s = first_s + sum(waits)
            for name, value in (
                ("face, ft", length_m / 0.3048), ("proposals", count), ("keys", count), ("first one drawn, s", first_s),
                ("key to next, median s", float(np.median(waits))), ("key to next, worst s", max(waits)),
                ("waiting in all, s", total_s), ("left to look at each, s", (GIVEN_S - total_s) / max(count, 1)),
            ):  # fmt: skip
                print(f"{screen:6} {name:26} {value:8.2f}")
            browser.close()
            server.close()


if __name__ == "__main__":
    main()
