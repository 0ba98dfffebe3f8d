"""asbuilt drill: what a hole, or a pattern of holes, meets."""

from __future__ import annotations

from pathlib import Path

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument
from asbuilt.errors import LengthError
from asbuilt.units import parse_length


@click.command("drill")
@record_argument
@click.argument("face")
@click.option("--at", "offset", required=True, help="How far from the left end of the face.")
@click.option("--height", required=True, help="How high above the floor.")
@click.option("--bit", default="1/4in", show_default=True, help="Diameter of the bit.")
@click.option("--depth", default="2-1/2in", show_default=True, help="How deep the tip goes.")
@click.option(
    "--from", "depth_from", type=click.Choice(["finished", "stud", "outside"]), default="finished", show_default=True,
    help="Which face the depth counts from; outside: an outside wall from outside, a ceiling from above, a floor from "
    "below, --at from the left end there.",
)  # fmt: skip
@click.option("--rule", "rules", multiple=True, help="Where cable runs by practice, bs7671 or din18015.")
@click.option(
    "--holes", type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="A file of holes, one a line: how far right and how far up of --at and --height, with a comma between.",
)  # fmt: skip
@click.option("--shift", default="0in", show_default=True, help="How far to either side all holes may move.")
@click.option("--shift-up", default="0in", show_default=True, help="How far up and down all holes may move.")
@click.option("--on-studs", is_flag=True, help="Of the shifts, prefer those that land on studs.")
@click.option("--instead", help="Also look this far round for places that keep clear of what was recorded.")
@json_option
def command(
    record, face, offset, height, bit, depth, depth_from, rules, holes, shift, shift_up, on_studs, instead, as_json
):
    """Say what a hole in FACE meets and passes, and how sure that is.

    The answer is one of: hit expected, too close to call, nothing recorded here, not
    recorded. It is a record to look with, not leave to drill.

    \b
    Examples:
      asbuilt drill house north --at 6ft --height 4ft --bit 3/8in --depth 2-1/2in
      asbuilt drill house east --at "6' 3-1/2" --height 48in --bit 6mm --depth 60mm --from stud
      asbuilt drill house north --at 9ft --height 20in --bit 1in --depth 4in --from outside
      asbuilt drill house south --at 1.91m --height 1.2m --rule din18015 --json
      asbuilt drill house north --at 6ft --height 4ft --instead 12in
      asbuilt drill house north --at 6ft --height 7ft --holes rail.txt --shift 6in --on-studs
    """
    from asbuilt.answers.drill import drill
    from asbuilt.answers.pattern import drill_pattern, places_instead
    from asbuilt.answers.text import drill_text, instead_text, pattern_text

    others = None

    with open_record(record) as opened:
        unit = opened.building.unit
        x, z, bit_m, depth_m, right_m, up_m = (
            parse_length(text, unit) for text in (offset, height, bit, depth, shift, shift_up)
        )
        if holes is None:
            extra = {"rules": rules} if rules else {}
            answer, text = drill(opened, face, x, z, bit_m, depth_m, depth_from, **extra), drill_text
        else:
            places = [(x + right, z + up) for right, up in read_holes(holes, unit)]
            answer = drill_pattern(opened, face, places, bit_m, depth_m, right_m, up_m, on_studs, depth_from)
            text = pattern_text
        if instead is not None:
            others = places_instead(opened, face, x, z, bit_m, depth_m, parse_length(instead, unit), depth_from)
    if as_json:
        print_json(answer.to_json() | ({"instead": [p.to_json() for p in others]} if others is not None else {}))
    else:
        click.echo(text(answer) + ("" if others is None else "\n" + instead_text(others)))


def read_holes(path: Path, unit: str) -> list[tuple[float, float]]:
    """Holes of a file, (right, up) of the pattern's own origin [m]; empty lines and # comments are skipped.

    Raises
    ------
    LengthError
        Names the line that cannot be read.
    """
    found = []
    for number, line in enumerate(path.read_text("utf-8", errors="replace").splitlines(), start=1):
        line = line.split("#")[0].strip()
        if not line:
            continue
        parts = line.split(",")
        if len(parts) != 2:
            raise LengthError(f"{path.name}, line {number}: write how far right, a comma, and how far up")
        try:
            found.append(tuple(parse_length(part.strip(), unit) for part in parts))
        except LengthError as error:
            raise LengthError(f"{path.name}, line {number}: {error}") from error
    return found
