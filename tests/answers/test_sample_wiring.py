"""The hand-written wiring of the sample building fits its clicks and agrees with itself."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from asbuilt.answers.checks.rule import CANNOT_TELL, DOES_NOT, MEETS
from asbuilt.answers.checks.run import run_checks
from asbuilt.answers.circuits import circuit_answer, goes_dead
from asbuilt.answers.load import panel_loads
from asbuilt.answers.wiring import wiring_of
from asbuilt.record import Circuit, Item, Record
from asbuilt.record.kinds import kind_named
from asbuilt.record.plan import load_plan

MEDIA = Path(__file__).parents[2] / "sample_media"


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    """The plan, the clicked things as items without their places, then the wiring."""
    with Record.create(tmp_path_factory.mktemp("sample") / "r", "Sample") as made:
        load_plan(made, MEDIA / "plan.toml")
        clicks = json.loads((MEDIA / "clicks.json").read_text("utf-8"))
        clicks = clicks if isinstance(clicks, list) else clicks["clicks"]
        items = {c["thing"]: c for c in clicks}
        for thing, click in items.items():
            made.put(Item(id=thing, kind=kind_named(click["kind"]).name, label=click.get("label") or "",
                          circuit_id=click.get("circuit") or None))  # fmt: skip
        report = load_plan(made, MEDIA / "wiring.toml")
        assert report.not_in_plan and not report.removed
        yield made


def test_it_contradicts_nothing_that_was_clicked(record):
    """A two-gang box that it describes again keeps its label and circuit."""
    assert record.get(Item, "t02").label == "wheel bench receptacles" and record.get(Item, "t02").gangs == 2
    found = run_checks(record).findings(DOES_NOT)
    assert [(f.rule_id, f.subject_id) for f in found] == [("directory", "5")]


def test_every_circuit_is_fed_from_the_panel_to_each_of_its_boxes(record):
    for circuit in record.all(Circuit):
        answer = circuit_answer(record, circuit.id)
        assert answer.problems == () and answer.not_in_order == (), circuit.id
        boxes = {b.id for b in wiring_of(record).boxes.values() if b.circuit_id == circuit.id}
        assert {p.item_id for p in goes_dead(record, circuit.id).places if p.item_id in boxes} == boxes
    assert len(run_checks(record).findings(MEETS)) > 100


def test_boxes_are_large_enough_and_only_places_and_staples_are_left_open(record):
    by_rule = {rule.rule_id: rule.findings for rule in run_checks(record).rules}
    assert {f.result for f in by_rule["box-fill"]} == {MEETS} and len(by_rule["box-fill"]) == 22
    open_rules = {f.rule_id for f in run_checks(record).findings(CANNOT_TELL)}
    assert open_rules <= {"voltage-drop", "box-set-out", "box-setback", "made-up", "receptacle-spacing"}


def test_the_loads_are_below_every_breaker(record):
    (panel,) = panel_loads(record)
    assert all(c.share <= 1 for c in panel.circuits if c.share is not None)
    assert 0 < panel.load_va < panel.supply_va
