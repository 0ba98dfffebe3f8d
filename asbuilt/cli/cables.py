"""asbuilt cables: the cable schedule."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument, write_new


@click.command("cables")
@record_argument
@json_option
@click.option("--use", type=click.Choice(["power", "low voltage"]), default=None, help="Only cables of this use.")
@click.option("--pdf", type=click.Path(dir_okay=False, path_type=Path), help="Write it on paper as well.")
@click.option("--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True)
@click.option("--overwrite", is_flag=True, help="Replace the PDF if it is there.")
def command(record, as_json, use, pdf, paper, overwrite) -> None:
    """List every cable of RECORD: id, kind, both ends, length, test.

    A length that was not measured is estimated from the route, with slack and what stays in
    the boxes; the error says how well it is known.

    \b
    Examples:
      asbuilt cables house
      asbuilt cables house --use "low voltage" --pdf cables.pdf
    """
    from asbuilt.answers.cables import cable_schedule
    from asbuilt.answers.circuit_text import cables_text

    with open_record(record) as opened:
        rows, building = cable_schedule(opened, use), opened.building
    if pdf is not None:
        from asbuilt.sheets.cables import cables_pdf

        write_new(pdf, cables_pdf(rows, building.name, building.unit, date.today().isoformat(), paper), overwrite)
    if as_json:
        print_json([row.to_json() for row in rows])
    else:
        click.echo(cables_text(rows, building.unit))
