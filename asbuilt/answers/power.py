"""What to switch off, and the cautions that go with every answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from asbuilt.answers import wording
from asbuilt.answers.reply import Reply
from asbuilt.answers.things import Thing
from asbuilt.answers.view import View


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitOff(Reply):
    """A circuit to switch off, and where."""

    circuit_id: str
    number: str
    name: str
    amps: float | None
    volts: float | None
    panel: str
    text: str


def circuit_off(view: View, circuit_id: str) -> CircuitOff:
    """How to switch one circuit off."""
    c = view.circuits[circuit_id]
    panel = view.panels[c.panel_id].name if c.panel_id in view.panels else ""
    name = wording.circuit_name(c.number, c.name, c.amps, c.volts)
    return CircuitOff(circuit_id=c.id, number=c.number, name=c.name, amps=c.amps, volts=c.volts, panel=panel,
                      text=f"{name}: {wording.breaker(c.number, panel)}")  # fmt: skip


def circuits_off(view: View, things: Sequence[Thing]) -> tuple[CircuitOff, ...]:
    """The circuits of those things, in breaker order."""
    ids = {t.circuit.id for t in things if t.circuit is not None}
    found = [circuit_off(view, i) for i in ids]
    return tuple(sorted(found, key=lambda c: (_leading_number(c.number), c.number)))


def _leading_number(number: str) -> int:
    digits = "".join(ch if ch.isdigit() else " " for ch in number).split()
    return int(digits[0]) if digits else 10**6


def cautions_for(things: Sequence[Thing]) -> tuple[str, ...]:
    """The usual cautions, the special ones first."""
    found: list[str] = []
    special = sorted({t.kind.name for t in things if t.kind.hazard == "specialist"})
    if special:
        found.append(wording.SPECIALIST.format(kinds=" and ".join(special)))
    if any(t.kind.hazard == "gas" for t in things):
        found.append(wording.GAS)
    if any(t.kind.hazard == "wet" for t in things):
        found.append(wording.WATER)
    if any(t.kind.hazard == "live" and t.circuit is None for t in things):
        found.append(wording.NO_CIRCUIT_KNOWN)
    return (*found, *wording.CAUTIONS)
