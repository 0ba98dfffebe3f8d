"""asbuilt items: what was recorded inside the walls."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from asbuilt.cli.shared import json_option, open_record, print_json, print_table, record_argument
from asbuilt.units import format_length

if TYPE_CHECKING:
    from asbuilt.record.inventory import ItemListing

NOTHING = "no such item is recorded; that does not mean that nothing is there"


@click.command()
@record_argument
@click.option("--face", help="Only items on this face.")
@click.option("--circuit", help="Only items of this circuit.")
@json_option
def command(record: str, face: str | None, circuit: str | None, as_json: bool) -> None:
    """List what was recorded inside the walls of RECORD.

    An item that is not in this list may still be there: only what was seen and named is recorded.

    \b
    Examples:
      asbuilt items house
      asbuilt items house --face north --json
    """
    from asbuilt.record.inventory import list_items

    with open_record(record) as opened:
        unit = opened.building.unit
        found = [
            listing
            for listing in list_items(opened)
            if (face is None or face in listing.faces) and (circuit is None or circuit == listing.circuit_number)
        ]
    if as_json:
        print_json([_data(listing) for listing in found])
    else:
        print_table([_words(listing, unit) for listing in found], nothing=NOTHING)


def _data(listing: ItemListing) -> dict:
    from asbuilt.record.rows import to_row

    return to_row(listing.item) | {
        "circuit_number": listing.circuit_number,
        "sighting_count": listing.sighting_count,
        "picture_count": listing.picture_count,
        "faces": listing.faces,
        "offsets_m": listing.offsets_m,
        "heights_m": listing.heights_m,
        "sigma_offset_m": listing.sigma_offset_m,
        "sigma_height_m": listing.sigma_height_m,
    }


def _words(listing: ItemListing, unit: str) -> dict[str, str]:
    item = listing.item
    return {
        "id": item.id,
        "kind": item.kind,
        "label": item.label,
        "circuit": listing.circuit_number,
        "face": ", ".join(listing.faces),
        "offset": _span(listing.offsets_m, listing.sigma_offset_m, unit),
        "height": _span(listing.heights_m, listing.sigma_height_m, unit),
        "pictures": str(listing.picture_count),
        "state": item.state,
    }


def _span(span_m: tuple[float, float] | None, sigma_m: float | None, unit: str) -> str:
    if span_m is None:
        return "not located"
    first, last = (format_length(value_m, unit, sigma_m) for value_m in span_m)
    return first if first == last else f"{first} to {last}"
