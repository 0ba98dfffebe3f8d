"""asbuilt drill: what a hole at a place meets."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument
from asbuilt.units import parse_length


@click.command("drill")
@record_argument
@click.argument("face")
@click.option("--at", "offset", required=True, help="How far from the left end of the face.")
@click.option("--height", required=True, help="How high above the floor.")
@click.option("--bit", default="1/4in", show_default=True, help="Diameter of the bit.")
@click.option("--depth", default="2-1/2in", show_default=True, help="How deep the tip goes.")
@click.option(
    "--from", "depth_from", type=click.Choice(["finished", "stud"]), default="finished", show_default=True,
    help="Whether the depth counts from the finished face or from the stud face.",
)  # fmt: skip
@json_option
def command(record, face, offset, height, bit, depth, depth_from, as_json) -> None:
    """Say what a hole in FACE meets and passes, and how sure that is.

    The answer is one of: hit expected, too close to call, nothing recorded here, not
    recorded. It is a record to look with, not leave to drill.

    \b
    Examples:
      asbuilt drill house street --at 6ft --height 4ft --bit 3/8in --depth 2-1/2in
      asbuilt drill house kiln --at "6' 3-1/2" --height 48in --bit 6mm --depth 60mm --from stud
      asbuilt drill house garden --at 1.91m --height 1.2m --json
    """
    from asbuilt.answers.drill import drill
    from asbuilt.answers.text import drill_text

    with open_record(record) as opened:
        unit = opened.building.unit
        answer = drill(
            opened,
            face,
            parse_length(offset, unit),
            parse_length(height, unit),
            bit_m=parse_length(bit, unit),
            depth_m=parse_length(depth, unit),
            depth_from=depth_from,
        )
    if as_json:
        print_json(answer.to_json())
    else:
        click.echo(drill_text(answer))
