"""asbuilt elevation: a straight, true-scale picture of each face."""

from __future__ import annotations

import sys

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument

USUAL = "usual"
MOST_PX_PER_IN = 100.0


@click.command("elevation")
@record_argument
@click.option(
    "--face", "faces", multiple=True, metavar="FACE", help="Only this face; may be given again. [default: all]"
)
@click.option(
    "--scale",
    type=click.FloatRange(1, MOST_PX_PER_IN),
    default=20.0,
    show_default=True,
    help="Pixels per inch; less is made where the pictures do not show that much.",
)
@click.option(
    "--depth",
    is_flag=False,
    flag_value=USUAL,
    metavar="[DEPTH]",
    help="Make a second picture on the plane this far behind the stud face; by itself: where cable usually lies.",
)
@click.option("--again", is_flag=True, help="Make every picture again, changed or not.")
@json_option
def command(record: str, faces: tuple[str, ...], scale: float, depth: str | None, again: bool, as_json: bool) -> None:
    """Make one straight, true-scale picture of each face of RECORD from its placed pictures.

    Everything at the stud face lies at its true offset and height. What no picture shows is
    hatched. Only what changed since the last time is made again. The pictures lie in
    RECORD/derived/elevations as tiles and as one overview.

    \b
    Examples:
      asbuilt elevation house
      asbuilt elevation house --face north --scale 10
      asbuilt elevation house --depth
      asbuilt elevation house --depth "2 in" --json
    """
    from asbuilt.record import Face, Media, Picture
    from asbuilt.steps import elevation
    from asbuilt.steps.elevation_text import elevation_text
    from asbuilt.units import parse_length

    with open_record(record) as opened:
        unit = opened.building.unit
        depths = [0.0]
        if depth is not None:
            depths.append(None if depth == USUAL else parse_length(depth, unit))
        options = elevation.ElevationOptions(
            face_ids=faces,
            scale_px_per_m=scale / 0.0254,
            depths_m=tuple(depths),
            force=again,
            progress=sys.stderr.isatty() and not as_json,
        )
        report = elevation.run(opened, options)
        titles = {f.id: f.title for f in opened.all(Face)}
        media = {m.id: m.name for m in opened.all(Media)}
        names = {
            p.id: media[p.media_id] + ("" if p.pts_s is None else f" at {p.pts_s:.1f} s") for p in opened.all(Picture)
        }
    if as_json:
        print_json(report.to_json())
    else:
        click.echo(elevation_text(report, titles, names, unit))
