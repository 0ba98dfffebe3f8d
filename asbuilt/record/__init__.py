"""The record: types, SQLite, migrations, media store, history. The only door to disk."""

from asbuilt.record.store import Record, now
from asbuilt.record.types import (
    NOT_PLACED,
    PLACED,
    Building,
    Circuit,
    Coverage,
    Covering,
    Event,
    Face,
    Item,
    Marker,
    Media,
    Opening,
    Panel,
    Picture,
    Placement,
    Position,
    ReferencePoint,
    Room,
    Sighting,
    Solution,
    Stud,
)

__all__ = [
    "NOT_PLACED", "PLACED", "Building", "Circuit", "Coverage", "Covering", "Event", "Face", "Item",
    "Marker", "Media", "Opening", "Panel", "Picture", "Placement", "Position", "Record",
    "ReferencePoint", "Room", "Sighting", "Solution", "Stud", "now",
]  # fmt: skip
