"""asbuilt overlay: what is in the wall, laid over a photo of the finished wall."""

from __future__ import annotations

from pathlib import Path

import click

from asbuilt.cli.shared import open_record, record_argument
from asbuilt.errors import RecordError


@click.command()
@record_argument
@click.argument("picture", type=str)
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--propose", is_flag=True, help="Look for cover plates in the photo and mark them first.")
@click.option("--overwrite", is_flag=True, help="Replace OUT if it is there.")
def command(record: str, picture: str, out: Path, propose: bool, overwrite: bool) -> None:
    """Lay what RECORD knows over PICTURE, a photo of the finished wall, and write it to OUT as JPEG.

    Four or more places that are still to be seen (cover plates, corners of openings, ends of
    the wall) must be marked in the photo first: asbuilt serve RECORD, open the picture, Known
    places; or with --propose cover plates are looked for and marked. Where they do not fit
    nothing is drawn.

    \b
    Examples:
      asbuilt overlay house after_03.jpg after_03_overlay.jpg
      asbuilt overlay house after_04.jpg after_04_overlay.jpg --propose
    """
    from asbuilt.record.pixels import read_picture
    from asbuilt.sheets.photo import overlay_jpeg
    from asbuilt.sheets.today import overlay_of

    if out.exists() and not overwrite:
        raise RecordError(f"{out} is there already; choose another name or add --overwrite")
    with open_record(record) as opened:
        found = _picture(opened, picture)
        if propose:
            _mark_plates(opened, found)
        overlay = overlay_of(opened, found)
        if not overlay:
            raise RecordError(f"{picture}: {overlay.reason}")
        words = overlay.fit.words(opened.building.unit)
        out.write_bytes(overlay_jpeg(read_picture(opened, found), overlay, words))
    click.echo(f"{out}: {words}")
    for name in overlay.too_uncertain:
        click.echo(f"not drawn, its place is too uncertain here: {name}")


def _mark_plates(record, picture) -> None:
    """Mark the cover plates found in a photo, and say which."""
    from asbuilt.sheets.proposed import proposals

    found = proposals(record, picture)
    if not found:
        raise RecordError(found.reason)
    with record.transaction():
        for proposal in found:
            record.put(proposal.point, proposal.sighting(picture, record.author))
            click.echo(f"marked: {proposal.point.label} at {proposal.x_px:.0f}, {proposal.y_px:.0f}")


def _picture(record, name: str):
    """A photo by its id or by the name its file came with."""
    from asbuilt.record import Media, Picture

    found = record.find(Picture, name)
    if found is not None:
        return found
    media = [m.id for m in record.all(Media, kind="photo", name=name)]
    pictures = record.all(Picture, media_id=media) if media else []
    if len(pictures) != 1:
        raise RecordError(
            f"there is no one photo {name} in {record.folder}; list them with: asbuilt pictures {record.folder}"
        )
    return pictures[0]
