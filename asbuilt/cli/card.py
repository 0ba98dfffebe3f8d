"""asbuilt card: the card for the panel door that tells of the record."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from asbuilt.cli.shared import open_record, record_argument, write_new


@click.command("card")
@record_argument
@click.argument("pdf", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--kept-at", default="", help="Where the package lies, in your words; left out: a line to write on.")
@click.option("--paper", type=click.Choice(["card", "letter", "a5", "a4"]), default="card", show_default=True)
@click.option("--overwrite", is_flag=True, help="Replace the PDF if it is there.")
def command(record: str, pdf: Path, kept_at: str, paper: str, overwrite: bool) -> None:
    """Write the panel card of RECORD: its circuits, where the record lies, its fingerprint.

    The QR code on it holds the same as plain text, no web address. The fingerprint changes
    with every change of the record: print the card after the package is made.

    \b
    Examples:
      asbuilt card house card.pdf --kept-at "blue folder beside the panel; stick at the notary"
      asbuilt card house card.pdf --paper a5 --overwrite
    """
    from asbuilt.handover.card import card_of, card_pdf
    from asbuilt.handover.opendata import fingerprint

    with open_record(record) as opened:
        card = card_of(opened, fingerprint(opened), kept_at)
    write_new(pdf, card_pdf(card, date.today().isoformat(), paper), overwrite)
