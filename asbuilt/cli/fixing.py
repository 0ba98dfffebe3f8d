"""asbuilt fixing: studs and blocking to fix to near a place."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument
from asbuilt.units import parse_length


@click.command("fixing")
@record_argument
@click.argument("face")
@click.argument("offset")
@click.option("--height", help="Only wood that is there at this height.  [default: any height]")
@click.option("--within", default="24in", show_default=True, help="How far to look.")
@click.option("--outside", is_flag=True, help="From the other side, as for behind.")
@json_option
def command(record, face, offset, height, within, outside, as_json) -> None:
    """Say which studs and which blocking of FACE a screw can hold in near OFFSET.

    Studs come with the error of their centre and with what is recorded beside them;
    blocking with its edges.

    \b
    Examples:
      asbuilt fixing house north 6ft
      asbuilt fixing house north 6ft --height 7ft --within 3ft
      asbuilt fixing house east 1.91m --json
    """
    from asbuilt.answers.fixing import fixing
    from asbuilt.answers.text import fixing_text

    with open_record(record) as opened:
        unit = opened.building.unit
        height_m = None if height is None else parse_length(height, unit)
        answer = fixing(opened, face, parse_length(offset, unit), height_m, parse_length(within, unit), outside)
    if as_json:
        print_json(answer.to_json())
    else:
        click.echo(fixing_text(answer))
