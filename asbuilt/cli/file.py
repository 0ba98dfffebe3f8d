"""asbuilt file: file pictures under a face by hand."""

from __future__ import annotations

import click

from asbuilt.cli.shared import open_record, record_argument


@click.command()
@record_argument
@click.argument("pictures", metavar="PICTURE...", nargs=-1, required=True)
@click.option("--face", required=True, help="The face that the pictures show.")
@click.option("--from", "from_s", type=float, metavar="SECONDS", help="Only frames from this time of a clip on.")
@click.option("--to", "to_s", type=float, metavar="SECONDS", help="Only frames up to this time of a clip.")
@click.option("--stage", type=click.Choice(("open", "covered")), help="The open wall, or the finished one.")
def command(
    record: str, pictures: tuple[str, ...], face: str, from_s: float | None, to_s: float | None, stage: str | None
) -> None:
    """File pictures of RECORD under a face by hand.

    PICTURE is the id of a picture, or the name of a file: then all pictures of that file.

    \b
    Examples:
      asbuilt file house IMG_0042.heic --face north
      asbuilt file house walk.mp4 --from 0 --to 12.5 --face north
      asbuilt file house 515a18a965-0020285 --face east --stage covered
    """
    from asbuilt.steps.filing import file_by_hand

    with open_record(record) as opened:
        filed = file_by_hand(opened, pictures, face, from_s=from_s, to_s=to_s, stage=stage)
    click.echo(f"filed {len(filed)} picture{'s' if len(filed) != 1 else ''} under {face}")
