"""What a record holds, counted and listed: circuits, items, changes."""

from __future__ import annotations

import json
import math
from collections import Counter
from dataclasses import dataclass

from asbuilt.record.store import Record
from asbuilt.record.types import Circuit, Item, Position, Sighting
from asbuilt.units import format_length


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemListing:
    """An item with what its sightings and positions amount to.

    ``faces`` are those it was measured on; offsets and heights are the least and greatest of
    its measured spots, with the larger of their two sigmas [m], or None where not located.
    """

    item: Item
    circuit_number: str
    sighting_count: int
    picture_count: int
    faces: tuple[str, ...]
    offsets_m: tuple[float, float] | None
    heights_m: tuple[float, float] | None
    sigma_offset_m: float | None
    sigma_height_m: float | None


def list_items(record: Record) -> list[ItemListing]:
    """Every item in the order of entry."""
    positions: dict[str, list[Position]] = {}
    for position in record.all(Position, status="measured"):
        positions.setdefault(position.item_id, []).append(position)
    sightings: dict[str, list[Sighting]] = {}
    for sighting in record.all(Sighting, target="item"):
        sightings.setdefault(sighting.target_id, []).append(sighting)
    numbers = {circuit.id: circuit.number for circuit in record.all(Circuit)}
    return [
        _listing(item, numbers.get(item.circuit_id, ""), sightings.get(item.id, []), positions.get(item.id, []))
        for item in record.all(Item)
    ]


def _listing(item: Item, number: str, seen: list[Sighting], measured: list[Position]) -> ItemListing:
    def span(values: list[float]) -> tuple[float, float] | None:
        return (min(values), max(values)) if values else None

    def worst(axis: int) -> float | None:
        return max((math.sqrt(p.covariance[axis][axis]) for p in measured), default=None)

    return ItemListing(
        item=item,
        circuit_number=number,
        sighting_count=len(seen),
        picture_count=len({s.picture_id for s in seen}),
        faces=tuple(dict.fromkeys(p.face_id for p in measured)) or ((item.face_id,) if item.face_id else ()),
        offsets_m=span([p.offset_m for p in measured]),
        heights_m=span([p.height_m for p in measured]),
        sigma_offset_m=worst(0),
        sigma_height_m=worst(1),
    )


def item_counts(record: Record) -> Counter[str]:
    """How many items of the record are on each circuit id."""
    return Counter(item.circuit_id for item in record.all(Item) if item.circuit_id and item.state != "removed")


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One line of the history; ``fields`` holds (attribute, before, after) of what differs."""

    at: str
    author: str
    action: str  # add, change or remove
    table: str
    row_id: str
    fields: tuple[tuple[str, object, object], ...]


def list_changes(record: Record, limit: int = 50) -> list[Change]:
    """The newest changes first."""
    return [_change(entry) for entry in record.history(limit)]


def _change(entry: dict) -> Change:
    before = json.loads(entry["before"] or "{}")
    after = json.loads(entry["after"] or "{}")
    differing = tuple(
        (name, before.get(name), after.get(name))
        for name in {**before, **after}
        if name != "id" and before.get(name) != after.get(name)
    )
    return Change(
        at=entry["at"],
        author=entry["author"],
        action=entry["action"],
        table=entry["table_name"],
        row_id=entry["row_id"],
        fields=differing,
    )


def shown_value(name: str, value: object, unit: str) -> str:
    """A stored value for people: lengths in the record's unit, nothing as a dash."""
    if value is None or value == "":
        return "-"
    if name.endswith("_m") and isinstance(value, float):
        return format_length(value, unit)
    return str(value)
