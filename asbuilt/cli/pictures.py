"""asbuilt pictures: what pictures a record has and what they are filed under."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from asbuilt.cli.shared import json_option, open_record, print_json, print_table, record_argument

if TYPE_CHECKING:
    from asbuilt.record import Media, Picture, Placement


@click.command()
@record_argument
@click.option("--face", help="Only pictures filed under this face.")
@click.option("--unfiled", is_flag=True, help="Only pictures that are filed under no face.")
@json_option
def command(record: str, face: str | None, unfiled: bool, as_json: bool) -> None:
    """List the pictures of RECORD: photos and kept video frames.

    Each with the face it is filed under and by what (marker, order, hand), what is wrong with it,
    and whether it is placed. Then the stretches of video that were not kept, the film that was not
    looked at, and how many pictures are filed under no face.

    \b
    Examples:
      asbuilt pictures house
      asbuilt pictures house --unfiled
      asbuilt pictures house --face north --json
    """
    from asbuilt.record import Face, Media, Picture, Placement
    from asbuilt.record.unfinished import not_looked_at
    from asbuilt.steps.intake import dropped_stretches

    with open_record(record) as opened, opened.moment():
        where = {"face_id": opened.get(Face, face).id} if face else {"face_id": None} if unfiled else {}
        pictures = opened.all(Picture, **where)
        media = {m.id: m for m in opened.all(Media)}
        placements = {p.id: p for p in opened.all(Placement)}
        dropped, unseen = dropped_stretches(opened), not_looked_at(opened)
        unfiled_count = len(opened.all(Picture, face_id=None))
    if as_json:
        print_json([_data(p, media[p.media_id], placements.get(p.id)) for p in pictures])
        return
    print_table(
        [_words(p, media[p.media_id], placements.get(p.id)) for p in pictures], nothing="there is no such picture"
    )
    for d in dropped:
        click.echo(f"{d.name}: {d.from_s:.1f} s to {d.to_s:.1f} s not kept: {d.reason} ({d.frame_count} frames)")
    for line in unseen:
        click.echo(line)
    click.echo(f"{unfiled_count} pictures are filed under no face")


def _data(picture: Picture, media: Media, placement: Placement | None) -> dict:
    from asbuilt.record.rows import to_row

    return to_row(picture) | {
        "flags": list(picture.flags),
        "file": media.name,
        "placed": placement.status if placement else "not tried",
        "placed_reason": placement.reason if placement else "",
    }


def _words(picture: Picture, media: Media, placement: Placement | None) -> dict[str, str]:
    placed = "not tried" if placement is None else f"{placement.status}: {placement.reason}".rstrip(": ")
    return {
        "id": picture.id,
        "file": media.name,
        "time": "" if picture.pts_s is None else f"{picture.pts_s:.3f} s",
        "face": picture.face_id or "not filed",
        "by": picture.filed_by,
        "walls": "finished" if picture.stage == "covered" else picture.stage,
        "flags": ", ".join(picture.flags),
        "placed": placed,
    }
