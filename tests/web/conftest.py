"""A viewer over the sample room's truth, in the test client and in a real server."""

from __future__ import annotations

import re
import shutil
import threading
from pathlib import Path

import pytest
from waitress import create_server

from asbuilt.steps import coverage
from asbuilt.web import create_app
from tests.truth import truth_record

MEDIA = Path(__file__).parents[2] / "sample_media"


@pytest.fixture(scope="session")
def _filled(tmp_path_factory):
    """One record with media and coverage, to be copied by tests that change it."""
    folder = tmp_path_factory.mktemp("viewer") / "record"
    with truth_record(folder, sigma_m=0.006, frame_step=24, media_folder=MEDIA) as record:
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

    def __init__(self, folder) -> None:
        self.server = create_server(create_app(folder, author="tester"), host="127.0.0.1", port=0, threads=4)
        self.url = f"http://127.0.0.1:{self.server.effective_port}"
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()

    def stop(self) -> None:
        self.server.close()
        self.thread.join(timeout=10)


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
