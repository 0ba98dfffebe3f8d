"""asbuilt backup: a consistent copy of a live record."""

from __future__ import annotations

import click

from asbuilt.cli.shared import open_record, record_argument


@click.command("backup")
@record_argument
@click.argument("target", metavar="DEST", type=click.Path())
def command(record: str, target: str) -> None:
    """Copy RECORD into the folder DEST, also while the viewer or another command is at work.

    The copy is a record itself. Run it again to bring it up to date: originals that are
    there already are not copied twice. Keep it on another disk, best in another building.

    \b
    Examples:
      asbuilt backup house /media/stick/house
      asbuilt backup house ../house-copy
    """
    from asbuilt.cli.progress import byte_bar
    from asbuilt.handover.backup import backup

    with open_record(record) as opened, byte_bar("copying") as bar:
        report = backup(opened, target, progress=bar.update)
    click.echo(
        f"{report.target}: the database and {report.media_count - len(report.missing)} originals, "
        f"{report.copied_count} of them copied now"
    )
    for name in report.missing:
        click.echo(f"not in the record's folder, so not in the copy: {name}", err=True)
    if report.missing:
        raise SystemExit(1)
