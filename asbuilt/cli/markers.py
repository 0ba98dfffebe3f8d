"""asbuilt markers: print marker sheets."""

from __future__ import annotations

from pathlib import Path

import click

from asbuilt.units import parse_length


@click.command("markers")
@click.argument("out", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--ids", default="1-12", show_default=True, help="Which numbers, for example 1-12 or 3,7,9-11.")
@click.option("--size", default="6in", show_default=True, help="Outer edge of the black square.")
@click.option("--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True)
@click.option("--overwrite", is_flag=True, help="Replace OUT if it is there.")
def command(out: Path, ids: str, size: str, paper: str, overwrite: bool) -> None:
    """Write marker sheets to OUT, a PDF with one sheet to a page.

    Hang a sheet on a stud every 6 to 8 ft of wall before you film, and tape the place of
    each one's centre: the pictures are measured from them.

    \b
    Examples:
      asbuilt markers sheets.pdf
      asbuilt markers sheets.pdf --ids 13-24 --paper a4
      asbuilt markers small.pdf --ids 1,2,3 --size 100mm
    """
    from asbuilt.sheets.markers import MarkerSheetError, marker_sheets_pdf, parse_ids

    if out.exists() and not overwrite:
        raise MarkerSheetError(f"{out} is there already; choose another name or add --overwrite")
    numbers = parse_ids(ids)
    pdf = marker_sheets_pdf(numbers, parse_length(size), paper)
    try:
        out.write_bytes(pdf)
    except OSError as error:
        raise MarkerSheetError(f"cannot write {out}: {error.strerror}") from error
    click.echo(f"{out}: {len(numbers)} marker sheets. Print at 100 % and hold a tape to the rulers.")
