"""asbuilt handover: a package of a record that outlives the program."""

from __future__ import annotations

import click

from asbuilt.cli.shared import open_record, record_argument

PARTS = ("tables", "viewer", "binder", "drawings")  # as asbuilt.handover.package has them, which is slow to load


@click.command("handover")
@record_argument
@click.argument("target", metavar="DIR|ZIP", type=click.Path())
@click.option("--without", multiple=True, type=click.Choice(PARTS), help="Leave this part away; may be repeated.")
def command(record: str, target: str, without: tuple[str, ...]) -> None:
    """Make a package of RECORD: a new folder, or a ZIP where the name ends in .zip.

    It holds the record itself with every original, and the same facts in forms that need no
    program of ours: pages for any browser that answer by themselves, a binder to print,
    drawings, tables, JSON. Every file's SHA-512 is listed (BagIt). "asbuilt open" makes a
    record of it again, "asbuilt verify" finds damage.

    \b
    Examples:
      asbuilt handover house house-handover
      asbuilt handover house /media/stick/house.zip
      asbuilt handover house small --without viewer --without binder
    """
    from asbuilt.cli.progress import byte_bar
    from asbuilt.handover.opendata import short_fingerprint
    from asbuilt.handover.package import HandoverOptions, hand_over

    with open_record(record) as opened, byte_bar("packing") as bar:
        options = HandoverOptions(without=frozenset(without))
        report = hand_over(opened, target, options, progress=bar.update)
    click.echo(f"{report.path}: {report.file_count} files, {report.byte_count / 1e6:.1f} MB")
    click.echo(f"fingerprint of the record: {short_fingerprint(report.fingerprint)}")
    for name in report.missing:
        click.echo(f"not in the record's folder, so not in the package: {name}", err=True)
    for fault in report.faults:
        click.echo(fault, err=True)
    if report.missing or report.faults:
        raise SystemExit(1)
