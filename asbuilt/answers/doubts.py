"""Events after the pictures were taken make the record of a place doubtful."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from asbuilt.answers import wording
from asbuilt.answers.reach import Rectangle
from asbuilt.answers.reply import Reply
from asbuilt.answers.things import Place, far_link
from asbuilt.answers.view import FaceView, View
from asbuilt.record.types import Event, Position, Sighting

# Closing a wall changes nothing behind it.
HARMLESS = ("covered", "inspected")


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt(Reply):
    """One event that may have changed what is behind the wall since it was recorded."""

    event_id: str
    kind: str
    date: str
    note: str
    text: str


def doubts_in(view: View, face: FaceView, rectangle: Rectangle, recorded_on: str) -> tuple[Doubt, ...]:
    """Events in a rectangle of a face, or of its far face, later than the record of it.

    An event without an extent concerns the whole face; one without a face the whole building.
    """
    events = list(face.events)
    if face.far is not None:
        events += [e for e in view.face(face.far.id).events if e.face_id == face.far.id]
    return tuple(
        Doubt(event_id=e.id, kind=e.kind, date=e.date, note=e.note, text=wording.doubt(e.kind, e.date))
        for e in events
        if e.kind not in HARMLESS and e.date[:10] >= recorded_on[:10] and _meets(e, face, rectangle)
    )


def outdated(view: View, places: Mapping[str, Sequence[Place | Position]]) -> dict[str, str]:
    """Why things may no longer be where they were: last seen before an event at their place.

    Parameters
    ----------
    places : mapping
        Item id to its measured places, each on a face of its own.

    Returns
    -------
    dict
        Item id to the reason in words; things without one are left out.
    """
    if not any(e.kind not in HARMLESS for events in view.events.values() for e in events):
        return {}
    seen = _last_seen(view, places)
    found = {}
    for item_id, spots in places.items():
        for face_id in dict.fromkeys(p.face_id for p in spots):
            here = [p for p in spots if p.face_id == face_id]
            around = Rectangle(left_m=min(p.offset_m for p in here), bottom_m=min(p.height_m for p in here),
                               right_m=max(p.offset_m for p in here), top_m=max(p.height_m for p in here))  # fmt: skip
            for doubt in doubts_in(view, view.face(face_id), around, seen.get(item_id, "")):
                found[item_id] = wording.thing_doubt(doubt.kind, doubt.date, seen.get(item_id, ""))
    return found


def _last_seen(view: View, item_ids: Iterable[str]) -> dict[str, str]:
    """The last day on which each item was marked in a picture of the open wall."""
    seen: dict[str, str] = {}
    for s in view.record.all(Sighting, target="item", target_id=list(item_ids)):
        picture = view.pictures.get(s.picture_id)
        if picture is not None and picture.stage == "open" and picture.taken_at:
            seen[s.target_id] = max(seen.get(s.target_id, ""), picture.taken_at[:10])
    return seen


def _meets(event: Event, face: FaceView, r: Rectangle) -> bool:
    left = event.left_m if event.left_m is not None else -1e9
    right = event.right_m if event.right_m is not None else 1e9
    bottom = event.bottom_m if event.bottom_m is not None else -1e9
    top = event.top_m if event.top_m is not None else 1e9
    if face.far is not None and event.face_id == face.far.id:
        offset_sum_m, height_shift_m = far_link(face.face, face.far)
        left, right = offset_sum_m - right, offset_sum_m - left
        bottom, top = bottom - height_shift_m, top - height_shift_m
    return left <= r.right_m and right >= r.left_m and bottom <= r.top_m and top >= r.bottom_m


def age_of(recorded_on: str, today: date | None = None) -> str:
    """How old a record of that day is, in words; empty where the day is not known."""
    if not recorded_on:
        return ""
    try:
        taken = date.fromisoformat(recorded_on[:10])
    except ValueError:
        return ""
    return wording.older(max(((today or date.today()) - taken).days, 0))
