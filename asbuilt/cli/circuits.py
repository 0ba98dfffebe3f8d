"""asbuilt circuits: the circuits of a record."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, open_record, print_json, print_table, record_argument


@click.command()
@record_argument
@json_option
def command(record: str, as_json: bool) -> None:
    """List the circuits of RECORD and how many items are recorded on each.

    A label or this list can be wrong: test for dead before work on any circuit.

    \b
    Examples:
      asbuilt circuits house
      asbuilt circuits house --json
    """
    from asbuilt.record import Circuit
    from asbuilt.record.inventory import item_counts
    from asbuilt.record.rows import to_row

    with open_record(record) as opened:
        counts = item_counts(opened)
        rows = [to_row(circuit) | {"item_count": counts[circuit.id]} for circuit in opened.all(Circuit)]
    if as_json:
        print_json(rows)
        return
    print_table([_words(row) for row in rows], nothing="no circuit yet; add one with: asbuilt circuit add")


def _words(row: dict) -> dict[str, str]:
    return {
        "circuit": row["number"],
        "name": row["name"],
        "amps": _number(row["amps"]),
        "volts": _number(row["volts"]),
        "poles": str(row["poles"]),
        "cable": row["cable"],
        "state": row["state"],
        "panel": row["panel_id"] or "",
        "items": str(row["item_count"]),
    }


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"
