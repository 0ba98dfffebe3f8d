"""asbuilt load: connected load per circuit and panel."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument


@click.command("load")
@record_argument
@json_option
def command(record: str, as_json: bool) -> None:
    """Sum the loads noted in RECORD per circuit and panel, and name spare breakers and spaces.

    It is no demand calculation: what was not noted, and what is plugged in later, is not in it.

    \b
    Examples:
      asbuilt load house
      asbuilt load house --json
    """
    from asbuilt.answers.circuit_text import load_text
    from asbuilt.answers.load import panel_loads

    with open_record(record) as opened:
        panels = panel_loads(opened)
    if as_json:
        print_json([panel.to_json() for panel in panels])
    else:
        click.echo(load_text(panels))
