"""What the viewer refuses, and what every answer carries."""

from __future__ import annotations

import pytest

from asbuilt.errors import RecordError
from asbuilt.record import Building, Face, Item, Media, Record, Sighting
from asbuilt.web import create_app
from tests.web.conftest import token

HOSTILE = '"><script>alert(1)</script><img src=x onerror=alert(1)>'


def test_policy_allows_nothing_from_elsewhere_and_nothing_inline(client):
    headers = client.get("/").headers
    policy = dict(part.split(" ", 1) for part in headers["Content-Security-Policy"].split("; "))
    assert policy["default-src"] == "'none'" and policy["frame-ancestors"] == "'none'"
    assert set(policy.values()) <= {"'none'", "'self'"}
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert client.get("/nowhere").headers["Content-Security-Policy"] == headers["Content-Security-Policy"]


def test_other_host_names_are_refused(client):
    assert client.get("/", headers={"Host": "evil.example"}).status_code == 421
    assert client.get("/", headers={"Host": "127.0.0.1.evil.example:8340"}).status_code == 421
    assert client.get("/", headers={"Host": "127.0.0.1:8340"}).status_code == 200


@pytest.mark.parametrize("sent", [{}, {"csrf_token": ""}, {"csrf_token": "guess"}])
def test_change_without_the_form_secret_is_refused(own_client, own_record_folder, sent):
    own_client.get("/")
    with Record.open(own_record_folder) as record:
        before = len(record.all(Item))
    data = {"kind": "cable", "x_px": "10", "y_px": "10"} | sent
    assert own_client.post("/pictures/open_01/sightings", data=data).status_code == 403
    with Record.open(own_record_folder) as record:
        assert len(record.all(Item)) == before


def test_change_without_any_session_is_refused(own_client):
    data = {"kind": "cable", "x_px": "10", "y_px": "10", "csrf_token": ""}
    assert own_client.post("/pictures/open_01/sightings", data=data).status_code == 403


def test_change_from_another_site_is_refused_even_with_the_secret(own_client):
    data = {"kind": "cable", "x_px": "10", "y_px": "10", "csrf_token": token(own_client)}
    headers = {"Sec-Fetch-Site": "cross-site"}
    assert own_client.post("/pictures/open_01/sightings", data=data, headers=headers).status_code == 403


def test_session_cookie_is_out_of_reach_of_scripts_and_other_sites(own_client):
    cookie = own_client.get("/").headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Lax" in cookie


@pytest.mark.parametrize(
    "path", ["../record.db", "..%2f..%2frecord.db", "%2e%2e/record.db", "....//record.db", "%2fetc%2fpasswd"]
)
def test_no_path_of_a_request_reaches_the_disk(client, path):
    for address in (f"/static/{path}", f"/pictures/{path}/image.jpg", f"/faces/{path}", f"/{path}"):
        response = client.get(address)
        assert response.status_code in (400, 404, 308)
        assert b"SQLite" not in response.data and b"root:" not in response.data


def test_too_large_a_form_is_refused(own_client):
    data = {"kind": "cable", "label": "x" * 400_000, "csrf_token": token(own_client)}
    assert own_client.post("/pictures/open_01/sightings", data=data).status_code == 413


def test_hostile_names_are_shown_as_text(own_client, own_record_folder):
    with Record.open(own_record_folder) as record:
        change(record, record.building, name=HOSTILE)
        change(record, record.get(Face, "street"), title=HOSTILE)
        item = next(i for i in record.all(Item, face_id="street") if i.kind == "device box")
        change(record, item, label=HOSTILE)
        media = next(m for m in record.all(Media) if m.name == "open_01.jpg")
        record.put(Media(**fields(media) | {"name": HOSTILE, "device": HOSTILE}))
    for address in (
        "/",
        "/faces/street?at=6ft",
        "/wall",
        "/wall/street?at=6ft",
        "/pictures",
        "/pictures/open_01",
        "/circuits",
    ):
        text = own_client.get(address).text
        assert "<script>alert" not in text and "<img src=x" not in text, address
        if address != "/circuits":
            assert "&lt;script&gt;" in text, address


def fields(row) -> dict:
    return {name: getattr(row, name) for name in row.__slots__}


def change(record, row, **values) -> None:
    record.put(type(row)(**fields(row) | values))


def test_viewer_of_a_folder_without_a_record_is_an_error_in_one_line(tmp_path):
    with pytest.raises(RecordError, match="not a record"):
        create_app(tmp_path)


def test_building_and_sightings_survive_the_visit(client, record_folder):
    with Record.open(record_folder) as record:
        before = (record.all(Building), record.all(Sighting), len(record.history(10_000)))
    for address in ("/", "/faces/street?at=6ft", "/pictures/open_01"):
        client.get(address)
    with Record.open(record_folder) as record:
        assert (record.all(Building), record.all(Sighting), len(record.history(10_000))) == before
