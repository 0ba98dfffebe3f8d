"""asbuilt sightings: what was seen in the pictures, pixel by pixel."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from asbuilt.cli.shared import json_option, open_record, print_json, print_table, record_argument
from asbuilt.errors import SightingError

if TYPE_CHECKING:
    from asbuilt.record.tagging import ClicksReport


@click.group(
    epilog="""\b
Examples:
  asbuilt sightings load house clicks.json
  asbuilt sightings list house
"""
)
def command() -> None:
    """Say what was seen where in the pictures."""


@command.command("load")
@record_argument
@click.argument("clicks", type=click.Path())
def load(record: str, clicks: str) -> None:
    """Take the clicks in the JSON file CLICKS into RECORD; all of them or none.

    An entry holds file, or video and time_s; the pixel u, v; the thing, its kind, circuit and
    label; the place, the same in every picture that shows that spot; the order along a run.

    \b
    Examples:
      asbuilt sightings load house clicks.json
    """
    from asbuilt.record.clicks import load_clicks

    with open_record(record) as opened:
        _tell(load_clicks(opened, clicks))


def _tell(report: ClicksReport) -> None:
    click.echo(f"items: {report.items_added} added, {report.items_changed} changed")
    click.echo(
        f"sightings: {report.sightings_added} added, {report.sightings_changed} changed, "
        f"{report.same_count} already so, in {report.picture_count} pictures"
    )


@command.command("add")
@record_argument
@click.option("--file", "file", help="The photo that shows it, by its name or id.")
@click.option("--video", help="The video that shows it, by its name.")
@click.option("--time", "time_s", type=float, help="Time in the video in seconds.")
@click.option("--u", "x_px", type=float, required=True, help="Pixel from the left, 0 the centre of the first.")
@click.option("--v", "y_px", type=float, required=True, help="Pixel from the top, 0 the centre of the first.")
@click.option("--kind", required=True, help="What it is: device box, cable, pipe ...")
@click.option("--thing", required=True, help="Id of the item; the same in every sighting of it.")
@click.option("--place", help="The spot of the item, the same in every picture.  [default: the id of the item]")
@click.option("--circuit", help="Number of its circuit.")
@click.option("--label", default="", help="What people call it.")
@click.option("--order", "order_idx", type=int, default=0, show_default=True, help="Place along a run.")
def add(
    record: str, file: str | None, video: str | None, time_s: float | None, thing: str, place: str | None, **said
) -> None:
    """Add one sighting to RECORD by hand.

    \b
    Examples:
      asbuilt sightings add house --file IMG_1.jpg --u 849 --v 2017 --kind "device box" --thing b1 --circuit 2
      asbuilt sightings add house --video walk.mp4 --time 12.4 --u 300 --v 412 --kind cable --thing c1 --place c1a
    """
    from asbuilt.record.tagging import Click, add_clicks

    if (file is None) == (video is None) or (video is None) != (time_s is None):
        raise SightingError("say either --file, or --video and --time")
    one = Click(where="sighting", file=file or video, time_s=time_s, thing=thing, place=place or thing, **said)
    with open_record(record) as opened:
        _tell(add_clicks(opened, [one]))


@command.command("list")
@record_argument
@json_option
def list_(record: str, as_json: bool) -> None:
    """List the sightings of RECORD.

    \b
    Examples:
      asbuilt sightings list house
      asbuilt sightings list house --json
    """
    from asbuilt.record import Sighting
    from asbuilt.record.rows import to_row

    with open_record(record) as opened:
        found = opened.all(Sighting)
    if as_json:
        print_json([to_row(sighting) for sighting in found])
    else:
        print_table([_words(sighting) for sighting in found], nothing="no sighting yet")


def _words(sighting) -> dict[str, str]:
    return {
        "id": sighting.id,
        "of": sighting.target_id,
        "picture": sighting.picture_id,
        "place": sighting.place,
        "order": str(sighting.order_idx),
        "u": f"{sighting.x_px:.1f}",
        "v": f"{sighting.y_px:.1f}",
        "author": sighting.author,
    }


@command.command("remove")
@record_argument
@click.argument("row_id", metavar="ID")
def remove(record: str, row_id: str) -> None:
    """Take a sighting out of RECORD; its history stays.

    \b
    Examples:
      asbuilt sightings remove house b1@3f9c2a1b77
    """
    from asbuilt.record import Sighting

    with open_record(record) as opened:
        opened.remove(Sighting, row_id)
    click.echo(f"removed sighting {row_id}")
