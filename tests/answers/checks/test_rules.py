"""Every rule: one bench that meets its figure, one that does not, one that cannot be told."""

from __future__ import annotations

from pathlib import Path

import pytest

from asbuilt.answers.checks.page import checks_text, rules_page
from asbuilt.answers.checks.rule import ASK, RESULTS
from asbuilt.answers.checks.run import RULES, run_checks
from tests.answers.checks.bench import bench, results
from tests.answers.checks.cases import CASES


@pytest.mark.parametrize(
    ("rule_id", "expected"), [(r, e) for r, cases in CASES.items() for e in cases], ids=lambda v: v.replace(" ", "-")
)
def test_each_rule_gives_each_of_its_three_results(tmp_path, rule_id, expected):
    rows, subject_id, *building = CASES[rule_id][expected]
    with bench(tmp_path / "bench", *rows, building=building[0] if building else None) as record:
        found = results(record, rule_id)
        assert found[subject_id] == expected, found


def test_no_rule_is_without_its_three_tests():
    assert {rule.id: sorted(RESULTS) for rule in RULES} == {rule_id: sorted(cases) for rule_id, cases in CASES.items()}


def test_every_rule_has_a_source_and_stands_on_the_page():
    page = rules_page()
    for rule in RULES:
        assert rule.source.strip() and rule.compares.strip()
        assert f"`{rule.id}`, {rule.standing}" in page and f"Source: {rule.source}." in page
        assert rule.clause in page and rule.edition in page
        assert all(f"`{rule.id}.{figure.name}`" in page for figure in rule.figures)
        assert rule.clause or rule.standing != "code, as reported"
    assert page.count(ASK) == len(RULES)


def test_the_page_in_the_docs_is_the_generated_one():
    """Write it again with: asbuilt checks RECORD --rules > docs/rules.md"""
    assert (Path(__file__).parents[3] / "docs" / "rules.md").read_text("utf-8") == rules_page()


def test_results_are_no_verdict(tmp_path):
    """No word of it says that anything passes, is safe or is legal."""
    with bench(tmp_path / "bench", *CASES["box-fill"]["does not meet"][0]) as record:
        text = (checks_text(run_checks(record), "in", everything=True) + rules_page()).lower()
    assert ASK.lower() in text
    for word in ("safe", "violation", "illegal", "compliant", "approved ", "fails", "clear to"):
        assert word not in text.replace("approved document", ""), word
