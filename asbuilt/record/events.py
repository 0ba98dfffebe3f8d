"""What happened to a wall since: opened, altered, an item moved. Later than the pictures, it makes them doubtful."""

from __future__ import annotations

from datetime import date

from asbuilt.errors import RecordError
from asbuilt.record.store import Record
from asbuilt.record.types import Event, Face

# The first two change nothing behind the wall.
EVENT_KINDS = ("covered", "inspected", "opened", "altered", "item added", "item moved", "item removed", "abandoned")


def add_event(
    record: Record,
    kind: str,
    day: str,
    face_id: str | None = None,
    span_m: tuple[float | None, float | None] = (None, None),
    heights_m: tuple[float | None, float | None] = (None, None),
    note: str = "",
) -> Event:
    """Note an event; without a face it concerns the whole building, without an extent the whole face.

    Parameters
    ----------
    day : str
        ISO date.
    span_m, heights_m : pairs of float or None
        Its extent on the face: left and right, bottom and top [m].

    Raises
    ------
    RecordError
        If the kind or the day is none, or the extent is empty.
    NotInRecordError
        If there is no such face.
    """
    if kind not in EVENT_KINDS:
        raise RecordError(f"{kind!r} is not a kind of event; use one of: {', '.join(EVENT_KINDS)}")
    try:
        date.fromisoformat(day)
    except ValueError:
        raise RecordError(f"{day!r} is not a day; write it as 2026-05-31") from None
    if face_id is not None:
        record.get(Face, face_id)
    for low, high in (span_m, heights_m):
        if low is not None and high is not None and low >= high:
            raise RecordError("the extent of the event is empty: its first measure must be less than its second")
    taken = {e.id for e in record.all(Event)}
    number = next(n for n in range(1, len(taken) + 2) if f"event-{n}" not in taken)
    event = Event(id=f"event-{number}", kind=kind, date=day, face_id=face_id, left_m=span_m[0], right_m=span_m[1],
                  bottom_m=heights_m[0], top_m=heights_m[1], note=note)  # fmt: skip
    record.put(event)
    return event
