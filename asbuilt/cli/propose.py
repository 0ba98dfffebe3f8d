"""asbuilt propose: studs, boxes and runs found in the pictures, to be confirmed."""

from __future__ import annotations

import sys

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument


@click.command("propose")
@record_argument
@click.option("--face", "faces", multiple=True, metavar="FACE", help="Only this face; may be given again.")
@click.option("--again", is_flag=True, help="Look at every face again, changed or not.")
@json_option
def command(record: str, faces: tuple[str, ...], again: bool, as_json: bool) -> None:
    """Look for studs, boxes and cables in the placed pictures of RECORD.

    Measured stud centres are kept as studs, with their error. Boxes and runs are proposals:
    they answer nothing until a person accepts them, on the page Review of the viewer. Broken
    off, it goes on with the face it was at.

    \b
    Examples:
      asbuilt propose house
      asbuilt propose house --face north
      asbuilt propose house --json
    """
    from asbuilt.record import Face
    from asbuilt.steps import propose
    from asbuilt.steps.propose_text import propose_text

    with open_record(record) as opened:
        options = propose.ProposeOptions(face_ids=faces, force=again, progress=sys.stderr.isatty() and not as_json)
        report = propose.run(opened, options)
        titles = {f.id: f.title for f in opened.all(Face)}
        unit = opened.building.unit
    if as_json:
        print_json(report.to_json())
    else:
        click.echo(propose_text(report, titles, unit, record))
