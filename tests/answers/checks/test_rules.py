"""Every rule: one bench that meets its figure, one that does not, one that cannot be told."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from asbuilt.answers.checks.page import checks_text, rules_page
from asbuilt.answers.checks.rule import ASK, RESULTS
from asbuilt.answers.checks.run import RULES, run_checks
from asbuilt.cli import main
from asbuilt.record import Building, RuleSetting
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


def test_the_written_page_is_the_generated_one():
    """Write it again with: asbuilt checks RECORD --rules > asbuilt/answers/checks/RULES.md"""
    written = Path(__file__).parents[3] / "asbuilt" / "answers" / "checks" / "RULES.md"
    assert written.read_text("utf-8") == rules_page()


def test_results_are_no_verdict(tmp_path):
    """No word of it says that anything passes, is safe or is legal."""
    with bench(tmp_path / "bench", *CASES["box-fill"]["does not meet"][0]) as record:
        text = (checks_text(run_checks(record), "in", everything=True) + rules_page()).lower()
    assert ASK.lower() in text
    for word in ("safe", "violation", "illegal", "compliant", "approved ", "fails", "clear to"):
        assert word not in text.replace("approved document", ""), word


def test_a_metric_record_speaks_in_millimetres(tmp_path):
    rows = CASES["edge-bored"]["does not meet"][0] + CASES["box-set-out"]["does not meet"][0]
    with bench(tmp_path / "bench", *rows, building=Building(name="Bench", unit="mm")) as record:
        answer = run_checks(record)
        texts = [f.text for f in answer.findings() if f.rule_id in ("edge-bored", "box-set-out", "hole-edge")]
        assert any("figure 32 mm" in text for text in texts)
        assert not any(re.search(r"\d in\b", text) for text in texts)
        assert "most_apart 3 mm" not in checks_text(answer, "mm")
    own = RuleSetting(id="box-set-out.most_apart", value="8", note="our own")  # a plain number is in the record's unit
    with bench(tmp_path / "own", *rows, own, building=Building(name="Bench", unit="mm")) as record:
        assert results(record, "box-set-out")["b1"] == "meets"
        assert "own figure: most_apart 8 mm" in checks_text(run_checks(record), "mm", everything=True)


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        (RuleSetting(id="box-fil"), "rule 'box-fil': there is no such rule or figure; did you mean 'box-fill'?"),
        (RuleSetting(id="support-spacing.most", value="far"), "rule support-spacing.most: 'far' is not a figure in m"),
        (RuleSetting(id="breaker-size.edition", value=""), "rule breaker-size.edition: '' is not a figure in 1"),
    ],
)
def test_a_setting_that_cannot_be_is_one_line(tmp_path, setting, words):
    with bench(tmp_path / "bench", setting) as record:
        run = CliRunner().invoke(main, ["checks", str(record.folder)])
    assert run.exit_code == 1
    assert words in run.output and len(run.output.strip().splitlines()) == 1


def test_a_rule_that_the_record_leaves_out_is_listed_as_left_out(tmp_path):
    out = RuleSetting(id="made-up", applies=False, note="not asked for here")
    with bench(tmp_path / "bench", *CASES["made-up"]["does not meet"][0], out) as record:
        answer = run_checks(record)
        assert "made-up" not in {rule.rule_id for rule in answer.rules}
        assert [(left.rule_id, left.why) for left in answer.left_out if left.rule_id == "made-up"] == [
            ("made-up", "left out by the record: not asked for here")
        ]
        assert "Boxes made up: left out by the record: not asked for here" in checks_text(answer, "in")


def test_the_command_lists_what_presses_and_on_demand_everything(tmp_path):
    with bench(tmp_path / "bench", *CASES["box-fill"]["does not meet"][0]) as record:
        house = str(record.folder)
        shown = CliRunner().invoke(main, ["checks", house])
        assert shown.exit_code == 0, shown.output
        assert "Box fill [NFPA 70 314.16(B), 2020]" in shown.output and "does not meet: device box b1" in shown.output
        assert "meets: circuit 1" not in shown.output
        assert "meets: circuit 1" in CliRunner().invoke(main, ["checks", house, "--all"]).output
        data = json.loads(CliRunner().invoke(main, ["checks", house, "--json"]).output)
        assert {"rule_id", "findings", "cited", "source", "figures"} <= set(data["rules"][0])
        wrong = CliRunner().invoke(main, ["checks", house, "--face", "cellar"])
        assert wrong.exit_code == 1 and "no face 'cellar'" in wrong.output
