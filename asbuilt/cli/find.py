"""asbuilt find: where a thing is."""

from __future__ import annotations

import click

from asbuilt.cli.shared import json_option, open_record, print_json, record_argument


@click.command("find")
@record_argument
@click.argument("words", nargs=-1)
@click.option("--circuit", help="Only of this circuit: its number, one of its breaker spaces, or its name.")
@click.option("--kind", help="Only of this kind: device box, cable, coil, conduit, pipe, nail plate...")
@json_option
def command(record: str, words: tuple[str, ...], circuit: str | None, kind: str | None, as_json: bool) -> None:
    """Find recorded things: their place, how to reach it on the finished wall, and pictures.

    WORDS may be part of a label, a kind, a cable or a circuit's name.

    \b
    Examples:
      asbuilt find house "dryer feed"
      asbuilt find house --circuit 7
      asbuilt find house spare --kind coil --json
    """
    from asbuilt.answers.find import find
    from asbuilt.answers.text import find_text

    with open_record(record) as opened:
        answer = find(opened, " ".join(words) or None, circuit=circuit, kind=kind)
    if as_json:
        print_json(answer.to_json())
    else:
        click.echo(find_text(answer))
