"""asbuilt lattice: the studs in pictures without marks."""

from __future__ import annotations

import sys

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument


@click.command("lattice")
@record_argument
@click.option("--picture", "pictures", multiple=True, metavar="PICTURE", help="Only this picture; may be given again.")
@click.option("--face", "faces", multiple=True, metavar="FACE", help="A wall it may show; all, if none is given.")
@json_option
def command(record: str, pictures: tuple[str, ...], faces: tuple[str, ...], as_json: bool) -> None:
    """Look for the row of studs in pictures of RECORD that are not placed.

    The spacing tells the scale. Which stud is which is counted from corners and openings; where
    alike bays leave it open, that is said, and one known place marked in the picture settles it.
    Covered walls, trusses and clutter are refused. Nothing is stored.

    \b
    Examples:
      asbuilt lattice house
      asbuilt lattice house --picture 3f2a91bc04 --face north
      asbuilt lattice house --json
    """
    from asbuilt.record import Face
    from asbuilt.steps import lattice
    from asbuilt.steps.lattice_text import lattice_text

    with open_record(record) as opened:
        shown = sys.stderr.isatty() and not as_json
        options = lattice.LatticeOptions(picture_ids=pictures, face_ids=faces, progress=shown)
        report = lattice.run(opened, options)
        titles = {f.id: f.title for f in opened.all(Face)}
        unit = opened.building.unit
    if as_json:
        print_json(report.to_json())
    else:
        click.echo(lattice_text(report, titles, unit))
