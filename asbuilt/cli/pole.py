"""asbuilt pole: the story pole of a face."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument, write_new
from asbuilt.units import parse_length


@click.command("pole")
@record_argument
@click.argument("face")
@click.option("--height", help="Also mark the runs where they cross this height.")
@click.option("--pdf", type=click.Path(dir_okay=False, path_type=Path), help="Write the pole at true scale.")
@click.option(
    "--paper", type=click.Choice(["letter", "a4", "roll"]), default="letter", show_default=True,
    help="Paper of the PDF: strips to join, or a long page off a roll.",
)  # fmt: skip
@click.option("--overwrite", is_flag=True, help="Replace the PDF if it is there.")
@json_option
def command(
    record: str, face: str, height: str | None, pdf: Path | None, paper: str, overwrite: bool, as_json: bool
) -> None:
    """List the marks of FACE's story pole: studs, openings, boxes, runs, from its left end.

    \b
    Examples:
      asbuilt pole house north
      asbuilt pole house north --height 4ft --json
      asbuilt pole house north --height 4ft --pdf pole.pdf --paper a4
    """
    from asbuilt.answers.pole import pole
    from asbuilt.answers.text import pole_text

    with open_record(record) as opened:
        height_m = None if height is None else parse_length(height, opened.building.unit)
        answer = pole(opened, face, height_m)
    if pdf is not None:
        from asbuilt.sheets.pole import pole_pdf

        write_new(pdf, pole_pdf(answer, date.today().isoformat(), paper), overwrite)
    if as_json:
        print_json(answer.to_json())
    else:
        click.echo(pole_text(answer))
