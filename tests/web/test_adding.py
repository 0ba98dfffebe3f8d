"""Files sent from a phone in pieces, and the work on them."""

from __future__ import annotations

import json
import time

import pytest
from playwright.sync_api import expect

from asbuilt.record import Media, Picture, Placement, Record, incoming
from asbuilt.record.plan import load_plan
from asbuilt.web import create_app
from tests.web.conftest import MEDIA, Served, Visit, needs_browser, token

PHOTO = MEDIA / "open_01.jpg"


@pytest.fixture
def bare_folder(tmp_path):
    """A record with a plan and no pictures."""
    with Record.create(tmp_path / "record", "House") as record:
        load_plan(record, MEDIA / "plan.toml")
    return tmp_path / "record"


@pytest.fixture
def app(bare_folder):
    made = create_app(bare_folder, author="tester")
    yield made
    made.extensions["worker"].stop()


@pytest.fixture
def client(app):
    return app.test_client()


class Sender:
    """Sends a file as the page does."""

    def __init__(self, client) -> None:
        self.client, self.headers = client, {"X-Csrf-Token": token(client), "Accept": "application/json"}

    def begin(self, name: str, size: int, key: str = "1"):
        form = {"name": name, "byte_count": str(size), "key": key}
        return self.client.post("/uploads", data=form, headers=self.headers)

    def piece(self, upload_id: str, offset: int, data: bytes):
        return self.client.put(f"/uploads/{upload_id}?offset={offset}", data=data, headers=self.headers)

    def whole(self, name: str, data: bytes):
        upload_id = self.begin(name, len(data)).json["id"]
        return self.piece(upload_id, 0, data)


def wait_until_idle(app, limit_s: float = 120.0):
    state, end_s = app.extensions["worker"].state, time.monotonic() + limit_s
    while state.running and time.monotonic() < end_s:
        state = app.extensions["worker"].wait_for_change(state.version, 5.0)
    assert not state.running
    return state


def test_photo_of_the_finished_wall_is_kept_as_one(app, client, bare_folder):
    sender, data = Sender(client), (MEDIA / "closed_01.jpg").read_bytes()
    form = {"name": "after.jpg", "byte_count": str(len(data)), "key": "1", "stage": "covered"}
    upload_id = client.post("/uploads", data=form, headers=sender.headers).json["id"]
    sender.piece(upload_id, 0, data)
    wait_until_idle(app)
    with Record.open(bare_folder) as record:
        (picture,) = record.all(Picture)
    assert picture.stage == "covered"
    assert client.post("/uploads", data=form | {"stage": "halfway"}, headers=sender.headers).status_code == 400


def test_photo_sent_in_pieces_is_taken_in_and_placed(app, client, bare_folder):
    sender, data = Sender(client), PHOTO.read_bytes()
    upload_id = sender.begin("open_01.jpg", len(data)).json["id"]
    half = len(data) // 2
    assert sender.piece(upload_id, 0, data[:half]).json["received_count"] == half
    assert sender.piece(upload_id, half, data[half:]).json["received_count"] == len(data)
    state = wait_until_idle(app)
    with Record.open(bare_folder) as record:
        (media,) = record.all(Media)
        (picture,) = record.all(Picture)
        assert (record.folder / media.path).read_bytes() == data
        assert record.get(Placement, picture.id).status == "placed"
        assert incoming.whole_files(record) == []
    assert media.name == "open_01.jpg"
    assert any("1 pictures placed" in note for note in state.notes)


def test_transfer_goes_on_where_it_broke_off_even_in_a_new_process(client, bare_folder):
    sender, data = Sender(client), PHOTO.read_bytes()
    upload_id = sender.begin("a.jpg", len(data)).json["id"]
    sender.piece(upload_id, 0, data[:1000])
    again = create_app(bare_folder).test_client()
    begun = Sender(again).begin("a.jpg", len(data)).json
    assert (begun["id"], begun["received_count"]) == (upload_id, 1000)
    other = Sender(again).begin("a.jpg", len(data), key="another date").json
    assert other["id"] != upload_id and other["received_count"] == 0


def test_piece_that_does_not_follow_on_is_refused_and_says_where_to_go_on(client):
    sender = Sender(client)
    upload_id = sender.begin("a.jpg", 1000).json["id"]
    sender.piece(upload_id, 0, b"x" * 100)
    for offset in (0, 50, 200):
        answer = sender.piece(upload_id, offset, b"y" * 100)
        assert answer.status_code == 409 and answer.json["received_count"] == 100
    assert sender.piece(upload_id, 100, b"z" * 901).status_code == 400
    assert sender.piece("0" * 32, 0, b"x").status_code == 404
    assert sender.piece("..", 0, b"x").status_code in (404, 405)


def test_file_known_already_is_recognised(app, client, bare_folder):
    sender, data = Sender(client), PHOTO.read_bytes()
    sender.whole("one.jpg", data)
    wait_until_idle(app)
    sender.whole("two.jpg", data)
    state = wait_until_idle(app)
    with Record.open(bare_folder) as record:
        assert len(record.all(Media)) == 1
    assert any("two.jpg" in note and "already" in note for note in state.notes)


def test_file_that_is_no_picture_gives_one_line_and_leaves_nothing_behind(app, client, bare_folder):
    Sender(client).whole("notes.jpg", b"not a picture at all")
    state = wait_until_idle(app)
    assert sum("notes.jpg" in note for note in state.notes) == 1
    with Record.open(bare_folder) as record:
        assert not record.all(Media) and not list((record.folder / incoming.FOLDER).glob("*"))


@pytest.mark.parametrize(
    ("name", "plain"),
    [
        ("../../evil.jpg", "evil.jpg"),
        ("..\\..\\evil.jpg", "evil.jpg"),
        ("/etc/passwd", "passwd"),
        ("..", "unnamed"),
        (".hidden.jpg", "hidden.jpg"),
        ("a\x00b\n.jpg", "ab.jpg"),
        ("", "unnamed"),
        ("x" * 300 + ".jpeg", "x" * 111 + ".jpeg"),
        ("Küche 1.jpg", "Küche 1.jpg"),
    ],
)
def test_names_lose_what_could_lead_astray(client, bare_folder, name, plain):
    assert incoming.plain_name(name) == plain
    begun = Sender(client).begin(name, 10).json
    assert begun["name"] == plain
    inside = {p.relative_to(bare_folder).parts[0] for p in bare_folder.rglob("*")}
    assert inside <= {"incoming", "media", "record.db", "record.db-wal", "record.db-shm"}


@pytest.mark.parametrize("size", [0, -5, 10**15])
def test_impossible_sizes_are_refused(client, size):
    answer = Sender(client).begin("a.mp4", size)
    assert answer.status_code == 400 and "a.mp4" in answer.json["error"]["message"]


def test_piece_beyond_the_limit_is_refused(client):
    sender = Sender(client)
    upload_id = sender.begin("a.mp4", 10**8).json["id"]
    assert sender.piece(upload_id, 0, bytes(5 * 1024 * 1024)).status_code == 413


def test_sending_needs_the_form_secret(client):
    client.get("/")
    assert client.post("/uploads", data={"name": "a.jpg", "byte_count": "10"}).status_code == 403
    assert client.put("/uploads/" + "0" * 32 + "?offset=0", data=b"x").status_code == 403


def test_events_tell_the_state_as_json(client):
    stream = client.get("/work/events", buffered=False).iter_encoded()
    told = next(stream) + next(stream)
    stream.close()
    assert told.startswith(b"retry: 1000")
    state = json.loads(told.split(b"data: ")[1])
    assert state["running"] is False and state["notes"] == []


def test_work_that_dies_is_told_and_can_be_started_again(app, client, bare_folder):
    data = PHOTO.read_bytes()
    Sender(client).whole("open_01.jpg", data)
    worker = app.extensions["worker"]
    while worker._process is None:
        time.sleep(0.01)
    worker._process.kill()
    state = wait_until_idle(app)
    assert any("stopped before its end" in note for note in state.notes)
    worker.ask("intake")
    wait_until_idle(app)
    with Record.open(bare_folder) as record:
        assert [m.name for m in record.all(Media)] == ["open_01.jpg"]


@needs_browser
@pytest.mark.parametrize("screen", ["desk", "phone"])
def test_sending_from_a_browser_through_a_broken_connection(browser, bare_folder, screen):
    served = Served(bare_folder)
    visit = Visit(browser, screen, served.url)
    page = visit.page
    page.goto(served.url + "/add")
    broken = []

    def break_once(route):
        if broken:
            route.continue_()
        else:
            broken.append(route.request.url)
            route.abort("connectionreset")

    page.route("**/uploads/*", break_once)
    page.set_input_files("#files", [str(PHOTO)])
    expect(page.locator("#transfers li span.soft")).to_have_text("sent", timeout=30_000)
    assert broken
    expect(page.locator("#work-notes")).to_contain_text("pictures placed", timeout=90_000)
    page.goto(served.url + "/pictures")
    assert page.locator(".thumb").count() == 1
    assert not [u for u in visit.requested if not u.startswith(served.url + "/")]
    visit.context.close()
    served.stop()
