"""asbuilt dead: what goes dead with a breaker."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument


@click.command("dead")
@record_argument
@click.argument("circuit")
@json_option
def command(record: str, circuit: str, as_json: bool) -> None:
    """Say what goes dead when the breaker of CIRCUIT is switched off, and what stays live beside it.

    CIRCUIT is an id or a number. The list is what was recorded; prove dead before touching
    any conductor.

    \b
    Examples:
      asbuilt dead house 2
      asbuilt dead house 1+3 --json
    """
    from asbuilt.answers.circuit_text import dead_text
    from asbuilt.answers.circuits import goes_dead

    with open_record(record) as opened:
        answer = goes_dead(opened, circuit)
    if as_json:
        print_json(answer.to_json())
    else:
        click.echo(dead_text(answer))
