"""Voltage drop at a load by both published methods, from estimated lengths and their errors.

The first takes the resistivity of copper and the area of the conductor (the K method), the
second the resistance of Chapter 9. Limits of 3 and 5 % are informational notes, no rules.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from asbuilt.answers.circuits import FeedStep, circuit_named, feed_order, path_to
from asbuilt.answers.conductors import COPPER, Conductors, conductors, figures
from asbuilt.answers.lengths import lead_length
from asbuilt.answers.reply import Reply
from asbuilt.answers.wiring import Wiring, wiring_of
from asbuilt.errors import FailedEstimate
from asbuilt.record import Circuit, Record
from asbuilt.sources import Sourced

FOOT_M = 0.3048
K_COPPER = Sourced(
    value=12.9, unit="ohm cmil/ft",
    source="published worked examples of the K method for copper; Chapter 9 Table 8 gives 12.60 solid, 12.93 stranded",
)  # fmt: skip
BRANCH_LIMIT = Sourced(value=0.03, unit="1", source="NFPA 70 210.19(A) informational note: 3 % on a branch circuit")


def drop_by_k(amps: float, length_m: float, circular_mils: float, k: float = K_COPPER.value) -> float:
    """2 K I L / CM of a single-phase circuit [V]; ``length_m`` is one way."""
    return 2 * k * amps * (length_m / FOOT_M) / circular_mils


def drop_by_resistance(amps: float, length_m: float, ohm_per_kft: float) -> float:
    """2 R I L / 1000 of a single-phase circuit [V]; ``length_m`` is one way."""
    return 2 * ohm_per_kft * amps * (length_m / FOOT_M) / 1000


def effective_impedance(resistance: float, reactance: float, power_factor: float) -> float:
    """R cos + X sin, Chapter 9 Table 9 note 2 [ohm per 1000 ft]."""
    return resistance * power_factor + reactance * math.sqrt(1 - power_factor**2)


@dataclass(frozen=True, slots=True, kw_only=True)
class DropStep(Reply):
    """One cable on the way to the load."""

    cable_id: str
    to_name: str
    size: str
    length_m: float
    sigma_m: float
    amps: float
    drop_k_v: float
    drop_resistance_v: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DropAnswer(Reply):
    """The drop from the panel to a box by both methods [V], one sigma from the lengths alone."""

    circuit_id: str
    item_id: str
    name: str
    volts: float
    load: str  # where the current comes from
    steps: tuple[DropStep, ...]
    length_m: float
    drop_k_v: float
    drop_resistance_v: float
    sigma_v: float
    share_k: float
    share_resistance: float
    over_limit: bool
    notes: tuple[str, ...]


def voltage_drop(
    record: Record, circuit_id: str, item_id: str, amps: float | None = None
) -> DropAnswer | FailedEstimate:
    """The drop from the panel to a box of a circuit.

    Parameters
    ----------
    record : Record
    circuit_id : str
    item_id : str
        The box of the load.
    amps : float, optional
        Current along the whole way; without it, the loads on record that each cable carries.

    Returns
    -------
    DropAnswer or FailedEstimate
        The latter says what is not on record.

    Raises
    ------
    NotInRecordError
        If there is no such circuit.
    """
    wiring = wiring_of(record)
    circuit = circuit_named(wiring, circuit_id)
    path = path_to(wiring, circuit, item_id)
    if not path:
        return FailedEstimate(f"the feed order of circuit {circuit.number} does not reach {wiring.place_name(item_id)}")
    if circuit.volts is None:
        return FailedEstimate(f"the volts of circuit {circuit.number} are not on record")
    steps = []
    for step in path:
        found = _step(wiring, circuit, step, amps)
        if not found:
            return found
        steps.append(found)
    return _sum(wiring, circuit, item_id, steps, amps)


def _step(wiring: Wiring, circuit: Circuit, step: FeedStep, amps: float | None) -> DropStep | FailedEstimate:
    lead = wiring.leads.get(step.cable_id or "")
    if lead is None:
        return FailedEstimate(f"the cable from {step.from_name} to {step.to_name} is not on record")
    wire = lead.wire or conductors(circuit.cable)
    row = figures(wire.awg) if isinstance(wire, Conductors) and wire.awg and wire.material == COPPER else None
    if row is None:
        return FailedEstimate(f"no figure at hand for the conductors of cable {lead.id} ({lead.words or 'no size'})")
    length = lead_length(wiring, lead)
    if length.total_m is None:
        return FailedEstimate(f"cable {lead.id}: {length.basis}")
    amps = amps if amps is not None else load_through(wiring, circuit, step) / circuit.volts
    resistance = row["ohm_per_kft_solid"] or row["ohm_per_kft_stranded"]  # larger sizes come stranded only
    return DropStep(
        cable_id=lead.id, to_name=step.to_name, size=wire.size, length_m=length.total_m, sigma_m=length.sigma_m,
        amps=amps, drop_k_v=drop_by_k(amps, length.total_m, row["circular_mils"]),
        drop_resistance_v=drop_by_resistance(amps, length.total_m, resistance),
    )  # fmt: skip


def load_through(wiring: Wiring, circuit: Circuit, step: FeedStep) -> float:
    """Load on record of the box that a step leads to and of all that it feeds on [VA]."""
    steps, _ = feed_order(wiring, circuit, wiring.feeds.get(circuit.id, []))
    beyond = {step.to_id}
    for later in steps:  # level by level, so that each is met after what feeds it
        if later.from_id in beyond:
            beyond.add(later.to_id)
    return sum(d.load_va or 0.0 for box_id in beyond for d in wiring.devices.get(box_id, ()))


def _sum(wiring: Wiring, circuit: Circuit, item_id: str, steps: list[DropStep], amps: float | None):
    if not any(s.amps for s in steps):
        return FailedEstimate(f"no load is on record on the way to {wiring.place_name(item_id)}; give the amperes")
    by_k, by_resistance = sum(s.drop_k_v for s in steps), sum(s.drop_resistance_v for s in steps)
    sigma_v = math.sqrt(sum((s.drop_k_v * s.sigma_m / s.length_m) ** 2 for s in steps))
    leads = [wiring.leads[s.cable_id] for s in steps]
    notes = [note for lead in leads for note in lead_length(wiring, lead).notes]
    if any(lead.wire is None for lead in leads):
        notes.append("the size of a cable was taken from its circuit")
    return DropAnswer(
        circuit_id=circuit.id, item_id=item_id, name=wiring.place_name(item_id), volts=circuit.volts,
        load=f"{amps:g} A as asked" if amps is not None else "loads on record", steps=tuple(steps),
        length_m=sum(s.length_m for s in steps), drop_k_v=by_k, drop_resistance_v=by_resistance, sigma_v=sigma_v,
        share_k=by_k / circuit.volts, share_resistance=by_resistance / circuit.volts,
        over_limit=max(by_k, by_resistance) / circuit.volts > BRANCH_LIMIT.value, notes=tuple(dict.fromkeys(notes)),
    )  # fmt: skip
