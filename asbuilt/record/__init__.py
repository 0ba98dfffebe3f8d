"""The record: types, SQLite, migrations, media store, history. The only door to disk."""

from typing import TYPE_CHECKING

from asbuilt.record.types import (
    NOT_PLACED,
    PLACED,
    Building,
    Circuit,
    Coverage,
    Covering,
    Event,
    Face,
    Followed,
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
from asbuilt.record.wiring import (
    BoxDetail,
    Cable,
    Control,
    Device,
    Feed,
    Hole,
    RuleSetting,
    TapedPlace,
    Verification,
)

__all__ = [
    "NOT_PLACED", "PLACED", "BoxDetail", "Building", "Cable", "Circuit", "Control", "Coverage", "Covering", "Device",
    "Event", "Face", "Feed", "Followed", "Hole", "Item", "Marker", "Media", "Opening", "Panel", "Picture",
    "Placement", "Position", "Record", "ReferencePoint", "Room", "RuleSetting", "Sighting", "Solution", "Stud",
    "TapedPlace", "Verification", "now",
]  # fmt: skip

if TYPE_CHECKING:
    from asbuilt.record.store import Record, now


def __getattr__(name: str):
    # Who only decodes, as the scanning process does, need not wait for the database's library.
    if name in ("Record", "now"):
        from asbuilt.record import store

        return getattr(store, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
