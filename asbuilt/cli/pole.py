"""asbuilt pole: the story pole of a face."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument
from asbuilt.units import parse_length


@click.command("pole")
@record_argument
@click.argument("face")
@click.option("--height", help="Also mark the runs where they cross this height.")
@json_option
def command(record: str, face: str, height: str | None, as_json: bool) -> None:
    """List the marks of FACE's story pole: studs, openings, boxes, runs, from its left end.

    \b
    Examples:
      asbuilt pole house street
      asbuilt pole house street --height 4ft --json
    """
    from asbuilt.answers.pole import pole
    from asbuilt.answers.text import pole_text

    with open_record(record) as opened:
        height_m = None if height is None else parse_length(height, opened.building.unit)
        answer = pole(opened, face, height_m)
    if as_json:
        print_json(answer.to_json())
    else:
        click.echo(pole_text(answer))
