"""asbuilt coverage: what the pictures show and what to photograph again before cover-up."""

from __future__ import annotations

import sys

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument


@click.command("coverage")
@record_argument
@json_option
@click.option("--again", is_flag=True, help="Work every face out again, changed or not.")
def command(record: str, as_json: bool, again: bool) -> None:
    """Say how well each face is recorded, and list what to photograph again before cover-up.

    Faces go clockwise, bays from the left, so that the list is one walk round each room.
    Only what changed since the last time is worked out again.

    \b
    Examples:
      asbuilt coverage house
      asbuilt coverage house --json
    """
    from asbuilt.answers.coverage import before_cover_up
    from asbuilt.answers.text import coverage_text
    from asbuilt.steps import coverage

    with open_record(record) as opened:
        progress = sys.stderr.isatty() and not as_json
        coverage.run(opened, coverage.CoverageOptions(force=again, progress=progress))
        answer = before_cover_up(opened)
    if as_json:
        print_json(answer.to_json())
    else:
        click.echo(coverage_text(answer))
