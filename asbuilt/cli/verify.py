"""asbuilt verify: whether a package or a record is whole."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, print_json


@click.command("verify")
@click.argument("path", metavar="PACKAGE|RECORD", type=click.Path())
@click.option("--key", type=click.Path(dir_okay=False), help="The signer's public key (.pub): must be the one.")
@json_option
def command(path: str, key: str | None, as_json: bool) -> None:
    """Check every file of a package (folder or ZIP) or of a record folder, and the database in it.

    Names everything that is damaged, missing or does not belong there; one damaged file never
    hides another. Exit code 1 if anything is. Nothing is changed.

    \b
    Examples:
      asbuilt verify house-handover
      asbuilt verify /media/stick/house.zip
      asbuilt verify house --json
      asbuilt verify signed.zip --key builder.pub
    """
    from asbuilt.cli.progress import byte_bar
    from asbuilt.handover.signing import read_public_key
    from asbuilt.handover.verify import verify

    public_key = read_public_key(key) if key else None
    with byte_bar("checking") as bar:
        report = verify(path, progress=bar.update, public_key=public_key)
    if as_json:
        print_json(report.to_json())
    else:
        for finding in report.findings:
            click.echo(finding.line())
        size = f"{report.file_count} files, {report.byte_count / 1e6:.1f} MB"
        found = len(report.faults)
        outcome = "whole" if not found else f"{found} fault{'s' if found > 1 else ''} found"
        click.echo(f"{report.kind} {report.path}: {size}: {outcome}")
    if report.faults:
        raise SystemExit(1)
