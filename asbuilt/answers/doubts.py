"""Events after the pictures were taken make the record of a place doubtful."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from asbuilt.answers import wording
from asbuilt.answers.reach import Rectangle
from asbuilt.answers.reply import Reply
from asbuilt.answers.things import far_link
from asbuilt.answers.view import FaceView, View
from asbuilt.record.types import Event

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
