"""asbuilt readiness: what is open before the walls are covered."""

from __future__ import annotations

import sys
from datetime import date
from pathlib import Path

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument, write_new


@click.command("readiness")
@record_argument
@click.option("--face", "face_id", default=None, help="Only this face.")
@click.option("--pdf", type=click.Path(dir_okay=False, path_type=Path), help="Write a page for each face.")
@click.option("--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True)
@click.option("--overwrite", is_flag=True, help="Replace the PDF if it is there.")
@json_option
def command(record, face_id, pdf, paper, overwrite, as_json) -> None:
    """Say what is open in RECORD before cover-up: coverage, checks, open items, photos.

    Whether a wall may be closed is for your inspector to say.

    \b
    Examples:
      asbuilt readiness house
      asbuilt readiness house --face north --pdf north.pdf
    """
    from asbuilt.answers.readiness import readiness, readiness_text
    from asbuilt.steps import coverage

    with open_record(record) as opened:
        progress = sys.stderr.isatty() and not as_json
        coverage.run(opened, coverage.CoverageOptions(progress=progress))
        answer = readiness(opened, face_id)
        if pdf is not None:
            from asbuilt.sheets.readiness import readiness_pdf

            write_new(pdf, readiness_pdf(opened, answer, date.today().isoformat(), paper), overwrite)
    if as_json:
        print_json(answer.to_json())
    else:
        click.echo(readiness_text(answer))
