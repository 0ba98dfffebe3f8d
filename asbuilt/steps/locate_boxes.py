"""The boxes of a record that cable goes into, while places are worked out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from asbuilt.geometry.planes import outside_m
from asbuilt.record import Item, Position, Record
from asbuilt.record.kinds import KINDS, SECURED_M, Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A box on a face: its middle and half its size [m]."""

    kind: Kind
    face_id: str
    circuit_id: str | None
    offset_m: float
    height_m: float
    half_width_m: float
    half_height_m: float

    def away_m(self, offset_m: float, height_m: float) -> float:
        """How far a place of the face is from its outline [m]."""
        middle_m, half_m = (self.offset_m, self.height_m), (self.half_width_m, self.half_height_m)
        return outside_m((offset_m, height_m), middle_m, half_m)

    def may_take(self, circuit_id: str | None) -> bool:
        """Whether a cable of a circuit may go into it, as far as the circuits are on record."""
        return self.kind.name == "panel" or None in (self.circuit_id, circuit_id) or self.circuit_id == circuit_id


def boxes_of(record: Record) -> dict[str, Box]:
    """The boxes that have a place, by item id."""
    items = record.all(Item, kind=[k.name for k in KINDS.values() if k.entry_m is not None])
    placed: dict[str, list[Position]] = {}
    for position in record.all(Position, item_id=[i.id for i in items]):
        placed.setdefault(position.item_id, []).append(position)
    return {i.id: box for i in items if (box := box_of(i, placed.get(i.id, ())))}


def box_of(item: Item, positions: Sequence[Position]) -> Box | None:
    """An item as a box; None where it is none or has no place."""
    kind, known = KINDS[item.kind], [p for p in positions if p.status == "measured"]
    if kind.entry_m is None or not known:
        return None
    return Box(kind=kind, face_id=known[0].face_id, circuit_id=item.circuit_id, offset_m=known[0].offset_m,
               height_m=known[0].height_m, half_width_m=(item.width_m or kind.width_m) / 2,
               half_height_m=(item.height_m or kind.height_m) / 2)  # fmt: skip


def box_near(
    boxes: Iterable[Box], face_id: str, circuit_id: str | None, offset_m: float, height_m: float
) -> tuple[Kind, float] | None:
    """The kind of the nearest box that a cable at a place may go into, and how far off it is [m]."""
    near = [
        (away_m, box.kind)
        for box in boxes
        if box.face_id == face_id
        and box.may_take(circuit_id)
        and (away_m := box.away_m(offset_m, height_m)) < SECURED_M
    ]
    if not near:
        return None
    away_m, kind = min(near, key=lambda found: found[0])
    return kind, away_m
