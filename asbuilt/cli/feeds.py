"""asbuilt feeds: the feed order of a circuit."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument


@click.command("feeds")
@record_argument
@click.argument("circuit")
@json_option
def command(record: str, circuit: str, as_json: bool) -> None:
    """Say in which order the boxes of CIRCUIT are fed, what its cables join, and what is switched.

    \b
    Examples:
      asbuilt feeds house 2
      asbuilt feeds house 2 --json
    """
    from asbuilt.answers.circuit_text import circuit_text
    from asbuilt.answers.circuits import circuit_answer
    from asbuilt.answers.control import controlled
    from asbuilt.record import Item

    with open_record(record) as opened:
        answer = circuit_answer(opened, circuit)
        own = {i.id for i in opened.all(Item, circuit_id=answer.circuit_id)} | {s.to_id for s in answer.steps}
        controls = [c for c in controlled(opened) if c.load_id in own or any(s.switch_id in own for s in c.switches)]
    if as_json:
        print_json(answer.to_json() | {"controls": [c.to_json() for c in controls]})
    else:
        click.echo(circuit_text(answer, controls))
