"""asbuilt new: make a record."""

from __future__ import annotations

from pathlib import Path

import click

from asbuilt.cli.shared import author, record_argument
from asbuilt.units import UNITS


@click.command()
@record_argument
@click.option("--name", help="The building's name.  [default: the folder's name]")
@click.option("--unit", type=click.Choice(UNITS), default="in", show_default=True, help="What a plain number means.")
def command(record: str, name: str | None, unit: str) -> None:
    """Make a new record in the folder RECORD.

    \b
    Examples:
      asbuilt new house
      asbuilt new house --name "Our house" --unit mm
    """
    from asbuilt.record import Record

    with Record.create(record, name=name or Path(record).resolve().name, unit=unit, author=author()) as made:
        click.echo(f"made a record of {made.building.name} in {record}")
