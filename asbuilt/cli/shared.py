"""What the commands share: the record argument, --json, opening and printing."""

from __future__ import annotations

import getpass
import json
import os
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from asbuilt.record import Record

record_argument = click.argument("record", metavar="RECORD", type=click.Path())
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON for other programs.")


def author() -> str:
    """Whom to note changes under: ASBUILT_AUTHOR, else the login name, else nobody."""
    try:
        return os.environ.get("ASBUILT_AUTHOR") or getpass.getuser()
    except (KeyError, OSError):
        return ""


def open_record(folder: str) -> Record:
    """The record in a folder, writing under the author's name."""
    from asbuilt.record import Record

    return Record.open(folder, author=author())


def print_json(data: Any) -> None:
    """Print data as indented JSON."""
    click.echo(json.dumps(data, indent=2, ensure_ascii=False))


def print_table(rows: list[dict[str, str]], nothing: str) -> None:
    """Print rows under their column names, or ``nothing`` where there is no row."""
    if not rows:
        click.echo(nothing)
        return
    names = list(rows[0])
    widths = {n: max(len(n), *(len(row[n]) for row in rows)) for n in names}
    for row in [{n: n for n in names}, *rows]:
        click.echo("  ".join(row[n].ljust(widths[n]) for n in names).rstrip())
