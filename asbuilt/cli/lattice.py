"""asbuilt lattice: the studs in pictures without marks."""

from __future__ import annotations

import sys

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument


@click.command("lattice")
@record_argument
@click.option("--picture", "pictures", multiple=True, metavar="PICTURE", help="Only this picture; may be given again.")
@click.option("--face", "faces", multiple=True, metavar="FACE", help="A wall it may show; all, if none is given.")
@click.option("--keep", is_flag=True, help="Keep the studs of pictures with a known place marked in them, for placing.")
@click.option("--forget", is_flag=True, help="Take back what was kept.")
@json_option
def command(
    record: str, pictures: tuple[str, ...], faces: tuple[str, ...], keep: bool, forget: bool, as_json: bool
) -> None:
    """Look for the row of studs in pictures of RECORD that are not placed.

    The spacing tells the scale. Which stud is which is counted from corners and openings; where
    alike bays leave it open, that is said, and one known place marked in the picture settles it.
    Covered walls, trusses and clutter are refused. Nothing is stored, except with --keep: then
    the studs that stand on their marks in pictures with a known place marked in them go into the
    next "asbuilt place", each as sure as a quarter inch. Two known places a wall, each marked in
    two pictures, place a walkthrough without marker sheets.

    \b
    Examples:
      asbuilt lattice house
      asbuilt lattice house --picture 3f2a91bc04 --face north
      asbuilt lattice house --keep
      asbuilt lattice house --forget
      asbuilt lattice house --json
    """
    from asbuilt.record import Face
    from asbuilt.steps import lattice, lattice_marks
    from asbuilt.steps.lattice_text import lattice_text, marks_text

    with open_record(record) as opened:
        shown = sys.stderr.isatty() and not as_json
        if forget:
            click.echo(f"{lattice_marks.forget(opened)} spots on studs taken back")
            return
        if keep:
            report = lattice_marks.run(
                opened, lattice_marks.MarksOptions(picture_ids=pictures, keep=True, progress=shown)
            )
            told = marks_text(report, {f.id: f.title for f in opened.all(Face)}, opened.building.unit)
            print_json(report.to_json()) if as_json else click.echo(told)
            return
        options = lattice.LatticeOptions(picture_ids=pictures, face_ids=faces, progress=shown)
        report = lattice.run(opened, options)
        titles = {f.id: f.title for f in opened.all(Face)}
        unit = opened.building.unit
    if as_json:
        print_json(report.to_json())
    else:
        click.echo(lattice_text(report, titles, unit))
