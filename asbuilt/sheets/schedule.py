"""The schedule of a panel: breaker positions, odd at the left, even at the right."""

from __future__ import annotations

import re
from dataclasses import dataclass

from asbuilt.record import Circuit, Item, Panel, Position, Record


@dataclass(frozen=True, slots=True, kw_only=True)
class Breaker:
    """One circuit in a schedule, with how many of its items are in the record and on which faces."""

    circuit_id: str
    number: str
    name: str
    amps: float | None
    volts: float | None
    poles: int
    cable: str
    feeds: str
    state: str
    item_count: int
    face_ids: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """A panel; ``rows`` pairs the position at the left with the one at its right.

    A breaker of two poles stands at its first position and its name is repeated as a
    continuation at the other. ``loose`` are circuits whose number is no position.
    """

    panel_id: str | None
    name: str
    face_id: str | None
    amps: float | None
    volts: float | None
    rows: tuple[tuple[dict, dict], ...]
    breakers: tuple[Breaker, ...]
    loose: tuple[Breaker, ...]


def positions_of(number: str) -> list[int]:
    """``1+3`` as [1, 3]; empty if the text holds no positions."""
    return (
        [int(n) for n in re.split(r"[+,/ ]+", number.strip())]
        if re.fullmatch(r"\d+([+,/ ]+\d+)*", number.strip())
        else []
    )


def schedules(record: Record) -> list[Schedule]:
    """The schedule of every panel, then of the circuits that belong to none."""
    circuits = record.all(Circuit)
    panels: list[Panel | None] = [*record.all(Panel)]
    if any(c.panel_id is None for c in circuits):
        panels.append(None)
    return [_schedule(record, panel, circuits) for panel in panels]


def _schedule(record: Record, panel: Panel | None, circuits: list[Circuit]) -> Schedule:
    own = [_breaker(record, c) for c in circuits if c.panel_id == (panel.id if panel else None)]
    own.sort(key=lambda b: (positions_of(b.number) or [10_000], b.number))
    at: dict[int, dict] = {}
    for breaker in own:
        for i, position in enumerate(positions_of(breaker.number)):
            at[position] = {"position": position, "circuit_id": breaker.circuit_id, "continued": i > 0}
    last = max([*at, panel.spaces or 0 if panel else 0], default=0)
    rows = tuple((at.get(n, _space(n)), at.get(n + 1, _space(n + 1))) for n in range(1, last + 1, 2))
    return Schedule(
        panel_id=panel.id if panel else None,
        name=panel.name if panel else "No panel given",
        face_id=panel.face_id if panel else None,
        amps=panel.amps if panel else None,
        volts=panel.volts if panel else None,
        rows=rows,
        breakers=tuple(own),
        loose=tuple(b for b in own if not positions_of(b.number)),
    )


def _space(position: int) -> dict:
    """A position that holds no breaker the record knows of."""
    return {"position": position, "circuit_id": None, "continued": False}


def _breaker(record: Record, circuit: Circuit) -> Breaker:
    items = [i for i in record.all(Item, circuit_id=circuit.id) if i.state != "removed"]
    placed = record.all(Position, item_id=[i.id for i in items], status="measured")
    return Breaker(
        circuit_id=circuit.id, number=circuit.number, name=circuit.name, amps=circuit.amps, volts=circuit.volts,
        poles=circuit.poles, cable=circuit.cable, feeds=circuit.feeds, state=circuit.state,
        item_count=len(items), face_ids=tuple(dict.fromkeys(p.face_id for p in placed)),
    )  # fmt: skip
