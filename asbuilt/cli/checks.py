"""asbuilt checks: hold the rough-in against published and customary figures."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument


@click.command("checks")
@record_argument
@json_option
@click.option("--face", "face_id", default=None, help="Only what lies on this face.")
@click.option("--all", "everything", is_flag=True, help="List what meets its figure as well.")
@click.option("--rules", "rules_only", is_flag=True, help="Print the rules with their clauses and sources instead.")
def command(record: str, as_json: bool, face_id: str | None, everything: bool, rules_only: bool) -> None:
    """Compare the rough-in of RECORD with figures of codes and of common practice.

    Each rule gives one of three results: meets, does not meet, cannot tell. None is a verdict;
    figures are defaults that a record may change. Check with your local code and inspector.

    \b
    Examples:
      asbuilt checks house
      asbuilt checks house --face north --all
      asbuilt checks house --rules
    """
    from asbuilt.answers.checks.page import checks_text, rules_page
    from asbuilt.answers.checks.run import run_checks
    from asbuilt.record import Face

    with open_record(record) as opened:
        if face_id is not None:
            opened.get(Face, face_id)
        answer, unit = run_checks(opened), opened.building.unit
    if rules_only:
        click.echo(rules_page(), nl=False)
    elif as_json:
        print_json(answer.to_json())
    else:
        click.echo(checks_text(answer, unit, everything, face_id))
