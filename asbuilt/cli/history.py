"""asbuilt history: who changed what, and when."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument

if TYPE_CHECKING:
    from asbuilt.record.inventory import Change


@click.command()
@record_argument
@click.option("--limit", type=click.IntRange(min=1), default=50, show_default=True, help="How many, newest first.")
@json_option
def command(record: str, limit: int, as_json: bool) -> None:
    """List the newest changes of RECORD first: when, who, what, from which value to which.

    \b
    Examples:
      asbuilt history house
      asbuilt history house --limit 10 --json
    """
    from asbuilt.record.inventory import list_changes

    with open_record(record) as opened:
        unit, changes = opened.building.unit, list_changes(opened, limit)
    if as_json:
        print_json([_data(change) for change in changes])
        return
    for change in changes:
        click.echo(_words(change, unit))


def _data(change: Change) -> dict:
    return {
        "at": change.at,
        "author": change.author,
        "action": change.action,
        "table": change.table,
        "id": change.row_id,
        "fields": [{"name": name, "before": before, "after": after} for name, before, after in change.fields],
    }


def _words(change: Change, unit: str) -> str:
    from asbuilt.record.inventory import shown_value

    parts = [change.at, change.author or "-", change.action, change.table, change.row_id]
    if change.action == "change":
        parts.append(
            "; ".join(
                f"{name.removesuffix('_m')}: {shown_value(name, before, unit)} -> {shown_value(name, after, unit)}"
                for name, before, after in change.fields
            )
        )
    return "  ".join(parts)
