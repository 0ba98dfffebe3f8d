"""asbuilt place: work out where each picture was taken from."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument


@click.command("place")
@record_argument
@json_option
def command(record: str, as_json: bool) -> None:
    """Place the pictures of RECORD, then locate every item sighted in them.

    Uses the marker sheets and the clicked reference points whose places were taped. A picture
    that cannot be placed is listed with the reason. Run it again after adding pictures,
    sheets, points or sightings.

    \b
    Examples:
      asbuilt place house
      asbuilt place house --json
    """
    from asbuilt.steps import locate, place
    from asbuilt.steps.place_error import face_errors
    from asbuilt.steps.place_text import located_text, placed_text

    with open_record(record) as opened:
        placed = place.run(opened, place.PlaceOptions(quiet=as_json))
        located = locate.run(opened, look_again=True, progress=True)
        faces = face_errors(opened)
        unit = opened.building.unit
    if as_json:
        print_json({"place": placed.to_json(), "faces": [f.to_json() for f in faces], "locate": located.to_json()})
    else:
        click.echo(placed_text(placed, faces, unit))
        click.echo(located_text(located))
