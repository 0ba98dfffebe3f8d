"""Readiness, checks, what goes dead, load, cables and trim-out in the viewer."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from markupsafe import escape

from asbuilt.answers.checks.run import RULES, run_checks
from asbuilt.answers.readiness import readiness
from asbuilt.answers.trimout import trim_out
from asbuilt.record import Circuit, Record
from asbuilt.record.plan import load_plan
from asbuilt.web import create_app
from tests.web.conftest import Visit, needs_browser

FAULTS = Path(__file__).parents[1] / "answers" / "checks" / "data" / "faults.toml"
PAGES = ("/readiness", "/checks", "/checks?all=1", "/checks/rules", "/load", "/cables", "/trimout", "/circuits")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A house with faults of every kind."""
    folder = tmp_path_factory.mktemp("rough") / "house"
    with Record.create(folder, "House") as made:
        load_plan(made, FAULTS)
    return folder


@pytest.fixture(scope="module")
def house(folder):
    return create_app(folder, author="tester").test_client()


@pytest.mark.parametrize("address", PAGES)
def test_every_page_has_its_twin_in_json_and_promises_nothing(house, address):
    shown, twin = house.get(address), house.get(address.replace("?", ".json?") if "?" in address else f"{address}.json")
    assert shown.status_code == twin.status_code == 200
    json.loads(twin.text)
    assert "clear to drill" not in shown.text and " safe" not in shown.text


def test_the_page_of_checks_holds_every_finding_that_presses(house, folder):
    with Record.open(folder) as record:
        answer = run_checks(record)
    told = house.get("/checks").text
    assert "None of these is a verdict" in told
    for found in answer.findings("does not meet", "cannot tell"):
        assert _escaped(found.text) in told and _escaped(found.subject) in told
    everything = house.get("/checks?all=1").text
    assert all(_escaped(f.text) in everything for f in answer.findings())


def test_the_rules_page_names_clause_source_and_figures_of_every_rule(house):
    told = house.get("/checks/rules").text
    for rule in RULES:
        assert f'id="{rule.id}"' in told and _escaped(rule.source) in told and _escaped(rule.cited) in told


def test_readiness_of_a_face_hides_nothing(house, folder):
    with Record.open(folder) as record:
        faces = readiness(record).faces
    for face in faces:
        told = house.get(f"/readiness/{face.face_id}").text
        for text in face.open_items:
            assert _escaped(text[:1].upper() + text[1:]) in told
        for found in (*face.does_not_meet, *face.cannot_tell):
            assert _escaped(found.text) in told
        assert told.count('class="no-photo"') == sum(i.photo is None for i in face.items)
        assert "verdict" not in told or "may be closed" not in told


def test_every_box_stands_on_the_trim_out_page(house, folder):
    with Record.open(folder) as record:
        rooms = trim_out(record)
    told = house.get("/trimout").text
    assert all(_escaped(b.name) in told and _escaped(b.finish) in told for room in rooms for b in room.boxes)


def test_a_circuit_says_what_to_switch_off_and_to_prove_it(house, folder):
    with Record.open(folder) as record:
        ids = [c.id for c in record.all(Circuit)]
    for circuit_id in ids:
        told = house.get(f"/circuits/{circuit_id}").text
        assert "Switch off breaker" in told and "Prove dead" in told
    assert house.get("/circuits/no-such-circuit").status_code == 404


@pytest.mark.parametrize(
    "address", ["/readiness.pdf", "/cables.pdf", "/cables.pdf?use=low+voltage", "/trimout.pdf", "/circuits/card.pdf"]
)
def test_sheets_come_as_pdf(house, address):
    answer = house.get(address)
    assert answer.status_code == 200 and answer.data.startswith(b"%PDF-")


def test_what_cannot_be_asked_is_refused(house):
    assert house.get("/cables?use=water").status_code == 400
    assert house.get("/checks?face=nowhere").status_code == 404
    assert house.get("/readiness/nowhere").status_code == 404
    assert house.get("/readiness/nowhere/sheet.pdf").status_code == 404


def test_an_empty_record_has_pages_too(tmp_path):
    Record.create(tmp_path / "r", "Empty").close()
    client = create_app(tmp_path / "r").test_client()
    for address in ("/checks", "/load", "/cables", "/trimout", "/circuits"):
        assert client.get(address).status_code == 200
    assert client.get("/readiness").status_code == 404  # in words: load a plan first
    assert client.get("/circuits/card.pdf").status_code == 404


@needs_browser
@pytest.mark.parametrize("screen", ["desk", "phone"])
def test_no_page_scrolls_sideways_or_complains(served, browser, screen):
    addresses = ["/readiness/kiln", *(address for address in PAGES if "?" not in address)]
    for address in addresses:
        visit = Visit(browser, screen, served.url)
        visit.page.goto(served.url + address)
        wide = visit.page.evaluate("document.documentElement.scrollWidth - innerWidth")
        visit.context.close()
        assert wide <= 0, address
        assert not visit.complaints, (address, visit.complaints)


def _escaped(text: str) -> str:
    return str(escape(text))
