"""asbuilt open: a record again from a package."""

from __future__ import annotations

import click


@click.command("open")
@click.argument("package", type=click.Path())
@click.argument("record", metavar="NEWRECORD", type=click.Path())
def command(package: str, record: str) -> None:
    """Restore the record of PACKAGE (folder or ZIP) into the new folder NEWRECORD.

    Every table and every original comes back as it was. What is damaged in the package is
    named; the rest is restored all the same.

    \b
    Examples:
      asbuilt open house-handover house
      asbuilt open /media/stick/house.zip house
    """
    from asbuilt.cli.progress import byte_bar
    from asbuilt.handover.opening import open_package

    with byte_bar("opening") as bar:
        report = open_package(package, record, progress=bar.update)
    for finding in report.faults:
        click.echo(finding.line(), err=True)
    if report.rebuilt:
        click.echo("the database was damaged; it was made anew from record.json", err=True)
    click.echo(f"{report.folder}: restored, {report.file_count} files")
    if report.faults:
        raise SystemExit(1)
