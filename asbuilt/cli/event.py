"""asbuilt event: what happened to a wall since it was recorded."""

from __future__ import annotations

from datetime import date

import click

from asbuilt.cli.shared import json_option, open_record, print_json, print_table, record_argument
from asbuilt.units import format_length, parse_length


@click.group("event")
def command() -> None:
    """Note what happened to a wall since: opened, altered, an item moved.

    Every answer about that part of the wall says from then on that the record is doubtful.

    \b
    Examples:
      asbuilt event add house opened --face north --left 5ft --right 8ft --day 2027-05-02
      asbuilt event list house
      asbuilt event remove house event-1
    """


@command.command("add")
@record_argument
@click.argument("kind")
@click.option("--face", help="The face.  [default: the whole building]")
@click.option("--day", help="When, as 2027-05-02.  [default: today]")
@click.option("--left", help="From this offset.  [default: the whole face]")
@click.option("--right", help="To this offset.")
@click.option("--bottom", help="From this height.")
@click.option("--top", help="To this height.")
@click.option("--note", default="", help="What was done.")
def add(record, kind, face, day, left, right, bottom, top, note) -> None:
    """Note an event of KIND: opened, altered, item added, item moved, item removed, abandoned, covered, inspected.

    \b
    Examples:
      asbuilt event add house opened --face north --left 5ft --right 8ft --note "new receptacle"
      asbuilt event add house "item moved" --face east --day 2027-05-02
    """
    from asbuilt.record.events import add_event

    with open_record(record) as opened:
        unit = opened.building.unit
        left_m, right_m, bottom_m, top_m = (
            None if text is None else parse_length(text, unit) for text in (left, right, bottom, top)
        )
        day = day or date.today().isoformat()
        event = add_event(opened, kind, day, face, (left_m, right_m), (bottom_m, top_m), note)
    click.echo(f"noted {event.id}: {event.kind} on {event.date}")


@command.command("list")
@record_argument
@json_option
def list_(record: str, as_json: bool) -> None:
    """List the events of RECORD.

    \b
    Examples:
      asbuilt event list house
      asbuilt event list house --json
    """
    from asbuilt.record.rows import to_row
    from asbuilt.record.types import Event

    with open_record(record) as opened:
        events, unit = opened.all(Event), opened.building.unit
    if as_json:
        print_json([to_row(e) for e in events])
        return
    rows = [
        {"id": e.id, "day": e.date, "kind": e.kind, "face": e.face_id or "all",
         "from": "" if e.left_m is None else format_length(e.left_m, unit),
         "to": "" if e.right_m is None else format_length(e.right_m, unit), "note": e.note}
        for e in events
    ]  # fmt: skip
    print_table(rows, nothing="no event yet")


@command.command("remove")
@record_argument
@click.argument("event_id", metavar="ID")
def remove(record: str, event_id: str) -> None:
    """Take an event out again; its history stays.

    \b
    Examples:
      asbuilt event remove house event-1
    """
    from asbuilt.record.types import Event

    with open_record(record) as opened:
        opened.remove(Event, event_id)
    click.echo(f"removed {event_id}")
