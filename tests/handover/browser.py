"""A real browser over files on disk, in which every request and every complaint is noted."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

CHROMIUM = Path("/usr/bin/chromium")
needs_browser = pytest.mark.skipif(not CHROMIUM.exists(), reason=f"no browser at {CHROMIUM}; install chromium")
SCREENS: dict[str, dict] = {
    "desktop": {"viewport": {"width": 1280, "height": 800}},
    "phone": {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True,
              "device_scale_factor": 2},
}  # fmt: skip


@contextmanager
def browser():
    """Chromium, started once."""
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        try:
            yield opened
        finally:
            opened.close()


class Pages:
    """Pages of one screen, with what they asked for and complained about."""

    def __init__(self, opened, screen: str) -> None:
        self.context = opened.new_context(**SCREENS[screen])
        self.page = self.context.new_page()
        self.requested: list[str] = []
        self.complaints: list[str] = []
        self.context.on("request", lambda r: self.requested.append(r.url))
        self.page.on("console", lambda m: m.type in ("error", "warning") and self.complaints.append(m.text))
        self.page.on("pageerror", lambda e: self.complaints.append(str(e)))

    @property
    def is_phone(self) -> bool:
        return self.page.viewport_size["width"] < 500

    def open(self, path: Path, place: str = ""):
        self.page.goto(path.as_uri() + place)
        self.page.wait_for_load_state("load")
        return self.page

    def check(self, folder: Path) -> None:
        """Nothing was asked of anything but the files beside the page, and nothing went wrong."""
        own = folder.resolve().as_uri() + "/"
        assert [u for u in self.requested if not u.startswith((own, "data:"))] == []
        assert self.complaints == []
