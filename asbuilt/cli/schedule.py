"""asbuilt schedule: panel schedule and circuit directory."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument, write_new


@click.command("schedule")
@record_argument
@click.option("--panel", "panel_id", default=None, help="Only this panel.")
@click.option("--pdf", type=click.Path(dir_okay=False, path_type=Path), help="Write a card for the panel door.")
@click.option(
    "--paper", type=click.Choice(["card", "letter", "a5", "a4"]), default="card", show_default=True,
    help="Paper of the card; card is half a letter sheet.",
)  # fmt: skip
@click.option("--overwrite", is_flag=True, help="Replace the PDF if it is there.")
@json_option
def command(record, panel_id, pdf, paper, overwrite, as_json) -> None:
    """Show the panel schedule of RECORD, with warnings on vague wording, or print it as a card.

    A spare is a fitted breaker without a load, a space an empty position. Every reprint
    carries its revision and date.

    \b
    Examples:
      asbuilt schedule house
      asbuilt schedule house --panel main --pdf door.pdf
      asbuilt schedule house --pdf door.pdf --paper a5 --overwrite
    """
    from asbuilt.answers.circuit_text import schedule_text
    from asbuilt.answers.directory import schedules
    from asbuilt.record import Panel

    with open_record(record) as opened:
        if panel_id is not None:
            opened.get(Panel, panel_id)
        panels = [s for s in schedules(opened) if panel_id is None or s.panel_id == panel_id]
        building = opened.building.name
    if pdf is not None:
        from asbuilt.sheets.schedule import schedule_pdf

        write_new(pdf, schedule_pdf(panels, building, date.today().isoformat(), paper), overwrite)
    if as_json:
        print_json([panel.to_json() for panel in panels])
    else:
        click.echo(schedule_text(panels))
