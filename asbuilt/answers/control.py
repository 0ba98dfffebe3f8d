"""Control: which switch works which outlet. Neither a route nor a feed order is read from it."""

from __future__ import annotations

from dataclasses import dataclass

from asbuilt.answers.reply import Reply
from asbuilt.answers.wiring import Wiring, wiring_of
from asbuilt.record import Record
from asbuilt.record.wiring import Control

TRAVELLER_COUNT = 3  # two travellers and the common: a cable of three conductors beside the ground


@dataclass(frozen=True, slots=True, kw_only=True)
class Switching(Reply):
    """One switch of an outlet; the cable is its switch leg, or the travellers of a 3-way pair."""

    switch_id: str
    switch_name: str
    gang: int | None
    way: str
    cable_id: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Controlled(Reply):
    """An outlet with all of its switches, and what does not fit together."""

    load_id: str
    load_name: str
    switches: tuple[Switching, ...]
    problems: tuple[str, ...]


def controlled(record: Record) -> tuple[Controlled, ...]:
    """Every outlet that a switch works, in the order of entry."""
    wiring = wiring_of(record)
    by_load: dict[str, list[Control]] = {}
    for control in wiring.controls:
        by_load.setdefault(control.load_id, []).append(control)
    return tuple(_controlled(wiring, load_id, controls) for load_id, controls in by_load.items())


def switched_from(wiring: Wiring, box_id: str) -> list[Control]:
    """What the switches of a box work."""
    return [c for c in wiring.controls if c.switch_id == box_id]


def _controlled(wiring: Wiring, load_id: str, controls: list[Control]) -> Controlled:
    switches = tuple(
        Switching(switch_id=c.switch_id, switch_name=wiring.place_name(c.switch_id), gang=c.gang, way=c.way,
                  cable_id=c.cable_id)
        for c in controls
    )  # fmt: skip
    return Controlled(load_id=load_id, load_name=wiring.place_name(load_id), switches=switches,
                      problems=tuple(_problems(wiring, load_id, controls)))  # fmt: skip


def _problems(wiring: Wiring, load_id: str, controls: list[Control]):
    ways = [c.way for c in controls]
    name = wiring.place_name(load_id)
    if ways.count("3-way") not in (0, 2):
        yield f"{name}: {ways.count('3-way')} 3-way switch, where a pair is needed"
    if "4-way" in ways and ways.count("3-way") != 2:
        yield f"{name}: a 4-way switch sits between two 3-way switches"
    if "single" in ways and len(ways) > 1:
        yield f"{name}: a single switch beside others"
    for control in controls:
        wire = wiring.leads[control.cable_id].wire if control.cable_id in wiring.leads else None
        if control.way != "single" and wire and wire.count is not None and wire.count < TRAVELLER_COUNT:
            yield f"{name}: cable {control.cable_id} has {wire.count} conductors, travellers and common need three"
