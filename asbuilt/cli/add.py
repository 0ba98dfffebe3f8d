"""asbuilt add: take photos and videos into a record."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument


@click.command()
@record_argument
@click.argument("files", metavar="[FILE]...", nargs=-1, type=click.Path())
@click.option(
    "--stage",
    type=click.Choice(("open", "covered")),
    help="What the files show: the open walls, or the finished ones.  [default: by the dates; open without dates]",
)
@json_option
def command(record: str, files: tuple[str, ...], stage: str | None, as_json: bool) -> None:
    """Take photos and videos into RECORD.

    Originals are copied in unaltered. Of a video the sharpest frames along the walk are kept as
    pictures; stretches that are blurred or swing off the wall are left out and listed. A file that
    cannot be used gives one line, the others go on. Clips that an earlier run had to leave are
    finished, also without FILE: broken off, or halted because their decoder died or hung. Where it
    does so twice, that stretch is left out and listed as not looked at.

    \b
    Examples:
      asbuilt add house walk.mp4 photos/*.jpg
      asbuilt add house after-boarding/*.heic --stage covered
      asbuilt add house
    """
    from asbuilt.steps import intake

    with open_record(record) as opened:
        report = intake.run(opened, files, intake.IntakeOptions(stage=stage))
    if as_json:
        print_json(report.to_json())
    else:
        for line in report.lines() or ["nothing to take in"]:
            click.echo(line)
    if files and not any(f.picture_count or f.outcome in ("added", "known") for f in report.files):
        raise click.exceptions.Exit(1)
