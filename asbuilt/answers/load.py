"""Connected load per circuit and panel, from what is on record to be fed. No demand calculation."""

from __future__ import annotations

from dataclasses import dataclass

from asbuilt.answers.circuits import feed_order
from asbuilt.answers.directory import positions_of
from asbuilt.answers.reply import Reply
from asbuilt.answers.wiring import Wiring, wiring_of
from asbuilt.record import Circuit, Record

LIMITS = (
    "The sum of the loads that were noted on devices: no demand or continuous-load calculation. What was not noted, "
    "and whatever is plugged in later, is not in it. Ask a licensed electrician before adding a load."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitLoad(Reply):
    """The connected load of one circuit; ``rating_va`` is breaker times volts."""

    circuit_id: str
    number: str
    name: str
    load_va: float
    rating_va: float | None
    share: float | None  # of the rating
    noted_count: int
    unnoted_count: int  # devices without a load on record


@dataclass(frozen=True, slots=True, kw_only=True)
class PanelLoad(Reply):
    """The connected load of a panel, in all and by leg; ``supply_va`` is its main times its volts."""

    panel_id: str | None
    name: str
    circuits: tuple[CircuitLoad, ...]
    load_va: float
    legs_va: tuple[float, float]
    supply_va: float | None
    spare_positions: tuple[str, ...]
    empty_spaces: int | None
    limits: str = LIMITS


def panel_loads(record: Record) -> tuple[PanelLoad, ...]:
    """The load view of every panel, then of circuits that belong to none."""
    wiring = wiring_of(record)
    ids: list[str | None] = [*wiring.panels]
    if any(c.panel_id is None for c in wiring.circuits.values()):
        ids.append(None)
    return tuple(_panel(wiring, panel_id) for panel_id in ids)


def boxes_of(wiring: Wiring, circuit: Circuit) -> set[str]:
    """The boxes that a circuit feeds: by its feed order and by its tag."""
    steps, _ = feed_order(wiring, circuit, wiring.feeds.get(circuit.id, []))
    return {s.to_id for s in steps} | {b.id for b in wiring.boxes.values() if b.circuit_id == circuit.id}


def circuit_load(wiring: Wiring, circuit: Circuit) -> CircuitLoad:
    """The connected load of one circuit, with that of a panel it feeds."""
    devices = [d for box_id in sorted(boxes_of(wiring, circuit)) for d in wiring.devices.get(box_id, ())]
    load_va = sum(d.load_va for d in devices if d.load_va is not None)
    fed = [p.id for p in wiring.panels.values() if p.fed_from_id == circuit.id and p.id != circuit.panel_id]
    load_va += sum(_panel(wiring, panel_id).load_va for panel_id in fed)
    rating_va = circuit.amps * circuit.volts if circuit.amps and circuit.volts else None
    noted = sum(d.load_va is not None for d in devices)
    return CircuitLoad(circuit_id=circuit.id, number=circuit.number, name=circuit.name, load_va=load_va,
                       rating_va=rating_va, share=load_va / rating_va if rating_va else None, noted_count=noted,
                       unnoted_count=len(devices) - noted)  # fmt: skip


def _panel(wiring: Wiring, panel_id: str | None) -> PanelLoad:
    panel = wiring.panels.get(panel_id or "")
    circuits = [c for c in wiring.circuits.values() if c.panel_id == panel_id]
    loads = tuple(circuit_load(wiring, c) for c in circuits)
    legs_va = [0.0, 0.0]
    taken: set[int] = set()
    for circuit, load in zip(circuits, loads, strict=True):
        positions = positions_of(circuit.number)
        taken |= set(positions)
        for position in positions:
            legs_va[(position - 1) // 2 % 2] += load.load_va / len(positions)
    spaces = panel.spaces if panel else None
    return PanelLoad(
        panel_id=panel_id, name=panel.name if panel else "No panel given", circuits=loads,
        load_va=sum(load.load_va for load in loads), legs_va=(legs_va[0], legs_va[1]),
        supply_va=panel.amps * panel.volts if panel and panel.amps and panel.volts else None,
        spare_positions=tuple(c.number for c in circuits if c.state == "spare"),
        empty_spaces=sum(n not in taken for n in range(1, spaces + 1)) if spaces else None,
    )  # fmt: skip
