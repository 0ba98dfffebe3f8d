"""asbuilt cables: the cable schedule."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument


@click.command("cables")
@record_argument
@json_option
@click.option("--use", type=click.Choice(["power", "low voltage"]), default=None, help="Only cables of this use.")
def command(record: str, as_json: bool, use: str | None) -> None:
    """List every cable of RECORD: id, kind, both ends, length, test.

    A length that was not measured is estimated from the route, with slack and what stays in
    the boxes; the error says how well it is known.

    \b
    Examples:
      asbuilt cables house
      asbuilt cables house --use "low voltage"
    """
    from asbuilt.answers.cables import cable_schedule
    from asbuilt.answers.circuit_text import cables_text

    with open_record(record) as opened:
        rows, unit = cable_schedule(opened, use), opened.building.unit
    if as_json:
        print_json([row.to_json() for row in rows])
    else:
        click.echo(cables_text(rows, unit))
