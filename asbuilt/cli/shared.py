"""What the commands share: the record argument, --json, opening and printing."""

from __future__ import annotations

import getpass
import json
import os
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from pathlib import Path

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


def write_new(path: Path, data: bytes, overwrite: bool) -> None:
    """Write a file that is not there yet, unless it may be replaced.

    Raises
    ------
    click.ClickException
        If it is there, or cannot be written.
    """
    if path.exists() and not overwrite:
        raise click.ClickException(f"{path} is there already; choose another name or add --overwrite")
    try:
        path.write_bytes(data)
    except OSError as error:
        raise click.ClickException(f"cannot write {path}: {error.strerror}") from error
