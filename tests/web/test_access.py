"""The door: who is let in from the network, and how often one may guess."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
import urllib.request

import cv2
import numpy as np
import pytest

from asbuilt.web import access, create_app
from tests.web.conftest import Served, Visit, needs_browser

CODE, ADDRESS = "ABC234", "192.168.7.9"
OUTSIDE = {"REMOTE_ADDR": "192.168.7.20"}


@pytest.fixture
def app(record_folder):
    made = create_app(record_folder, access_code=CODE, lan_address=ADDRESS)
    made.config["PORT"] = 8340
    return made


@pytest.fixture
def outside(app):
    client = app.test_client()
    client.environ_base |= OUTSIDE
    return client


def csrf(client) -> str:
    return re.search(r'name="csrf" content="([^"]+)"', client.get("/enter").text)[1]


def give(client, code):
    return client.post("/enter", data={"code": code, "csrf_token": csrf(client)})


def test_nothing_is_shown_from_the_network_without_the_code(outside):
    for address in (
        "/",
        "/faces/street?at=6ft",
        "/pictures",
        "/pictures/open_01/image.jpg?size=320",
        "/circuits",
        "/share",
    ):
        response = outside.get(address)
        assert response.status_code == 303 and response.location == "/enter", address
    twin = outside.get("/faces/street.json")
    assert twin.status_code == 401 and twin.json["error"]["status"] == 401
    assert outside.put("/uploads/" + "0" * 32, data=b"x").status_code in (401, 403)
    assert "Quarry" not in outside.get("/enter").text


def test_code_opens_the_door_however_it_is_typed(app):
    for typed in (CODE, "abc234", " abc-234 "):
        client = app.test_client()
        client.environ_base |= OUTSIDE
        assert give(client, typed).status_code == 303
        assert client.get("/faces/street?at=6ft").status_code == 200


def test_scanned_code_opens_the_door(outside):
    assert outside.get(f"/enter?code={CODE}").status_code == 303
    assert outside.get("/").status_code == 200


def test_this_machine_needs_no_code(app):
    assert app.test_client().get("/").status_code == 200


def test_wrong_codes_are_soon_not_heard_any_more(app, outside):
    for _ in range(access.TRIES):
        assert give(outside, "WRONG2").status_code == 403
    assert give(outside, CODE).status_code == 429
    other = app.test_client()
    other.environ_base |= {"REMOTE_ADDR": "192.168.7.21"}
    assert give(other, CODE).status_code == 303


def test_many_addresses_together_are_not_heard_either(app):
    for n in range(access.ALL_TRIES):
        client = app.test_client()
        client.environ_base |= {"REMOTE_ADDR": f"192.168.8.{n}"}
        client.get("/enter?code=WRONG2")
    late = app.test_client()
    late.environ_base |= {"REMOTE_ADDR": "192.168.9.1"}
    assert late.get(f"/enter?code={CODE}").status_code == 429


def test_tries_come_back_after_a_while(monkeypatch):
    clock = [0.0]
    monkeypatch.setattr(access.time, "monotonic", lambda: clock[0])
    attempts = access.Attempts()
    for _ in range(access.TRIES):
        attempts.wrong("a")
    assert attempts.too_many("a") and not attempts.too_many("b")
    clock[0] = access.WINDOW_S + 1
    assert not attempts.too_many("a")


def test_codes_differ_and_are_easy_to_read():
    codes = {access.new_code() for _ in range(200)}
    assert len(codes) == 200 and all(set(c) <= set(access.ALPHABET) and len(c) == access.CODE_LENGTH for c in codes)


def test_network_address_is_an_allowed_host_others_are_not(app):
    client = app.test_client()
    assert client.get("/", headers={"Host": f"{ADDRESS}:8340"}).status_code == 200
    assert client.get("/", headers={"Host": "192.168.7.10:8340"}).status_code == 421


@needs_browser
def test_qr_code_on_the_page_holds_the_way_in(browser, record_folder):
    served = Served(record_folder, access_code=CODE, lan_address=ADDRESS)
    visit = Visit(browser, "desk", served.url)
    page = visit.open("/share")
    shot = cv2.imdecode(np.frombuffer(page.locator(".qr").screenshot(), np.uint8), cv2.IMREAD_COLOR)
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(shot)
    assert text == access.entry_url(ADDRESS, served.server.effective_port, CODE)
    visit.check()
    visit.context.close()
    served.stop()


def start(*arguments: str) -> tuple[subprocess.Popen, str]:
    command = [sys.executable, "-c", "from asbuilt.cli import main; main()", "serve", *arguments]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    line = process.stdout.readline()
    return process, re.search(r"http://127\.0\.0\.1:\d+/", line)[0]


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_serve_prints_its_address_answers_and_stops_cleanly(record_folder, how):
    process, url = start(str(record_folder), "--port", "0", "--no-open")
    try:
        with urllib.request.urlopen(url + "index.json", timeout=20) as answer:
            assert answer.status == 200
    finally:
        process.send_signal(how)
        out, err = process.communicate(timeout=20)
    assert process.returncode == 0 and "stopped" in out and "Traceback" not in err


def test_serve_without_lan_cannot_be_reached_from_elsewhere(record_folder):
    address = access.lan_address()
    if address is None:
        pytest.skip("this machine is on no network, so nothing else could reach it")
    process, url = start(str(record_folder), "--port", "0", "--no-open")
    port = url.rsplit(":", 1)[1]
    try:
        with pytest.raises(OSError):
            urllib.request.urlopen(f"http://{address}:{port}", timeout=5)
    finally:
        process.terminate()
        process.communicate(timeout=20)


def test_port_in_use_is_an_error_in_one_line(record_folder):
    process, url = start(str(record_folder), "--port", "0", "--no-open")
    port = url.rstrip("/").rsplit(":", 1)[1]
    try:
        command = [
            sys.executable,
            "-c",
            "from asbuilt.cli import main; main()",
            "serve",
            str(record_folder),
            "--port",
            port,
        ]
        second = subprocess.run(command, capture_output=True, text=True, timeout=30)
    finally:
        process.terminate()
        process.communicate(timeout=20)
    assert second.returncode == 1 and second.stderr.count("\n") == 1 and "--port 0" in second.stderr
