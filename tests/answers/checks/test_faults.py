"""A plan with a deliberate fault for every rule gives exactly the findings that it says it has."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from asbuilt.answers.checks.rule import CANNOT_TELL, DOES_NOT
from asbuilt.answers.checks.run import RULES, run_checks
from asbuilt.record import Record
from asbuilt.record.plan import export_plan, load_plan

FAULTS = Path(__file__).parent / "data" / "faults.toml"


def _stated(word: str) -> set[tuple[str, str]]:
    """(rule, subject) of every comment of the plan that begins with a word."""
    found = re.findall(rf"^# {word}: (\S+) (\S+)$", FAULTS.read_text("utf-8"), re.MULTILINE)
    assert len(found) == len(set(found))
    return set(found)


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    with Record.create(tmp_path_factory.mktemp("faults") / "house", "House") as made:
        load_plan(made, FAULTS)
        yield made


def _found(record, result: str) -> list[tuple[str, str]]:
    return [(f.rule_id, f.subject_id) for f in run_checks(record).findings(result)]


def test_the_faults_found_are_exactly_those_that_were_made(record):
    found = _found(record, DOES_NOT)
    assert sorted(found) == sorted(_stated("fault"))


def test_what_cannot_be_told_is_exactly_what_the_plan_leaves_open(record):
    assert sorted(_found(record, CANNOT_TELL)) == sorted(_stated("unclear"))


def test_there_is_a_fault_of_every_rule_of_the_profile():
    kinds = {rule_id for rule_id, _ in _stated("fault")}
    assert kinds == {rule.id for rule in RULES if "us" in rule.regions}
    assert len(kinds) >= 20


def test_the_same_faults_are_found_after_the_plan_went_out_and_in_again(record, tmp_path):
    path = tmp_path / "again.toml"
    path.write_text(export_plan(record), "utf-8")
    with Record.create(tmp_path / "again", "Again") as again:
        load_plan(again, path)
        assert run_checks(again).to_json() == run_checks(record).to_json()
