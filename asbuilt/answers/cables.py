"""The cable schedule: every cable with its kind, both ends, length and test."""

from __future__ import annotations

from dataclasses import dataclass

from asbuilt.answers.lengths import LengthAnswer, lead_length
from asbuilt.answers.reply import Reply
from asbuilt.answers.wiring import End, Lead, Wiring, wiring_of
from asbuilt.record import Record


@dataclass(frozen=True, slots=True, kw_only=True)
class CableRow(Reply):
    """One line of the cable schedule."""

    cable_id: str
    label: str
    use: str
    words: str
    circuit_number: str
    from_id: str
    from_text: str
    to_id: str
    to_text: str
    length: LengthAnswer
    tested_on: str
    tested_by: str
    test_result: str
    note: str


def cable_schedule(record: Record, use: str | None = None) -> tuple[CableRow, ...]:
    """Every cable, or those of one use (power, low voltage), in the order of entry."""
    wiring = wiring_of(record)
    return tuple(_row(wiring, lead) for lead in wiring.leads.values() if use is None or lead.use == use)


def _row(wiring: Wiring, lead: Lead) -> CableRow:
    circuit = wiring.circuits.get(lead.circuit_id or "")
    test = wiring.tests.get(("cable", lead.id))
    labels = [wiring.items[i].label for i in lead.item_ids if i in wiring.items and wiring.items[i].label]
    return CableRow(
        cable_id=lead.id, label=labels[0] if labels else "", use=lead.use, words=lead.words,
        circuit_number=circuit.number if circuit else "", from_id=lead.first.place_id, from_text=end_text(lead.first),
        to_id=lead.last.place_id, to_text=end_text(lead.last), length=lead_length(wiring, lead),
        tested_on=test.date if test else "", tested_by=test.tested_by if test else "",
        test_result=test.result if test else "", note=lead.note,
    )  # fmt: skip


def end_text(end: End) -> str:
    """One end of a cable in words."""
    return end.text or "not on record"
