"""asbuilt merge: what somebody added to a copy comes back."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument


@click.command("merge")
@record_argument
@click.argument("copy", type=click.Path())
@click.option("--take-changes", is_flag=True, help="Also take over what was changed there and not here.")
@click.option("--dry-run", is_flag=True, help="Only say what would happen.")
@json_option
def command(record: str, copy: str, take_changes: bool, dry_run: bool, as_json: bool) -> None:
    """Bring what is new in COPY (a package or record folder made of RECORD) into RECORD.

    New items, pictures and other rows come in under the name of who made them. Nothing here
    is overwritten: what was changed or removed there is listed, and what both sides changed
    is shown with both. With --take-changes a change that only they made is taken over; its
    old state stays in the history.

    \b
    Examples:
      asbuilt merge house from-the-plumber.zip --dry-run
      asbuilt merge house from-the-plumber.zip
    """
    from asbuilt.handover.merge import merge

    with open_record(record) as opened:
        report = merge(opened, copy, take_changes=take_changes, dry_run=dry_run)
    if as_json:
        print_json(report.to_json())
        return
    for row in report.rows:
        name = f" as {row.new_id}" if row.new_id else ""
        click.echo(f"{row.state}: {row.table} {row.row_id}{name} ({row.author or 'unknown'}, {row.at[:10]})")
        for column, here, there in row.fields:
            click.echo(f"    {column}: here {here!r}, there {there!r}")
    for fault in report.faults:
        click.echo(fault, err=True)
    counts = ", ".join(f"{count} {state}" for state, count in sorted(report.counts.items())) or "nothing new"
    click.echo(f"{counts}; {report.picture_count} pictures" + (" (nothing was written)" if dry_run else ""))
    if report.picture_count and not dry_run:
        click.echo("place the new pictures and locate anew: asbuilt place, then asbuilt coverage")
