"""asbuilt behind: what is behind a wall at a place."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument
from asbuilt.units import parse_length


@click.command("behind")
@record_argument
@click.argument("face")
@click.argument("offset")
@click.option("--height", help="Only near this height above the floor.  [default: floor to top]")
@click.option("--within", default="8in", show_default=True, help="How far to either side to look.")
@click.option(
    "--outside", is_flag=True,
    help="From the other side: an outside wall from outside, a ceiling from above, a floor from below.",
)  # fmt: skip
@click.option("--rule", "rules", multiple=True, help="Where cable runs by practice, bs7671 or din18015.")
@json_option
def command(record, face, offset, height, within, outside, rules, as_json) -> None:
    """Say what is recorded behind FACE at OFFSET from its left end, bay by bay.

    FACE is the face's id in the record RECORD; its left end is the left one as seen from
    inside the room, or from the other side with --outside. What no picture shows is listed
    as not recorded.

    \b
    Examples:
      asbuilt behind house north 6ft
      asbuilt behind house north "6' 3-1/2" --height 4ft --within 12in
      asbuilt behind house east 1.91m --rule bs7671 --json
      asbuilt behind house north 9ft --outside
    """
    from asbuilt.answers.behind import behind
    from asbuilt.answers.text import behind_text

    with open_record(record) as opened:
        unit = opened.building.unit
        answer = behind(
            opened,
            face,
            parse_length(offset, unit),
            height_m=None if height is None else parse_length(height, unit),
            within_m=parse_length(within, unit),
            outside=outside,
            **({"rules": rules} if rules else {}),
        )
    if as_json:
        print_json(answer.to_json())
    else:
        click.echo(behind_text(answer))
