"""A viewer over the sample room's truth, in the test client and in a real server."""

from __future__ import annotations

import re
import shutil
import threading
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright
from waitress import create_server

from asbuilt.steps import coverage
from asbuilt.web import create_app
from tests.truth import solve, truth_record

MEDIA = Path(__file__).parents[2] / "sample_media"


@pytest.fixture(scope="session")
def _filled(tmp_path_factory):
    """One record with media and coverage, to be copied by tests that change it."""
    folder = tmp_path_factory.mktemp("viewer") / "record"
    with truth_record(folder, sigma_m=0.006, frame_step=24, media_folder=MEDIA) as record:
        solve(record)
        coverage.run(record)
    return folder


@pytest.fixture(scope="session")
def record_folder(_filled):
    """The record of tests that only look."""
    return _filled


@pytest.fixture
def own_record_folder(_filled, tmp_path):
    """A record of one's own to change."""
    return Path(shutil.copytree(_filled, tmp_path / "record"))


@pytest.fixture(scope="session")
def client(record_folder):
    return create_app(record_folder, author="tester").test_client()


@pytest.fixture
def own_client(own_record_folder):
    return create_app(own_record_folder, author="tester").test_client()


def token(client) -> str:
    """The form secret of a client's session."""
    return re.search(r'name="csrf" content="([^"]+)"', client.get("/").text)[1]


class Served:
    """A viewer running in a thread on a free port."""

    def __init__(self, folder, **options) -> None:
        app = create_app(folder, author="tester", **options)
        self.server = create_server(app, host="127.0.0.1", port=0, threads=8)
        app.config["PORT"] = self.server.effective_port
        self.url = f"http://127.0.0.1:{self.server.effective_port}"
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()

    def stop(self) -> None:
        """Be gone as a process that ended is: no connection is left that is never answered."""
        self.server.trigger.pull_trigger(self._close)
        self.thread.join(timeout=10)

    def _close(self) -> None:
        for channel in list(self.server.active_channels.values()):
            channel.handle_close()
        self.server.close()


@pytest.fixture(scope="session")
def served(record_folder):
    viewer = Served(record_folder)
    yield viewer
    viewer.stop()


@pytest.fixture
def own_served(own_record_folder):
    viewer = Served(own_record_folder)
    yield viewer
    viewer.stop()


CHROMIUM = Path("/usr/bin/chromium")
needs_browser = pytest.mark.skipif(not CHROMIUM.exists(), reason=f"no browser at {CHROMIUM}; install chromium")
SCREENS = {
    "desk": {"viewport": {"width": 1440, "height": 900}},
    "phone": {
        "viewport": {"width": 390, "height": 780},
        "has_touch": True,
        "is_mobile": True,
        "device_scale_factor": 2,
    },
}


@pytest.fixture(scope="session")
def browser():
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        yield opened
        opened.close()


class Visit:
    """A page whose requests and complaints are noted."""

    def __init__(self, browser, screen: str, url: str) -> None:
        self.url = url
        self.context = browser.new_context(**SCREENS[screen])
        self.page = self.context.new_page()
        self.requested: list[str] = []
        self.complaints: list[str] = []
        self.context.on("request", lambda r: self.requested.append(r.url))
        self.page.on("console", lambda m: m.type in ("error", "warning") and self.complaints.append(m.text))
        self.page.on("pageerror", lambda e: self.complaints.append(str(e)))

    def wait_for_keeper(self) -> None:
        """Until the script that keeps pages has taken over; the next page opened goes through it."""
        self.page.wait_for_function("() => navigator.serviceWorker.controller !== null")

    @property
    def is_phone(self) -> bool:
        return self.page.viewport_size["width"] < 500

    def press(self, x: float, y: float) -> None:
        """A tap on the phone, a click at the desk."""
        self.page.touchscreen.tap(x, y) if self.is_phone else self.page.mouse.click(x, y)

    def open(self, path: str):
        self.page.goto(self.url + path)
        self.page.wait_for_load_state("networkidle")
        return self.page

    def check(self) -> None:
        """Nothing left this machine and nothing went wrong."""
        elsewhere = [u for u in self.requested if not u.startswith((self.url + "/", "data:"))]
        assert not elsewhere
        assert not self.complaints


@pytest.fixture(params=list(SCREENS))
def visit(request, browser, served):
    visited = Visit(browser, request.param, served.url)
    yield visited
    visited.context.close()
