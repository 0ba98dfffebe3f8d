"""Items of a face gathered from the record, ready to draw."""

from __future__ import annotations

from dataclasses import dataclass

from asbuilt.record import Circuit, Item, Position, Record
from asbuilt.record.kinds import Kind, kind_named
from asbuilt.sources import COVER_95

GANG_STEP_M = 0.046  # 1-13/16 in from device to device: common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """One item on one face: what it is, its circuit, and its measured spots in order."""

    item: Item
    kind: Kind
    circuit: Circuit | None
    spots: tuple[Position, ...]

    @property
    def name(self) -> str:
        """What to call it: its label, else its kind."""
        return self.item.label or self.kind.name

    @property
    def radius_m(self) -> float:
        """Half the thickness of a run [m]."""
        return self.kind.radius_m if self.item.radius_m is None else self.item.radius_m

    @property
    def size_m(self) -> tuple[float, float]:
        """Width and height along the face, as recorded, else usual for the kind and gangs [m]."""
        extra_m = (max(self.item.gangs or 1, 1) - 1) * GANG_STEP_M
        width_m = self.kind.width_m + extra_m if self.item.width_m is None else self.item.width_m
        return width_m, self.kind.height_m if self.item.height_m is None else self.item.height_m


def error_95_m(spot: Position) -> tuple[float, float]:
    """Half widths of the 95 % error in offset and height [m]."""
    k = COVER_95.value
    return k * spot.covariance[0][0] ** 0.5, k * spot.covariance[1][1] ** 0.5


def things_on(record: Record, face_id: str) -> list[Thing]:
    """Every item with a measured position on a face; removed items and refused positions are left out."""
    by_item: dict[str, list[Position]] = {}
    for position in record.all(Position, face_id=face_id, status="measured"):
        by_item.setdefault(position.item_id, []).append(position)
    circuits = {c.id: c for c in record.all(Circuit)}
    things = []
    for item in record.all(Item, id=list(by_item)):
        if item.state != "removed":
            spots = tuple(sorted(by_item[item.id], key=lambda p: p.order_idx))
            circuit = circuits.get(item.circuit_id) if item.circuit_id else None
            things.append(Thing(item=item, kind=kind_named(item.kind), circuit=circuit, spots=spots))
    return things
