"""asbuilt drop: voltage drop at a box."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument


@click.command("drop")
@record_argument
@click.argument("circuit")
@click.argument("item")
@click.option("--amps", type=click.FloatRange(min=0, min_open=True), default=None, help="Current along the whole way.")
@json_option
def command(record: str, circuit: str, item: str, amps: float | None, as_json: bool) -> None:
    """Say the voltage drop from the panel to the box ITEM of CIRCUIT, by both published methods.

    Without --amps the loads on record are taken. It needs the feed order of the circuit.

    \b
    Examples:
      asbuilt drop house 2 b7
      asbuilt drop house 2 b7 --amps 16
    """
    from asbuilt.answers.circuit_text import drop_text
    from asbuilt.answers.voltage import DropAnswer, voltage_drop

    with open_record(record) as opened:
        answer, unit = voltage_drop(opened, circuit, item, amps), opened.building.unit
    if not isinstance(answer, DropAnswer):
        raise click.ClickException(f"no voltage drop: {answer.reason}")
    if as_json:
        print_json(answer.to_json())
    else:
        click.echo(drop_text(answer, unit))
