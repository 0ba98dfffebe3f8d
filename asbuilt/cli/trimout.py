"""asbuilt trimout: the sheet for fitting devices."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument, write_new


@click.command("trimout")
@record_argument
@click.option("--pdf", type=click.Path(dir_okay=False, path_type=Path), help="Write it to tick off on paper.")
@click.option("--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True)
@click.option("--overwrite", is_flag=True, help="Replace the PDF if it is there.")
@json_option
def command(record, pdf, paper, overwrite, as_json) -> None:
    """List every box of RECORD in walking order: gangs, cables, switch legs, finish depth.

    Boxes are counted per room, before board and as marked in pictures taken after it.

    \b
    Examples:
      asbuilt trimout house
      asbuilt trimout house --pdf trim.pdf --paper a4
    """
    from asbuilt.answers.trimout import trim_out, trim_text

    with open_record(record) as opened:
        rooms, building = trim_out(opened), opened.building
    if pdf is not None:
        from asbuilt.sheets.trimout import trimout_pdf

        write_new(pdf, trimout_pdf(rooms, building.name, building.unit, date.today().isoformat(), paper), overwrite)
    if as_json:
        print_json([room.to_json() for room in rooms])
    else:
        click.echo(trim_text(rooms, building.unit))
